"""Short moves merged within a budget: closed forms, and distances of dense samples by an independent library."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from beadwright.beads import merged
from beadwright.beads._listed import spaced
from beadwright.curves import length, lengths
from tests.post._build_programs import circle, path


def polyline(points):
    return path(points, [0.0] * (len(points) - 1), closed=False)


def dense(line):
    """A polygon chain through many points of a path; chords of 0.05 mm miss an arc of 10 mm by 3e-5 mm."""
    ends = [line.points[0]], [line.points[0] if line.closed else line.points[-1]]
    return shapely.LineString(np.concatenate([ends[0], spaced(line, 0.05), ends[1]]))


def test_chords_of_a_circle_become_its_arcs():
    # 360 chords of a circle of 100: each 1.745 mm long, and 100 (1 - cos 0.5 deg) = 0.0038 mm off it
    angle = np.radians(np.arange(361))
    chain = polyline(np.stack([100 * np.cos(angle), 100 * np.sin(angle)], axis=1))
    found = merged(chain, least=10.0, room=0.005)

    rise = 100 * (1 - math.cos(math.radians(0.5)))
    # the arc between two corners may lie a little inside their circle, so it shares the distance out
    assert 0.9 * rise <= found.bound <= 0.005
    assert shapely.hausdorff_distance(dense(chain), dense(found.path)) <= found.bound + 1e-5
    assert found.left == ()
    assert lengths(found.path).min() >= 10.0
    assert np.hypot(*found.path.points.T) == pytest.approx(np.full(len(found.path.points), 100.0))
    assert found.gone == 360 - len(found.path.bulge)
    assert (found.path.points[[0, -1]] == chain.points[[0, -1]]).all()


def test_without_room_nothing_changes_and_what_is_short_is_counted():
    chain = polyline([[0, 0], [50, 0], [50.4, 0.4], [50.4, 50]])
    found = merged(chain, least=1.0, room=0.0)

    assert (found.path.points == chain.points).all()
    assert (found.bound, found.gone, found.left) == (0.0, 0, (1,))


def test_a_corner_stays_where_the_budget_does_not_hold_it():
    # cutting the bevel off either way moves it by 0.4 sin 45 deg at least
    chain = polyline([[0, 0], [50, 0], [50.4, 0.4], [50.4, 50]])

    assert merged(chain, least=1.0, room=0.01).left == (1,)
    assert merged(chain, least=1.0, room=0.01).bound == 0.0


def test_a_short_part_of_a_line_joins_the_one_before_and_takes_the_longest_parts_face():
    chain = polyline([[0, 0], [30, 0], [30.2, 0], [90, 0]])
    chain.face[:] = [4, 5, 6]
    found = merged(chain, least=1.0, room=0.001)

    assert found.path.bulge.tolist() == [0.0, 0.0]
    assert found.path.face.tolist() == [4, 6]
    assert found.path.points.tolist() == [[0, 0], [30.2, 0], [90, 0]]
    assert found.bound < 1e-8


def test_long_moves_keep_every_bit():
    ring = circle(3, 4, 50)
    assert merged(ring, least=1.0, room=0.01).path is ring


@given(
    st.lists(
        st.tuples(st.floats(0.05, 4.0), st.floats(-0.15, 0.15), st.floats(-0.1, 0.1)), min_size=2, max_size=14
    ),
    st.floats(0.001, 0.2),
)
@settings(max_examples=60, deadline=None)
def test_the_bound_holds(moves, room):
    at, way = np.zeros(2), 0.0
    points, bulge = [at], []
    for run, turn, b in moves:
        way += turn
        at = at + run * np.array([math.cos(way), math.sin(way)])
        points.append(at)
        bulge.append(b)
        way += 2 * math.atan(b)
    chain = path(points, bulge, closed=False)
    found = merged(chain, least=1.0, room=room)

    assert found.bound <= room
    apart = shapely.hausdorff_distance(dense(chain), dense(found.path))
    # the samples are 0.05 mm apart, and lie 0.025 mm along the path from a sample of the other
    assert apart <= math.hypot(found.bound, 0.03) + 1e-4
    assert length(found.path) <= length(chain) * 1.05 + 1e-9
    assert len(found.left) == int((lengths(found.path) < 1.0).sum())
