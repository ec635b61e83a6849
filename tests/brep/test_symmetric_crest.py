"""The lowest point of a symmetric surface lies on the line between two of its spline pieces, and is found."""

from __future__ import annotations

from pathlib import Path

import pytest

from beadwright.brep import extents
from beadwright.kernel import read_step

HULL = Path(__file__).parents[2] / "step_examples" / "tender_hull_surface.step"


# The CAD kernel's own optimal box (BRepBndLib::AddOptimal of Open CASCADE, without triangles and gaps).
def test_the_keel_of_a_symmetric_hull_is_its_lowest_point() -> None:
    low, high = extents(read_step(HULL, walls=True))[:, 2]
    assert low == pytest.approx(11.113756973974, abs=1e-6)
    assert high == pytest.approx(420.0, abs=1e-6)
