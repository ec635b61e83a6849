"""The commands replan, coupon and calibrate: exit codes, and JSON alone on standard output."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from beadwright import cli


def call(capsys: pytest.CaptureFixture[str], *arguments: str | Path) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as ended:
        cli.app([str(a) for a in arguments])
    out, err = capsys.readouterr()
    code = ended.value.code
    return (code if isinstance(code, int) else 0), out, err


def test_a_test_piece_is_written_once(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    code, out, err = call(capsys, "coupon", "circle", "-o", tmp_path / "c", "--json")

    assert (code, err) == (0, "")
    assert [Path(file).name for file in json.loads(out)["files"]] == ["measured.csv", "program.nc"]
    before = {path.name: path.read_bytes() for path in (tmp_path / "c").iterdir()}
    code, out, err = call(capsys, "coupon", "circle", "-o", tmp_path / "c")
    assert (code, out) == (2, "")
    assert "choose another folder" in err
    assert {path.name: path.read_bytes() for path in (tmp_path / "c").iterdir()} == before


def test_an_unknown_piece_names_those_that_are(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    code, _, err = call(capsys, "coupon", "tower", "-o", tmp_path / "c")

    assert code == 2
    assert "allowed screw, width, lag, overlap, corner, lean, circle" in err


def test_a_calibration_is_lines_of_toml(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    sheet = tmp_path / "measured.csv"
    sheet.write_text("coupon,rpm,seconds,mass_g\nscrew,20,60,57\nscrew,40,60,119\nscrew,60,60,181\n")
    code, out, err = call(capsys, "calibrate", sheet)

    # 3.1 g/min a rpm less 5 g/min.
    assert code == 0
    assert out.startswith("# machine file\n[[extruder.calibration]]\nrpm = 20.0\nrate = 3.42\n")
    assert "0.186 kg/h a rpm, intercept -0.3 kg/h" in err
    code, out, _ = call(capsys, "calibrate", sheet, "--json")
    assert json.loads(out)["found"][0]["what"] == "screw"


def test_too_little_is_refused(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    sheet = tmp_path / "measured.csv"
    sheet.write_text("coupon,rpm,seconds,mass_g\nscrew,20,60,57\nscrew,40,60,119\n")
    code, out, err = call(capsys, "calibrate", sheet, "-o", tmp_path / "out")

    assert (code, out) == (2, "")
    assert "2 different speeds" in err
    assert not (tmp_path / "out").exists()


def test_a_folder_without_a_plan_has_no_rest(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    code, out, err = call(capsys, "replan", tmp_path, "--from-layer", "3", "--height", "12")

    assert (code, out) == (2, "")
    assert "plan.json cannot be read" in err
