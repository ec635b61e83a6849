"""Section curves written as STEP and read back."""

from __future__ import annotations

import math
from pathlib import Path

import cadquery as cq
import numpy as np
import pytest

from beadwright import kernel
from beadwright.curves import CurveKind, CurveLoops
from beadwright.errors import OutputError


def loops() -> CurveLoops:
    """A half disc of radius 10 (line, arc), a clockwise full circle, and two parabolas with a line."""
    # Quarter circle as a rational Bezier of weight 1/sqrt 2, from (30, 0) to (20, 10) about (20, 0).
    h = math.sqrt(0.5)
    control = [(30, 0, 1), (30 * h, 10 * h, h), (20, 10, 1), (20, 10, 1), (10, 5, 1)]
    return CurveLoops(
        kind=np.array(
            [CurveKind.LINE, CurveKind.CIRCLE, CurveKind.CIRCLE, CurveKind.SPLINE, CurveKind.LINE],
            dtype=np.int8,
        ),
        face=np.zeros(5, dtype=np.int32),
        ends=np.array(
            [[-10, 0, 10, 0], [10, 0, -10, 0], [3, 5, 3, 5], [30, 0, 10, 5], [10, 5, 30, 0]], dtype=float
        ),
        circle=np.array(
            [[0] * 4, [0, 0, 10, math.pi], [1, 5, 2, -2 * math.pi], [0] * 4, [0] * 4], dtype=float
        ),
        first_piece=np.array([0, 0, 0, 0, 2, 2], dtype=np.int32),
        degree=np.array([2, 1], dtype=np.int32),
        first_control=np.array([0, 3, 5], dtype=np.int32),
        control=np.array(control, dtype=float),
        bound=np.zeros(5),
        first_curve=np.array([0, 2, 3, 5], dtype=np.int32),
        closed=np.array([True, True, True]),
    )


def test_lines_circles_and_splines_come_back_as_such(tmp_path: Path) -> None:
    path = tmp_path / "s.step"
    kernel.write_section_step(path, loops(), 12.5)
    edges = cq.importers.importStep(str(path)).edges().vals()
    by_kind: dict[str, list[cq.Edge]] = {}
    for edge in edges:
        by_kind.setdefault(edge.geomType(), []).append(edge)

    assert {k: len(v) for k, v in by_kind.items()} == {"LINE": 2, "CIRCLE": 2, "BSPLINE": 1}
    assert sorted(e.radius() for e in by_kind["CIRCLE"]) == pytest.approx([2.0, 10.0], abs=1e-12)
    # Closed forms: half a circle and a full one; a quarter circle of radius 10 and a chord.
    assert sorted(e.Length() for e in by_kind["CIRCLE"]) == pytest.approx(
        [4 * math.pi, 10 * math.pi], rel=1e-9
    )
    assert by_kind["BSPLINE"][0].Length() == pytest.approx(5 * math.pi + math.hypot(10, 5), rel=1e-9)
    assert {round(v.Z, 9) for e in edges for v in e.Vertices()} == {12.5}


def test_the_walk_goes_through_the_right_side_of_each_circle(tmp_path: Path) -> None:
    path = tmp_path / "s.step"
    kernel.write_section_step(path, loops(), 0.0)
    half = next(
        e
        for e in cq.importers.importStep(str(path)).edges().vals()
        if e.geomType() == "CIRCLE" and e.radius() > 5
    )

    assert half.positionAt(0.5).toTuple() == pytest.approx((0.0, 10.0, 0.0), abs=1e-9)


def test_an_arc_shorter_than_the_kernel_tells_points_apart_is_passed_over(tmp_path: Path) -> None:
    # a half disc whose arc ends 4e-8 mm early, with a tiny arc to the corner
    angle = 4e-9
    corner = [-10 * math.cos(angle), 10 * math.sin(angle)]
    bare = loops()
    whole = CurveLoops(
        kind=np.array([CurveKind.LINE, CurveKind.CIRCLE, CurveKind.CIRCLE], dtype=np.int8),
        face=np.zeros(3, dtype=np.int32),
        ends=np.array([[-10, 0, 10, 0], [10, 0, *corner], [*corner, -10, 0]], dtype=float),
        circle=np.array([[0] * 4, [0, 0, 10, math.pi - angle], [0, 0, 10, angle]], dtype=float),
        first_piece=np.zeros(4, dtype=np.int32),
        degree=bare.degree[:0],
        first_control=np.zeros(1, dtype=np.int32),
        control=bare.control[:0],
        bound=np.zeros(3),
        first_curve=np.array([0, 3], dtype=np.int32),
        closed=np.array([True]),
    )
    path = tmp_path / "s.step"
    kernel.write_section_step(path, whole, 0.0)
    edges = cq.importers.importStep(str(path)).edges().vals()

    assert sorted(e.geomType() for e in edges) == ["CIRCLE", "LINE"]
    assert sum(e.Length() for e in edges) == pytest.approx(20 + 10 * math.pi, abs=1e-7)


def test_the_same_bytes_twice_and_no_clock() -> None:
    first, second = (kernel.section_step(loops(), 3.0) for _ in range(2))

    assert first == second
    assert b"1970-01-01T00:00:00" in first


def test_a_folder_that_is_not_there_is_said(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="cannot be written"):
        kernel.write_section_step(tmp_path / "none" / "s.step", loops(), 0.0)
