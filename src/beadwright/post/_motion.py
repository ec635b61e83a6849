"""Printed moves to lines of text, in blocks."""

from __future__ import annotations

import re

import numpy as np
import numpy.typing as npt

from beadwright.post._dialect import FIELD, MOTIONS, Dialect
from beadwright.post._rounding import PrintedMoves
from beadwright.post._words import Words

# Moves formatted by one `%`: large enough that the call costs nothing, small enough for the cache.
BLOCK = 10_000
# Decimals of the extruder axis: volumes far below what any screw can meter, at any sensible scale.
AXIS_DECIMALS = 5

Floats = npt.NDArray[np.float64]


Formats = tuple[tuple[str, tuple[str, ...]], ...]
# The word of a move that holds its Y; that of its height follows it.
_ACROSS = re.compile(r"(\S*\{(d?)y\}\S*)")


def move_formats(dialect: Dialect, decimals: int, *, climbing: bool = False) -> Formats:
    """Format and fields of a line, an arc clockwise and one counter-clockwise, as the dialect writes them.

    Moves that climb have a Z word after their Y word, an increment where that is one: an arc is a helix then.
    """
    found = []
    for name in MOTIONS:
        event = getattr(dialect.events, name)
        if event is None:
            found.append(("", ()))
            continue
        line = _ACROSS.sub(r"\1 Z{\2z}", event.lines[0]) if climbing else event.lines[0]
        fields = tuple(FIELD.findall(line))
        text = line.replace("%", "%%")
        for field in fields:
            places = AXIS_DECIMALS if field in {"a", "da"} else decimals
            text = text.replace(f"{{{field}}}", f"%.{places}f")
        found.append((text + "\n", fields))
    return tuple(found)


def motion_lines(
    moves: PrintedMoves,
    words: Words,
    formats: Formats,
    *,
    advance: Floats | None = None,
    before: float = 0.0,
    heights: Floats | None = None,
) -> str:
    """Lines of some moves, in their order, as the dialect writes lines and arcs.

    Parameters
    ----------
    moves : PrintedMoves
        In units of the last place.
    words : Words
        Unit and decimals.
    formats : tuple
        As of `move_formats`.
    advance : (m,) float, optional
        Where the extruder axis stands after each move, in its unit.
    before : float
        Where it stands before them.
    heights : (m + 1,) float, optional
        Before the first move and after each, in units of the last place; for formats of moves that climb.

    Returns
    -------
    str
        One line a move, each with its line end.
    """
    count = len(moves.turn)
    scale = 10.0**words.decimals
    previous = np.concatenate([[moves.start], moves.end[:-1]])
    step = moves.end - previous
    values: dict[str, Floats] = {
        "x": moves.end.real / scale,
        "y": moves.end.imag / scale,
        "dx": step.real / scale,
        "dy": step.imag / scale,
        "i": moves.centre.real / scale,
        "j": moves.centre.imag / scale,
        "r": moves.radius / scale,
    }
    if advance is not None:
        values["a"] = np.round(advance, AXIS_DECIMALS)
        values["da"] = np.diff(values["a"], prepend=round(before, AXIS_DECIMALS))
    if heights is not None:
        values["z"], values["dz"] = heights[1:] / scale, np.diff(heights) / scale
    # By turn: -1 clockwise, 0 a line, 1 counter-clockwise.
    line, clockwise, counter = formats
    kinds = (clockwise, line, counter)
    texts = np.array([text for text, _ in kinds], dtype=object)
    width = max(len(fields) for _, fields in kinds)
    numbers, wanted = np.zeros((count, width)), np.zeros((count, width), bool)
    for turn, (_, fields) in enumerate(kinds, -1):
        rows = moves.turn == turn
        for column, field in enumerate(fields):
            numbers[rows, column] = values[field][rows]
            wanted[rows, column] = True
    numbers += 0.0  # makes a plain zero of minus zero
    parts: list[str] = []
    for first in range(0, count, BLOCK):
        block = slice(first, first + BLOCK)
        template = "".join(texts[moves.turn[block] + 1].tolist())
        parts.append(template % tuple(numbers[block][wanted[block]].tolist()))
    return "".join(parts)


def printed_lengths(moves: PrintedMoves, words: Words) -> Floats:
    """Length of each move as printed, mm."""
    previous = np.concatenate([[moves.start], moves.end[:-1]])
    chord = moves.end - previous
    radius = np.abs(moves.centre)
    arc = (moves.turn != 0) & (radius > 0)
    ends = np.where(arc, (chord - moves.centre) / np.where(arc, -moves.centre, 1.0), 1.0)
    angle = np.angle(ends) * np.where(moves.turn == 0, 1, moves.turn)
    swept = np.where(angle < 0, angle + 2 * np.pi, angle)
    lengths: Floats = np.where(arc, radius * swept, np.abs(chord)) * words.place
    return lengths
