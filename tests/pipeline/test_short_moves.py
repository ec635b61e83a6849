"""Moves that the controller cannot take in, through the whole job."""

from __future__ import annotations

import math

import cadquery as cq
import pytest

import beadwright
from beadwright.curves import lengths
from beadwright.errors import SettingsError
from beadwright.pipeline import plan_part
from beadwright.settings import parse_document, resolve


@pytest.fixture(scope="module")
def chords() -> cq.Workplane:
    # a prism of 720 sides on a circle of 150: chords of 1.309 mm, 0.0014 mm off it
    ring = [(150 * math.cos(math.radians(k / 2)), 150 * math.sin(math.radians(k / 2))) for k in range(720)]
    return cq.Workplane().polyline(ring).close().extrude(4)


def planned(part: cq.Workplane, block_time: float):
    card = parse_document(f"[controller]\nblock_time = {block_time}\n", name="m.toml", told="machine")
    return plan_part(part, None, resolved=resolve({"workers": 1, "contours": 1}, machine=card))


def test_moves_shorter_than_a_block_are_merged_within_the_tolerance(chords: cq.Workplane) -> None:
    # 0.05 s at 100 mm/s: 5 mm
    plain, found = beadwright.plan(chords, workers=1, contours=1), planned(chords, 0.05)
    (bead,) = found.layers[0].beads

    assert lengths(bead.path).min() >= 5.0
    assert len(bead.path.bulge) < len(plain.layers[0].beads[0].path.bulge) / 3
    assert plain.bounds.total < found.bounds.total <= 0.010
    # the chords' own distance from the circle, which an arc between two corners may share out a little
    assert found.bounds.fit >= 0.9 * 145.8 * (1 - math.cos(math.radians(0.25)))
    assert "short-move" not in [finding.code for finding in found.findings]


def test_what_stays_too_short_is_counted(chords: cq.Workplane) -> None:
    # 10 s at 100 mm/s: no move of this part is that long
    found = planned(chords, 10.0)
    (told,) = [finding for finding in found.findings if finding.code == "short-move"]

    count = len(found.layers[0].beads[0].path.bulge)
    assert told.text.startswith(f"{count} moves are over")
    assert (told.level, told.allowed, told.unit) == ("note", 1000.0, "mm")
    assert found.bounds.total <= 0.010


def test_a_block_time_out_of_range_is_refused() -> None:
    card = parse_document("[controller]\nblock_time = 11\n", name="m.toml", told="machine")
    with pytest.raises(SettingsError, match=r"controller\.block_time.*0 to 10"):
        resolve({}, machine=card)
