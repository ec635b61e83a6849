"""The commands: help, exit codes and messages for everything that a user can get wrong."""

from __future__ import annotations

import gzip
import json
import os
import resource
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from beadwright import __version__, cli, pipeline
from beadwright.cli import _app
from beadwright.errors import BoundError, InternalError
from beadwright.pipeline import Progress

EXAMPLES = Path(__file__).resolve().parents[2] / "step_examples"
FIXTURE = EXAMPLES / "planing_fixture.step"
SURFACE = EXAMPLES / "tender_hull_surface.step"
# Python itself is up by then, and takes signals in our way.
LOADED = 0.05
BEADWRIGHT = [sys.executable, "-m", "beadwright"]


def call(capsys: pytest.CaptureFixture[str], *arguments: str | Path) -> tuple[int, str, str]:
    """Run a command in this process: exit code, standard output, standard error."""
    with pytest.raises(SystemExit) as ended:
        cli.app([str(a) for a in arguments])
    out, err = capsys.readouterr()
    code = ended.value.code
    return (code if isinstance(code, int) else 0), out, err


def refused(capsys: pytest.CaptureFixture[str], tmp_path: Path, *arguments: str | Path) -> str:
    """A command that must end with exit code 2 and leave nothing; its message."""
    before = sorted(tmp_path.rglob("*"))
    code, out, err = call(capsys, *arguments)
    assert code == 2
    assert out == ""
    assert "Traceback" not in err
    assert sorted(tmp_path.rglob("*")) == before
    return " ".join(err.split())


@pytest.mark.parametrize("command", [(), ("examine",), ("section",), ("plan",), ("init",), ("record",)])
def test_help_shows_an_example(capsys: pytest.CaptureFixture[str], command: tuple[str, ...]) -> None:
    code, out, _ = call(capsys, *command, "--help")

    assert code == 0
    assert "Example: beadwright " in out


def test_help_shows_defaults_and_names_of_tables(capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = call(capsys, "plan", "--help")

    told = " ".join(out.replace("│", " ").split())
    assert "bead width [default: 8.4]" in told
    assert "segments ([[cut]])" in told


def test_help_is_quick() -> None:
    seconds = []
    for _ in range(3):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run([*BEADWRIGHT, "--help"], capture_output=True, check=True)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        seconds.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)

    # One process computes and waits for nothing, so this is what a quiet machine's clock would say.
    assert min(seconds) < 0.4


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys\nfrom beadwright import cli\n"
        "try:\n    cli.app(['plan', '--help'])\nexcept SystemExit:\n    pass\n"
        "print([m for m in ('numpy', 'numba', 'OCP', 'scipy') if m in sys.modules], file=sys.stderr)\n"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert run.stderr.strip() == "[]"


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    assert call(capsys, "--version") == (0, f"beadwright {__version__}\n", "")


