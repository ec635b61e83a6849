"""Contraction per axis: applied to the placed solid about the platform below it, before any section."""

from __future__ import annotations

import math

import cadquery as cq
import numpy as np
import pytest

import beadwright
from beadwright.errors import SettingsError
from tests.pipeline.test_stock import areas, judged


def box():
    return cq.Workplane().box(100, 60, 40, centered=(True, True, False))


def test_one_factor_is_a_similarity():
    # a cylinder stays one: its beads are arcs
    result = beadwright.plan(cq.Workplane().circle(50).extrude(40), contraction=1.01, workers=1)

    assert areas(result)[0] == pytest.approx(math.pi * 50.5**2, rel=1e-12)
    assert result.document["totals"]["moves"]["line"] == 0
    assert result.document["layers"][-1]["z_mm"] == 44.0  # 40.4 mm high
    assert "(contraction x=1.01 y=1.01 z=1.01 at=0.0,0.0,0.0)" in result.program
    # the placement is that without it
    assert np.array(result.document["placement"])[:, :3] == pytest.approx(np.eye(3))


# Linear expansion: 6 m at 10e-6 /K over 85 K are 5.10 mm, so a bar printed 1 / (1 - 0.00085) = 1.000850723 times as
# long is 6 m when it is cold.
def test_a_bar_that_contracts_has_its_size_when_it_is_cold():
    shrink = 10e-6 * 85
    assert 6000 * shrink == pytest.approx(5.10)
    bar = cq.Workplane().box(6000, 100, 3, centered=(True, True, False))
    result = beadwright.plan(bar, contraction=1.000850723, workers=1)
    (layer,) = result.layers
    corners = np.concatenate([loop.points for loop in layer.layer.region.loops])
    long, wide = np.ptp(corners, axis=0)

    assert long * (1 - shrink) == pytest.approx(6000, rel=1e-9)
    assert wide * (1 - shrink) == pytest.approx(100, rel=1e-9)


# the independent checker applies the same words to the file
def test_three_factors_by_an_independent_checker(tmp_path):
    part = box().faces(">Z").workplane().hole(30)
    result, told = judged(
        part, tmp_path, contraction=(1.01, 1.005, 1.02), at=(200, 100), height=8.0, width=9.0
    )
    want = (100 * 60 - math.pi * 15**2) * 1.01 * 1.005

    # the hole is an ellipse now, followed within the tolerance of 0.01
    assert areas(result)[:5] == pytest.approx([want] * 5, abs=0.01 * 2 * math.pi * 15)
    assert "layers_checked 4" in told
    assert "at=200.0,100.0,0.0)" in result.program


def test_names_stay_with_the_faces(tmp_path):
    part = box().edges("|Z").fillet(5)
    plain = beadwright.plan(part, workers=1, height=8.0, width=9.0)
    result = beadwright.plan(part, workers=1, contraction=(1.0, 1.0, 1.05), height=8.0, width=9.0)

    assert [f["kind"] for f in result.document["faces"]] == [f["kind"] for f in plain.document["faces"]]
    # five layers have beads in both, of the same outline
    assert [f["contour_mm"] for f in result.document["faces"]] == pytest.approx(
        [f["contour_mm"] for f in plain.document["faces"]], abs=0.1
    )


def test_it_is_read_as_one_or_three():
    from beadwright.settings import resolve

    assert resolve({"contraction": "1.001"}).settings.contraction == (1.001, 1.001, 1.001)
    assert resolve({"contraction": "1.001,1.002,1.003"}).settings.contraction == (1.001, 1.002, 1.003)
    with pytest.raises(SettingsError, match=r"contraction: .* allowed one factor or three"):
        resolve({"contraction": "1.2"})
    with pytest.raises(SettingsError, match="contraction"):
        resolve({"contraction": "1,1"})
