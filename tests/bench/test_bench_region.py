"""How fast regions are offset: ratios against an arc library and two polygon libraries in the same run.

Seconds of one thread's processor time, the least of several. The polygon ways are as true as ours is asked to be: the
chord is made finer until no place of the result, by distance from the exact source, is off by more than 1 um.
"""

from __future__ import annotations

import math
import time

import numpy as np
import pytest
from shapely.geometry import Polygon

from beadwright.arcs import _offset, offset, subtract, unite
from beadwright.arcs._kernels.region_audit import audit
from beadwright.arcs._kernels.region_link import UNION, link, moves
from beadwright.arcs._kernels.region_raw import raw_curve
from beadwright.arcs._region import EPS, TAU, arranged, crooked
from beadwright.arcs._spans import region_of, spans_of
from beadwright.curves import distances
from tests.arcs import _build_regions as make

# Compiled libraries to compare with; not among the package's own needs. The first is built without optimisation.
cavaliercontours = pytest.importorskip("cavaliercontours")
pyclipper = pytest.importorskip("pyclipper")
pytestmark = pytest.mark.bench

TRUE = 1e-3
# Grid of Clipper's whole numbers: 1e-6 mm.
GRID = 2.0**20


def milliseconds(work, *given, repeats=12, **named):
    work(*given, **named)
    best = math.inf
    for _ in range(repeats):
        begin = time.thread_time()
        work(*given, **named)
        best = min(best, time.thread_time() - begin)
    return 1e3 * best


def flattened(loop, chord=TRUE):
    """Corners whose chords stray by at most a distance from the arcs: (n, 2)."""
    z = loop.points @ (1, 1j)
    v = np.roll(z, -1) - z
    line = loop.bulge == 0
    half = 2 * np.arctan(loop.bulge)
    bulge = np.where(line, 1.0, np.abs(loop.bulge))
    radius = np.abs(v) * (1 + bulge**2) / (4 * bulge)
    step = 2 * np.arccos(np.maximum(0.0, 1 - chord / radius))
    count = np.where(line, 1, np.maximum(1, np.ceil(2 * np.abs(half) / step))).astype(int)
    row = np.repeat(np.arange(len(z)), count)
    t = (np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)) / count[row]
    h = np.where(line, 1.0, half)[row]
    # A point of an arc: the chord turned and scaled.
    along = np.where(line[row], t, np.sin(h * t) / np.sin(h) * np.exp(1j * h * (t - 1)))
    points = z[row] + v[row] * along
    return np.c_[points.real, points.imag]


def cases():
    rng = np.random.default_rng(5)
    yield "blob, 200 arcs", make.region(make.blob(rng, 200)), 4.2
    yield "blob, 2,000 arcs of 2.2 mm", make.region(make.blob(rng, 2000, radius=700.0)), 4.2
    yield "blob, 2,000 arcs of 0.3 mm", make.region(make.blob(rng, 2000)), 4.2
    yield "gear, 480 moves", make.region(make.gear(120, 280, 300)), 3.0
    yield "plate, 20 holes", make.holed_plate(rng, 20), 5.0
    yield "ring", make.region(make.circle(0, 0, 300), make.circle(0, 0, 280, hole=True)), 4.2


def true_error(rings, region, distance):
    """Greatest amount by which a place of polygons is off the distance, at corners and between: mm."""
    worst = 0.0
    for ring in rings:
        step = np.roll(ring, -1, axis=0) - ring
        places = np.concatenate([ring + f * step for f in (0.0, 0.25, 0.5, 0.75)])
        worst = max(worst, float(np.abs(distances(region.loops, places) - distance).max()))
    return worst


def buffered(region, distance, chord):
    """The buffer of one polygon library: rings, ms of the call, corners in."""
    outer, *holes = (flattened(loop, chord) for loop in region.loops)
    polygon = Polygon(outer, holes)
    quarter = math.ceil(math.pi / 4 / math.acos(1 - chord / distance))
    done = polygon.buffer(-distance, quad_segs=quarter)
    parts = getattr(done, "geoms", [done])
    rings = [np.array(ring.coords)[:-1] for part in parts for ring in (part.exterior, *part.interiors)]
    took = milliseconds(polygon.buffer, -distance, quad_segs=quarter, repeats=4)
    return rings, took, sum(map(len, (outer, *holes)))


