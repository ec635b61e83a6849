"""What the greatest discs inside a boundary cost by its spans: the ratio at four times as many, in the same run."""

from __future__ import annotations

import time

import pytest

from beadwright.beads._axis import sounded
from tests.beads._build_rings import ring

pytestmark = pytest.mark.bench

# Walls of the same kind, four times as long: in proportion 4, each place against each span 16.
RATIO = 6.0


def test_cost_by_spans(capsys: pytest.CaptureFixture[str]) -> None:
    took = []
    for sides in (1000, 4000):
        region = ring(sides, arcs=True, radius=0.5 * sides)
        seconds = []
        for _ in range(4):
            begin = time.thread_time()
            found = sounded(region, most=7.0, step=4.0)
            seconds.append(time.thread_time() - begin)
            assert found is not None
            assert len(found.disc.rows) > 2 * sides
        took.append(min(seconds))
    with capsys.disabled():
        print(f"\nspans 2000: {1e3 * took[0]:.1f} ms, 8000: {1e3 * took[1]:.1f} ms, {took[1] / took[0]:.2f}")
    assert took[1] < RATIO * took[0]
