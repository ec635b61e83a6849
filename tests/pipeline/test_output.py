"""The output folder appears whole or not at all."""

from __future__ import annotations

import errno
import json
import os
import resource
import subprocess
import sys
from pathlib import Path

import pytest

from beadwright.errors import OutputError
from beadwright.pipeline._output import FORMAT, output_folder

OURS = json.dumps({"format": FORMAT})


def names(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.iterdir())


def earlier(folder: Path) -> Path:
    folder.mkdir()
    (folder / "plan.json").write_text(OURS)
    (folder / "program.nc").write_text("old")
    return folder


def test_files_appear_together(tmp_path: Path) -> None:
    with output_folder(tmp_path / "out", overwrite=False) as output:
        output.write("program.nc", "M2\n")
        assert not (tmp_path / "out").exists()

    assert names(tmp_path) == ["out"]
    assert (tmp_path / "out" / "program.nc").read_bytes() == b"M2\n"


def test_an_empty_folder_is_taken(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()

    with output_folder(tmp_path / "out", overwrite=False) as output:
        output.write("program.nc", "M2\n")

    assert names(tmp_path) == ["out"]


@pytest.mark.parametrize("fault", [KeyboardInterrupt, RuntimeError, SystemExit])
def test_nothing_is_left_behind(tmp_path: Path, fault: type[BaseException]) -> None:
    with pytest.raises(fault), output_folder(tmp_path / "out", overwrite=False) as output:  # noqa: PT012
        output.write("program.nc", "M2\n")
        raise fault

    assert names(tmp_path) == []


def test_an_earlier_output_stays_until_the_new_one_is_whole(tmp_path: Path) -> None:
    out = earlier(tmp_path / "out")

    with pytest.raises(KeyboardInterrupt), output_folder(out, overwrite=True) as output:  # noqa: PT012
        output.write("program.nc", "new")
        assert (out / "program.nc").read_text() == "old"
        raise KeyboardInterrupt

    assert names(tmp_path) == ["out"]
    assert (out / "program.nc").read_text() == "old"


def test_overwrite_replaces_the_whole_folder(tmp_path: Path) -> None:
    out = earlier(tmp_path / "out")

    with output_folder(out, overwrite=True) as output:
        output.write("plan.json", OURS)

    assert names(tmp_path) == ["out"]
    assert names(out) == ["plan.json"]


def test_an_earlier_output_comes_back_if_the_last_step_fails(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = earlier(tmp_path / "out")
    rename = Path.rename

    def failing(self: Path, target: Path) -> Path:
        if self.name.endswith(".part"):
            raise OSError(errno.EIO, "Input/output error")
        return rename(self, target)

    monkeypatch.setattr(Path, "rename", failing)
    with pytest.raises(OutputError, match="Input/output error"), output_folder(out, overwrite=True) as output:
        output.write("plan.json", OURS)

    assert names(tmp_path) == ["out"]
    assert (out / "program.nc").read_text() == "old"


def test_an_earlier_output_is_refused_without_overwrite(tmp_path: Path) -> None:
    out = earlier(tmp_path / "out")

    with pytest.raises(OutputError, match="--overwrite"), output_folder(out, overwrite=False):
        pytest.fail("entered")


@pytest.mark.parametrize("name", ["letter.txt", "plan.json"])
def test_what_is_not_ours_is_never_replaced(tmp_path: Path, name: str) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / name).write_text("{}")

    with pytest.raises(OutputError, match="no output of beadwright"), output_folder(out, overwrite=True):
        pytest.fail("entered")

    assert names(out) == [name]


def test_a_foreign_file_beside_ours_is_not_lost(tmp_path: Path) -> None:
    out = earlier(tmp_path / "out")
    (out / "notes.txt").write_text("mine")

    with pytest.raises(OutputError, match=r"holds notes\.txt"), output_folder(out, overwrite=True):
        pytest.fail("entered")


def test_a_file_is_no_folder(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("")

    with pytest.raises(OutputError, match="is a file"), output_folder(tmp_path / "out", overwrite=True):
        pytest.fail("entered")


def test_the_folder_above_must_exist(tmp_path: Path) -> None:
    with (
        pytest.raises(OutputError, match="make it first"),
        output_folder(tmp_path / "a" / "b", overwrite=False),
    ):
        pytest.fail("entered")


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="the system's rules do not bind root")
def test_a_read_only_folder_is_told_before_any_work(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with pytest.raises(OutputError, match="no permission"), output_folder(tmp_path / "out", overwrite=False):
        pytest.fail("entered")


def test_a_read_only_disk_is_told_before_any_work(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def failing(self: Path, *args: object, **kwargs: object) -> None:
        raise OSError(errno.EROFS, "Read-only file system")

    monkeypatch.setattr(Path, "mkdir", failing)
    with pytest.raises(OutputError, match="read-only"), output_folder(tmp_path / "out", overwrite=False):
        pytest.fail("entered")


def test_a_full_disk_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def failing(descriptor: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", failing)
    with (
        pytest.raises(OutputError, match=r"cannot write program\.nc: the disk is full"),
        output_folder(tmp_path / "out", overwrite=False) as output,
    ):
        output.write("program.nc", "M2\n")

    assert names(tmp_path) == []


# A limit on the size of files is a full disk that the system itself enforces.
def test_a_write_that_the_system_stops_leaves_nothing(tmp_path: Path) -> None:
    script = (
        "import sys\n"
        "from beadwright.errors import OutputError\n"
        "from beadwright.pipeline._output import output_folder\n"
        "try:\n"
        "    with output_folder(sys.argv[1], overwrite=False) as output:\n"
        "        output.write('program.nc', 'x' * 200_000)\n"
        "except OutputError as error:\n"
        "    print(error)\n"
    )

    run = subprocess.run(
        [sys.executable, "-c", script, str(tmp_path / "out")],
        capture_output=True,
        text=True,
        check=True,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000)),
    )

    assert "larger than allowed" in run.stdout
    assert names(tmp_path) == []
