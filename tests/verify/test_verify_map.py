"""A map of the platform that is given to the verifier is read whole or refused."""

from __future__ import annotations

import pytest

from beadwright.errors import InputError
from beadwright.verify._bed import grid_of

ROWS = "0,0,1\n10,0,2\n20,0,3\n0,5,4\n10,5,5\n20,5,6\n"


@pytest.mark.parametrize("head", ["", "x,y,z\n", "X mm; Y mm; Z mm\n", "# measured hot\n\nx\ty\tz\n"])
def test_heights_stand_at_their_places(head: str) -> None:
    grid = grid_of(head + ROWS, "map.csv", layers=3)

    assert grid.x.tolist() == [0.0, 10.0, 20.0]
    assert grid.y.tolist() == [0.0, 5.0]
    assert grid.z.tolist() == [[1.0, 2.0, 3.0], [4.0, 5.0, 6.0]]


@pytest.mark.parametrize("bad", ["10,0,nan", "10,0", "10,0,2,9", "10,0,two", "x,y,z"])
def test_a_broken_row_is_refused_with_its_line(bad: str) -> None:
    # Without its middle column this map would still be a full, coarser grid.
    broken = ROWS.replace("10,0,2", bad).replace("10,5,5\n", "")

    with pytest.raises(InputError, match=r"^map\.csv:2: expected three numbers"):
        grid_of(broken, "map.csv", layers=3)
