"""Components of a graph, against scipy's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from beadwright.numeric import gathered


@pytest.mark.parametrize("seed", range(20))
def test_components_are_those_of_scipy(seed: int) -> None:
    rng = np.random.default_rng(seed)
    count = int(rng.integers(1, 60))
    a, b = rng.integers(0, count, (2, int(rng.integers(0, 60))))
    beside: dict[int, set[int]] = {row: set() for row in range(count)}
    for one, other in zip(a.tolist(), b.tolist(), strict=True):
        beside[one].add(other)
        beside[other].add(one)
    many, label = connected_components(coo_matrix((np.ones(len(a)), (a, b)), (count, count)), directed=False)
    found = gathered(beside)
    assert sorted(map(set, found), key=min) == sorted(
        ({int(row) for row in np.flatnonzero(label == each)} for each in range(many)), key=min
    )
    assert found == sorted(tuple(sorted(rows)) for rows in found)
