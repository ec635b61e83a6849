"""On which line of a TOML text each key stands; the standard library's reader does not tell.

The text has been read by `tomllib` before, so only what is needed to find keys is looked at here: headers,
keys, and where values end (TOML 1.0.0, toml.io).
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence

Path = tuple[str | int, ...]

_KEY = re.compile(r"""[ \t]*("(?:[^"\\\n]|\\.)*"|'[^'\n]*'|[A-Za-z0-9_-]+)[ \t]*""")
# What may hide a line's end, a bracket or a comment sign inside a value: strings, the long ones first.
_STRING = re.compile(
    r'"""(?:[^\\]|\\.)*?"""(?:"{0,2})|' + r"'''.*?'''(?:'{0,2})|" + r'"(?:[^"\\\n]|\\.)*"|' + r"'[^'\n]*'",
    re.DOTALL,
)
_BLANK = re.compile(r"(?:[ \t\r\n]+|#[^\n]*)+")


def key_lines(text: str) -> dict[Path, int]:
    r"""Line of each key and table, counted from 1, by its path; tables of an array by their index.

    Examples
    --------
    >>> key_lines("a = 1\n[b]\nc.d = [\n1]\n[[e]]\n[[e]]\nf = 2\n")
    {('a',): 1, ('b',): 2, ('b', 'c', 'd'): 3, ('e', 0): 5, ('e', 1): 6, ('e', 1, 'f'): 7}
    """
    lines: dict[Path, int] = {}
    arrays: dict[Path, int] = {}
    prefix: Path = ()
    at, line, counted = 0, 1, 0
    while at < len(text):
        blank = _BLANK.match(text, at)
        if blank:
            at = blank.end()
            continue
        line, counted = line + text.count("\n", counted, at), at
        if text[at] == "[":
            double = text.startswith("[[", at)
            names, at = _names(text, at + 1 + double)
            prefix = _table(names, arrays, new=double)
            lines.setdefault(prefix, line)
            at = _line_end(text, at)
        else:
            names, at = _names(text, at)
            lines.setdefault((*prefix, *names), line)
            at = _value_end(text, at + 1)
    return lines


def line_of(path: Sequence[str | int], lines: Mapping[Path, int]) -> int | None:
    """Line of a key, or of the nearest table that holds it."""
    for end in range(len(path), 0, -1):
        found = lines.get(tuple(path[:end]))
        if found is not None:
            return found
    return None


def _names(text: str, at: int) -> tuple[list[str], int]:
    """A dotted key from a place on, and the place after it."""
    names: list[str] = []
    while found := _KEY.match(text, at):
        word, at = found[1], found.end()
        names.append(tomllib.loads(f"k = {word}")["k"] if word[0] in "\"'" else word)
        if text[at : at + 1] != ".":
            break
        at += 1
    return names, at


def _table(names: Sequence[str], arrays: dict[Path, int], *, new: bool) -> Path:
    """Full path of a table's header; each array of tables on the way by its last index."""
    path: Path = ()
    for place, name in enumerate(names):
        path = (*path, name)
        if new and place == len(names) - 1:
            arrays[path] = arrays.get(path, 0) + 1
        if path in arrays:
            path = (*path, arrays[path] - 1)
    return path


def _line_end(text: str, at: int) -> int:
    end = text.find("\n", at)
    return len(text) if end < 0 else end


def _value_end(text: str, at: int) -> int:
    """Where a value ends: at the end of a line outside of all strings and brackets."""
    depth = 0
    while at < len(text):
        sign = text[at]
        if sign in "\"'" and (string := _STRING.match(text, at)):
            at = string.end()
            continue
        if sign == "#":
            at = _line_end(text, at)
            continue
        if sign in "[{":
            depth += 1
        elif sign in "]}":
            depth -= 1
        elif sign == "\n" and depth <= 0:
            return at
        at += 1
    return at
