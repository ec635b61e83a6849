"""Trial programs, the release list and the job record."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import re
from pathlib import Path

import pytest

from beadwright import cli, plan
from beadwright.errors import OutputError, SettingsError
from beadwright.pipeline import append_record
from beadwright.post import AxisFeed, Words, dialect_names, dry_run, lint, load_dialect, trace
from tests.post._build_programs import bead, circle, path, program
from tests.post._reader import read

PART = Path(__file__).resolve().parents[2] / "step_examples" / "turned_bollard.step"
BEADS = [[bead(circle(100, 0, 60)), bead(path([[0, 0], [50, 7]], [0.3], closed=False), loop=1)]]
MACHINE = """[controller]
name_length = 24
line_ending = "crlf"
[[device]]
name = "air"
on = ["M7"]
off = ["M9"]
on_at = ["bead start"]
off_at = ["bead end", "program end"]
"""


def text_of(dialect):
    given = {"words": Words(units=dialect.units, decimals=dialect.decimals or 4), "dialect": dialect}
    if dialect.path == "continuous":
        given["modes"] = {"path_tolerance": 0.25}
    if dialect.flow == "axis":
        given["axis"] = AxisFeed(scale=1000.0, kind="round")
    if dialect.flow == "s-word":
        given["rpm"] = 79.3916
    return program(BEADS, **given)[0], given["words"]


@pytest.mark.parametrize("name", dialect_names())
def test_a_dry_run_is_the_same_motion_higher_with_nothing_on(name):
    dialect = load_dialect(name)
    text, words = text_of(dialect)

    dry = dry_run(text, words=words, dialect=dialect, devices=(), lift=30.0, feed=None)
    found, wanted = read(dry).steps, read(text).steps

    assert lint(dry, beyond=dialect.beyond) == ()
    assert len(found) == len(wanted)
    for step, other in zip(found, wanted, strict=True):
        assert step.end[:2] == other.end[:2]
        assert step.end[2] == pytest.approx(other.end[2] + 30.0, abs=words.place)
        assert (step.code, step.centre, step.feed) == (other.code, other.centre, other.feed)
        assert not step.extruding
    bare = re.sub(r"\([^)]*\)", "", dry)
    assert not re.search(r"M[345]\b|A[0-9-]|S[0-9]", bare)
    # The same X and Y words, digit by digit.
    words_of = re.compile(r"[XY]-?[0-9.]+")
    assert words_of.findall(bare) == words_of.findall(re.sub(r"\([^)]*\)", "", text))


def test_a_dry_run_drops_devices_and_caps_its_feed():
    dialect = load_dialect("rs274")
    text, words = text_of(dialect)
    text = text.replace("M3\n", "M7\nM3\n").replace("M5\n(end bead)", "M5\nM9\n(end bead)")

    dry = dry_run(text, words=words, dialect=dialect, devices=("M7", "M9"), lift=10.0, feed=50.0)

    assert "M7" not in dry
    assert "M9" not in dry
    # 50 mm/s are 3000 mm a minute.
    assert {step.feed for step in read(dry).steps if step.code} == {3000.0}


def test_a_trace_runs_round_the_rectangle():
    dialect = load_dialect("rs274-inch")
    text = trace((-10.0, -20.0), (300.0, 400.0), 77.0, words=Words(units="inch", decimals=5), dialect=dialect)

    steps = read(text).steps
    assert lint(text) == ()
    corners = [(-10, -20), (300, -20), (300, 400), (-10, 400), (-10, -20)]
    assert [s.code for s in steps] == [0] * 6
    for step, corner in zip(steps[1:], corners, strict=True):
        assert step.end == pytest.approx((*corner, 77.0), abs=2e-4)


@pytest.fixture(scope="module")
def released(tmp_path_factory):
    folder = tmp_path_factory.mktemp("release")
    machine = folder / "machine.toml"
    machine.write_text(MACHINE)
    plan(PART, folder / "out", machine=machine, layers=(1, 3), workers=1, release={"lift": 40.0}, decimals=5)
    return folder / "out"


def test_a_release_lists_its_files_as_they_are_on_the_disk(released):
    told = json.loads((released / "release.json").read_text())

    assert told["format"] == "beadwright release 1"
    assert told["limits"] == {"line_length": 256, "line_ending": "crlf", "name_length": 24}
    assert [row["name"] for row in told["files"]] == ["program.nc", "dry_run.nc", "trace.nc"]
    for row in told["files"]:
        raw = (released / row["name"]).read_bytes()
        assert (row["bytes"], row["sha256"]) == (len(raw), hashlib.sha256(raw).hexdigest())
        assert raw.count(b"\r\n") == raw.count(b"\n") == row["lines"]
        assert (row["first_block"], row["last_block"], row["for"]) == ("G21", "M2", "machine")
    program_steps = read((released / "program.nc").read_text()).steps
    dry = read((released / "dry_run.nc").read_text()).steps
    assert [s.end[:2] for s in dry] == [s.end[:2] for s in program_steps]
    assert min(s.end[2] for s in dry) == pytest.approx(min(s.end[2] for s in program_steps) + 40.0)
    assert "M7" not in (released / "dry_run.nc").read_text()
    high = max(s.end[2] for s in program_steps)
    assert {s.end[2] for s in read((released / "trace.nc").read_text()).steps} == {high}


def test_limits_of_the_controller_are_held(tmp_path):
    machine = tmp_path / "machine.toml"
    for text, told in (
        ("name_length = 8", "program.nc has 10 characters, the controller takes 8"),
        ("greatest_size = 1000", "bytes, the controller takes 1000; take a dialect that cuts by size"),
    ):
        machine.write_text(f"[controller]\n{text}\n")
        with pytest.raises(SettingsError, match=told):
            plan(PART, tmp_path / "out", machine=machine, layers=(1, 2), workers=1, release={})
        assert not (tmp_path / "out").exists()
    machine.write_text("[volume]\nsize = [6000, 2400, 28.5]\n")
    with pytest.raises(SettingsError, match="no room to raise a dry run"):
        plan(PART, tmp_path / "out", machine=machine, layers=(1, 2), workers=1, release={})


def test_the_job_record_grows_and_is_never_rewritten(released, capsys):
    page = (released / "job_record.txt").read_text()
    assert re.search(r"^feedstock lot +not recorded$", page, flags=re.MULTILINE)
    assert re.search(r"^part +turned_bollard\.step$", page, flags=re.MULTILINE)
    assert page.count("\n") < 60
    assert max(map(len, page.split("\n"))) <= 80
    first = json.loads((released / "job_record.json").read_text())["entries"]

    with pytest.raises(SystemExit) as ended:
        cli.app(["record", str(released), "--operator", "A. Turner", "--lot", "L-0417", "--json"])
    assert not ended.value.code
    second = json.loads(capsys.readouterr().out)["entries"]
    when = dt.datetime(2031, 5, 6, 7, 8, 9, tzinfo=dt.UTC)
    third = append_record(released, {"deviation": "layer 2 cold for 20 min"}, when=when)["entries"]

    assert second[:1] == first
    assert third[:2] == second
    assert third[2]["when"] == "2031-05-06T07:08:09+00:00"
    page = (released / "job_record.txt").read_text()
    assert re.search(r"^feedstock lot +L-0417$", page, flags=re.MULTILINE)
    assert "2031-05-06T07:08:09+00:00 layer 2 cold for 20 min" in page

    with pytest.raises(OutputError, match="job record with entries of its own, which is never replaced"):
        plan(PART, released, layers=(1, 2), workers=1, overwrite=True)
    changed = json.loads((released / "job_record.json").read_text())
    changed["entries"][1]["operator"] = "B. Miller"
    (released / "job_record.json").write_text(json.dumps(changed))
    with pytest.raises(OutputError, match="entry 2 was changed after entry 3 was made"):
        append_record(released, {"sign": "C. Cooper"})


def test_what_cannot_be_recorded(tmp_path):
    with pytest.raises(OutputError, match="plan --release writes one"):
        append_record(tmp_path, {"operator": "A. Turner"})
    (tmp_path / "job_record.json").write_text("[]")
    with pytest.raises(OutputError, match="is no job record of beadwright"):
        append_record(tmp_path, {"operator": "A. Turner"})


def test_what_is_overridden_stands_at_the_top_of_the_trials_too(tmp_path):
    # the bollard's foot is 327 mm wide; the trials drive as far as the program does
    machine = tmp_path / "m.toml"
    machine.write_text("[volume]\nsize = [200, 2400, 1800]\n")
    plan(PART, tmp_path / "out", machine=machine, layers=(1, 2), workers=1, override="volume", release={})

    for name in ("program.nc", "dry_run.nc", "trace.nc"):
        text = (tmp_path / "out" / name).read_text()
        assert "(OVERRIDDEN by the user, volume: layer 1 goes from X" in text.partition("G21")[0]
        assert lint(text) == ()


def test_a_machine_that_ends_below_the_program_is_told_by_how_much(tmp_path):
    machine = tmp_path / "m.toml"
    machine.write_text("[volume]\nsize = [6000, 2400, 20]\n")

    # layer 1 ends at 8 mm, traverses 20 mm above it
    with pytest.raises(SettingsError, match="reaches Z 28 mm, 8 mm above the top of the machine"):
        plan(PART, tmp_path / "out", machine=machine, layers=(1, 2), workers=1, override="volume", release={})
