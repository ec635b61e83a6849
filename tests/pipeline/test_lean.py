"""Lean in a plan: by face, at the worst layer, the same bytes however the layers are made."""

from __future__ import annotations

import math
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise

import cadquery as cq
import jsonschema
import pytest

import beadwright
from tests.pipeline.test_plan_api import SCHEMA, codes


def funnel(run: float, rise: float) -> cq.Workplane:
    """A frustum that widens upwards."""
    return cq.Workplane(obj=cq.Solid.makeCone(50, 50 + run, rise))


def test_the_limit_itself_is_no_finding():
    # 45 degrees, flat beads
    result = beadwright.plan(funnel(16, 16), workers=1)

    assert [layer["lean_mm2"] for layer in result.document["layers"]] == [0, 0, 0, 0]
    assert "lean" not in codes(result)
    # round beads bear half of themselves at about 29 degrees only
    assert "lean" in codes(beadwright.plan(funnel(16, 16), bead_section="round", workers=1))


def test_a_face_that_leans_more_is_told_with_area_and_reach():
    # 60 degrees: sections at mid height widen by 4 sqrt 3 a layer
    run = 16 * math.sqrt(3)
    result = beadwright.plan(funnel(run, 16), workers=1)
    step = 4 * math.sqrt(3)
    radii = [50 + step * (k + 0.5) for k in range(4)]
    want = [0.0, *(math.pi * (b**2 - (a + 4) ** 2) for a, b in pairwise(radii))]

    assert [x["lean_mm2"] for x in result.document["layers"]] == pytest.approx(want, rel=1e-6)
    (finding,) = (f for f in result.findings if f.code == "lean")
    assert finding.layer == 3
    assert finding.measured == pytest.approx(want[3], rel=1e-6)
    assert f"by up to {step:.2f} mm where 4.00 mm are allowed" in finding.text
    # 1 - 4 sqrt 3 / 8.4 of a flat bead
    assert "lies on the one below by 18% of what touches" in finding.text
    assert result.document["faces"][finding.face]["kind"] == "cone"
    jsonschema.validate(result.document, SCHEMA)


def test_what_begins_in_the_air_is_told():
    post = cq.Workplane().box(40, 40, 24, centered=(True, True, False))
    arm = cq.Workplane(origin=(40, 0, 8)).box(30, 30, 8, centered=(True, True, False))
    roof = cq.Workplane(origin=(20, 0, 16)).box(80, 40, 8, centered=(True, True, False))
    result = beadwright.plan(post.union(arm).union(roof), workers=1)

    air = [f for f in result.findings if f.code == "in-air"]
    assert [(f.layer, f.measured) for f in air] == [(2, pytest.approx(900.0, rel=1e-9))]


def test_an_open_span_is_told_with_its_width():
    """A roof over two legs that stand 60 mm apart; beside them it stands out by 2 mm, less than the 4 allowed."""
    legs = [cq.Workplane(origin=(x, 0, 0)).box(20, 40, 12, centered=(True, True, False)) for x in (-40, 40)]
    roof = cq.Workplane(origin=(0, 0, 12)).box(104, 40, 8, centered=(True, True, False))
    result = beadwright.plan(legs[0].union(legs[1]).union(roof), workers=1)
    (finding,) = [f for f in result.findings if f.code == "open-span"]

    assert "lean" not in codes(result)
    assert (finding.layer, finding.allowed) == (3, pytest.approx(8.0, abs=0.1))
    assert finding.measured == pytest.approx(60.0, abs=0.02)
    assert "7.1 bead widths" in finding.text


def test_the_same_bytes_however_the_layers_are_made():
    part = funnel(20 * math.sqrt(3), 96)
    here = beadwright.plan(part, workers=1, contours=1)
    with ThreadPoolExecutor(2) as executor:
        there = beadwright.plan(part, contours=1, executor=executor)

    assert here.program == there.program
    assert here.document == there.document
