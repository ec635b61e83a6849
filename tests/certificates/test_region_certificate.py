"""Regions: an offset off by 1.5 times its bound, or a lost piece, is reported by the audit; 0.5 passes."""

from __future__ import annotations

import numpy as np
import pytest

from beadwright.arcs._kernels.region_audit import FARTHER, LOST, NEARER, NESTED
from beadwright.arcs._region import TAU
from tests.arcs import _build_regions as make
from tests.arcs.test_region_audit import Case

FAMILIES = {
    "blob": (make.region(make.blob(np.random.default_rng(21), 200)), 10.0),
    "outwards": (make.region(make.blob(np.random.default_rng(22), 60)), -10.0),
    "nested": (
        make.region(make.circle(0, 0, 90), make.circle(0, 0, 60, hole=True), make.circle(0, 0, 40)),
        3.0,
    ),
    "split dumbbell": (make.region(make.dumbbell(neck=9.0)), 6.0),
    "star": (make.region(make.star()), 5.0),
}


@pytest.mark.parametrize("name", FAMILIES)
@pytest.mark.parametrize("share", [-1.5, -0.5, 0.5, 1.5])
def test_a_result_at_another_distance(name: str, share: float) -> None:
    """The result of one distance, told to be that of another: every place is off by the difference."""
    region, distance = FAMILIES[name]
    found = Case(region, distance).found(distance=distance + share * TAU)

    assert bool(found[NEARER] + found[FARTHER]) is (abs(share) > 1.0)


@pytest.mark.parametrize("name", FAMILIES)
def test_every_lost_loop(name: str) -> None:
    region, distance = FAMILIES[name]
    case = Case(region, distance)
    for loop in range(len(case.heads) - 1):
        a, b = case.heads[loop : loop + 2]
        used = case.used.copy()
        for i in range(a, b):
            used[case.edge_of[int(case.who[i] >> 1)]] = 0
        heads = np.delete(np.where(case.heads > a, case.heads - (b - a), case.heads), loop)

        found = case.found(
            q=np.delete(case.q, np.s_[a:b], 0), heads=heads, own=np.delete(case.own, np.s_[a:b]), used=used
        )

        assert found[[LOST, NESTED]].any()
