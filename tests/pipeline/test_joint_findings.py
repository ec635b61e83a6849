"""Cuts that end near a joint between beads, or leave less than one bead."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from beadwright.pipeline._joint_findings import joint_findings
from beadwright.settings import resolve

ALONG = [SimpleNamespace(face_lengths=lambda: {3: 900.0, 4: 100.0})]


def found(amount, **options):
    settings = resolve(options).settings
    return joint_findings(ALONG, {3: amount, 9: 8.4}, settings)


def test_a_cut_of_one_round_bead_ends_beyond_the_first_joint():
    # handbook example: w 8.4, h 4, round: spacing A / h = 7.5416, so 8.4 finishes 0.86 mm beyond the joint
    (only,) = found(8.4, bead_section="round", contours=3)

    assert (only.code, only.face, only.unit) == ("wall-joint", 3, "mm")
    assert only.measured == pytest.approx(0.858407, abs=5e-7)


@pytest.mark.parametrize(
    ("amount", "codes"),
    [(4.0, []), (7.3, []), (7.6, ["wall-joint"]), (8.4, ["wall-joint"]), (9.5, ["backing"])],
)
def test_joints_of_flat_beads_and_what_stays_behind(amount, codes):
    assert [finding.code for finding in found(amount)] == codes


def test_a_filled_part_has_its_backing():
    assert found(12.0, fill={"kind": "lines"}) == ()
    (only,) = found(12.0)
    assert only.measured == pytest.approx(2 * 8.4 - 12.0)


def test_faces_without_beads_and_parts_without_stock_are_not_told():
    settings = resolve({}).settings

    assert joint_findings(ALONG, {9: 8.4}, settings) == ()
    assert joint_findings(ALONG, {}, settings) == ()