def test_an_unknown_command_names_the_nearest(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert "plan" in refused(capsys, tmp_path, "pln", FIXTURE)


def test_an_unknown_option_names_the_nearest(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert "--width" in refused(capsys, tmp_path, "plan", FIXTURE, "-o", tmp_path / "out", "--widht", "3")


def test_a_missing_part_is_named(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    for command in (["examine"], ["section", "--z", "3"], ["plan", "-o", tmp_path / "out"]):
        text = refused(capsys, tmp_path, *command, tmp_path / "nowhere.step")

        assert "nowhere.step" in text
        assert "No such file" in text


def test_a_folder_is_no_part(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert "is a folder; name the STEP file inside it" in refused(capsys, tmp_path, "examine", EXAMPLES)


def test_a_file_that_is_not_step(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    part = tmp_path / "part.step"
    part.write_text("solid cube\nfacet normal 0 0 1\n")

    text = refused(capsys, tmp_path, "plan", part, "-o", tmp_path / "out")

    assert (
        'expected a STEP file (first words ISO-10303-21), found a file that begins with "solid cube"' in text
    )


def test_an_empty_file(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    part = tmp_path / "part.step"
    part.write_bytes(b"")

    assert "empty" in refused(capsys, tmp_path, "plan", part, "-o", tmp_path / "out")


def test_a_truncated_file(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    part = tmp_path / "part.step"
    part.write_bytes(FIXTURE.read_bytes()[:20_000])

    assert "truncated" in refused(capsys, tmp_path, "plan", part, "-o", tmp_path / "out")


def test_a_damaged_packed_file(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    part = tmp_path / "part.step.gz"
    part.write_bytes(gzip.compress(FIXTURE.read_bytes())[:5_000])

    assert "damaged or cut short" in refused(capsys, tmp_path, "plan", part, "-o", tmp_path / "out")


def test_an_open_surface_names_the_place_and_the_remedy(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    text = refused(capsys, tmp_path, "plan", SURFACE, "-o", tmp_path / "out")

    assert "open" in text
    assert "--wall centre" in text
    assert "mm" in text


def test_all_options_at_fault_are_told(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    text = refused(
        capsys,
        tmp_path,
        "plan",
        FIXTURE,
        "-o",
        tmp_path / "out",
        "--width",
        "0",
        "--contours",
        "none",
        "--at",
        "3",
    )

    assert "3 settings are at fault" in text
    assert all(f"{key}:" in text for key in ("width", "contours", "at"))


def test_layers_above_the_part(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    text = refused(capsys, tmp_path, "plan", FIXTURE, "-o", tmp_path / "out", "--layers", "500:600")

    # 300 mm in layers of 4 mm.
    assert "0:75" in text


def test_an_output_that_exists(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / "letter.txt").write_text("mine")

    for extra in ([], ["--overwrite"]):
        assert "no output of beadwright" in refused(capsys, tmp_path, "plan", FIXTURE, "-o", out, *extra)


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="the system's rules do not bind root")
def test_a_read_only_folder(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    tmp_path.chmod(0o500)

    assert "no permission" in refused(capsys, tmp_path, "plan", FIXTURE, "-o", tmp_path / "out")


def test_a_missing_folder(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert "make it first" in refused(capsys, tmp_path, "plan", FIXTURE, "-o", tmp_path / "a" / "b")


def test_examine_in_words_and_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = call(capsys, "examine", FIXTURE)
    assert (code, out) == (0, "")
    assert "1200.00 × 600.00 × 300.00 mm" in err
    assert "printable" in err

    code, out, err = call(capsys, "examine", FIXTURE, "--json")
    found = json.loads(out)
    assert (code, err) == (0, "")
    assert found["printable"] is True
    assert [round(v, 6) for v in found["size_mm"]] == [1200, 600, 300]
    assert len(found["faces"]) == found["input"]["faces"]
    assert "ball_seat" in {face["name"] for face in found["faces"]}


def test_examine_says_why_not(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = call(capsys, "examine", SURFACE, "--json")
    found = json.loads(out)

    assert code == 1
    assert found["printable"] is False
    assert found["findings"][0]["code"] == "not-printable"
    assert "--wall" in found["advice"][0]


def test_quiet_says_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    assert call(capsys, "examine", FIXTURE, "--quiet") == (0, "", "")


def test_section_needs_exactly_one_plane(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    for planes in ([], ["--z", "1", "--plane", "0,0,0,0,0,1"]):
        assert "either a height" in refused(capsys, tmp_path, "section", FIXTURE, *planes)
    for plane in ("1,2,3", "0,0,0,0,0,0", "a,b,c,d,e,f"):
        assert "plane" in refused(capsys, tmp_path, "section", FIXTURE, "--plane", plane)


def test_a_section_of_an_open_surface_names_the_option_that_cuts_it(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    words = ("section", SURFACE, "--z", "300", "-o", tmp_path / "cut.json")
    assert "`section` cuts it with `--surfaces`" in refused(capsys, tmp_path, *words)

    code, _, err = call(capsys, *words, "--surfaces", "--quiet")
    assert (code, err) == (0, "")
    assert (tmp_path / "cut.json").exists()


def test_a_section_that_misses_the_part_says_by_how_much(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    # The fixture stands on z = 0 and is 300 mm high (step_examples/make.py).
    text = refused(capsys, tmp_path, "section", FIXTURE, "--z", "1000", "-o", tmp_path / "cut.dxf")
    assert "misses the part, where z runs from 0.000 to 300.000 mm" in text

    plane = "0,0,1000,0,0,-2"
    text = refused(capsys, tmp_path, "section", FIXTURE, "--plane", plane, "-o", tmp_path / "cut.dxf")
    assert "its height over the plane runs from 700.000 to 1000.000 mm" in text

    code, _, err = call(capsys, "section", FIXTURE, "--z", "1000")
    assert code == 0
    assert "-1000.000 to -700.000 mm from the plane" in err


@pytest.mark.parametrize("wait", [0.0, 0.03, 0.1])
def test_an_interruption_while_loading_ends_quietly(wait: float) -> None:
    process = subprocess.Popen([*BEADWRIGHT, "examine", FIXTURE], stderr=subprocess.PIPE, text=True)
    time.sleep(LOADED + wait)
    process.terminate()
    _, err = process.communicate(timeout=60)

    assert process.returncode in {130, -signal.SIGTERM}
    assert "Traceback" not in err


def test_section_of_an_unknown_kind_of_file(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    text = refused(capsys, tmp_path, "section", FIXTURE, "--z", "100", "-o", tmp_path / "cut.png")

    assert ".dxf" in text


@pytest.mark.parametrize("ending", [".dxf", ".svg", ".json", ".step"])
def test_section_writes_what_its_ending_says(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, ending: str
) -> None:
    code, out, _ = call(capsys, "section", FIXTURE, "--z", "100", "-o", tmp_path / f"cut{ending}", "--quiet")

    assert (code, out) == (0, "")
    assert [p.name for p in tmp_path.iterdir()] == [f"cut{ending}"]
    assert (tmp_path / f"cut{ending}").stat().st_size > 1000


def fail_with(monkeypatch: pytest.MonkeyPatch, fault: BaseException) -> None:
    def failing(*_: object, **__: object) -> None:
        raise fault

    monkeypatch.setattr(pipeline, "plan_any", failing)


@pytest.mark.parametrize(
    ("fault", "code", "said"),
    [
        (BoundError(0.01, 0.02, "face 3"), 3, "face 3"),
        (InternalError("an invariant is broken"), 70, "report it"),
        (ZeroDivisionError("division by zero"), 70, "ZeroDivisionError: division by zero at"),
        (KeyboardInterrupt(), 130, "interrupted"),
    ],
    ids=["geometry", "internal", "unexpected", "interrupted"],
)
def test_every_error_has_its_exit_code_and_no_traceback(
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    fault: BaseException,
    code: int,
    said: str,
) -> None:
    fail_with(monkeypatch, fault)

    ended, out, err = call(capsys, "plan", FIXTURE, "-o", tmp_path / "out")

    assert (ended, out) == (code, "")
    assert said in err
    assert "Traceback" not in err


@pytest.mark.parametrize("more", [(), ("--quiet",)])
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_an_interruption_that_python_drops_ends_the_command_at_the_next_step(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path, more: tuple[str, ...]
) -> None:
    """What a signal raises while an object is freed is dropped ("Data model", object.__del__)."""

    class Freed:
        def __del__(self) -> None:
            signal.raise_signal(signal.SIGINT)

    steps = []

    def losing(*_: object, progress: Progress, **__: object) -> None:
        Freed()
        steps.append("lost")
        progress("layers", 1, 2)
        steps.append("went on")

    monkeypatch.setattr(pipeline, "plan_any", losing)
    monkeypatch.setattr(_app, "_interruptions", [])
    before = signal.signal(signal.SIGINT, _app._interrupt)
    try:
        code, _, err = call(capsys, "plan", FIXTURE, "-o", tmp_path / "out", *more)
    finally:
        signal.signal(signal.SIGINT, before)

    assert (code, steps) == (130, ["lost"])
    assert "interrupted" in err


def test_a_fault_of_ours_can_show_where_it_came_from(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    fail_with(monkeypatch, ZeroDivisionError("x"))
    monkeypatch.setenv("BEADWRIGHT_TRACEBACK", "1")

    assert "Traceback" in call(capsys, "plan", FIXTURE, "-o", tmp_path / "out")[2]


def test_a_reader_that_goes_away_is_no_fault() -> None:
    # `head` closes the pipe after one line; the JSON is longer than the pipe's buffer.
    command = f"'{sys.executable}' -m beadwright examine '{FIXTURE}' --json | head -1"
    run = subprocess.run(["bash", "-c", command], capture_output=True, text=True, check=True)

    assert run.stdout == "{\n"
    assert "fault" not in run.stderr
    assert "Traceback" not in run.stderr
