"""The command: options, exit codes, JSON alone on standard output."""

from __future__ import annotations

import json
import math
from contextlib import chdir
from dataclasses import dataclass
from pathlib import Path

import cadquery as cq
import pytest
from typer.testing import CliRunner

from beadwright.cli import app
from beadwright.kernel import read_step
from tests.verify._programs import ring, told


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("verify")
    solid = cq.Workplane().circle(505).circle(495).extrude(4)
    solid.val().exportStep(str(out / "tube.step"))
    model = read_step(out / "tube.step")
    text = told(model, [[ring(500.0)]])
    (out / "good.nc").write_text(text)
    (out / "bad.nc").write_text(text.replace("M3\n", "M3\nG4 P1\n"))
    (out / "twice.nc").write_text(told(model, [[ring(500.0), ring(500.0)]]))
    wide = cq.Workplane().circle(515).circle(485).extrude(4)
    wide.val().exportStep(str(out / "wide.step"))
    tall = cq.Workplane().circle(505).circle(495).extrude(16)
    tall.val().exportStep(str(out / "tall.step"))
    (out / "four.nc").write_text(told(read_step(out / "tall.step"), [[ring(500.0)]] * 4))
    (out / "empty.nc").write_text("nothing\n")
    return out


@dataclass(frozen=True)
class Done:
    returncode: int
    stdout: str
    stderr: str


def run(folder: Path, *arguments: str) -> Done:
    """The command in this process: what starts and ends a process is tested with the other commands."""
    with chdir(folder):
        done = CliRunner().invoke(app, ["verify", *arguments])
    return Done(done.exit_code, done.stdout, done.stderr)


def test_a_program_that_holds(folder: Path) -> None:
    done = run(folder, "good.nc", "tube.step", "--json", "--density", "1.14", "--all")
    found = json.loads(done.stdout)

    assert (done.returncode, done.stderr) == (0, "")
    assert found["ok"] is True
    assert (found["format"], found["beads_from"], found["placement_from"]) == (
        "beadwright verification 1",
        "comments",
        "program",
    )
    # a flat bead 10 x 4 on R 500 at 1.14 g/cm3: 125663.7061 mm3, 143.2566 g
    assert found["run"]["mass_g"] == pytest.approx(143.256625, abs=1e-5)
    assert found["findings"] == []


def test_a_program_that_does_not_hold(folder: Path) -> None:
    done = run(folder, "bad.nc", "tube.step")

    assert (done.returncode, done.stdout) == (1, "")
    assert "1. line " in done.stderr
    assert "4000.0 mm3" in done.stderr  # 1 s at 100 mm/s of 10 x 4


def test_the_time_tells_its_waits_and_an_area_left_open_tells_why(folder: Path) -> None:
    """A circle of R 500 and a descent of 20 mm at 100 mm/s take 31.6 s; 40 s more make 1 min 12 s."""
    text = (folder / "good.nc").read_text()
    (folder / "waits.nc").write_text(text.replace("M3\n", "G4 P40\nM3\n"))
    head, rest = text.split("\n", 1)
    (folder / "open.nc").write_text(f"{head}\n(setting name=fill.kind value=none from=default)\n{rest}")

    def row(program: str, part: str, name: str) -> str:
        shown = run(folder, program, part, "--no-sheet").stderr.splitlines()
        return next(line for line in shown if line.startswith(name)).removeprefix(name).strip()

    assert row("good.nc", "tube.step", "time") == "32 s by length and feed, without traverses"
    assert row("waits.nc", "tube.step", "time").startswith("1 min 12 s by length and feed, 40 s of it waits")
    assert row("good.nc", "wide.step", "not covered") == "66.67 % of the sections measured"
    assert row("open.nc", "wide.step", "not covered").startswith(
        "66.67 % of the sections measured (no fill was asked)"
    )


