"""The paths of a layer as the controller gets them: chords or pieces of arcs, rounded, all at once.

Most beads are a few moves, and many are three paths: a run-in, the bead and a pass. Path by path the calls would cost
several times what the moves do.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from beadwright.curves import ArcPath
from beadwright.errors import InternalError
from beadwright.post._dialect import Dialect
from beadwright.post._motion import printed_lengths
from beadwright.post._pieces import chord_counts, chords, piece_counts, pieces
from beadwright.post._rounding import PrintedMoves, print_paths
from beadwright.post._words import Words
from beadwright.program import BeadMoves, Event, PassMoves


class Printed(NamedTuple):
    """One path as printed.

    Attributes
    ----------
    path : ArcPath
        With the chords or pieces of arcs that stand for its arcs.
    chord : float
        Greatest distance of a chord from its arc, mm.
    parts : (m,) int
        Moves that stand for each move of the path as it was.
    moves : PrintedMoves
    lengths : (k,) float
        Of the printed moves, mm.
    """

    path: ArcPath
    chord: float
    parts: npt.NDArray[np.int64]
    moves: PrintedMoves
    lengths: npt.NDArray[np.float64]


def printed(events: Sequence[Event], words: Words, dialect: Dialect, layer: int) -> list[Printed]:
    """The paths of a layer's moves, in their order.

    Raises
    ------
    InternalError
        A path vanishes in rounding, or an arc cannot be printed within the standard's arc rule.
    """
    paths = [event.path for event in events if isinstance(event, (BeadMoves, PassMoves))]
    if not paths:
        return []
    counts = [np.ones(len(path.bulge), np.int64) for path in paths]
    cut, off = paths, [0.0] * len(paths)
    if dialect.arcs == "lines":
        assert dialect.chord is not None
        counts = [chord_counts(path, dialect.chord) for path in paths]
        both = [chords(path, dialect.chord) for path in paths]
        cut, off = [path for path, _ in both], [chord for _, chord in both]
    elif dialect.arcs == "radius":
        counts = [piece_counts(path) for path in paths]
        cut = [pieces(path) for path in paths]
    moves = print_paths(cut, words, by_radius=dialect.arcs == "radius")
    for path, own in zip(paths, moves, strict=True):
        if not len(own.turn):
            msg = f"layer {layer}: a bead at {path.points[0]} mm vanishes in rounding"
            raise InternalError(msg)
    return [
        Printed(*each) for each in zip(cut, off, counts, moves, printed_lengths(moves, words), strict=True)
    ]
