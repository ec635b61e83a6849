"""Planted faults: what is wrong by more than the audit's bound must be found, what is less must pass."""

import math
import tempfile

import numpy as np
import pytest

from beadwright.arcs import _offset, offset
from beadwright.arcs._kernels.region_audit import (
    CROSSED,
    FARTHER,
    LOST,
    NEARER,
    NESTED,
    OPEN,
    audit,
    shape,
)
from beadwright.arcs._kernels.region_link import UNION, link
from beadwright.arcs._kernels.region_raw import raw_curve
from beadwright.arcs._kernels.span import put
from beadwright.arcs._region import EPS, TAU, arranged
from beadwright.arcs._spans import spans_of
from beadwright.curves import distances, region_area
from beadwright.errors import GeometryError
from tests.arcs import _build_regions as make


class Case:
    """All that the audit of one offset sees."""

    def __init__(self, region, distance):
        self.source = spans_of(region.loops)
        self.distance = distance
        self.raw, self.tag = raw_curve(self.source.rows, self.source.after, distance)
        counts = np.zeros((len(self.raw), 2), np.int64)
        counts[:, 0] = 1
        self.graph = graph = arranged(self.raw, counts, EPS)
        assert graph.rounds == 1
        self.q, who, self.heads, self.used = link(
            graph.e, graph.edge, graph.following, graph.wind, graph.sub, UNION
        )
        self.own = np.ascontiguousarray(self.tag[who >> 1, 0])
        sub = graph.sub[:, 2]
        self.edge_of = {int(s): int(e) for s, e in zip(sub, graph.of, strict=True)}
        self.who = who

    def found(self, q=None, heads=None, own=None, used=None, distance=None):
        g = self.graph
        pick = lambda new, old: old if new is None else new  # noqa: E731
        return audit(
            self.source.rows, pick(distance, self.distance), TAU, pick(q, self.q), pick(heads, self.heads),
            pick(own, self.own), self.raw, self.tag, g.sub, g.of, pick(used, self.used), g.xy,
        )[0]  # fmt: skip

    def moved(self, node, by):
        """The kept spans with one shared end moved."""
        q = self.q.copy()
        at = q[node, :2].copy()
        for i in range(len(q)):
            ends = q[i, :4].copy()
            for c in (0, 2):
                if np.array_equal(ends[c : c + 2], at):
                    ends[c : c + 2] = at + by
            if not np.array_equal(ends, q[i, :4]):
                put.py_func(q, i, *ends, q[i, 6])
        return q


CASES = {
    "blob": (make.region(make.blob(np.random.default_rng(1), 60)), 10.0),
    "outwards": (make.region(make.blob(np.random.default_rng(2), 60)), -10.0),
    "plate": (make.holed_plate(np.random.default_rng(3), 8), 4.0),
    "dumbbell": (make.region(make.dumbbell()), 6.0),
    "gear": (make.region(make.gear()), 2.0),
}


@pytest.fixture(params=CASES)
def case(request):
    return Case(*CASES[request.param])


def test_what_is_right_passes(case):
    assert not case.found().any()


def test_a_corner_moved_by_more_than_the_bound_is_found_and_by_less_passes(case):
    rng = np.random.default_rng(5)
    for node in rng.integers(len(case.q), size=10):
        left = np.array([-case.q[node, 5], case.q[node, 4]])
        for sign in (1, -1):
            found = case.found(q=case.moved(node, 1.5 * TAU * sign * left))
            assert found[NEARER] + found[FARTHER] > 0
            assert not case.found(q=case.moved(node, 0.5 * TAU * sign * left))[: LOST + 1].any()


def test_a_wrong_distance_is_found(case):
    for by in (1.5 * TAU, -1.5 * TAU):
        found = case.found(distance=case.distance + by)
        assert found[NEARER] + found[FARTHER] > 0


def test_a_lost_loop_is_found(case):
    for loop in range(len(case.heads) - 1):
        a, b = case.heads[loop], case.heads[loop + 1]
        used = case.used.copy()
        for i in range(a, b):
            used[case.edge_of[int(case.who[i] >> 1)]] = 0
        q, own = np.delete(case.q, np.s_[a:b], 0), np.delete(case.own, np.s_[a:b])
        heads = np.delete(np.where(case.heads > a, case.heads - (b - a), case.heads), loop)
        assert case.found(q=q, heads=heads, own=own, used=used)[[LOST, NESTED]].any()


