"""Plans with stock: regions in closed form, what is told of each face, and an independent checker."""

from __future__ import annotations

import math
import subprocess
import sys
from pathlib import Path

import cadquery as cq
import jsonschema
import pytest

import beadwright
from beadwright.errors import SettingsError
from tests.pipeline.test_plan_api import SCHEMA, codes

ORACLE = Path(__file__).resolve().parents[3] / "shared" / "tools" / "oracle.py"
UP = {"facing": [0, 0, 1]}


def box(height=40.0):
    return cq.Workplane().box(100, 60, height, centered=(True, True, False))


def areas(result):
    return [layer["area_mm2"] for layer in result.document["layers"]]


def stock_of(result):
    return {f["id"]: f["stock_mm"] for f in result.document["faces"] if "stock_mm" in f}


def layer_lines(result):
    return [
        dict(p.split("=") for p in x[7:-1].split()) for x in result.program.splitlines() if x[:7] == "(layer "
    ]


def judged(part, tmp_path, **options):
    """The plan of a STEP file, passed by a checker that shares no code."""
    step = tmp_path / "part.step"
    cq.exporters.export(part, str(step))
    result = beadwright.plan(step, tmp_path / "out", workers=1, **options)
    if not ORACLE.exists():
        pytest.skip("the independent checker is not beside this checkout")
    command = [sys.executable, str(ORACLE), str(tmp_path / "out" / "program.nc"), str(step), "--layers", "4"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=280, check=False)
    assert done.returncode == 0, done.stdout
    return result, done.stdout


# beside the box its section grown by a disc of 4: 6000 + 320 * 4 + pi 16; stock below and above too
def test_stock_on_all_faces_of_a_box(tmp_path):
    result, told = judged(box(), tmp_path, stock=4.0, height=6.0)
    full = 6000 + 320 * 4 + math.pi * 16

    assert areas(result) == pytest.approx([full] * 8, rel=1e-9)
    lines = layer_lines(result)
    assert {line["stock"] for line in lines} == {"4.0"}
    assert [line["z"] for line in lines][-1] == "48.0"
    assert result.document["placement"][2][3] == pytest.approx(4.0)
    # the layers below and above the part are no contours of it
    assert {b.role for b in result.layers[0].beads} == {b.role for b in result.layers[-1].beads} == {"deck"}
    assert {b.role for b in result.layers[4].beads} == {"contour"}
    assert set(map(tuple, (s.values() for s in stock_of(result).values()))) == {(4.0, 4.0)}
    assert "layers_checked 2, not_checked 2" in told
    jsonschema.validate(result.document, SCHEMA)


def test_stock_on_the_top_alone_stands_on_the_part():
    # a top at 38 under layers of 4: stock of 5 to 43, layers to 44
    result = beadwright.plan(box(38), stock=[{"faces": UP, "amount": 5.0}], workers=1)

    assert areas(result) == pytest.approx([6000.0] * 11, rel=1e-9)
    assert list(stock_of(result).values()) == [{"least": 5.0, "greatest": pytest.approx(6.0)}]
    assert [line["stock"] for line in layer_lines(result)] == ["0.0"] * 9 + ["faces"] * 2
    assert result.document["placement"][2][3] == pytest.approx(0.0)


def test_stock_on_a_slope_is_that_along_the_normal_at_least_everywhere(tmp_path):
    # a frustum falling 40 over 100: by the outer rule the layer from z has the radius at its bottom
    cone = cq.Workplane(obj=cq.Solid.makeCone(100, 60, 100))
    rule = [{"faces": {"kind": "cone"}, "amount": 4.0}]
    result, _ = judged(cone, tmp_path, stock=rule, height=5.0)
    slope = math.hypot(100, 40) / 100
    outer = [math.pi * (100 - 0.4 * z + 4 * slope) ** 2 for z in range(5, 100, 5)]

    assert areas(result)[1:20] == pytest.approx(outer, rel=1e-7)
    (left,) = stock_of(result).values()
    # the cusp of a slope: height times the vertical part of the normal
    assert left == {"least": 4.0, "greatest": pytest.approx(4.0 + 5.0 * 0.4 / slope, rel=1e-9)}


def test_round_beads_take_their_edge_depth_off():
    side = [{"faces": {"facing": [1, 0, 0]}, "amount": 3.0}]
    flat = beadwright.plan(box(8), stock=side, workers=1)
    bulged = beadwright.plan(box(8), stock=side, bead_section="round", workers=1)
    thin = beadwright.plan(box(8), stock=[{**side[0], "amount": 1.5}], bead_section="round", workers=1)

    assert list(stock_of(flat).values()) == [{"least": 3.0, "greatest": 3.0}]
    assert list(stock_of(bulged).values()) == [{"least": 1.0, "greatest": 3.0}]
    assert "stock-none" in codes(thin)
    assert areas(flat) == pytest.approx([6000 + 3 * 60] * 2, rel=1e-12)


def test_a_hole_cut_later_is_closed_in_the_stock_too():
    part = box(38).faces(">Z").workplane().hole(20)
    result = beadwright.plan(
        part, stock=[{"faces": UP, "amount": 5.0}], cut_later=[{"holes_below": 20}], workers=1
    )

    assert areas(result) == pytest.approx([6000.0] * 11, rel=1e-9)


def test_later_rules_win_and_no_face_is_an_error():
    rules = [{"faces": "all", "amount": 2.0}, {"faces": UP, "amount": 5.0}]
    result = beadwright.plan(box(8), stock=rules, workers=1)

    assert sorted(each["least"] for each in stock_of(result).values()) == [2.0] * 5 + [5.0]
    with pytest.raises(SettingsError, match=r"stock\[1\]\.faces: no face .* have no names"):
        beadwright.plan(box(8), stock=[{"faces": "tool*", "amount": 2.0}], workers=1)
    with pytest.raises(SettingsError, match=r"stock\[1\]\.amount: 0 is out of range"):
        beadwright.plan(box(8), stock=0, workers=1)


def test_lost_stock_of_a_revision_is_told(tmp_path):
    first = [{"faces": {"facing": [1, 0, 0]}, "amount": 3.0}]
    beadwright.plan(box(8), tmp_path / "a", stock=first, workers=1)
    second = beadwright.plan(
        box(8), stock=[{"faces": UP, "amount": 3.0}], earlier=str(tmp_path / "a" / "plan.json"), workers=1
    )

    assert "stock-lost" in codes(second)


def test_a_tip_is_an_error_of_the_plan():
    cone = cq.Workplane(obj=cq.Solid.makeCone(50, 0, 40))
    result = beadwright.plan(cone, stock=2.0, workers=1, height=8.0, width=10.0)

    assert next(f for f in result.findings if f.code == "stock-tip").level == "error"
