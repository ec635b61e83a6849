"""The commands `view`, `export` and the sheet of `verify`: exit codes, messages, JSON."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from beadwright import cli
from beadwright.report import sheet_page
from tests.report._long_program import long_sheet


def call(capsys: pytest.CaptureFixture[str], *arguments: str | Path) -> tuple[int, str, str]:
    """Run a command in this process: exit code, standard output, standard error."""
    with pytest.raises(SystemExit) as ended:
        cli.app([str(a) for a in arguments])
    out, err = capsys.readouterr()
    code = ended.value.code
    return (code if isinstance(code, int) else 0), out, " ".join(err.split())


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("out")
    (path / "report.html").write_text(sheet_page(long_sheet(2, 12)), encoding="utf-8")
    return path


@pytest.mark.parametrize("command", ["view", "export", "verify"])
def test_help_shows_an_example(capsys: pytest.CaptureFixture[str], command: str) -> None:
    code, out, _ = call(capsys, command, "--help")

    assert code == 0
    assert f"Example: beadwright {command} " in out


def test_view_draws_and_says_where(capsys: pytest.CaptureFixture[str], folder: Path, tmp_path: Path) -> None:
    code, out, err = call(capsys, "view", folder, "--layer", "1", "-o", tmp_path / "layer.svg")

    assert (code, out) == (0, "")
    assert "layer.svg" in err
    assert (tmp_path / "layer.svg").read_text().startswith("<svg")


def test_export_answers_in_json(capsys: pytest.CaptureFixture[str], folder: Path, tmp_path: Path) -> None:
    code, out, _ = call(capsys, "export", folder, "moves", "-o", tmp_path / "moves.csv", "--json")

    assert code == 0
    # two layers of two rings of six arcs, each with the way to it
    size = (tmp_path / "moves.csv").stat().st_size
    told = {"written": "moves.csv", "what": "moves", "layers": 2, "items": 28, "of": "move", "bytes": size}
    assert json.loads(out) == told


@pytest.mark.parametrize(
    ("what", "name", "words"),
    [
        ("summary", "s.md", "(2 layers, 1 finding, "),
        ("moves", "m.csv", "(2 layers, 28 moves, "),
        ("beads", "b.dxf", "(2 layers, 4 beads, "),
    ],
)
def test_export_says_what_it_wrote_and_how_much(
    capsys: pytest.CaptureFixture[str], folder: Path, tmp_path: Path, what: str, name: str, words: str
) -> None:
    _, _, err = call(capsys, "export", folder, what, "-o", tmp_path / name)

    assert words in err
    assert err.endswith((" kB)", " bytes)"))


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("view", "nowhere", "-o", "a.svg"), "nowhere: cannot be read"),
        (("view", "{out}", "-o", "a.gif"), "expected a name that ends in .svg, .png or .pdf"),
        (("view", "{out}", "--layer", "9", "-o", "a.svg"), "there is no layer 9; the sheet holds 0 to 1"),
        (("view", "{out}", "--layer", "1", "--column", "-o", "a.png"), "exclude each other"),
        (("export", "{out}", "pearls", "-o", "a.csv"), "expected one of beads, sections"),
        (("export", "{out}", "summary", "-o", "a.csv"), "`summary` can be written as .md only"),
        (("export", "{out}", "stock", "-o", "a.csv"), "the plan holds no stock"),
        (("export", "{out}", "moves", "-o", "a.csv", "--layers", "5:9"), "the sheet holds no such layer"),
    ],
)
def test_faults_are_told_and_leave_nothing(
    capsys: pytest.CaptureFixture[str],
    folder: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    arguments: tuple[str, ...],
    words: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    code, out, err = call(capsys, *(a.replace("{out}", str(folder)) for a in arguments))

    assert (code, out) == (2, "")
    assert words in err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(("place", "name"), [("--out", "folder"), ("--sheet", "sheet.html")])
def test_verify_refuses_a_place_for_the_sheet_that_is_not_written(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, place: str, name: str
) -> None:
    arguments = ("verify", "a.nc", "a.step", "--no-sheet", place, tmp_path / name)
    code, out, err = call(capsys, *arguments)

    assert (code, out) == (2, "")
    assert f"--no-sheet and {place} exclude each other" in err
    assert list(tmp_path.iterdir()) == []


def test_verify_names_the_file_of_heights_that_is_at_fault(
    capsys: pytest.CaptureFixture[str], folder: Path, tmp_path: Path
) -> None:
    heights = tmp_path / "heights.csv"
    heights.write_text("x,y,z\n0,0\n1,zero,0\n")
    code, out, err = call(
        capsys, "verify", folder / "program.nc", "a.step", "--no-sheet", "--bed-map", heights
    )

    assert (code, out) == (2, "")
    assert [word for word in err.split() if word.startswith("heights.csv")] == [
        "heights.csv:2:",
        "heights.csv:3:",
    ]
    assert "program.nc" not in err
