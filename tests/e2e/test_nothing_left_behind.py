"""Interruptions, lost workers and full disks: a whole output or none, and the same bytes on every run."""

from __future__ import annotations

import json
import os
import resource
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
FIXTURE = ROOT / "step_examples" / "planing_fixture.step"
COMMAND = Path(sys.executable).with_name("beadwright")
PATIENCE = 250
"""Seconds that a run may take on a machine that has other work; some 15 s of two processors."""

# Enough layers that there is time to interrupt.
MANY = ("--height", "0.5", "--contours", "1", "--workers", "2")


def started(folder: Path, *options: str) -> subprocess.Popen[str]:
    """A run that takes interruptions, also where the tests are a job in the background, which does not."""
    return subprocess.Popen(
        [str(COMMAND), "plan", str(FIXTURE), "-o", str(folder / "out"), *options],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )


def begun(folder: Path, *options: str) -> subprocess.Popen[str]:
    """A run that has made its temporary folder and started its workers."""
    process = started(folder, *options)
    deadline = time.monotonic() + 120
    while len(children(process.pid)) < 2 and process.poll() is None and time.monotonic() < deadline:
        time.sleep(0.02)
    assert list(folder.iterdir()), "no temporary folder"
    assert not (folder / "out").exists(), "done too soon"
    return process


def reader(process: subprocess.Popen[str]) -> int:
    """The process in which a run reads its file."""
    deadline = time.monotonic() + 60
    while process.poll() is None and time.monotonic() < deadline:
        for pid in children(process.pid):
            if b"serve_reader" in Path(f"/proc/{pid}/cmdline").read_bytes():
                return pid
        time.sleep(0.005)
    raise AssertionError("no reader was seen")


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
def test_an_interruption_while_the_file_is_read_leaves_nothing(tmp_path: Path) -> None:
    with started(tmp_path) as process:
        child = reader(process)

        process.send_signal(signal.SIGINT)
        _, err = process.communicate(timeout=60)

    assert (process.returncode, err) == (130, "beadwright: interrupted; nothing was written\n")
    assert list(tmp_path.iterdir()) == []
    assert ended(child)


@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="needs Linux's /proc")
def test_a_killed_reader_is_an_error_with_the_files_name(tmp_path: Path) -> None:
    with started(tmp_path) as process:
        os.kill(reader(process), signal.SIGKILL)
        _, err = process.communicate(timeout=60)

    assert process.returncode == 2
    assert err.startswith("beadwright: error: planing_fixture.step: the CAD kernel crashed")
    assert "SIGKILL" in err
    assert list(tmp_path.iterdir()) == []


# Where an interruption can land: Python marks a process that it meets inside code made from a string, and the
# loader of a compiled library makes an ImportError out of it.
LANDINGS = {
    "a string": """exec("os.kill(os.getpid(), signal.SIGINT); time.sleep(9)")""",
    "a library": (
        "try:\n        os.kill(os.getpid(), signal.SIGINT); time.sleep(9)\n"
        "    except KeyboardInterrupt as end:\n        raise ImportError('initialization failed') from end"
    ),
}


@pytest.mark.parametrize("landing", LANDINGS)
def test_an_interruption_ends_with_130_wherever_it_lands(tmp_path: Path, landing: str) -> None:
    script = (
        "import os, signal, sys, time\nfrom beadwright import cli, pipeline\n"
        f"def plan_any(*_, **__):\n    {LANDINGS[landing]}\n"
        "pipeline.plan_any = plan_any\nsys.argv = ['beadwright', 'plan', 'part.step', '-o', 'out']\n"
        "signal.signal(signal.SIGINT, signal.default_int_handler)\ncli.run()\n"
    )

    done = subprocess.run(
        [sys.executable, "-c", script], cwd=tmp_path, capture_output=True, text=True, timeout=60, check=False
    )

    assert (done.returncode, done.stdout) == (130, "")
    assert done.stderr == "beadwright: interrupted; nothing was written\n"
    assert list(tmp_path.iterdir()) == []


@pytest.mark.timeout(2 * PATIENCE + 50)
@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="needs Linux's /proc")
def test_a_killed_worker_changes_nothing(tmp_path: Path) -> None:
    calm, rough = tmp_path / "calm", tmp_path / "rough"
    calm.mkdir()
    rough.mkdir()
    options = ("--height", "2", "--contours", "1", "--workers", "2", "--quiet")
    with begun(rough, *options) as process:
        os.kill(children(process.pid)[0], signal.SIGKILL)
        _, err = process.communicate(timeout=PATIENCE)
    assert (process.returncode, err) == (0, "")
    assert "signal 9" in json.loads((rough / "out" / "run.json").read_text())["lost_workers"][0]

    command = [str(COMMAND), "plan", str(FIXTURE), "-o", str(calm / "out"), *options]
    subprocess.run(command, check=True, timeout=PATIENCE)

    for name in ("program.nc", "plan.json", "report.html"):
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


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of 64 kB in memory."""
    place = tmp_path / "disk"
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(place)]
    if sys.platform != "linux" or os.geteuid() != 0 or subprocess.run(mount, check=False).returncode != 0:
        pytest.skip("only root on Linux may mount a small disk")
    yield place
    subprocess.run(["umount", str(place)], check=True)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("plan", "--layers", "10:20", "-o", "out"), "cannot write program.nc: the disk is full"),
        (("section", "--z", "9", "-o", "s.dxf"), "s.dxf: cannot be written (No space left on device)"),
    ],
)
def test_a_disk_that_fills_up_is_left_empty(small_disk: Path, words: tuple[str, ...], told: str) -> None:
    (small_disk / "mine").write_bytes(bytes(56 * 1024))

    done = subprocess.run(
        [str(COMMAND), words[0], str(FIXTURE), *words[1:], "--quiet"],
        cwd=small_disk,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )

    assert (done.returncode, done.stdout) == (2, "")
    assert told in done.stderr
    assert [p.name for p in small_disk.iterdir()] == ["mine"]


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

    for name in ("program.nc", "plan.json", "report.html"):
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()
