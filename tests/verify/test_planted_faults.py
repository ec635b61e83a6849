"""Faults planted in a clean program are found at their line, and nothing is found in a clean one.

The part is a plate 200 x 120 x 12 with rounded corners and a round hole of 60, made by the CAD kernel; what each
fault must be found as is what was planted.
"""

from __future__ import annotations

import importlib.util
import math
import sys
from argparse import Namespace
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from types import ModuleType

import cadquery as cq
import pytest

import beadwright
from beadwright.brep import Model
from beadwright.kernel import from_shape, read_step
from beadwright.verify import Verification, VerifyOptions, verify
from tests.verify._faults import FAULTS, Planted

ORACLE = Path(__file__).resolve().parents[3] / "shared" / "tools" / "oracle.py"
# Of these the independent checker does not speak: it looks at geometry and structure, not at waits.
NO_GEOMETRY = {"standstill", "halt_in_a_bead"}

Fault = Callable[[str], Planted]


@pytest.fixture(scope="module")
def part(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("part") / "plate.step"
    solid = cq.Workplane().box(200, 120, 12).edges("|Z").fillet(15).faces(">Z").workplane().hole(60)
    solid.val().exportStep(str(file))
    return file


@pytest.fixture(scope="module")
def plate(part: Path) -> Model:
    return read_step(part)


@pytest.fixture(scope="module")
def clean(plate: Model) -> str:
    return beadwright.plan(plate, workers=1).program


def judged(text: str, plate: Model) -> Verification:
    return verify(text, plate, VerifyOptions(every=True))


def test_nothing_is_found_in_a_clean_program(clean: str, plate: Model) -> None:
    found = judged(clean, plate)

    assert found.findings == ()
    assert len(found.checked) == 3
    assert found.profile is not None
    assert abs(found.profile.greatest) <= 0.001


@pytest.mark.parametrize("fault", FAULTS, ids=lambda f: f.__name__)
def test_a_planted_fault_is_found_at_its_line(fault: Fault, clean: str, plate: Model) -> None:
    planted = fault(clean)
    found = judged(planted.text, plate)
    told = [(n.finding.code, n.line) for n in found.findings if n.finding.level == "error"]

    assert not found.ok
    assert [t for t in told if t[0] in planted.codes and t[1] in planted.lines], told


def test_a_moved_bead_is_found_with_its_amount(clean: str, plate: Model) -> None:
    found = judged(FAULTS[0](clean).text, plate)
    worst = [n.finding for n in found.findings if n.finding.code == "profile"]

    assert [f.layer for f in worst] == [1]
    assert worst[0].measured is not None
    # what was planted, within the clean bead's own deviation and rounding to four decimals
    assert abs(abs(worst[0].measured) - 0.05) <= 0.0005
    assert worst[0].allowed is not None
    assert worst[0].allowed < 0.001


def test_length_of_a_ring_is_that_of_its_circles() -> None:
    """A ring's two beads, 10 wide, on R 500 and R 475, are 2 pi R long (Pappus)."""
    ring = from_shape(cq.Workplane().circle(505).circle(470).extrude(4), name="ring")
    program = beadwright.plan(ring, width=10.0, contours=1, workers=1)

    found = verify(program.program, ring, VerifyOptions(every=True))

    # Printed digits move each of at most a few dozen arcs' ends by half a unit of the fourth decimal.
    assert abs(found.run.bead_mm - 2 * math.pi * (500 + 475)) <= 0.01


@lru_cache(maxsize=1)
def checker() -> ModuleType:
    """The independent checker, as a module."""
    sys.path.insert(0, str(ORACLE.parent))
    try:
        spec = importlib.util.spec_from_file_location("independent_checker", ORACLE)
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
    finally:
        sys.path.remove(str(ORACLE.parent))
    return module


def independent(program: Path, part: Path, layers: int | None) -> bool:
    """Whether the independent checker finds nothing."""
    arguments = Namespace(
        program=str(program), step=str(part), layers=layers, all=layers is None, tol=math.inf, step_mm=3.0
    )
    return bool(checker().run(arguments)["ok"])


@pytest.mark.skipif(not ORACLE.exists(), reason="the independent checker is not beside this checkout")
@pytest.mark.parametrize(
    "fault",
    [None, *(f for f in FAULTS if f.__name__ not in NO_GEOMETRY)],
    ids=lambda f: f.__name__ if f else "clean",
)
def test_an_independent_checker_agrees(
    fault: Fault | None, clean: str, plate: Model, part: Path, tmp_path: Path
) -> None:
    text = clean if fault is None else fault(clean).text
    program = tmp_path / "program.nc"
    program.write_text(text)

    assert independent(program, part, None) == judged(text, plate).ok
