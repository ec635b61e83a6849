"""Layers made by a real scheduler with two workers on this machine: the same bytes, also when one is killed."""

from __future__ import annotations

import json
import re
import signal
import subprocess
import sys
import textwrap
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from beadwright.errors import SettingsError
from beadwright.pipeline import cluster

pytest.importorskip("dask", reason="the optional extra 'cluster' is not installed")

PART = Path(__file__).parents[2] / "step_examples" / "turned_bollard.step"
COMMAND = [sys.executable, "-m", "beadwright"]
# Enough layers that a worker is busy for a while.
FEW = ("--layers", "0:40")
# Waits until some worker has something to do, and kills it with what it does.
KILL = """
    import os, signal, sys, time
    from distributed import Client
    with Client(sys.argv[1]) as client:
        pids = client.run(os.getpid)
        print("watching", flush=True)
        while not (busy := [w for w, tasks in client.processing().items() if tasks]):
            time.sleep(0.02)
        os.kill(pids[busy[0]], signal.SIGKILL)
        print("killed")
"""


def started(words: list[str], pattern: str, log: Path) -> tuple[subprocess.Popen[bytes], str]:
    """A process, and what it says when it is ready."""
    with log.open("wb") as file:
        process = subprocess.Popen([sys.executable, "-m", *words], stdout=file, stderr=file)
    while not (found := re.search(pattern, log.read_text())):
        assert process.poll() is None, log.read_text()
        time.sleep(0.05)
    return process, found[0]


def ended(process: subprocess.Popen[bytes]) -> None:
    process.send_signal(signal.SIGKILL)
    process.wait()


@pytest.fixture(scope="module")
def scheduler(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address of a scheduler without workers."""
    process, address = started(
        ["distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard"],
        r"tcp://127\.0\.0\.1:\d+",
        tmp_path_factory.mktemp("scheduler") / "log",
    )
    yield address
    ended(process)


@pytest.fixture(scope="module")
def workers(scheduler: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The same scheduler with two workers."""
    words = ["distributed.cli.dask_worker", scheduler, "--no-nanny", "--nthreads", "1", "--no-dashboard"]
    folder = tmp_path_factory.mktemp("workers")
    running = [started(words, "Registered to", folder / str(i))[0] for i in range(2)]
    yield scheduler
    for process in running:
        ended(process)


@contextmanager
def killing(address: str) -> Iterator[subprocess.Popen[str]]:
    """A process that watches the workers already, and is ended whatever happens here.

    One that came too late would wait for ever, and a process that nobody waits for fails a later test.
    """
    with subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(KILL), address], stdout=subprocess.PIPE, text=True
    ) as killer:
        try:
            assert killer.stdout is not None
            assert killer.stdout.readline() == "watching\n"
            yield killer
        finally:
            killer.kill()


def planned(out: Path, *words: str) -> tuple[bytes, bytes]:
    plan = [*COMMAND, "plan", str(PART), "-o", str(out), *words]
    subprocess.run(plan, check=True, capture_output=True)
    return (out / "program.nc").read_bytes(), (out / "plan.json").read_bytes()


def test_a_scheduler_without_workers_is_refused(scheduler: str) -> None:
    done = subprocess.run(
        [*COMMAND, "plan", str(PART), "-o", "out", "--cluster", scheduler],
        capture_output=True,
        text=True,
        check=False,
    )

    assert done.returncode == 2
    assert done.stderr == (
        f"beadwright: error: cluster: the scheduler at {scheduler} has no workers; start some first\n"
    )


@pytest.mark.slow
def test_the_same_bytes_with_two_workers_and_with_one_killed(workers: str, tmp_path: Path) -> None:
    here = planned(tmp_path / "here", "--workers", "1", *FEW)

    there = planned(tmp_path / "there", "--cluster", workers, *FEW)
    with killing(workers) as killer:
        killed = planned(tmp_path / "killed", "--cluster", workers, *FEW)
        assert killer.communicate(timeout=60)[0] == "killed\n"

    assert there == here
    assert killed == here
    assert "lost_workers" not in json.loads((tmp_path / "killed" / "run.json").read_text())


@pytest.mark.parametrize("address", ["", "host:8786", "http://host:8786", "tcp://host", "tcp://host:port"])
def test_what_is_no_address_is_refused(address: str) -> None:
    with pytest.raises(SettingsError, match="expected tcp://HOST:PORT"), cluster(address):
        pass


def test_without_the_extra_its_name_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)

    with (
        pytest.raises(
            SettingsError, match=r"'cluster' is not installed; `pip install \"beadwright\[cluster\]\"`"
        ),
        cluster("tcp://127.0.0.1:1"),
    ):
        pass