def test_a_false_loop_is_found(case):
    # The source itself, given as a part of the result.
    q = np.vstack([case.q, case.source.rows])
    own = np.append(case.own, np.arange(len(case.source.rows)))
    heads = np.append(case.heads, case.heads[-1] + case.source.heads[1:])
    found = case.found(q=q, heads=heads, own=own)
    assert found[NEARER] > 0


def test_every_piece_that_is_too_near_is_found_wherever_the_audit_looks_less():
    """Each edge of the raw curve, kept or not, given alone; its true distance by `distances`, by samples."""
    rng = np.random.default_rng(7)
    wavy = [make.region(make.blob(rng, 120, wave=0.6, waves=9)) for _ in range(2)]
    near = far = 0
    for region, d in [(w, d) for w in wavy for d in (3.0, 12.0, 25.0, -25.0)] + [CASES["dumbbell"]]:
        case = Case(region, d)
        t = np.linspace(0, 1, 33)[:, None]
        for i, edge in enumerate(case.graph.edge):
            if edge[4] < 0:
                continue
            q = case.graph.e[i : i + 1]
            (x0, y0, x1, y1, tx, ty, k), h = q[0, :7], q[0, 7] * t / 2
            along = np.array([[tx, ty]]) * np.cos(h) + np.array([[-ty, tx]]) * np.sin(h)
            points = [x0, y0] + (2 * np.sin(h) / k * along if k else t * [x1 - x0, y1 - y0])
            short = abs(d) - distances(region.loops, points).min()
            own = case.tag[case.graph.sub[edge[4], 2], :1].copy()
            found = case.found(q=q, heads=np.array([0, 1]), own=own)[NEARER] > 0
            if short > 1.5 * TAU:
                assert found
                near += 1
            elif short < 0.5 * TAU:
                assert not found
                far += 1
    assert near > 100
    assert far > 300


def test_a_loop_run_the_other_way_or_open_is_found():
    square = spans_of([make.box(0, 0, 10, 10)])
    back = spans_of([make.path([[0, 0], [0, 10], [10, 10], [10, 0]])])
    assert not shape(square.rows, square.heads, 1e-8).any()
    assert shape(back.rows, back.heads, 1e-8)[NESTED] == 1
    rows = square.rows.copy()
    rows[1, 0] += 1e-9
    assert shape(rows, square.heads, 1e-8)[OPEN] == 1


def test_a_crossing_is_found_from_its_depth_on():
    for depth, many in ((3e-8, True), (0.3e-8, False)):
        # A tooth that reaches through the opposite side by the depth.
        loop = spans_of([make.path([[0, 0], [10, 0], [10, 10], [6, 10], [5, -depth], [4, 10], [0, 10]])])
        assert bool(shape(loop.rows, loop.heads, 1e-8)[CROSSED]) is many


def test_the_polygon_rung_stands_in_and_is_counted(monkeypatch):
    monkeypatch.setattr(_offset, "_LADDER", ())
    result = offset(make.region(make.box(0, 0, 100, 60), make.circle(50, 30, 10, hole=True)), distance=5)
    assert result.fallbacks == 1
    assert region_area(result.region) == pytest.approx(90 * 50 - 225 * math.pi, rel=1e-6)


def test_what_passes_no_audit_never_leaves(monkeypatch, tmp_path):
    from beadwright.arcs import _region_polygon

    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    monkeypatch.setattr(_region_polygon, "offset_polygons", lambda region, distance: None)
    monkeypatch.setattr(_offset, "_attempt", lambda *_: (None, np.eye(7, dtype=np.int64)[LOST]))
    with pytest.raises(GeometryError, match=r"lost 1.*saved as .*npz") as told:
        offset(make.region(make.box(0, 0, 100, 60)), distance=5)
    # what is saved is the region that was asked for
    (saved,) = tmp_path.iterdir()
    assert str(saved) in str(told.value)
    with np.load(saved) as found:
        assert len(found["rows"]) == 4
        assert found["heads"].tolist() == [0, 4]
