"""Faults planted in a clean program are found at their line, and nothing is found in a clean one.

The part is a plate 200 x 120 x 12 with a round hole of 60, and a ring, made by the CAD kernel; the expected
deviation of each fault is what was planted.
"""

from __future__ import annotations

import math
import re
from functools import lru_cache

import cadquery as cq
import pytest

import beadwright
from beadwright.brep import Model
from beadwright.kernel import from_shape
from beadwright.verify import Verification, VerifyOptions, verify


@lru_cache(maxsize=1)
def plate() -> Model:
    solid = cq.Workplane().box(200, 120, 12).edges("|Z").fillet(15).faces(">Z").workplane().hole(60)
    return from_shape(solid, name="plate")


@lru_cache(maxsize=1)
def clean() -> str:
    return beadwright.plan(plate(), workers=1).program


def judged(text: str) -> Verification:
    return verify(text, plate(), VerifyOptions(every=True))


def changed(pattern: str, new: str, *, layer: int = 1) -> tuple[str, int]:
    """The program with the first match after the start of a layer replaced, and the line of it."""
    text = clean()
    start = text.index(f"(layer index={layer} ")
    found = re.compile(pattern, flags=re.MULTILINE).search(text, start)
    assert found is not None
    place = found.start()
    return text[:place] + found.expand(new) + text[found.end() :], text.count("\n", 0, place) + 1


def codes(found: Verification) -> dict[str, list[int | None]]:
    table: dict[str, list[int | None]] = {}
    for noted in found.findings:
        if noted.finding.level == "error":
            table.setdefault(noted.finding.code, []).append(noted.line)
    return table


def test_nothing_is_found_in_a_clean_program() -> None:
    found = judged(clean())

    assert codes(found) == {}
    assert len(found.checked) == 3
    assert found.profile is not None
    assert found.profile.greatest <= 0.001


def test_a_bead_moved_by_a_twentieth_is_found_with_its_amount() -> None:
    text = clean()
    start = text.index("(bead index=", text.index("(layer index=1 "))
    stop = text.index("(end bead)", start)
    inside = re.sub(r"X(-?[\d.]+)", lambda m: f"X{float(m[1]) + 0.05:.4f}", text[start:stop])

    found = judged(text[:start] + inside + text[stop:])

    worst = [n.finding for n in found.findings if n.finding.code == "profile"]
    assert worst
    assert worst[0].layer == 1
    measured = worst[0].measured
    assert measured is not None
    assert abs(abs(measured) - 0.05) <= 0.0005  # the clean profile's own deviation


@pytest.mark.parametrize(
    ("pattern", "new"),
    [
        pytest.param(r"^(G2|G3)( X\S+ Y\S+) I(\S+) J", r"\1\2 I0.5 J", id="a wrong centre"),
        pytest.param(r"^M5$", "", id="extruder left on"),
    ],
)
def test_what_is_planted_is_found(pattern: str, new: str) -> None:
    text, _ = changed(pattern, new)

    assert codes(judged(text))


def test_the_wrong_unit_is_found() -> None:
    assert codes(judged(clean().replace("\nG21\n", "\nG20\n", 1)))


def test_a_wrong_centre_is_found_at_its_line() -> None:
    text, line = changed(r"^(G[23])( X\S+ Y\S+) I(\S+) J(\S+)$", r"\1\2 I0.5 J\4")

    assert line in [at for lines in codes(judged(text)).values() for at in lines]


def test_a_missing_layer_is_found() -> None:
    text = clean()
    start, stop = text.index("(layer index=1 "), text.index("(layer index=2 ")

    assert codes(judged(text[:start] + text[stop:]))


def test_a_hole_left_out_is_found() -> None:
    text = clean()
    start = text.index("(layer index=1 ")
    bead = re.compile(r"\(bead [^)]*hole=1[^)]*\).*?\(end bead\)\n", flags=re.DOTALL).search(text, start)
    assert bead is not None

    assert codes(judged(text[: bead.start()] + text[bead.end() :]))


def test_a_halt_with_flow_on_is_found_with_its_line() -> None:
    text = clean()
    start = text.index("\nM3\n", text.index("(layer index=1 ")) + 4
    planted = text[:start] + "G4 P0.5\n" + text[start:]

    found = judged(planted)

    line = planted.count("\n", 0, start) + 1
    assert line in [at for lines in codes(found).values() for at in lines] or any(
        noted.line == line for noted in found.findings
    )


def test_length_of_a_ring_is_that_of_its_circles() -> None:
    """A ring's two beads, 10 wide, on R 500 and R 475, are 2 pi R long (Pappus)."""
    ring = from_shape(cq.Workplane().circle(505).circle(470).extrude(4), name="ring")
    program = beadwright.plan(ring, width=10.0, contours=1, workers=1)

    found = verify(program.program, ring, VerifyOptions(every=True))

    # Printed digits move each of at most a few dozen arcs' ends by half a unit of the fourth decimal.
    assert abs(found.run.bead_mm - 2 * math.pi * (500 + 475)) <= 0.01
