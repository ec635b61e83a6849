"""Moves that rise and fall: their heights as printed, their share of flow, their runs at one feed."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from beadwright.post._dialect import Dialect
from beadwright.post._pieces import spread
from beadwright.post._rounding import PrintedMoves
from beadwright.post._words import Words
from beadwright.program import BeadMoves, Climb, LayerProgram

Floats = npt.NDArray[np.float64]


def climb_along(climb: Climb, count: npt.NDArray[np.int64]) -> Climb:
    """Heights along a path whose moves were cut into so many equal pieces each."""
    if (count == 1).all():
        return climb
    return replace(
        climb,
        height=spread(climb.height, count),
        thickness=spread(climb.thickness, count),
        feeds=None if climb.feeds is None else np.repeat(climb.feeds, count),
    )


def printed_rise(climb: Climb, moves: PrintedMoves, place: float, aside: float) -> tuple[Floats, float]:
    """Heights as printed, and how far they are from the surface that they follow.

    Parameters
    ----------
    climb : Climb
        Of the path that was printed.
    moves : PrintedMoves
    place : float
        A unit of the last place, mm.
    aside : float
        How far a printed move lies from its own path in the plane at most, mm.

    Returns
    -------
    rise : (m + 1,) float
        Before the first move and after each, in units of the last place; whole numbers.
    off : float
        Bound of the distance in height, mm: between two ends it runs straight, as the printed height does.
    """
    wanted = climb.height / place
    rise = np.rint(np.concatenate([wanted[:1], wanted[moves.source + 1]]))
    ends = np.maximum(np.abs(rise[:-1] - wanted[moves.source]), np.abs(rise[1:] - wanted[moves.source + 1]))
    return rise, float(ends.max(initial=0.0)) * place + climb.bound + climb.slope * aside


def even_runs(climb: Climb | None, moves: PrintedMoves, words: Words) -> list[tuple[slice, float | None]]:
    """Runs of moves at one feed, mm/s; None where that is the bead's own."""
    count = len(moves.turn)
    if climb is None or climb.feeds is None:
        return [(slice(0, count), None)]
    feeds = climb.feeds[moves.source].tolist()
    told = [words.feed(speed) for speed in feeds]
    at = [0, *(k for k in range(1, count) if told[k] != told[k - 1]), count]
    return [(slice(a, b), feeds[a]) for a, b in itertools.pairwise(at)]


def carried_on(layer: LayerProgram, words: Words, dialect: Dialect) -> str:
    """What stands before a layer whose bead goes on from the one below, in short: place, feed and flow."""
    moves = next((event for event in layer.events if isinstance(event, BeadMoves)), None)
    if not layer.begin.carried or moves is None:
        return ""
    x, y = moves.path.points[0].tolist()
    z = words.coordinate(moves.z if moves.climb is None else float(moves.climb.height[0]))
    return (
        dialect.write("traverse", x=words.coordinate(x), y=words.coordinate(y))
        + dialect.write("feed", feed=words.feed(moves.feed))
        + dialect.write("lower", z=z)
        + dialect.write("flow_start", on=dialect.on or "", rpm="1")
    )
