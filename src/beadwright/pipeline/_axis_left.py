"""Where an earlier program left the extruder axis, so that the rest of its print goes on from there."""

from __future__ import annotations

import re

_COMMENT = re.compile(r"\([^)]*\)|;.*")


def axis_left(text: str, line: int, share: float = 0.0) -> float | None:
    r"""Value of the extruder axis in a program after a line, in the axis's unit.

    Parameters
    ----------
    text : str
        The program: absolute distance.
    line : int
        Counts from 1; 0 for before the first.
    share : float
        So much of the move in the line after it is done as well, 0 to 1.

    Returns
    -------
    float or None
        None where the head names no axis. An axis that no line has moved yet stands at 0, where programs begin.

    Examples
    --------
    >>> text = "(program contract=1 axis=A)\nG1 X1 A2.5 (A9)\nG1 X2 A4.5\n"
    >>> axis_left(text, 2), axis_left(text, 2, 0.25), axis_left("G1 X1 A2.5", 1)
    (2.5, 3.0, None)
    """
    lines = text.split("\n")
    head = next((each for each in lines if each.startswith("(program ")), "")
    told = re.search(r" axis=([A-Z])\b", head)
    if told is None:
        return None
    word = re.compile(rf"{told[1]}([-+]?[0-9.]+)")
    begin = re.search(r" axis_at=([-+0-9.e]+)", head)
    value = 0.0 if begin is None else float(begin[1])
    for each in lines[:line]:
        if found := word.search(_COMMENT.sub("", each)):
            value = float(found[1])
    following = word.search(_COMMENT.sub("", lines[line])) if line < len(lines) else None
    return value if following is None else value + share * (float(following[1]) - value)


def axis_notes(value: float | None) -> tuple[str, ...]:
    """What stands at the top of the program of the axis."""
    if not value:
        return ()
    return (
        f"EXTRUDER AXIS: this program goes on from {value:.4f}, where the old one left the axis. Look that it still"
        " stands there, or set its value, before the start: else the first move turns the screw by the difference.",
    )
