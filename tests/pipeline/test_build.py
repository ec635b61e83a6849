"""Time, mass, heat and pace of whole plans, on rings whose lengths are known in closed form."""

from __future__ import annotations

import importlib.resources
import json
import math
import re

import cadquery as cq
import jsonschema
import pytest

import beadwright
from beadwright.errors import SettingsError
from beadwright.settings import parse_document, resolve

SCHEMA = json.loads(importlib.resources.files("beadwright.pipeline").joinpath("plan.schema.json").read_text())
# Outer radius 499.2: one bead of 8.4 runs at 495 mm.
RING = 2 * math.pi * 495.0
WEIGHED = "\n".join(
    f"[[extruder.calibration]]\nrpm = {rpm}\nrate = {rate}"
    for rpm, rate in ((20, 3.0), (40, 7.0), (60, 11.0), (80, 15.0))
)


@pytest.fixture(scope="module")
def tube() -> cq.Workplane:
    return cq.Workplane().circle(499.2).circle(490.8).extrude(16)


@pytest.fixture(scope="module")
def plain(tube):
    return beadwright.plan(tube)


def settled(tube, machine="", **options):
    from beadwright.pipeline import plan_part

    card = parse_document(machine, name="machine.toml", told="machine") if machine else None
    return plan_part(tube, None, resolved=resolve({"workers": 1, **options}, machine=card))


def test_time_of_a_ring(plain):
    # 4 rings at 100 mm/s from standing to standing at 1000 mm/s2: L / v + v / a each; traverses in closed form
    # too: down and up 20 mm at 100 mm/s and 500 mm/s2 (2 sqrt(s / a) would be 0.4 s: just at the limit). The start
    # and the stop word halt the axes for 0.2 s each.
    rows = plain.document["layers"]
    ring = RING / 100 + 100 / 1000

    assert plain.document["estimate"]["time"]["extruding_s"] == pytest.approx(4 * ring, rel=1e-6)
    assert rows[0]["time_s"] == pytest.approx(ring + 2 * (20 / 100 + 100 / 500) + 2 * 0.2, rel=1e-6)
    assert plain.document["totals"]["time_s"] == pytest.approx(sum(row["time_s"] for row in rows))


def test_mass_of_a_ring(plain):
    # Flat: 8.4 x 4 mm along the ring (Pappus), 1.14 g/cm3.
    for row in plain.document["layers"]:
        assert row["mass_kg"] == pytest.approx(33.6 * RING * 1.14e-6, rel=1e-6)
    assert plain.document["estimate"]["mass_lb"]["part"] == pytest.approx(
        4 * 33.6 * RING * 1.14e-6 / 0.45359237, rel=1e-6
    )
    # 33.6 mm2 at 100 mm/s are 13.789 kg/h, less what the ramps take.
    assert plain.document["estimate"]["output"]["kg_h"] == pytest.approx(13.789, rel=4e-3)


def test_places_return_after_the_layer_time(plain):
    row = plain.document["layers"][2]

    # The ring begins somewhere else in each layer, so places see more or less, the layer time on average.
    assert row["return_s"]["least"] < row["time_s"] < row["return_s"]["greatest"]
    assert row["return_s"]["lies_on"] == 1.0


def test_interlayer_temperature_is_a_band(plain):
    rows = plain.document["layers"]

    assert "interlayer_c" not in rows[0]
    for row in rows[1:]:
        low, high = row["interlayer_c"]
        assert 18 < low < high < 215
        assert high - low >= 30  # 15 K either way
    totals = plain.document["totals"]["interlayer_c"]
    assert totals == [
        min(row["interlayer_c"][0] for row in rows[1:]),
        max(row["interlayer_c"][1] for row in rows[1:]),
    ]


def test_the_document_obeys_its_schema(tube):
    quick = settled(tube, layer_time={"least": 60})

    jsonschema.validate(quick.document, SCHEMA)


def test_lag_stands_at_the_top_until_it_is_calibrated(tube, plain):
    lag = "[extruder.lag]\ndead_up = 0.15\ntau_up = 0.3\ndead_down = 0.15\ntau_down = 0.5\n"
    measured = settled(tube, lag)

    assert "(LAG NOT CALIBRATED:" in plain.program.partition("G21")[0]
    assert "lag-not-calibrated" in {f.code for f in plain.findings}
    assert "LAG NOT CALIBRATED" not in measured.program
    (closure,) = [f for f in measured.findings if f.code == "closure"]
    assert closure.measured == pytest.approx(20.0)  # v (0.50 - 0.30)


def test_feed_goes_down_to_the_least_layer_time(tube):
    result = settled(tube, layer_time={"least": 60})
    rows = result.document["layers"]

    # 60 s less ramps and traverses, so a little over L / 60; layer 0, too, or layer 1 would follow it too soon
    for row in rows:
        assert row["time_s"] == pytest.approx(60.0, rel=1e-6)
        assert RING / 60 < row["feed_mm_s"] < RING / 57.5
        assert "dwell_s" not in row
    # every layer begins some bead widths beside the one below, so a place returns that much sooner at the most
    assert all(row["return_s"]["least"] > 45.0 for row in rows[1:])
    feed = rows[1]["feed_mm_s"] * 60
    words = [float(line[1:]) for line in result.program.splitlines() if line.startswith("F")]
    assert any(word == pytest.approx(feed, rel=1e-9) for word in words)


