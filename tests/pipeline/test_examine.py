"""What examine says of parts whose measures are known."""

from __future__ import annotations

import math
from pathlib import Path

import cadquery as cq
import pytest

import beadwright
from beadwright.errors import StepError


def test_a_plain_part_is_printable() -> None:
    found = beadwright.examine(cq.Workplane().circle(300).extrude(500))

    assert found.printable
    assert found.findings == ()
    assert found.kinds() == {"plane": 2, "cylinder": 1}
    record = found.as_dict()
    assert abs(record["input"]["volume_mm3"] - math.pi * 300**2 * 500) <= 1e-9 * 1.5e8
    assert max(abs(a - b) for a, b in zip(record["size_mm"], (600, 600, 500), strict=True)) <= 1e-9


def test_an_open_surface_is_not_and_says_what_to_do() -> None:
    found = beadwright.examine(cq.Workplane().circle(300).extrude(500).faces("%CYLINDER").val())

    assert not found.printable
    assert found.findings[0].level == "error"
    assert "--wall" in found.advice[0]


@pytest.mark.parametrize(("size", "word"), [(5.0, "unit"), (30_000.0, "unit")])
def test_an_unlikely_size_is_pointed_at(size: float, word: str) -> None:
    found = beadwright.examine(cq.Workplane().box(size, size, size))

    assert any(word in text for text in found.advice)


def test_nothing_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(StepError):
        beadwright.examine(tmp_path / "none.step")
    with pytest.raises(StepError, match="expected a cadquery"):
        beadwright.examine(42)
