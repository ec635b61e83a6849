"""Programs without a structured comment: layers from z, beads from flow, width inferred."""

from __future__ import annotations

from functools import lru_cache

import cadquery as cq
import pytest

from beadwright.brep import Model
from beadwright.errors import InputError
from beadwright.kernel import from_shape
from beadwright.verify import Verification, VerifyOptions, verify
from tests.verify._programs import HandBead, bare, ring


@lru_cache(maxsize=1)
def part() -> Model:
    return from_shape(cq.Workplane().circle(300).circle(200).extrude(16), name="hand.step")


def program(*, skip: int | None = None, moved: tuple[int, float] = (-1, 0.0), axis: str = "") -> str:
    lines = ["G21 G17 G90 G94", "F6000"] + (["G92 E0"] if axis else [])
    for k in range(4):
        if k != skip:
            off = moved[1] if moved[0] == k else 0.0
            layer = [ring(295.0 + off), ring(205.0, hole=True)]
            text = bare(layer, 4.0 * (k + 1), axis=axis)
            if axis:
                count = iter(range(1000))
                text = [t.replace(f"{axis}0.5", f"{axis}{100 * k + next(count)}.5") for t in text]
            lines += text
    return "\n".join([*lines, "M2", ""])


def codes(found: Verification) -> list[str]:
    return [n.finding.code for n in found.findings if n.finding.level == "error"]


def test_a_clean_program_holds_and_its_width_is_found() -> None:
    found = verify(program(), part(), VerifyOptions(every=True))

    assert codes(found) == []
    assert (found.told, found.layers, found.beads, len(found.checked)) == (False, 4, 8, 4)
    assert found.width == pytest.approx(10.0, abs=1e-3)
    assert found.profile is not None
    assert abs(found.profile.greatest) <= 2e-4  # the chords of the section


def test_an_extruder_axis_tells_the_beads_too() -> None:
    found = verify(program(axis="E"), part(), VerifyOptions(every=True))

    assert codes(found) == []
    assert (found.layers, found.beads) == (4, 8)


def test_a_moved_ring_is_found_with_its_amount_and_line() -> None:
    text = program(moved=(2, 0.25))
    found = verify(text, part(), VerifyOptions(every=True, width=10.0))
    profile = [n for n in found.findings if n.finding.code == "profile"]

    assert {n.finding.layer for n in profile} == {2}
    assert profile[0].finding.measured == pytest.approx(0.25, abs=1e-3)
    assert all("295.25" in text.split("\n")[(n.line or 0) - 1] for n in profile)


def test_a_missing_layer_is_found_by_its_step() -> None:
    found = verify(program(skip=1), part(), VerifyOptions(every=True, height=4.0))

    assert "missing-layer" in codes(found)


def test_a_missing_ring_is_found() -> None:
    text = program()
    start = text.index("G0 X205.0", text.index("G1 Z8.0"))
    stop = text.index("M5", start)
    found = verify(text[:start] + text[stop:], part(), VerifyOptions(every=True, width=10.0))

    assert codes(found) == ["missing-bead"]


def test_inches_are_read_as_inches() -> None:
    lines = ["G20 G17 G90 G94", "F236.22"]
    for k in range(4):
        r = 295.0 / 25.4
        i = 205.0 / 25.4
        beads = [
            HandBead(start=(q, 0.0), moves=(f"{t} X{-q} Y0 I{-q} J0", f"{t} X{q} Y0 I{q} J0"))
            for q, t in ((r, "G3"), (i, "G2"))
        ]
        lines += [
            t.replace(f"Z{4.0 * (k + 1) + 20}", f"Z{(4.0 * (k + 1) + 20) / 25.4:.6f}").replace(
                f"G1 Z{4.0 * (k + 1)}", f"G1 Z{4.0 * (k + 1) / 25.4:.6f}"
            )
            for t in bare(beads, 4.0 * (k + 1))
        ]
    good = "\n".join([*lines, "M2", ""])

    assert codes(verify(good, part(), VerifyOptions(every=True, width=10.0))) == []
    assert codes(verify(good.replace("G20", "G21"), part(), VerifyOptions(every=True, width=10.0)))


def test_no_motion_is_no_program() -> None:
    with pytest.raises(InputError, match="no motion"):
        verify("hello\n", part())


def test_no_flow_is_a_finding() -> None:
    found = verify("G21\nF100\nG1 X10\nM2\n", part())

    assert codes(found) == ["no-bead"]
