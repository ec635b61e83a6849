"""The plot of what is known of each layer."""

from __future__ import annotations

import io

import numpy as np
import pytest

from beadwright.report import column_plot


def test_a_lane_of_nearly_equal_values_is_drawn_inside_its_frame() -> None:
    pytest.importorskip("matplotlib")
    from matplotlib.image import imread

    rows = [{"z_mm": 4.0 * k, "bounds_mm": {"total": 7.19e-5 + 1e-12 * k}} for k in range(3)]
    picture = imread(io.BytesIO(column_plot(rows, title="part", kind="png")), format="png")[..., :3]
    drawn = (np.abs(picture - np.array([0x4D, 0x51, 0xA8]) / 255) < 0.02).all(axis=2)
    frame = np.flatnonzero((picture.max(axis=2) < 0.3).sum(axis=0) > 0.5 * len(picture))

    assert drawn.sum() > 0.3 * len(picture)
    # The line stands left of the frame's right side by some hundredths of its width.
    assert np.flatnonzero(drawn.any(axis=0)).max() < frame.max() - 0.02 * (frame.max() - frame.min())