def clipped(region, distance, chord):
    """The same by a library of whole numbers."""
    loops = [np.round(flattened(loop, chord) * GRID).astype(np.int64).tolist() for loop in region.loops]

    def work():
        way = pyclipper.PyclipperOffset(2.0, chord * GRID)
        way.AddPaths(loops, pyclipper.JT_ROUND, pyclipper.ET_CLOSEDPOLYGON)
        return way.Execute(-distance * GRID)

    rings = [np.array(ring) / GRID for ring in work()]
    return rings, milliseconds(work, repeats=4), sum(map(len, loops))


def polygons(way, region, distance):
    """A polygon way at a true error of 1 um: ms of the call and of flattening, corners in and out, error in mm."""
    for chord in TRUE * 0.9 ** np.arange(20):
        rings, took, corners = way(region, distance, chord)
        error = true_error(rings, region, distance)
        if error <= TRUE:
            flat = milliseconds(lambda: [flattened(loop, chord) for loop in region.loops], repeats=4)  # noqa: B023
            return took, flat, corners, sum(map(len, rings)), error
    pytest.fail("no chord is fine enough")


def stages(region, distance):
    """What each step of an offset takes, ms."""
    source = spans_of(region.loops)
    raw, tag = raw_curve(source.rows, source.after, distance)
    counts = np.zeros((len(raw), 2), np.int64)
    counts[:, 0] = 1
    g = arranged(raw, counts, EPS)
    assert g.rounds == 1
    q, who, heads, used = link(g.e, g.edge, g.following, g.wind, g.sub, UNION)
    own = np.ascontiguousarray(tag[who >> 1, 0])
    key = 4 * source.move[own] + 2 * tag[who >> 1, 1] + (who & 1)
    rows, first, begin = moves(q, heads, key)
    face, none = source.face[source.move[own[first]]], np.full(len(first), -1, np.int32)
    tau = max(TAU, 10 * EPS)
    return {
        "spans": milliseconds(spans_of, region.loops),
        "input check": milliseconds(crooked, source),
        "raw curve": milliseconds(raw_curve, source.rows, source.after, distance),
        "arrangement": milliseconds(arranged, raw, counts, EPS),
        "link": milliseconds(link, g.e, g.edge, g.following, g.wind, g.sub, UNION),
        "audit": milliseconds(
            audit, source.rows, distance, tau, q, heads, own, g.spans, tag, g.sub, g.of, used, g.xy
        ),
        "moves": milliseconds(moves, q, heads, key),
        "supports": milliseconds(
            _offset._supports, region, source, own[first], tag[who >> 1, 1][first] == 1, distance
        ),
        "region": milliseconds(region_of, rows, begin, face, none, np.zeros((0, 4)), source.origin),
    }


def loop_by_loop(lines, distance):
    return [line.parallel_offset(distance, False) for line in lines]


def test_offsets(capsys):
    table, profile, faster = [], [], {}
    for name, region, distance in cases():
        ours = milliseconds(offset, region, distance=distance, repeats=40)
        steps = stages(region, distance)
        bare = ours - steps["audit"] - steps["input check"]
        lines = [
            cavaliercontours.Polyline(np.c_[loop.points, loop.bulge].T, is_closed=True)
            for loop in region.loops
        ]
        arcs = milliseconds(loop_by_loop, lines, distance, repeats=4)
        told = f"{name:28s}{bare:7.2f}{ours:8.2f}{arcs:9.2f} {bare / arcs:5.2f} {ours / arcs:5.2f}"
        for way in (buffered, clipped):
            took, flat, corners, out, error = polygons(way, region, distance)
            told += f" |{took:7.2f} +{flat:5.2f}{corners:6d}{out:6d} {1e3 * error:5.2f} {(took + flat) / ours:5.1f}"
            faster.setdefault(way, []).append((took + flat) / ours)
        table.append(told)
        profile.append(f"{name:28s}" + "".join(f"{ms:12.3f}" for ms in steps.values()))
        # Loop by loop the arc library has no islands, so that plate and ring are less of a task for it.
        if len(region.loops) == 1:
            assert bare < 3 * arcs
            assert ours < 6 * arcs
    with capsys.disabled():
        print(
            "\noffset, ms: without audit and input check, with both, arc library (wheel), ratios | polygon buffer at"
            " 1 um: call + flattening, corners in, out, true error um, times ours | whole-number library, likewise"
        )
        print(*table, sep="\n")
        print(f"{'profile, ms':28s}" + "".join(f"{step:>12s}" for step in steps))
        print(*profile, sep="\n")
    assert max(faster[buffered]) > 5


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
