"""The installed command on every example part, judged by an independent program where it is there."""

from __future__ import annotations

import importlib.resources
import json
import re
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import jsonschema
import pytest

from beadwright.post import lint

ROOT = Path(__file__).resolve().parents[2]
EXAMPLES = sorted((ROOT / "step_examples").glob("*.step"))
ORACLE = ROOT.parent / "shared" / "tools" / "oracle.py"
COMMAND = Path(sys.executable).with_name("beadwright")
SCHEMA = json.loads(importlib.resources.files("beadwright.pipeline").joinpath("plan.schema.json").read_text())
LAYERS = 8

# Taller layers than one would print keep the runs short; the beads are as wide as on a real machine.
OPTIONS = ("--height", "8", "--width", "8.4")
WALLS = {"tender_hull_surface": ("--wall", "centre")}


@dataclass(frozen=True)
class Run:
    part: Path
    out: Path
    code: int
    err: str


def beadwright(*arguments: object, folder: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [str(COMMAND), *map(str, arguments)],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=280,
        check=False,
    )


def judged(run: Run, program: Path, layers: int = LAYERS) -> subprocess.CompletedProcess[str]:
    if run.part.stem in WALLS:
        pytest.skip("the checker needs a solid")
    if not ORACLE.exists():
        pytest.skip("the independent checker is not beside this checkout")
    return subprocess.run(
        [sys.executable, str(ORACLE), str(program), str(run.part), "--layers", str(layers)],
        capture_output=True,
        text=True,
        timeout=280,
        check=False,
    )


@pytest.fixture(scope="module", params=EXAMPLES, ids=lambda p: p.stem)
def run(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Run:
    part: Path = request.param
    folder = tmp_path_factory.mktemp(part.stem)
    done = beadwright(
        "plan", part, "-o", folder / "out", "--quiet", *OPTIONS, *WALLS.get(part.stem, ()), folder=folder
    )
    return Run(part=part, out=folder / "out", code=done.returncode, err=done.stderr)


def test_it_is_done(run: Run) -> None:
    assert (run.code, run.err) == (0, "")
    assert sorted(p.name for p in run.out.iterdir()) == ["plan.json", "program.nc", "report.html", "run.json"]


def test_its_results_obey_the_schema(run: Run) -> None:
    document = json.loads((run.out / "plan.json").read_text())

    jsonschema.validate(document, SCHEMA)
    assert document["fallbacks"] == 0
    assert document["bounds_mm"]["fit"] <= 0.010
    assert document["totals"]["beads"] > 0


def test_its_program_breaks_no_rule_of_the_standard(run: Run) -> None:
    assert lint((run.out / "program.nc").read_text()) == ()


@pytest.mark.slow
def test_an_independent_checker_agrees(run: Run) -> None:
    found = judged(run, run.out / "program.nc")

    assert found.returncode == 0, found.stdout[-2000:] + found.stderr[-2000:]


@pytest.mark.slow
def test_an_independent_checker_sees_a_bead_that_is_moved(run: Run) -> None:
    text = (run.out / "program.nc").read_text()
    moved = run.out.parent / "moved.nc"
    moved.write_text(moved_bead(text, 0.05))

    # A bead is moved in every layer: the first and the last are enough to see it.
    found = judged(run, moved, layers=1)

    assert found.returncode == 1, found.stdout[-2000:] + found.stderr[-2000:]


def moved_bead(text: str, distance: float) -> str:
    """The program with the first contour bead of every layer moved along X."""

    def shift(bead: re.Match[str]) -> str:
        return re.sub(r"(?m)^(G[0-3] X)(-?[\d.]+)", lambda m: f"{m[1]}{float(m[2]) + distance:.4f}", bead[0])

    layers = re.split(r"(?m)^(?=\(layer )", text)
    # from the traverse to the bead's start up to its end, so that it stays in one piece
    bead = re.compile(r"^G0 X.*?^\(end bead\)", re.MULTILINE | re.DOTALL)
    return "".join([layers[0], *(bead.sub(shift, layer, count=1) for layer in layers[1:])])
