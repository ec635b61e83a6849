"""How fast regions are offset: ratios against an arc library and a polygon buffer in the same run."""

from __future__ import annotations

import math
import time

import numpy as np
import pytest
from shapely.geometry import Polygon

from beadwright.arcs import offset, subtract, unite
from tests.arcs import _build_regions as make

# A compiled library to compare with; not among the package's own needs.
cavaliercontours = pytest.importorskip("cavaliercontours")
pytestmark = pytest.mark.bench


def milliseconds(work, *given, repeats=12, **named):
    work(*given, **named)
    best = math.inf
    for _ in range(repeats):
        begin = time.perf_counter()
        work(*given, **named)
        best = min(best, time.perf_counter() - begin)
    return 1e3 * best


def flattened(loop, chord=1e-3):
    """Corners whose chords stray by at most 1 um from the arcs."""
    points = []
    for a, b, bulge in zip(loop.points, np.roll(loop.points, -1, 0), loop.bulge, strict=True):
        z0, z1 = complex(*a), complex(*b)
        if bulge == 0:
            points.append(z0)
            continue
        centre = (z0 + z1) / 2 + 1j * (z1 - z0) * (1 - bulge**2) / (4 * bulge)
        step = 2 * math.acos(max(0.0, 1 - chord / abs(z0 - centre)))
        sweep = 4 * math.atan(bulge)
        count = max(1, math.ceil(abs(sweep) / step))
        points += list(centre + (z0 - centre) * np.exp(1j * sweep * np.arange(count) / count))
    points = np.array(points)
    return np.c_[points.real, points.imag]


def cases():
    rng = np.random.default_rng(5)
    yield "blob, 200 arcs", make.region(make.blob(rng, 200)), 4.2
    yield "blob, 2,000 arcs", make.region(make.blob(rng, 2000, radius=700.0)), 4.2
    yield "gear, 480 moves", make.region(make.gear(120, 280, 300)), 3.0
    yield "plate, 20 holes", make.holed_plate(rng, 20), 5.0


def loop_by_loop(lines, distance):
    return [line.parallel_offset(distance, False) for line in lines]


def test_offsets(capsys):
    rows = []
    for name, region, distance in cases():
        ours = milliseconds(offset, region, distance=distance)
        lines = [
            cavaliercontours.Polyline(np.c_[loop.points, loop.bulge].T, is_closed=True)
            for loop in region.loops
        ]
        arcs = milliseconds(loop_by_loop, lines, distance, repeats=4)
        polygon = Polygon(flattened(region.loops[0]), [flattened(loop) for loop in region.loops[1:]])
        quarter = math.ceil(math.pi / 4 / math.acos(1 - 1e-3 / distance))
        buffer = milliseconds(polygon.buffer, -distance, quad_segs=quarter, repeats=4)
        rows.append((name, ours, arcs, buffer))
    with capsys.disabled():
        print("\noffset, ms              ours, audited   arc library (wheel)   polygon buffer at 1 um")
        for name, ours, arcs, buffer in rows:
            ratios = f"({arcs / ours:4.1f} x) {buffer:16.2f} ({buffer / ours:4.1f} x)"
            print(f"{name:24s}{ours:8.2f} {arcs:14.2f} {ratios}")
    # Loop by loop the arc library has no islands, so that the plate is less of a task for it.
    assert all(ours < arcs for name, ours, arcs, _ in rows if not name.startswith("plate"))


def test_booleans(capsys):
    rng = np.random.default_rng(6)
    with capsys.disabled():
        print()
        for arcs in (200, 2000):
            a, b = make.region(make.blob(rng, arcs)), make.region(make.blob(rng, arcs))
            union, less = milliseconds(unite, (a, b)), milliseconds(subtract, a, b)
            first, second = (Polygon(flattened(r.loops[0])) for r in (a, b))
            polygons = milliseconds(first.union, second)
            print(
                f"blobs of {arcs} arcs, ms: union {union:.2f}, difference {less:.2f}, polygons {polygons:.2f}"
            )
