"""Rounding: a word of the printed text off by 1.5 times the bound is measured so; 0.5 times passes."""

from __future__ import annotations

import math
import re
from collections.abc import Callable

import numpy as np
import pytest

from beadwright.curves import ArcPath
from beadwright.post import Words
from beadwright.post._rounding import Moves, strays
from beadwright.verify import read
from tests.post._build_programs import bead, path, program

# What is told: 4 decimals move a straight move by half a diagonal, an arc of up to half a turn by 2.42 units of the
# last place. The text itself is printed a thousand times finer, so that nearly all of its error is the planted one.
UNIT = 1e-4
LINE, ARC = math.sqrt(0.5) * UNIT, 2.42 * UNIT
FINE = Words(decimals=7)
WORD = re.compile(r"([A-Z])(-?\d+\.\d+)")


def one_move(points: list[tuple[float, float]], bulge: float) -> ArcPath:
    return path(points, [bulge], closed=False)


def changed(text: str, move: str, letters: str, by: float) -> str:
    """The text with the words of some letters off, in the lines of the bead's own moves and of the way to it."""
    lines = text.split("\n")
    first = next(k for k, line in enumerate(lines) if line.startswith("(bead "))
    way = max(k for k, line in enumerate(lines[:first]) if line.startswith("G0 X"))
    own = next(k for k, line in enumerate(lines) if k > first and line.startswith(move))

    def moved(found: re.Match[str]) -> str:
        letter, number = found.groups()
        return f"{letter}{float(number) + by:.9f}" if letter in letters else found[0]

    for k in (way, own) if "X" in letters and move != "G1" else (own,):
        assert WORD.sub(moved, lines[k]) != lines[k]
        lines[k] = WORD.sub(moved, lines[k])
    return "\n".join(lines)


def measured(text: str, exact: ArcPath) -> float:
    """What the check of what was rounded makes of the text's words, as the verifier's own reader reads them, mm."""
    moves = read(text).moves
    (row,) = np.flatnonzero(moves.flow & (moves.length > 0))
    start, end = (complex(*place[row, :2]) for place in (moves.start, moves.end))
    turn = np.array([np.sign(moves.sweep[row])], dtype=np.int8)
    centre = complex(*moves.centre[row]) - start if turn[0] else 0j
    p, q = (np.array([complex(*point)]) for point in exact.points)
    own = Moves(p, q, np.array([start]), np.array([end]), exact.bulge)
    return float(strays(own, np.array([centre]), turn)[0])


def printed(exact: ArcPath) -> str:
    text, *_ = program([[bead(exact)]], words=FINE)
    return text


def held(exact: ArcPath, bound: float, plant: Callable[[str, float], str]) -> None:
    text = printed(exact)
    assert measured(text, exact) < bound / 300
    for share in (0.5, 1.5):
        off = measured(plant(text, share * bound), exact)
        assert off >= share * bound * (1 - 1e-2)
        assert (off > bound) is (share > 1.0)


def test_a_straight_move_whose_end_is_off() -> None:
    held(one_move([(403.2, -99.7), (471.9, -31.3)], 0.0), LINE, lambda text, by: changed(text, "G1", "X", by))


@pytest.mark.parametrize("quarters", [-2.0, -1.0, 0.3, 1.0, 2.0])
def test_an_arc_that_is_off_as_a_whole(quarters: float) -> None:
    """Its centre's words are counted from its start, so two X words move all of it."""
    centre, radius, sweep = complex(400, -100), 25.0, quarters * math.pi / 2
    ends = [centre + radius * np.exp(1j * angle) for angle in (0.3, 0.3 + sweep)]
    exact = one_move([(z.real, z.imag) for z in ends], math.tan(sweep / 4))
    move = "G3" if quarters > 0 else "G2"

    held(exact, ARC, lambda text, by: changed(text, move, "X", by))


def test_a_centre_of_half_a_turn_that_is_off_across() -> None:
    """The ends as they are and the centre's word off sideways to the chord: so is the middle of half a turn."""
    held(
        one_move([(375.0, -100.0), (425.0, -100.0)], 1.0), ARC, lambda text, by: changed(text, "G3", "J", by)
    )
