"""Axes of an ellipse from its rational pieces, against the numbers that it was built from."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from beadwright.report._ellipse import KNOWN_AXES, ellipse_arc
from tests.report._sections import Section


@settings(deadline=None)
@given(
    st.tuples(st.floats(-3000, 3000), st.floats(-3000, 3000)),
    st.floats(1.0, 3000.0),
    st.floats(0.01, 0.99),
    st.floats(0.0, np.pi),
    st.floats(-np.pi, np.pi),
    st.floats(0.05, 2 * np.pi),
    st.sampled_from([-1.0, 1.0]),
    st.integers(4, 6),
    st.floats(0.1, 10.0),
)
def test_axes_come_back(centre, a, ratio, turn, t0, sweep, way, n, scale):
    section = Section().ellipse(centre, a, a * ratio, turn, t0, way * sweep, n=n, scale=scale)
    arc = ellipse_arc(section.close(closed=False).loops(), 0)
    half = sweep / n / 2
    # what rounding of the given control points alone may do to the centre: some eps * size / half^2
    known = 1e-15 * (3000 * 2 + a / ratio) / half**2
    if arc is None:
        assert known > KNOWN_AXES / 100
        return
    assert np.hypot(*(arc.centre - centre)) < 100 * known
    assert abs(np.hypot(*arc.major) - a) < 100 * known / ratio
    assert abs(arc.sweep - way * sweep) < 1e-12 / half
    t = np.array([arc.start, arc.start + arc.sweep])
    true = np.array([t0, t0 + way * sweep])
    c, s = np.cos(turn), np.sin(turn)
    ends = np.column_stack((a * np.cos(true), a * ratio * np.sin(true))) @ np.array([[c, s], [-s, c]])
    assert np.abs(arc.points(t) - centre - ends).max() < 1e-8
