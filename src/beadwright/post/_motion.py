"""Printed moves to lines of text, in blocks."""

from __future__ import annotations

import functools
import re
from collections.abc import Callable, Sequence

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
    texts, fields, slots, wanted = _laid_out(formats)
    columns: dict[str, Callable[[], Floats]] = {
        "x": lambda: moves.end.real / scale,
        "y": lambda: moves.end.imag / scale,
        "dx": lambda: np.diff(moves.end.real, prepend=moves.start.real) / scale,
        "dy": lambda: np.diff(moves.end.imag, prepend=moves.start.imag) / scale,
        "i": lambda: moves.centre.real / scale,
        "j": lambda: moves.centre.imag / scale,
        "r": lambda: moves.radius / scale,
    }
    if advance is not None:
        axis = np.round(advance, AXIS_DECIMALS)
        columns["a"] = lambda: axis
        columns["da"] = lambda: np.diff(axis, prepend=round(before, AXIS_DECIMALS))
    if heights is not None:
        columns["z"] = lambda: heights[1:] / scale
        columns["dz"] = lambda: np.diff(heights) / scale
    numbers = np.empty((count, len(fields)))
    for column, field in enumerate(fields):
        numbers[:, column] = columns[field]()
    numbers += 0.0  # makes a plain zero of minus zero
    parts: list[str] = []
    for first in range(0, count, BLOCK):
        turn = moves.turn[first : first + BLOCK]
        rows = np.arange(first, first + len(turn))[:, None] * len(fields)
        own = numbers.ravel()[(slots[turn] + rows)[wanted[turn]]]
        parts.append("".join([texts[each] for each in turn.tolist()]) % tuple(own.tolist()))
    return "".join(parts)


@functools.cache
def _laid_out(
    formats: Formats,
) -> tuple[list[str], tuple[str, ...], npt.NDArray[np.int64], npt.NDArray[np.bool_]]:
    """Text of each kind of move, all their fields, and by kind which field stands where, and whether one does.

    Kinds in the order of the turn: 0 a line, 1 counter-clockwise and, from the end, -1 clockwise.
    """
    line, clockwise, counter = formats
    kinds = (line, counter, clockwise)
    fields = tuple(dict.fromkeys(field for _, own in kinds for field in own))
    slots = np.zeros((len(kinds), max(len(own) for _, own in kinds)), np.int64)
    wanted = np.zeros(slots.shape, bool)
    for kind, (_, own) in enumerate(kinds):
        slots[kind, : len(own)] = [fields.index(field) for field in own]
        wanted[kind, : len(own)] = True
    return [text for text, _ in kinds], fields, slots, wanted


def printed_lengths(moves: Sequence[PrintedMoves], words: Words) -> list[Floats]:
    """Length of each move as printed, mm, of many runs of moves."""
    previous = np.concatenate([np.append(each.start, each.end[:-1]) for each in moves])
    end = np.concatenate([each.end for each in moves])
    centre = np.concatenate([each.centre for each in moves])
    turn = np.concatenate([each.turn for each in moves])
    chord, radius = end - previous, np.abs(centre)
    arc = (turn != 0) & (radius > 0)
    ends = np.where(arc, (chord - centre) / np.where(arc, -centre, 1.0), 1.0)
    angle = np.angle(ends) * np.where(turn == 0, 1, turn)
    swept = np.where(angle < 0, angle + 2 * np.pi, angle)
    found = np.where(arc, radius * swept, np.abs(chord)) * words.place
    return np.split(found, np.cumsum([len(each.turn) for each in moves])[:-1])
