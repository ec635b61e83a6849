"""Documents as JSON text that people can read too: one line for whatever holds only plain values."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from typing import Any


def as_text(document: Mapping[str, Any]) -> str:
    """A document as JSON text; numbers read back to the same doubles.

    Examples
    --------
    >>> print(as_text({"layers": [{"index": 0, "at_mm": [1.0, 2.0]}, {"index": 1}], "version": "1"}), end="")
    {
     "layers": [
      {"index": 0, "at_mm": [1.0, 2.0]},
      {"index": 1}
     ],
     "version": "1"
    }
    """
    return "".join(text_parts(document))


def text_parts(document: Mapping[str, Any]) -> Iterator[str]:
    """The same text in parts, for a file."""
    yield from _written(document, "\n")
    yield "\n"


def _plain(value: Any) -> bool:
    return value is None or isinstance(value, str | int | float)


def _short(value: Any) -> bool:
    """Whether a value is written on one line: plain, or of plain values and lists of these."""
    if isinstance(value, Mapping):
        return all(
            _plain(part) or (isinstance(part, list | tuple) and all(map(_plain, part)))
            for part in value.values()
        )
    if isinstance(value, list | tuple):
        return all(map(_plain, value))
    return _plain(value)


def _written(value: Any, line: str) -> Iterator[str]:
    """The text of a value in parts; ``line`` begins a line at its depth."""
    if _short(value):
        yield json.dumps(value, allow_nan=False, ensure_ascii=False)
        return
    inner = line + " "
    parts: Iterator[tuple[str, Any]]
    if isinstance(value, Mapping):
        opening, closing = "{", "}"
        parts = ((json.dumps(str(key), ensure_ascii=False) + ": ", part) for key, part in value.items())
    else:
        opening, closing = "[", "]"
        # One after the other: what is made when it is asked for need not be held.
        parts = (("", part) for part in value)
    for place, (key, part) in enumerate(parts):
        yield (opening if place == 0 else ",") + inner + key
        yield from _written(part, inner)
    yield line + closing
