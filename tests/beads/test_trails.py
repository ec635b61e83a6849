"""The fewest beads over a network of open curves (trade check O17; Euler 1736)."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from beadwright.beads._trails import fewest_trails, joined
from beadwright.curves import length
from tests.post._build_programs import circle, path


def ring_with_ribs(n):
    """A ring of radius 100 with n parallel ribs: nodes where ribs meet it, 2 n of them odd."""
    heights = [60.0 * (2 * i - n + 1) / max(n, 1) for i in range(n)]
    right = [(math.sqrt(100**2 - y**2), y) for y in heights]
    left = [(-x, y) for x, y in right]
    ring = right + left[::-1]
    chains = []
    for p, q in itertools.pairwise([*ring, ring[0]]):
        turn = (math.atan2(q[1], q[0]) - math.atan2(p[1], p[0])) % (2 * math.pi)
        chains.append(path([p, q], [math.tan(turn / 4)], closed=False))
    return chains + [path([p, q], [0], closed=False) for p, q in zip(left, right, strict=True)]


@pytest.mark.parametrize(("ribs", "beads"), [(1, 1), (2, 2), (3, 3), (5, 5)])
def test_o17_a_ring_with_ribs_needs_half_as_many_beads_as_it_has_odd_nodes(ribs, beads):
    chains = ring_with_ribs(ribs)
    trails = joined(chains)

    assert len(trails) == beads
    assert sum(length(t) for t in trails) == pytest.approx(sum(length(c) for c in chains), rel=1e-14)


def test_a_network_without_odd_nodes_is_one_closed_bead():
    # two loops that touch in one node, each in two pieces
    corner = [(0.0, 0.0), (10.0, 10.0), (-10.0, 10.0)]
    other = [(0.0, 0.0), (10.0, -10.0), (-10.0, -10.0)]
    chains = [
        path([a, b], [0], closed=False)
        for loop in (corner, other)
        for a, b in itertools.pairwise([*loop, loop[0]])
    ]
    (trail,) = joined(chains)

    assert trail.closed
    assert len(trail.points) == 6


def test_closed_chains_and_lone_curves_stay_as_they_are():
    ring, line = circle(0, 0, 10), path([[50, 0], [60, 0]], [0.3], closed=False)
    got = joined([ring, line])

    assert got[1] is ring
    assert (got[0].points == line.points).all()
    assert joined([]) == ()


@settings(deadline=None)
@given(st.lists(st.tuples(st.integers(0, 6), st.integers(0, 6)), max_size=14))
def test_every_edge_is_walked_once_in_trails_as_few_as_euler_allows(pairs):
    edges = [((float(a), 0.0), (float(b), 0.0)) for a, b in pairs]
    trails = fewest_trails(edges)

    assert sorted(row for trail in trails for row, _ in trail) == list(range(len(edges)))
    for trail in trails:
        ways = [edges[row] if ahead else edges[row][::-1] for row, ahead in trail]
        assert all(a[1] == b[0] for a, b in itertools.pairwise(ways))
    assert len(trails) == sum(max(odd / 2, 1) for odd in odd_nodes_by_component(pairs))


def odd_nodes_by_component(pairs):
    """Number of odd nodes of each connected part, by matrix powers: no code shared with what is tested."""
    adjacent = np.eye(7, dtype=int)
    degree = np.zeros(7, int)
    for a, b in pairs:
        adjacent[a, b] = adjacent[b, a] = 1
        degree[a] += 1
        degree[b] += 1
    reach = np.linalg.matrix_power(adjacent, 7) > 0
    parts = {tuple(np.flatnonzero(row)) for row in reach}
    return [int((degree[list(part)] % 2).sum()) for part in parts if degree[list(part)].sum()]
