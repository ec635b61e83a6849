"""What a tamper asks of a plan: corners, delay, room, its switch, and boxes that may not be entered."""

from __future__ import annotations

import math

import cadquery as cq
import pytest

from beadwright.errors import SettingsError
from beadwright.pipeline import plan_part
from beadwright.settings import parse_document, resolve

DEVICE = """
[[device]]
name = "tamper"
on = ["M7"]
off = ["M9"]
on_at = ["bead start"]
off_at = ["bead end", "program end"]
"""
TAMPER = "[tamper]\nsize = [80, 80]\nstroke = 2\n"


@pytest.fixture(scope="module")
def frame():
    """Corners rounded with 60 mm outside, sharp inside: the outer bead turns with 55.8, the inner at four joints."""
    outer = cq.Workplane().rect(400, 300).extrude(4).edges("|Z").fillet(60)
    return outer.cut(cq.Workplane().rect(300, 200).extrude(4))


def findings(part, machine, **options):
    card = parse_document(machine, name="machine.toml", told="machine")
    result = plan_part(part, None, resolved=resolve({"workers": 1, "contours": 1, **options}, machine=card))
    return {f.code: f for f in result.findings if f.code.startswith("tamper")}


def test_a_tamper_without_a_switch_is_told(frame):
    assert findings(frame, "name = 'without'") == {}
    assert "tamper-not-switched" in findings(frame, TAMPER)
    late = DEVICE.replace('"bead end", ', '"closure", ').replace(
        "[[device]]", "[[device]]\nmotion = 'blends'"
    )
    assert "tamper-in-traverse" in findings(frame, TAMPER + late)
    assert set(findings(frame, TAMPER + DEVICE)) == {"tamper-corner"}


# Footprints of 80 and 120 mm have radii of 40 and 60: the fillets of 60 mm, whose bead turns with 60 - 4.2, pass one.
def test_corners_tighter_than_the_footprint(frame):
    small, large = (
        findings(frame, TAMPER.replace("80", size) + DEVICE)["tamper-corner"] for size in ("80", "120")
    )

    def count(found):
        return int(found.text.split()[0])

    assert (small.allowed, large.allowed) == (40.0, 60.0)
    assert small.measured <= 4.2 + 1e-9
    assert count(large) - count(small) == 4
    ring = cq.Workplane().circle(104.2).circle(95.8).extrude(4)
    assert "tamper-corner" not in findings(ring, TAMPER + DEVICE)
    assert findings(ring, TAMPER.replace("80", "220") + DEVICE)["tamper-corner"].measured == pytest.approx(
        100.0
    )


# 0.5 s at 100 mm/s are 50 mm of bead.
def test_what_is_laid_before_the_first_stroke(frame):
    found = findings(frame, TAMPER + "on_delay = 0.5\n" + DEVICE)["tamper-delay"]
    ring = cq.Workplane().circle(12).circle(3.6).extrude(4)
    short = findings(ring, TAMPER + "on_delay = 0.5\n" + DEVICE)["tamper-delay"]

    assert (found.measured, found.level) == (50.0, "note")
    assert 2 * math.pi * 7.8 < 50
    assert short.level == "warning"
    assert "1 bead, shorter than that, is not pressed" in short.text


def test_traverses_clear_a_layer_and_the_stroke(frame):
    found = findings(frame, TAMPER.replace("stroke = 2", "stroke = 20") + DEVICE)["tamper-clearance"]

    assert (found.measured, found.allowed) == (20.0, 24.0)


def test_a_tamper_above_the_tip_presses_no_bead_flat(frame):
    machine = TAMPER + "lowest = 1.5\n" + DEVICE

    assert findings(frame, machine)["tamper-high"].measured == 1.5
    assert "tamper-high" not in findings(frame, machine, bead_section="round")


# The bead's outer edge is 195.8 from the middle; a box 220 away is clear of the tip, not of 40 mm of footprint. A box
# below the tip is clear of a tamper that is level with it, not of one that hangs below.
@pytest.mark.parametrize(
    ("tamper", "low", "high", "free"),
    [
        ("", "220, -50, 0", "300, 50, 100", True),
        (TAMPER, "220, -50, 0", "300, 50, 100", False),
        (TAMPER, "180, -50, 0", "300, 50, 3", True),
        (TAMPER + "lowest = -2\n", "180, -50, 0", "300, 50, 3", False),
    ],
)
def test_boxes_are_kept_clear_of_the_whole_footprint(frame, tamper, low, high, free):
    machine = f"[[volume.keep_out]]\nname = 'clamp'\nlow = [{low}]\nhigh = [{high}]\n{tamper}{DEVICE}"
    options = {"override": "tamper"} if "lowest" in tamper else {}
    if free:
        findings(frame, machine, **options)
    else:
        with pytest.raises(SettingsError, match="enters clamp"):
            findings(frame, machine, **options)
