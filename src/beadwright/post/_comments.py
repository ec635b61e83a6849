"""Comments: plain ones for people, structured ones for programs; one a line, ASCII."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from urllib.parse import quote

from beadwright.errors import InternalError, SettingsError

# NISTIR 6556 (2000), section 3.1: at most 256 characters a line.
MAX_LINE = 256
# Readable width of a plain comment.
NOTE_WIDTH = 100
# Left unencoded in a value, beside letters, digits and "_.-~": all that cannot be misread in a comment.
PLAIN = "/:+,"
# What a file name may take of the program line; the rest of the line stays below the limit.
MAX_NAME = 80


def number(value: float) -> str:
    """Shortest digits that read back to the same double.

    Examples
    --------
    >>> number(8.4), number(1e-07)
    ('8.4', '1e-07')
    """
    return repr(float(value))


def value(text: str) -> str:
    """A value without blanks or parentheses, percent-encoded (UTF-8).

    Examples
    --------
    >>> value("mould (left).step")
    'mould%20%28left%29.step'
    """
    return quote(text, safe=PLAIN)


def shortened(text: str, room: int = MAX_NAME) -> str:
    """A name cut in its middle so that its encoded form fits into `room` characters.

    Examples
    --------
    >>> shortened("part.step")
    'part.step'
    >>> shortened("a" * 100, 11)
    'aaaa...aaaa'
    """
    if len(value(text)) <= room:
        return text
    left, right = text[: len(text) // 2], text[len(text) // 2 :]
    while len(value(left)) + len(value(right)) + 3 > room:
        if len(value(left)) >= len(value(right)):
            left = left[:-1]
        else:
            right = right[1:]
    return f"{left}...{right}"


def structured(head: str, pairs: Iterable[tuple[str, str]] = ()) -> str:
    """A structured comment, its line end included; values must be encoded already.

    Raises
    ------
    InternalError
        If it is longer than a line may be.
    """
    line = f"({' '.join([head, *(f'{key}={text}' for key, text in pairs)])})"
    if len(line) > MAX_LINE or not line.isascii():
        msg = f"a comment of {len(line)} characters, or not ASCII: {line[:80]}"
        raise InternalError(msg)
    return line + "\n"


def note(text: str) -> str:
    """A sentence for people as one or more comment lines.

    Raises
    ------
    SettingsError
        If it holds what a comment cannot: parentheses, or characters that are not ASCII.
    """
    if "(" in text or ")" in text or not text.isascii() or not text.isprintable():
        msg = f"a note in the program must be plain ASCII without parentheses, not {text!r}"
        raise SettingsError(msg)
    return "".join(f"({line})\n" for line in textwrap.wrap(text, NOTE_WIDTH))
