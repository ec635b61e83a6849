"""Interruptions, lost workers and full disks: a whole output or none, and the same bytes on every run."""

from __future__ import annotations

import json
import os
import resource
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
FIXTURE = ROOT / "step_examples" / "planing_fixture.step"
COMMAND = Path(sys.executable).with_name("beadwright")
# Enough layers that there is time to interrupt.
MANY = ("--height", "0.5", "--contours", "1", "--workers", "2")


def begun(folder: Path, *options: str) -> subprocess.Popen[str]:
    """A run that has made its temporary folder and started its workers."""
    process = subprocess.Popen(
        [str(COMMAND), "plan", str(FIXTURE), "-o", str(folder / "out"), *options],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    deadline = time.monotonic() + 120
    while len(children(process.pid)) < 2 and process.poll() is None and time.monotonic() < deadline:
        time.sleep(0.02)
    assert list(folder.iterdir()), "no temporary folder"
    assert not (folder / "out").exists(), "done too soon"
    return process


def ended(pid: int) -> bool:
    """Whether a process ends; one that is loading its kernels sees only then that its caller is gone."""
    status, deadline = Path(f"/proc/{pid}/status"), time.monotonic() + 60
    while time.monotonic() < deadline:
        try:
            if "State:\tZ" in status.read_text():
                return True
        except OSError:
            return True
        time.sleep(0.05)
    return False


def children(pid: int) -> list[int]:
    """Processes that a process has started and that still run."""
    try:
        text = Path(f"/proc/{pid}/task/{pid}/children").read_text()
    except OSError:
        return []
    return [int(word) for word in text.split()]


@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="needs Linux's /proc")
@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM])
def test_an_interruption_leaves_nothing(tmp_path: Path, how: signal.Signals) -> None:
    with begun(tmp_path, *MANY) as process:
        workers = children(process.pid)

        process.send_signal(how)
        _, err = process.communicate(timeout=60)

    assert process.returncode == 130
    assert "interrupted; nothing was written" in err
    assert "Traceback" not in err
    assert list(tmp_path.iterdir()) == []
    assert all(ended(pid) for pid in workers)


@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="needs Linux's /proc")
def test_a_killed_worker_changes_nothing(tmp_path: Path) -> None:
    calm, rough = tmp_path / "calm", tmp_path / "rough"
    calm.mkdir()
    rough.mkdir()
    options = ("--height", "1", "--contours", "1", "--workers", "2", "--quiet")
    with begun(rough, *options) as process:
        os.kill(children(process.pid)[0], signal.SIGKILL)
        _, err = process.communicate(timeout=120)
    assert (process.returncode, err) == (0, "")
    assert "signal 9" in json.loads((rough / "out" / "run.json").read_text())["lost_workers"][0]

    command = [str(COMMAND), "plan", str(FIXTURE), "-o", str(calm / "out"), *options]
    subprocess.run(command, check=True, timeout=120)

    for name in ("program.nc", "plan.json"):
        assert (calm / "out" / name).read_bytes() == (rough / "out" / name).read_bytes()


# A limit on the size of files is a full disk that the system itself enforces.
def test_a_full_disk_leaves_the_earlier_output(tmp_path: Path) -> None:
    out = tmp_path / "out"
    command = [str(COMMAND), "plan", str(FIXTURE), "-o", str(out), "--quiet", "--layers", "10:20"]
    subprocess.run(command, check=True, timeout=120)
    before = {p.name: p.read_bytes() for p in out.iterdir()}

    full = subprocess.run(
        [*command, "--overwrite"],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (2000, 2000)),
    )

    assert full.returncode == 2
    assert "cannot write program.nc" in full.stderr
    assert [p.name for p in tmp_path.iterdir()] == ["out"]
    assert {p.name: p.read_bytes() for p in out.iterdir()} == before


def test_the_same_bytes_on_two_runs(tmp_path: Path) -> None:
    for name, seed in (("one", "1"), ("two", "2")):
        command = [
            str(COMMAND),
            "plan",
            str(FIXTURE),
            "-o",
            str(tmp_path / name),
            "--quiet",
            "--layers",
            "10:20",
        ]
        subprocess.run(command, check=True, timeout=120, env={**os.environ, "PYTHONHASHSEED": seed})

    for name in ("program.nc", "plan.json"):
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()
