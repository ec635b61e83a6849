"""Sections that are nearly lines, fall apart into lines, or run along a surface: kinds, bounds, what is listed.

Every expected value is a closed form, written beside it.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from beadwright import brep, kernel, section
from beadwright.curves import CurveKind, chain_measures
from tests.section.test_published_volumes import hyperboloid, turned

cq = pytest.importorskip("cadquery")


def cut_one(model: brep.Model, z: float) -> section.Section:
    return section.cut(section.prepare(model), [z])[0]


def tilted(model: brep.Model, angle: float) -> brep.Model:
    """Turned about y, so that x rises by the angle."""
    c, s = math.cos(angle), math.sin(angle)
    return brep.placed(model, np.array([[c, 0.0, -s, 0.0], [0.0, 1.0, 0.0, 0.0], [s, 0.0, c, 0.0]]))


def area(found: section.Section) -> float:
    return float(chain_measures(found.loops)[0].sum())


def kinds(found: section.Section) -> set[int]:
    return {int(k) for k in found.loops.kind}


def moved(found: section.Section, curve: int, by: float) -> section.Section:
    """One straight curve moved sideways as a whole."""
    ends = found.loops.ends.copy()
    along = ends[curve, 2:] - ends[curve, :2]
    across = np.array([-along[1], along[0]]) / np.hypot(*along)
    ends[curve] += by * np.tile(across, 2)
    return replace(found, loops=replace(found.loops, ends=ends))


@pytest.fixture(scope="module")
def rod() -> brep.Model:
    """Along x: radius 100, length 2000."""
    return kernel.from_shape(cq.Workplane("YZ").circle(100).extrude(1000, both=True))


@pytest.fixture(scope="module")
def spike() -> brep.Model:
    """A cone along x with its apex at the origin: radius 200 at 300."""
    return kernel.from_shape(cq.Workplane(cq.Solid.makeCone(0.0, 200.0, 300.0, dir=cq.Vector(1, 0, 0))))


@pytest.mark.parametrize("angle", [0.0, 1e-9, 3e-7, 9e-7])
def test_a_rod_hardly_tilted_is_cut_in_lines_that_say_how_far_they_stray(
    rod: brep.Model, angle: float
) -> None:
    model = tilted(rod, angle)
    found = cut_one(model, 60.0)

    assert kinds(found) == {CurveKind.LINE}
    # y^2 = r^2 - (z - tilt x)^2 strays from its tangent in the middle by half its second derivative
    # tilt^2 r^2 / y^3 times half the length squared, on each half of the rod; y = 80 there. The ends are taken
    # to the nodes, by as much again.
    stray = 0.5 * angle**2 * 100.0**2 / 80.0**3 * 500.0**2
    assert found.bound == pytest.approx(2.0 * stray, rel=1e-3, abs=1e-11)
    checked = section.verify_loops(model, found, proof=True)
    assert checked.excess <= 0.0
    assert checked.proven.all()


@pytest.mark.parametrize("share", [0.5, 1.5])
def test_a_line_moved_off_a_rod_hardly_tilted(rod: brep.Model, share: float) -> None:
    model = tilted(rod, 9e-7)
    found = cut_one(model, 60.0)
    lengths = np.hypot(*(found.loops.ends[:, 2:] - found.loops.ends[:, :2]).T)
    curve = int(np.argmax(lengths))
    # The line is the chord between two nodes, and lies inside the curve between them: moved outwards by a share
    # of its bound it is off by just that share at its ends, and by less elsewhere.
    x0, y0, x1, _ = found.loops.ends[curve]
    outward = 1.0 if (y0 > 0.0) == (x1 > x0) else -1.0
    bound = float(found.loops.bound[curve])

    checked = section.verify_loops(model, moved(found, curve, outward * share * bound), proof=True)

    assert checked.deviation[curve] == pytest.approx(share * bound, rel=0.15)  # the proof rounds up
    assert (checked.excess > 0.0) is (share > 1.0)


@pytest.mark.parametrize("past", [0.0, 1e-9, 1e-6, 1e-3])
def test_a_plane_past_an_apex_keeps_the_corner(spike: brep.Model, past: float) -> None:
    found = cut_one(spike, past)

    # Through the apex a triangle 300 by 400; beside it a hyperbola, which loses past^2 times a logarithm
    assert area(found) == pytest.approx(60000.0, abs=1e-4)
    assert found.loops.closed.all()
    assert found.loops.n_chains == 1
    assert found.model == 0.0
    assert found.counters == section.Counters()
    round_side = {
        int(k)
        for k, f in zip(found.loops.kind, found.loops.face, strict=True)
        if isinstance(spike.faces[f].surface, brep.RevolutionSurface)
    }
    assert round_side == {CurveKind.LINE if past < 1e-8 else CurveKind.HYPERBOLA}
    # The hyperbola's vertex is past / tan(half angle) = 1.5 past from the apex; else it is the curve itself.
    vertex = 1.5 * past
    assert found.bound < (5.0 * vertex if past < 1e-8 else 0.0) + 1e-11


def test_a_plane_past_a_far_apex_gives_lines(spike: brep.Model) -> None:
    # The frustum's own apex is 100 away: lines within past^2 / (2 y) of the hyperbola, whatever the corner does.
    model = kernel.from_shape(cq.Workplane(cq.Solid.makeCone(50.0, 200.0, 300.0, dir=cq.Vector(1, 0, 0))))
    found = cut_one(model, 1e-4)

    assert kinds(found) == {CurveKind.LINE}
    checked = section.verify_loops(model, found, proof=True)
    assert checked.excess <= 0.0
    assert found.bound == pytest.approx(0.5 * 1e-8 / 50.0, rel=2.0, abs=1e-11)
    assert area(found) == pytest.approx(300.0 * (100.0 + 400.0) / 2.0, rel=1e-9)


def test_tangent_plane_of_a_hyperboloid_at_its_waist_is_two_lines() -> None:
    # x = a on x^2 + y^2 = a^2 (1 + z^2 / c^2): |y| = a |z| / c, at 56.30993247402 degrees to y for a 100, c 150
    found = cut_one(turned(hyperboloid(), (1.0, 0.0, 0.0)), 100.0)

    assert kinds(found) == {CurveKind.LINE}
    assert found.loops.closed.all()
    assert found.counters == section.Counters()
    slanted = [
        e for e, f in zip(found.loops.ends, found.loops.face, strict=True) if f == found.near_tangent[0].face
    ]
    assert len(slanted) == 4
    for x0, y0, x1, y1 in slanted:
        leg = sorted((abs(x1 - x0), abs(y1 - y0)))
        assert math.degrees(math.atan2(leg[1], leg[0])) == pytest.approx(56.30993247402, abs=1e-10)
        # one end is the crossing, at the waist
        assert min(math.hypot(x0, y0), math.hypot(x1, y1)) < 1e-12
    # two triangles 200 high and 2 x 100 x 200 / 150 wide
    assert area(found) == pytest.approx(200 * 2 * 100 * 200 / 150, rel=1e-12)
    assert found.bound < 1e-7
    # listed: the four halves at the crossing, sqrt(2 d R) with R = c^2 / a = 225 and d some roundings of 300 mm
    assert len(found.near_tangent) == 4
    assert all(1e-7 < n.uncertainty < math.sqrt(2 * 1e-12 * 225) for n in found.near_tangent)


@pytest.mark.parametrize(
    ("normal", "distance", "kind"),
    [((1, 0, 0), 60.0, CurveKind.HYPERBOLA), ((1, 0, 0), 130.0, CurveKind.HYPERBOLA),
     ((0.1, 0.0, 1.0), 20.0, CurveKind.ELLIPSE)],
)  # fmt: skip
def test_hyperboloid_is_cut_in_conics(
    normal: tuple[float, float, float], distance: float, kind: CurveKind
) -> None:
    model = turned(hyperboloid(), normal)
    found = cut_one(model, distance)

    assert kind in kinds(found)
    assert kinds(found) <= {kind, CurveKind.LINE}
    assert found.bound < 1e-10
    assert found.loops.closed.all()
    if kind == CurveKind.ELLIPSE:
        # X = x cos t - z sin t with tan t = 0.1: an ellipse of the quadric x^2 + y^2 - (a z / c)^2 = a^2
        t, k = math.atan(0.1), (100.0 / 150.0) ** 2
        c, s = math.cos(t), math.sin(t)
        # in the plane: x = X c + d s, z = d c - X s: A X^2 + 2 B X + y^2 = F
        a = c * c - k * s * s
        b = distance * c * s * (1.0 + k)
        f = 100.0**2 - distance**2 * (s * s - k * c * c) + b * b / a
        assert area(found) == pytest.approx(math.pi * f / math.sqrt(a), rel=1e-11)
    else:
        # |y| <= sqrt(a^2 - d^2 + (a z / c)^2) where that is real
        def half(z: float) -> float:
            return math.sqrt(max(0.0, 1e4 - distance**2 + (z / 1.5) ** 2))

        # integral of sqrt(p + q z^2) by Gauss-Legendre from the vertex (or 0) to 200 in the angle
        low = 1.5 * math.sqrt(max(0.0, distance**2 - 1e4))
        x, w = np.polynomial.legendre.leggauss(60)
        u = 0.5 * (x + 1.0)
        z = low + (200.0 - low) * u * u
        total = float(np.sum(w * 0.5 * 2.0 * u * (200.0 - low) * np.array([half(v) for v in z])))
        assert area(found) == pytest.approx(4.0 * total, rel=1e-9)


def test_a_plane_near_the_top_of_a_ball_is_listed() -> None:
    # 1e-8 below the pole of R = 100 the circle has r = sqrt(2 R 1e-8), the angle r / R = 1.4e-5 < 1e-4
    model = kernel.from_shape(cq.Workplane().sphere(100))
    near, far = section.cut(section.prepare(model), [100.0 - 1e-8, 100.0 - 1e-5])

    (entry,) = near.near_tangent
    assert 1e-7 < entry.uncertainty < math.sqrt(2 * 1e-12 * 100)
    # r / R = 4.5e-4: not listed, and the bound holds rounding over the angle
    assert far.near_tangent == ()
    assert 1e-13 / 4.5e-4 < far.bound < 1e-12 / 4.5e-4


@pytest.mark.parametrize("share", [0.5, 1.5])
def test_a_circle_near_the_top_of_a_ball_with_the_wrong_radius(share: float) -> None:
    model = kernel.from_shape(cq.Workplane().sphere(100))
    (found,) = section.cut(section.prepare(model), [100.0 - 1e-5])
    circle = found.loops.circle.copy()
    before = section.verify_loops(model, found)
    circle[0, 2] += share * found.loops.bound[0]
    ends = found.loops.ends * (circle[0, 2] / found.loops.circle[0, 2])
    planted = replace(found, loops=replace(found.loops, circle=circle, ends=ends))

    checked = section.verify_loops(model, planted)

    assert before.excess <= 0.0
    assert bool(checked.deviation[0] > found.loops.bound[0]) is (share > 1.0)


@pytest.mark.parametrize(
    ("shape", "z", "radius"),
    [
        # lying rod, 1e-8 below its top: half width sqrt(2 r 1e-8), angle 1.4e-5
        ("rod", 100.0 - 1e-8, 100.0),
        # torus, 1e-7 below its top circle: angle sqrt(2 1e-7 / 200) = 3.2e-5
        ("ring", 200.0 - 1e-7, 200.0),
    ],
)
def test_a_plane_along_a_surface_is_listed(rod: brep.Model, shape: str, z: float, radius: float) -> None:
    model = rod if shape == "rod" else kernel.from_shape(cq.Workplane(cq.Solid.makeTorus(500, 200)))
    found = cut_one(model, z)

    assert len(found.near_tangent) >= 2
    for entry in found.near_tangent:
        assert 1e-7 < entry.uncertainty < math.sqrt(2 * 1e-11 * radius)
        assert entry.at[2] == z
    # what is not nearly tangent keeps the usual bound
    assert found.bound < 1e-6
    assert cut_one(model, 0.5 * z).near_tangent == ()