def test_a_sheet_is_written_beside_the_program_or_not_at_all(folder: Path) -> None:
    sheet = folder / "good_verify.html"
    sheet.unlink(missing_ok=True)
    assert run(folder, "good.nc", "tube.step", "--no-sheet", "--quiet").returncode == 0
    assert not sheet.exists()
    done = run(folder, "good.nc", "tube.step", "--json")
    assert json.loads(done.stdout)["sheet"] == "good_verify.html"
    first = sheet.read_bytes()
    assert run(folder, "good.nc", "tube.step", "--quiet").returncode == 0  # its own sheet it may replace
    assert sheet.read_bytes() == first
    sheet.write_text("a user's own")
    done = run(folder, "good.nc", "tube.step")
    assert done.returncode == 2
    assert "--overwrite" in done.stderr
    assert sheet.read_text() == "a user's own"
    assert run(folder, "good.nc", "tube.step", "--quiet", "--overwrite").returncode == 0
    assert sheet.read_bytes() == first


def test_limits_of_cover_decide_the_exit_code(folder: Path) -> None:
    """One bead 10 wide fills the tube's wall of 10; a wider tube it fills by a third, and twice not at all."""
    holds = run(
        folder, "good.nc", "tube.step", "--no-sheet", "--least-cover", "99.9", "--most-overfill", "0.1"
    )
    done = run(
        folder, "good.nc", "wide.step", "--no-sheet", "--json", "--least-cover", "50", "--tolerance", "20"
    )
    (low,) = [f for f in json.loads(done.stdout)["findings"] if f["code"] == "underfill"]

    assert holds.returncode == 0
    assert done.returncode == 1
    # rings of R 495 to 505 and of 485 to 515: 10 by 30 of the same mean radius
    assert low["measured"] == pytest.approx(100 / 3, abs=0.01)
    assert (low["allowed"], low["unit"], low["layer"]) == (50, "percent", 0)
    assert 485 < math.hypot(*low["at_mm"][:2]) < 515
    done = run(folder, "twice.nc", "tube.step", "--no-sheet", "--json", "--most-overfill", "10")
    (high,) = [f for f in json.loads(done.stdout)["findings"] if f["code"] == "overfill"]
    assert done.returncode == 1
    assert high["measured"] == pytest.approx(100.0, abs=0.01)
    assert math.hypot(*high["at_mm"][:2]) == pytest.approx(500, abs=5)


@pytest.mark.parametrize(
    ("layers", "measured"),
    [("1:3", [1, 2]), ("2:", [2, 3]), (":1", [0]), ("2", [0, 3]), ("9", [0, 1, 2, 3])],
)
def test_layers_are_a_count_or_a_range(folder: Path, layers: str, measured: list[int]) -> None:
    done = run(folder, "four.nc", "tall.step", "--json", "--no-sheet", "--layers", layers)

    assert done.returncode == 0
    assert [layer["index"] for layer in json.loads(done.stdout)["checked"]] == measured


def test_quiet_says_nothing(folder: Path) -> None:
    done = run(folder, "bad.nc", "tube.step", "--quiet")

    assert (done.returncode, done.stdout, done.stderr) == (1, "", "")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("empty.nc", "tube.step"), "no motion"),
        (("missing.nc", "tube.step"), "cannot be read"),
        (("good.nc", "missing.step"), "missing.step"),
        (("good.nc", "good.nc"), "good.nc"),
        (("good.nc", "tube.step", "--matrix", "1,2,3"), "12 numbers"),
        (("good.nc", "tube.step", "--envelope", "1,1,1,0,0,0"), "least"),
        (("good.nc", "tube.step", "--tolerance", "0"), "above 0"),
        (("good.nc", "tube.step", "--least-cover", "101"), "0 to 100"),
        (("good.nc", "tube.step", "--workers", "0"), "at least 1"),
        (("good.nc", "tube.step", "--sheet", "a.html", "--out", "b"), "exclude"),
        (("good.nc", "tube.step", "--bead-section", "square"), "flat or round"),
        (("good.nc", "tube.step", "--layers", "few"), "such as 10, or A:B"),
        (("good.nc", "tube.step", "--layers", "0"), "above 0"),
        (("good.nc", "tube.step", "--layers", "3:x"), "expected A:B"),
        (("good.nc", "tube.step", "--layers", "3:3"), "B must be above A"),
        (("good.nc", "tube.step", "--layers", "3:5"), "from 0 to 0"),
    ],
)
def test_what_cannot_be_read_or_used(folder: Path, arguments: tuple[str, ...], said: str) -> None:
    done = run(folder, *arguments)

    assert (done.returncode, done.stdout) == (2, "")
    assert said in done.stderr
