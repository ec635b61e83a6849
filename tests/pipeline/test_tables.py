"""Lines of the tables on standard error: findings are counted, and the first place is told where there is one."""

from __future__ import annotations

import io

import pytest
from rich.console import Console

from beadwright.numeric import Finding
from beadwright.pipeline import plan
from beadwright.pipeline._tables import _findings


@pytest.mark.parametrize(
    ("times", "layer", "line"),
    [
        (1, None, "warning wide: too wide"),
        (2, None, "warning wide: too wide (2 times)"),
        (1, 3, "warning wide: too wide (layer 3)"),
        (2, 3, "warning wide: too wide (2 times, first layer 3)"),
    ],
)
def test_a_finding_tells_how_often_and_where_first(times: int, layer: int | None, line: str) -> None:
    out = io.StringIO()
    _findings(
        Console(file=out), [Finding(code="wide", level="warning", layer=layer, text="too wide")] * times
    )
    assert out.getvalue() == f"{line}\n"


def test_a_plan_that_lays_nothing_says_so() -> None:
    cq = pytest.importorskip("cadquery")
    result = plan(cq.Workplane().box(3, 3, 8), workers=1)

    assert sum(len(layer.beads) for layer in result.layers) == 0
    assert "no-bead" in {finding.code for finding in result.findings}
