"""The kernel as referee, itself held to closed forms."""

from __future__ import annotations

import math

import cadquery as cq
import numpy as np
import pytest
import shapely

from beadwright import brep, kernel
from beadwright.errors import GeometryError


@pytest.fixture(scope="module")
def ring() -> brep.Model:
    """A torus, radii 30 and 8, about z."""
    return kernel.from_shape(cq.Workplane(obj=cq.Solid.makeTorus(30, 8)), name="ring")


@pytest.mark.parametrize("z", [0.1, 3.0, -7.5])
def test_rings_of_a_torus(ring: brep.Model, z: float) -> None:
    # Two circles about the axis: area pi ((R + h)^2 - (R - h)^2) = 4 pi R h, h = sqrt(r^2 - z^2).
    r = kernel.reference_section(ring, z)
    h = math.sqrt(64 - z * z)

    assert r.closed
    assert r.uncorrected == 0
    assert r.area == pytest.approx(4 * math.pi * 30 * h, rel=1e-7)
    assert r.length == pytest.approx(4 * math.pi * 30, rel=1e-4)


def test_a_turned_and_scaled_torus(ring: brep.Model) -> None:
    # Through its axis, beside its seams: two discs of radius 8, scaled by 2. Volume 2 pi^2 R r^2.
    matrix = brep.placement(ring, 2.0, (90, 45, 0), (50, 60))
    r = kernel.reference_section(ring, 76.0, matrix)

    assert r.area == pytest.approx(2 * math.pi * 16**2, rel=1e-7)
    assert np.concatenate(r.chains).mean(axis=0) == pytest.approx([50, 60], abs=1.0)
    assert kernel.volume(ring) == pytest.approx(2 * math.pi**2 * 30 * 64, rel=1e-9)


def test_one_face(ring: brep.Model) -> None:
    curves = kernel.face_section(ring, 0, 3.0)
    radii = np.linalg.norm(np.concatenate(curves), axis=1)

    assert np.abs(np.abs(radii - 30) - math.sqrt(55)).max() < 1e-9
    with pytest.raises(GeometryError, match="no face 9"):
        kernel.face_section(ring, 9, 3.0)


def test_solids_that_touch_are_measured_one_by_one() -> None:
    a = cq.Workplane().box(10, 10, 10)
    b = cq.Workplane().box(10, 10, 10).translate((10, 0, 0))
    m = kernel.from_shape(cq.Workplane(obj=cq.Compound.makeCompound([a.val(), b.val()])))
    r = kernel.reference_section(m, 1.0)

    assert r.closed
    assert r.area == pytest.approx(200.0, rel=1e-12)


def test_a_void_is_taken_off() -> None:
    m = kernel.from_shape(cq.Workplane().box(20, 20, 20).cut(cq.Workplane().sphere(6)))

    assert kernel.reference_section(m, 2.0).area == pytest.approx(400 - math.pi * 32, rel=1e-9)
    assert m.volume == pytest.approx(8000 - 288 * math.pi, rel=1e-9)
    assert [len(s.faces) for s in m.shells] == [6, 1]


def bumped() -> brep.Model:
    """A bar 600 long whose one side is a spline with a bump of 0.8 mm, some 6 mm wide."""
    x = np.concatenate([np.linspace(0, 290, 30), np.linspace(292, 308, 9), np.linspace(310, 600, 30)])
    y = 40 + 10 * np.sin(x / 120) + 0.8 * np.exp(-(((x - 300) / 3) ** 2))
    side = [(float(a), float(b)) for a, b in zip(x, y, strict=True)]
    wire = (
        cq.Workplane().moveTo(0, 0).lineTo(600, 0).lineTo(*side[-1]).spline(side[-2::-1], includeCurrent=True)
    )
    return kernel.from_shape(wire.close().extrude(20, taper=6), name="bar")


@pytest.mark.parametrize("miss", [1e-5, 1e-3])
def test_few_points_miss_no_more_than_asked(ring: brep.Model, miss: float) -> None:
    h = math.sqrt(64 - 9)
    for model, z in ((ring, 3.0), (bumped(), 7.0)):
        full, few = kernel.reference_section(model, z), kernel.reference_section(model, z, miss=miss)
        fine, thin = (np.concatenate([curve(chain, 8) for chain in r.chains]) for r in (full, few))
        dense = [curve(chain, 128) for chain in few.chains]
        chords = np.concatenate([np.stack([c[:-1], c[1:]], axis=1) for c in dense])
        tree = shapely.STRtree(shapely.linestrings(chords))

        assert (few.closed, few.uncorrected, len(few.chains)) == (True, 0, len(full.chains))
        assert len(np.concatenate(few.chains)) < 0.6 * len(np.concatenate(full.chains))
        # chords of R 37 that are 1/128 of a 96th of a turn long: a sagitta of 1.3e-6
        _, far = tree.query_nearest(shapely.points(fine), all_matches=False, return_distance=True)
        assert far.max() <= miss + 1e-5
        if model is ring:
            off = np.abs(np.abs(np.hypot(*thin.T) - 30) - h)
            assert off.max() <= miss


def curve(chain: np.ndarray, each: int) -> np.ndarray:
    """Points of the parabolas of a chain."""
    t = np.linspace(0, 1, each, endpoint=False)[:, None, None]
    a, b, c = chain[0:-2:2], chain[1:-1:2], chain[2::2]
    at = a * (1 - t) * (1 - 2 * t) + 4 * b * t * (1 - t) + c * t * (2 * t - 1)
    return np.concatenate([at.transpose(1, 0, 2).reshape(-1, 2), chain[-1:]])
