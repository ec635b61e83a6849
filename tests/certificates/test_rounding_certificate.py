"""Rounding: printed moves 1.5 times the bound beside the exact ones are measured so; 0.5 times passes."""

from __future__ import annotations

import math

import numpy as np
import pytest

from beadwright.post._rounding import _arc_bounds, _Moves

# A priori, units of the last place: an arc of up to half a turn.
ARC = 2.42


@pytest.mark.parametrize("share", [0.5, 1.5])
@pytest.mark.parametrize("quarters", [0.3, 1.0, 2.0])
def test_a_printed_arc_moved_as_a_whole(share: float, quarters: float) -> None:
    sweep = quarters * math.pi / 2
    centre, radius = complex(4_000_000, -1_000_000), 250_000.0
    start = centre + radius * np.exp(0.3j)
    end = centre + radius * np.exp(1j * (0.3 + sweep))
    by = share * ARC * np.exp(1.1j)
    one = lambda z: np.array([z], dtype=complex)  # noqa: E731

    moves = _Moves(one(start), one(end), one(start + by), one(end + by), np.array([math.tan(sweep / 4)]))
    # the centre's words are counted from the printed start
    (measured,) = _arc_bounds(moves, one(centre - start))

    assert measured >= share * ARC * (1 - 1e-9)
    assert bool(measured > ARC) is (share > 1.0)


@pytest.mark.parametrize("share", [0.5, 1.5])
def test_a_centre_of_half_a_turn_that_is_off_across(share: float) -> None:
    """The ends as they are and the centre off sideways to the chord: so is the middle of half a turn."""
    centre, radius = complex(4_000_000, -1_000_000), 250_000.0
    by = share * ARC
    one = lambda z: np.array([z], dtype=complex)  # noqa: E731
    moves = _Moves(
        one(centre - radius),
        one(centre + radius),
        one(centre - radius),
        one(centre + radius),
        np.array([1.0]),
    )

    (measured,) = _arc_bounds(moves, one(radius + 1j * by))

    assert measured >= by * (1 - 1e-9)
    assert bool(measured > ARC) is (share > 1.0)
