"""Layers of a verification measured elsewhere: the same findings and numbers."""

from __future__ import annotations

import cadquery as cq
import pytest

import beadwright
from beadwright.brep import Model
from beadwright.kernel import from_shape
from beadwright.pipeline._verify_crew import VerifyCrew
from beadwright.verify import VerifyOptions, verify
from tests.verify._faults import bead_moved


@pytest.fixture(scope="module")
def tube() -> Model:
    return from_shape(cq.Workplane().circle(60).circle(35).extrude(40), name="tube")


def test_workers_find_what_one_process_finds(tube: Model) -> None:
    text = bead_moved(beadwright.plan(tube, workers=1).program).text
    one = VerifyCrew(1)
    two = VerifyCrew(2)
    shown: list[tuple[str, int, int]] = []
    here = verify(text, tube, VerifyOptions(every=True), crew=one)
    there = verify(text, tube, VerifyOptions(every=True), lambda *told: shown.append(told), crew=two)

    assert (one.count, two.count) == (1, 2)
    assert not there.ok
    assert there.as_dict() == here.as_dict()
    assert there.deviation.tobytes() == here.deviation.tobytes()
    assert shown[-1] == ("layers", 10, 10)


def test_a_worker_that_was_lost_is_told() -> None:
    crew = VerifyCrew(2)
    crew.lost.append("a worker process was ended by signal 9")
    ((line, finding),) = crew.findings()

    assert (line, finding.code, finding.level) == (None, "worker-lost", "note")
    assert "measured again" in finding.text
