"""The verifier and an independent checker, which share no code, agree on programs of the example parts."""

from __future__ import annotations

import math
import re
from argparse import Namespace
from pathlib import Path

import pytest

from beadwright.pipeline import plan, verify_options, verify_program
from tests.verify._faults import FAULTS
from tests.verify.test_planted_faults import NO_GEOMETRY, ORACLE, checker, independent

EXAMPLES = Path(__file__).resolve().parents[2] / "step_examples"
SOLIDS = sorted(path.stem for path in EXAMPLES.glob("*.step") if "surface" not in path.stem)

pytestmark = pytest.mark.skipif(
    not ORACLE.exists(), reason="the independent checker is not beside this checkout"
)


UPSIDE_DOWN = re.compile(r": ([\d.]+) mm laid, ([\d.]+) to ([\d.]+) expected")


def without_brackets_upside_down(program: Path, part: Path) -> bool:
    """Whether the independent checker finds nothing that it can know.

    It expects a rank's length between those at the rank's greatest and least offset, as if a boundary always got
    shorter inwards. Where even walls have offsets of their own and holes outweigh the rest, the greater offset has the
    greater length, the bracket is upside down, and a length inside it is no fault.
    """
    told = checker().run(
        Namespace(program=str(program), step=str(part), layers=None, all=True, tol=math.inf, step_mm=3.0)
    )
    for finding in told["findings"]:
        found = UPSIDE_DOWN.search(finding["text"]) if finding["code"].startswith("L04") else None
        if found is None:
            return False
        have, least, most = map(float, found.groups())
        if not most <= have <= least:
            return False
    return True


def judged(name: str, out: Path, layers: tuple[int, int | None]) -> tuple[bool, bool]:
    part = EXAMPLES / f"{name}.step"
    plan(part, out, layers=layers, workers=1)
    program = out / "program.nc"
    return verify_program(program, part, verify_options(layers=None)).ok, without_brackets_upside_down(
        program, part
    )


def test_they_agree_on_some_layers_of_an_example(tmp_path: Path) -> None:
    assert judged("turned_bollard", tmp_path / "out", (0, 3)) == (True, True)


SOME = {
    "turned_bollard": (100, 104),
    "tender_hull": (60, 64),
    "planing_fixture": (40, 44),
    "hatch_cover_mould": (40, 44),
}
"""Layers of the larger examples that faults are planted in."""


@pytest.mark.byhand
@pytest.mark.timeout(0)
@pytest.mark.parametrize("name", SOME)
def test_they_agree_on_every_planted_fault(name: str, tmp_path: Path) -> None:
    part = EXAMPLES / f"{name}.step"
    plan(part, tmp_path / "out", layers=SOME[name], workers=1)
    clean = (tmp_path / "out" / "program.nc").read_text()
    program = tmp_path / "out" / "program.nc"
    planted = 0
    for fault in FAULTS:
        try:
            found = fault(clean)
        except (ValueError, IndexError, AssertionError):
            continue  # this part has no such bead, or its first one no arc
        program.write_text(found.text)
        judged = verify_program(program, part, verify_options(layers=None))
        told = [(n.finding.code, n.line) for n in judged.findings if n.finding.level == "error"]
        assert [t for t in told if t[0] in found.codes and t[1] in found.lines], (fault.__name__, told)
        if fault.__name__ not in NO_GEOMETRY:
            assert not independent(program, part, None), fault.__name__
        planted += 1
    # a turned part has no hole, and the mould's outermost bead no arc for three of them
    assert planted >= len(FAULTS) - 3


@pytest.mark.byhand
@pytest.mark.timeout(0)
@pytest.mark.parametrize("name", SOLIDS)
def test_they_agree_on_every_example(name: str, tmp_path: Path) -> None:
    assert judged(name, tmp_path / "out", (0, None)) == (True, True)
