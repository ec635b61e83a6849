"""Rounded corners: closed forms of the arc, what it costs, and which corners stay sharp."""

from __future__ import annotations

import math

import numpy as np
import pytest

from beadwright.beads import contour_beads, rounded
from beadwright.curves import ArcPath, ArcRegion, distances, length, region_area
from beadwright.layers import LayerPlan, LayerRegion


def layer(points, bulge=None, faces=None) -> LayerRegion:
    at = np.array(points, float)
    loop = ArcPath(
        points=at,
        bulge=np.zeros(len(at)) if bulge is None else np.array(bulge, float),
        face=np.arange(len(at), dtype=np.int32) if faces is None else np.array(faces, np.int32),
        support=np.full(len(at), -1, np.int32),
    )
    region = ArcRegion(loops=(loop,), supports=np.zeros((0, 4)))
    plan = LayerPlan(index=0, z0=0.0, z=4.0, height=4.0, section_z=(2.0,))
    return LayerRegion(
        plan=plan,
        section_z=(2.0,),
        region=region,
        area=region_area(region),
        perimeter=length(loop),
        n_loops=1,
        n_holes=0,
    )


def laid(own, **options):
    return contour_beads(own, width=8.4, height=4.0, spacing=8.4, contours=1, **options)


def both(own, radius, amounts=None):
    sharp = laid(own)
    return sharp, rounded(own, sharp, radius=radius, amounts=amounts or {})


@pytest.mark.parametrize("sides", [3, 4, 6])
def test_a_polygon_s_corners_cost_what_the_closed_form_says(sides) -> None:
    """(1 / sin(phi / 2) - 1) r: 60, 90 and 120 degrees; each arc saves 2 r tan(t / 2) - r t, t = pi - phi."""
    way = 2 * math.pi * np.arange(sides) / sides
    own = layer(120 * np.column_stack([np.cos(way), np.sin(way)]))
    sharp, round_ = both(own, 3.0)
    turn = 2 * math.pi / sides
    (bead,) = round_.beads

    assert round_.rounded == sides
    assert round_.corner == pytest.approx((1 / math.sin((math.pi - turn) / 2) - 1) * 3.0, abs=1e-9)
    saved = sides * (2 * 3.0 * math.tan(turn / 2) - 3.0 * turn)
    assert length(sharp.beads[0].path) - length(bead.path) == pytest.approx(saved, abs=1e-9)
    arc = np.flatnonzero(bead.path.bulge)
    assert 4 * np.arctan(bead.path.bulge[arc]) == pytest.approx(np.full(sides, turn), abs=1e-9)
    assert set(bead.path.face[arc].tolist()) == {-1}
    # every corner lies that far from the rounded path, and the rounded path nowhere farther from the sharp one
    assert distances([bead.path], sharp.beads[0].path.points) == pytest.approx(round_.corner, abs=1e-9)
    assert distances([sharp.beads[0].path], bead.path.points).max() <= round_.corner
    assert round_.findings == sharp.findings


def test_a_corner_between_a_line_and_an_arc() -> None:
    """Half a disc of radius 60: the centreline's corners lie between a chord 4.2 mm in and a circle of 55.8 mm."""
    own = layer([(-60, 0), (60, 0)], bulge=[0, 1])
    sharp, round_ = both(own, 5.0)
    (bead,) = round_.beads

    assert round_.rounded == 2
    # centre of the arc: 4.2 + 5 above the chord, 55.8 - 5 from the middle
    centre = np.array([math.sqrt((55.8 - 5) ** 2 - 9.2**2), 9.2])
    corner = np.array([math.sqrt(55.8**2 - 4.2**2), 4.2])
    assert round_.corner == pytest.approx(np.hypot(*(corner - centre)) - 5.0, abs=1e-8)
    assert np.hypot(*(bead.path.points - centre).T).min() == pytest.approx(5.0, abs=1e-8)
    # joints of the rounded bead are smooth
    chord = np.roll(bead.path.points, -1, axis=0) - bead.path.points
    way, half = np.arctan2(chord[:, 1], chord[:, 0]), 2 * np.arctan(bead.path.bulge)
    jump = np.remainder(way - half - np.roll(way + half, 1) + np.pi, 2 * np.pi) - np.pi
    assert np.abs(jump).max() < 1e-7
    assert sharp.beads[0].path.points.shape[0] + 2 == len(bead.path.points)


def test_two_arcs_meet_in_a_lens() -> None:
    """Two circles of 100 mm whose centres are 120 mm apart: the arc's centre lies 100 - 4.2 - r from both."""
    own = layer([(0, -80), (0, 80)], bulge=[0.5, 0.5])
    _, round_ = both(own, 2.0)

    centre = math.sqrt((100 - 4.2 - 2.0) ** 2 - 60**2)
    corner = math.sqrt((100 - 4.2) ** 2 - 60**2)
    assert round_.rounded == 2
    assert round_.corner == pytest.approx(corner - centre - 2.0, abs=1e-8)


def test_neighbours_that_are_too_short_are_told_with_their_place() -> None:
    """A step of 5 mm between two corners is shorter than both their tangents of 3 mm: one corner stays."""
    ring = [(0, 0), (100, 0), (100, 40), (95, 45), (0, 45)]
    _, round_ = both(layer(ring), 8.0)

    # on the centreline the step is 5 sqrt(2) - 2 x 4.2 tan(22.5 deg) = 3.59 mm, each tangent 8 tan(22.5 deg) = 3.31 mm
    (told,) = [finding for finding in round_.findings if finding.code == "corner-not-rounded"]
    assert told.level == "warning"
    assert told.measured == 1
    assert round_.rounded == 4
    assert told.at_mm is not None


def test_corners_stay_sharp_where_stock_is_less_than_what_they_lose() -> None:
    """At 90 degrees a bead of 8.4 on an arc of 4 loses (sqrt(2) - 1)(4 + 4.2) = 3.397 mm: 3 mm of stock do not do."""
    ring = [(0, 0), (100, 0), (100, 60), (0, 60)]
    _, some = both(layer(ring), 4.0, {0: 3.0, 2: 3.4})
    (told,) = [finding for finding in some.findings if finding.code == "corner-needs-stock"]

    assert some.rounded == 2
    assert told.measured == pytest.approx((math.sqrt(2) - 1) * 8.2, abs=1e-9)
    assert (told.allowed, told.level) == (3.0, "note")


def test_an_arc_beyond_the_bead_s_own_reach_is_refused() -> None:
    """(sqrt(2) - 1) 10 = 4.14 mm would leave the corner of the centreline without a bead 8.4 mm wide."""
    _, round_ = both(layer([(0, 0), (100, 0), (100, 60), (0, 60)]), 10.0)

    assert round_.rounded == 0
    # there is room for it, so nothing is said of moves that were too short
    (told,) = round_.findings
    assert (told.code, told.level) == ("corner-too-sharp", "warning")
    assert told.measured == pytest.approx((math.sqrt(2) - 1) * 10, abs=1e-9)
    assert told.allowed == pytest.approx(0.9 * 4.2)
    assert "4 corner(s) stay sharp" in told.text