def test_below_the_screw_the_nozzle_waits_off_the_part(tube):
    # The least weighed output, 3 kg/h, holds the feed at 21.76 mm/s: 3 / 3600 / (33.6 x 1.14e-6).
    slow = 3.0 / 3600 / (33.6 * 1.14e-6)
    result = settled(tube, WEIGHED, feed=80.0, layer_time={"least": 200})
    row = result.document["layers"][1]

    assert row["feed_mm_s"] == pytest.approx(slow, rel=1e-9)
    assert row["time_s"] == pytest.approx(200.0, abs=2e-3)
    # what layer 0 lacks of it stands before layer 1
    first = result.document["layers"][0]
    assert first["feed_mm_s"] == row["feed_mm_s"]
    assert "dwell_s" not in first
    assert row["return_s"]["median"] == pytest.approx(200.0, rel=0.02)
    lines = result.program.splitlines()
    at = lines.index(f"G4 P{row['dwell_s']:.3f}")
    assert lines[at - 1] == "G0 X-3000.0000 Y-1200.0000"  # least X and Y of the generic machine
    assert sum(line.startswith("G4") for line in lines) == 3


def test_a_screw_that_cannot_feed_the_bead_is_told(tube):
    # 13.789 kg/h at 100 mm/s lie inside what was weighed, 27.58 at 200 mm/s do not.
    assert "screw-output" not in {f.code for f in settled(tube, WEIGHED).findings}
    (found,) = [f for f in settled(tube, WEIGHED, feed=200.0).findings if f.code == "screw-output"]
    assert found.measured == pytest.approx(27.578, abs=1e-3)
    assert found.allowed == pytest.approx(15.0)
    assert found.level == "warning"


def test_path_tolerance_is_the_bound_of_the_motion(tube, plain):
    assert plain.document["motion"] == {"path_mode": "exact", "bound": "unknown, the controller's"}
    machine = '[path]\nmode = "continuous"\ntolerance = 0.05\n'

    assert settled(tube, machine, dialect="rs274-continuous").document["motion"]["tolerance_mm"] == 0.05


# The ring takes 31.2 s at 100 mm/s; for the middle of the wished window it would have to be laid faster than so slow a
# machine goes, or than so small a screw feeds: no such feed is proposed. One that the machine has is.
def test_no_feed_is_proposed_that_machine_or_screw_cannot_give(tube):
    wide = cq.Workplane().circle(2990).circle(2981.6).extrude(16)
    small = WEIGHED.replace("rate = 15.0", "rate = 15.5")
    free, slow, weak = (
        settled(wide, card + "\n[volume]\nsize = [7000, 7000, 1800]\n")
        for card in ("[speeds]\ngreatest = 2000\n", "[speeds]\ngreatest = 110\n", small)
    )
    texts = [next(f.text for f in each.findings if f.code == "too-cold") for each in (free, slow, weak)]

    assert free.document["proposal"]["feed_mm_s"] > 110
    assert re.search(r": a feed of \d+\.\d mm/s, or ", texts[0])
    for each, text in zip((slow, weak), texts[1:], strict=True):
        assert "feed_mm_s" not in each.document["proposal"]
        assert "a feed of" not in text
        assert "times the length of bead" in text


def test_a_window_upside_down_is_refused():
    with pytest.raises(SettingsError, match="greatest"):
        resolve({"layer_time": {"least": 60, "greatest": 30}})


def test_a_part_of_the_plan_stands_on_a_warm_wall(tube, plain):
    some = settled(tube, layers="2:4").document

    # Layer 2 is the first made: nothing is known of its layer below. The one above it is no colder than in a
    # whole plan, whose platform is near.
    assert "interlayer_c" not in some["layers"][0]
    assert some["layers"][1]["interlayer_c"][1] > plain.document["layers"][3]["interlayer_c"][0]


def test_the_screw_follows_the_width_of_each_bead():
    # A wall of 8 mm gets one bead of 8 mm, one of 9.6 mm one of 9.6: rpm = (rate + 1) / 0.2 by what was weighed.
    walls = cq.Workplane().box(200, 8, 4).union(cq.Workplane().box(200, 9.6, 4).translate((0, 60, 0)))
    result = settled(walls, WEIGHED, dialect="rs274-screw", feed=90.0)
    lines = [line.split() for line in result.program.splitlines() if not line.startswith("(")]
    speeds = sorted(float(word[1:]) for line in lines for word in line if word.startswith("S"))
    rates = [width * 4 * 90 * 1.14e-6 * 3600 for width in (8.0, 9.6)]

    assert [s for s in speeds if s] == pytest.approx([(rate + 1) / 0.2 for rate in rates], abs=1e-3)


# A block 200 x 200 x 40 filled at no-void spacing is 1824 g at 1.14 g/cm3; edges and turns may take 3 % more or less.
@pytest.mark.parametrize("section", ["flat", "round"])
def test_a_full_block_weighs_what_its_volume_does(section):
    block = cq.Workplane().box(200, 200, 40)
    options = {"width": 10.0, "bead_section": section, "contours": 1, "fill": {"kind": "lines"}}
    whole = settled(block, layers="0:2", **options).document["totals"]["mass_kg"] * 5

    assert whole == pytest.approx(1.824, rel=0.03)
