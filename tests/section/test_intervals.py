"""Heights that planes avoid."""

from __future__ import annotations

import cadquery as cq
import numpy as np

from beadwright import kernel
from beadwright.section import prepare


def test_an_edge_without_a_curve_makes_no_interval() -> None:
    # The apex of a cone is an edge without a curve: its height is that of its vertex.
    cone = cq.Workplane(obj=cq.Solid.makeCone(10.0, 0.0, 20.0))
    model = kernel.from_shape(cone)
    assert any(edge.curve is None for edge in model.edges)

    found = prepare(model).intervals

    assert np.isfinite(found.low).all()
    assert np.isfinite(found.high).all()
    assert (found.low <= found.high).all()
    assert np.allclose(found.low, [0.0, 20.0], atol=1e-9)
