"""A circle of the CAD stays the fewest moves that the standard's arcs allow, wherever its bead starts."""

from __future__ import annotations

import re

import cadquery as cq

import beadwright
from beadwright.pipeline import verify_program


def test_o12_the_bead_of_a_circle_is_two_half_turns_wherever_it_starts(tmp_path):
    """Radii 1000 and 950, not in the middle of the platform; no arc may turn by more than half a turn."""
    ring = tmp_path / "ring.step"
    cq.exporters.export(cq.Workplane().circle(1000).circle(950).extrude(8), str(ring))
    beadwright.plan(ring, out=tmp_path / "out", at=(1234.5678, 987.6543), workers=1)
    program = tmp_path / "out" / "program.nc"
    beads = re.findall(r"\(bead .*?\(end bead\)", program.read_text(), re.DOTALL)
    moves = [re.findall(r"^G[123] .*[XY].*$", bead, re.MULTILINE) for bead in beads]

    assert len(beads) == 8
    assert [len(own) for own in moves] == [2] * 8
    assert {line[:3] for own in moves for line in own} == {"G3 ", "G2 "}
    # Start points do not stand above each other: most cut the circle elsewhere than at the CAD's seam.
    assert len({own[-1].split(" I")[0] for own in moves}) == 8
    assert verify_program(program, ring).ok
