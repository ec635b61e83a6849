"""The command init: files that load, none of yours changed, nothing half-written."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from beadwright import cli, pipeline
from beadwright.errors import OutputError
from beadwright.settings import resolve

NAMES = [
    "job.schema.json", "job.toml", "machine.schema.json", "machine.toml", "material.schema.json", "material.toml",
]  # fmt: skip


def call(capsys: pytest.CaptureFixture[str], *arguments: str | Path) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as ended:
        cli.app([str(a) for a in arguments])
    out, err = capsys.readouterr()
    code = ended.value.code
    return (code if isinstance(code, int) else 0), out, err


def test_init_writes_files_that_load(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    code, out, _ = call(capsys, "init", tmp_path / "shop", "--material", "cf-pc-20", "--json")

    assert code == 0
    assert sorted(Path(file).name for file in json.loads(out)["files"]) == NAMES
    assert sorted(each.name for each in (tmp_path / "shop").iterdir()) == NAMES
    shop = tmp_path / "shop"
    found = resolve({}, job=shop / "job.toml", machine=shop / "machine.toml", material=shop / "material.toml")
    assert found.material.name == "CF-PC 20 %"
    assert found.source["machine.speeds.least"] == "machine"


def test_init_says_what_to_do_next(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    code, out, err = call(capsys, "init", tmp_path)

    assert (code, out) == (0, "")
    assert "beadwright plan PART" in err


def test_init_changes_no_file(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text("width = 9\n")

    code, _, err = call(capsys, "init", tmp_path)

    assert code == 2
    assert "holds a job.toml already" in " ".join(err.split())
    assert [each.name for each in tmp_path.iterdir()] == ["job.toml"]
    assert (tmp_path / "job.toml").read_text() == "width = 9\n"


def test_init_refuses_an_unknown_card(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    code, _, err = call(capsys, "init", tmp_path / "new", "--material", "cf-abs-2")

    assert code == 2
    assert "did you mean cf-abs-20?" in " ".join(err.split())
    assert not (tmp_path / "new").exists()


@pytest.mark.parametrize(
    ("below", "said"), [("", "is a file; give the folder another name"), ("x", "cannot write")]
)
def test_a_file_in_the_folder_s_place_is_the_input_s_fault(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, below: str, said: str
) -> None:
    place = tmp_path / "taken"
    place.write_text("mine")
    sheet = tmp_path / "measured.csv"
    sheet.write_text("coupon,feed_mm_s,width_mm\nwidth,50,8.4\nwidth,75,8.4\nwidth,100,8.5\n")

    for words in (("init", place / below), ("calibrate", sheet, "-o", place / below)):
        code, _, err = call(capsys, *words)
        assert code == 2
        assert said in " ".join(err.split())
    assert place.read_text() == "mine"


def test_init_leaves_nothing_when_the_disk_refuses(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(self: Path, target: Path) -> None:
        if target.name == "job.toml":
            raise OSError(28, "No space left on device")
        rename(self, target)

    rename = Path.rename
    monkeypatch.setattr(Path, "rename", refuse)

    with pytest.raises(OutputError, match="disk is full"):
        pipeline.write_settings(tmp_path / "new")

    assert not (tmp_path / "new").exists()
