"""Base beads and pads: lengths by closed form, the part's own beads as without them, and places told."""

from __future__ import annotations

import math

import cadquery as cq
import jsonschema
import numpy as np
import pytest

import beadwright
from beadwright.curves import length
from beadwright.errors import SettingsError
from beadwright.pipeline import verify_program
from tests.pipeline.test_plan_api import SCHEMA

# 60 x 40 with a hole of 16, 12 high: three layers of 4
PLATE = cq.Workplane().box(60, 40, 12, centered=(True, True, False)).faces(">Z").workplane().hole(16)


def base(result, layer):
    return [bead for bead in result.layers[layer].beads if bead.role == "base"]


def others(result, layer):
    return [bead for bead in result.layers[layer].beads if bead.role != "base"]


@pytest.fixture(scope="module")
def bare():
    return beadwright.plan(PLATE, workers=1)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    part = tmp_path_factory.mktemp("base") / "plate.step"
    cq.exporters.export(PLATE, str(part))
    pads = [{"at": [60, 0], "size": [60, 30], "layers": 2}]
    result = beadwright.plan(part, part.parent / "out", workers=1, base_beads=2, pad=pads)
    return part, result


def test_base_beads_run_round_the_foot_by_the_closed_form(bare, made):
    _, result = made
    jsonschema.validate(result.document, SCHEMA)
    rings = [bead for bead in base(result, 0) if bead.path.points[:, 0].min() < -30]
    # parallel to a convex outline at distance d outside it: its length and 2 pi d (Steiner); the hole stays free
    assert [bead.offset for bead in rings] == pytest.approx([-4.2, -12.6])
    assert [length(bead.path) for bead in rings] == pytest.approx(
        [200 + 2 * math.pi * 4.2, 200 + 2 * math.pi * 12.6]
    )
    assert not [bead for bead in base(result, 1) if bead.path.points[:, 0].min() < -30]
    assert not base(result, 2)


def test_pads_fill_what_the_foot_leaves(made):
    _, result = made
    # on layer 0 the pad from x 30 to 90 begins behind two base beads at 30 + 16.8, on layer 1 at the part
    for layer, start in ((0, 46.8), (1, 30.0)):
        pad = [bead for bead in base(result, layer) if bead.path.points[:, 0].min() > 30]
        low = min(bead.path.points[:, 0].min() for bead in pad)
        high = max(bead.path.points[:, 0].max() for bead in pad)
        assert (low, high) == pytest.approx((start + 4.2, 90 - 4.2), abs=1e-6)
        across = [bead.path.points[:, 1] for bead in pad]
        assert min(map(np.min, across)) == pytest.approx(-15 + 4.2)
    assert not [f for f in result.findings if f.code.startswith(("pad-", "base-"))]


def test_the_part_itself_is_as_without_them_and_mass_and_time_count_them(bare, made):
    _, result = made
    for layer in range(3):
        roles = [bead.role for bead in result.layers[layer].beads]
        assert roles == sorted(roles, key=lambda role: role != "base")
        assert sum(length(b.path) for b in others(result, layer)) == pytest.approx(
            sum(length(b.path) for b in others(bare, layer)), rel=1e-9
        )
        assert result.document["layers"][layer]["coverage"] == pytest.approx(
            bare.document["layers"][layer]["coverage"]
        )
    run = sum(length(b.path) * b.width for layer in range(3) for b in base(result, layer))
    # 8.4 x 4 mm flat; the default material has 1.14 g/cm3
    more = result.document["totals"]["mass_kg"] - bare.document["totals"]["mass_kg"]
    assert more == pytest.approx(run * 4 * 1.14e-6, rel=1e-6)
    assert result.document["totals"]["time_s"] > bare.document["totals"]["time_s"]


def test_the_verifier_leaves_them_out_of_the_part(made):
    part, result = made
    found = verify_program(part.parent / "out" / "program.nc", part)
    assert found.ok
    assert "role=base" in result.program
    assert max(row.outside_mm2 for row in found.checked) < 1.0


def test_pads_that_hold_nothing_and_beads_out_of_place_are_told(tmp_path):
    machine = tmp_path / "machine.toml"
    machine.write_text(
        '[volume]\nsize = [100, 400, 300]\n[[volume.keep_out]]\nname = "clamp"\nlow = [-10, 50, 0]\n'
        "high = [10, 60, 100]\n"
    )
    pads = [
        {"at": [0, 50], "size": [30, 40]},
        {"at": [0, -100], "size": [20, 20]},
        {"at": [0, 0], "size": [9, 9]},
    ]
    given = {"workers": 1, "layers": (0, 1), "base_beads": 3, "pad": pads, "machine": machine}
    with pytest.raises(SettingsError, match=r"layer 0 goes from X -51\.0\d* to 51\.0"):
        beadwright.plan(PLATE, **given)
    result = beadwright.plan(PLATE, override=("volume", "keep-out"), clearance=120, **given)
    found = {f.code: f for f in result.findings if f.code.startswith(("pad-", "base-"))}
    assert set(found) == {"pad-apart", "pad-empty", "base-off-platform", "base-in-keep-out"}
    assert "pad 2" in found["pad-apart"].text
    assert "pad 3" in found["pad-empty"].text
    # the third bead runs 60 / 2 + 2.5 x 8.4 from the middle, the nozzle reaches 50
    assert found["base-off-platform"].measured == pytest.approx(1.0)
    assert "clamp" in found["base-in-keep-out"].text
    assert result.has_errors


def test_copies_stand_apart_by_their_base_beads_too():
    result = beadwright.plan(PLATE, workers=1, layers=(0, 1), copies=2, gap=5, base_beads=2)
    # 60 or 40 and two bands of 2 x 8.4, and the gap
    first, second = (np.array(row["at_mm"]) for row in result.document["copies"])
    assert np.abs(second - first).max() == pytest.approx(40 + 4 * 8.4 + 5)


def test_bad_values_are_told_with_their_key():
    with pytest.raises(SettingsError, match=r"base_beads: -1 is out of range"):
        beadwright.plan(PLATE, base_beads=-1)
    with pytest.raises(SettingsError, match=r"pad\[1\]\.size"):
        beadwright.plan(PLATE, pad=[{"at": [0, 0], "size": [0, 5]}])
    with pytest.raises(SettingsError, match="base_beads: is for solids"):
        beadwright.plan(PLATE, base_beads=1, wall="centre")
