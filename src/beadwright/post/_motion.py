"""Printed moves to lines of text, in blocks."""

from __future__ import annotations

import numpy as np

from beadwright.post._dialect import Words
from beadwright.post._rounding import PrintedMoves

# Moves formatted by one `%`: large enough that the call costs nothing, small enough for the cache.
BLOCK = 10_000


def motion_lines(moves: PrintedMoves, words: Words) -> str:
    """G1, G2 and G3 lines of some moves, in their order.

    Every line names its G word, its end X Y and, for an arc, its centre's increments I J from the start.

    Parameters
    ----------
    moves : PrintedMoves
        In units of the last place.
    words : Words
        Unit and decimals.

    Returns
    -------
    str
        One line a move, each with its line end.
    """
    digits = f"%.{words.decimals}f"
    line = f"G1 X{digits} Y{digits}\n"
    arc = f" X{digits} Y{digits} I{digits} J{digits}\n"
    formats = np.array(["G2" + arc, line, "G3" + arc], dtype=object)
    numbers = np.stack([moves.end.real, moves.end.imag, moves.centre.real, moves.centre.imag], axis=1)
    # Adding 0.0 makes a plain zero of minus zero.
    numbers = numbers / 10.0**words.decimals + 0.0
    wanted = np.ones(numbers.shape, bool)
    wanted[moves.turn == 0, 2:] = False
    parts: list[str] = []
    for first in range(0, len(numbers), BLOCK):
        block = slice(first, first + BLOCK)
        template = "".join(formats[moves.turn[block] + 1].tolist())
        parts.append(template % tuple(numbers[block][wanted[block]].tolist()))
    return "".join(parts)
