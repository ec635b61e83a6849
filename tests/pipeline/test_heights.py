"""Plans whose layer heights follow the part."""

from __future__ import annotations

import cadquery as cq
import jsonschema
import pytest

import beadwright
from beadwright.errors import SettingsError
from tests.pipeline.test_plan_api import SCHEMA

RULE = {"cusp": 1.0, "least": 2.0, "greatest": 5.0}


def test_a_dome_on_a_post_takes_high_layers_below_and_low_ones_above():
    part = cq.Workplane().circle(60).extrude(20).faces(">Z").workplane().sphere(60)
    result = beadwright.plan(part, workers=1, heights=RULE, contours=1)
    heights = [layer["height_mm"] for layer in result.document["layers"]]
    # the sphere's lower half reaches below the post
    told = result.document["heights"]

    assert max(heights) <= 5 + 1e-9
    assert min(heights) >= 2 - 1e-9
    assert result.document["layers"][-1]["z_mm"] == pytest.approx(120.0)
    assert told["chosen"]["layers"] == len(heights)
    # the cap cannot be had within 1 mm by layers of 2, whose cusp is nearly 2 there
    assert 1.0 < told["chosen"]["greatest_cusp_mm"] <= 2.0
    (passed,) = [finding for finding in result.findings if finding.code == "cusp-limit"]
    # n_z of the ball is (z - 60) / 60, so layers of 2 mm above 90 mm and below 30 mm pass 1 mm
    assert passed.text.startswith("in 30 layers")
    assert (passed.level, passed.layer, passed.allowed) == ("warning", 0, 1.0)
    assert passed.measured == told["chosen"]["greatest_cusp_mm"]
    assert told["greatest"]["greatest_cusp_mm"] > 4.0
    assert told["greatest"]["layers"] < told["chosen"]["layers"]
    assert told["chosen"]["time_s"] > told["greatest"]["time_s"] > 0
    # the mean deviation of a triangle is a quarter of its height
    assert told["chosen"]["greatest_ra_mm"] == pytest.approx(
        told["chosen"]["greatest_cusp_mm"] / 4, rel=1e-12
    )
    jsonschema.validate(result.document, SCHEMA)


def test_c10_upright_walls_of_round_beads_tell_their_valleys():
    part = cq.Workplane().box(80, 60, 8)
    result = beadwright.plan(part, workers=1, bead_section="round", contours=1)

    # untamped, h 4: valleys of h / 2, Ra 0.090651 h (closed form of half circles)
    assert result.document["sides"] == {"valley_mm": 2.0, "ra_mm": pytest.approx(0.362606, abs=1e-6)}
    assert "sides" not in beadwright.plan(part, workers=1, contours=1).document
    jsonschema.validate(result.document, SCHEMA)


def test_a_limit_that_is_kept_is_no_finding():
    part = cq.Workplane().rect(80, 60).workplane(offset=12).rect(72, 52).loft(combine=True)
    result = beadwright.plan(part, workers=1, heights=RULE, contours=1)

    # walls that lean 4 in 12: |n_z| = sin(atan(1/3)) = 0.3162, so layers of 3 mm or less keep 1 mm
    assert result.document["heights"]["chosen"]["greatest_cusp_mm"] <= 1.0
    assert "cusp-limit" not in {finding.code for finding in result.findings}


def test_faults_of_the_rule_are_told():
    with pytest.raises(SettingsError, match=r"heights\.least: 6 mm is above the greatest, 5 mm"):
        beadwright.plan(cq.Workplane().box(9, 9, 9), heights={**RULE, "least": 6.0})
    with pytest.raises(SettingsError, match=r"heights\.greatest: 9 mm is not below the width"):
        beadwright.plan(cq.Workplane().box(9, 9, 9), heights={**RULE, "greatest": 9.0})
