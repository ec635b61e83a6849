"""Worker processes: calls and answers, lost workers, ends. Standard functions stand for work."""

from __future__ import annotations

import math
import operator
import os
import pickle
import signal
import subprocess
import sys
import textwrap
import time
from concurrent.futures import BrokenExecutor, ProcessPoolExecutor, ThreadPoolExecutor
from pathlib import Path

import pytest

from beadwright.errors import BoundError, InternalError
from beadwright.pipeline._workers import WorkerLost, Workers, core_count, mapped


def raise_bound(asked: float) -> None:
    raise BoundError(asked, 2.0, "here")


def test_answers_come_in_the_order_of_the_arguments() -> None:
    rows = [(float(i),) for i in range(20)]

    with Workers(2) as workers:
        found = list(mapped(workers, math.sqrt, rows, pytest.fail))

    assert found == [math.sqrt(i) for i in range(20)]


def test_work_is_done_by_other_processes() -> None:
    with Workers(2) as workers:
        pids = {future.result() for future in [workers.submit(os.getpid) for _ in range(6)]}
        known = set(workers.pids)

    assert pids <= known
    assert os.getpid() not in pids


def test_a_worker_does_not_load_the_kernel_nor_its_callers_main_module() -> None:
    with Workers(1) as workers:
        workers.submit(operator.add, 1, 2).result()
        loaded = workers.submit(
            eval, "[m for m in ('OCP', 'pytest') if m in __import__('sys').modules]"
        ).result()

    assert loaded == []


def test_errors_of_ours_come_back_as_they_are() -> None:
    assert str(pickle.loads(pickle.dumps(BoundError(1.0, 2.0, "here")))) == str(BoundError(1.0, 2.0, "here"))


def test_any_other_error_comes_back_as_a_fault_with_its_place() -> None:
    with Workers(1) as workers:
        future = workers.submit(math.sqrt, -1.0)

        with pytest.raises(InternalError, match=r"ValueError: .* at "):
            future.result()
        assert workers.submit(math.sqrt, 4.0).result() == 2.0


def test_a_killed_worker_loses_its_own_call_only() -> None:
    with Workers(1) as workers:
        lost = workers.submit(eval, "__import__('os').kill(__import__('os').getpid(), 9)")
        later = workers.submit(math.sqrt, 9.0)

        with pytest.raises(WorkerLost, match="signal 9"):
            lost.result(timeout=30)
        assert later.result(timeout=30) == 3.0


def test_a_call_of_a_killed_worker_is_made_once_more_here() -> None:
    told: list[str] = []
    with Workers(1) as workers:
        slow = workers.submit(time.sleep, 0.3)  # the worker is up and busy
        calls = mapped(workers, math.sqrt, [(4.0,), (9.0,)], told.append)
        for pid in workers.pids:
            os.kill(pid, signal.SIGKILL)

        found = list(calls)

        assert isinstance(slow.exception(timeout=30), BrokenExecutor)
    assert found == [2.0, 3.0]


@pytest.mark.parametrize("executor", [ThreadPoolExecutor, ProcessPoolExecutor])
def test_any_executor_will_do(executor: type) -> None:
    kind = {"mp_context": __import__("multiprocessing").get_context("spawn")}
    options = kind if executor is ProcessPoolExecutor else {}
    with executor(1, **options) as pool:
        assert list(mapped(pool, math.sqrt, [(4.0,)], pytest.fail)) == [2.0]


def test_no_executor_means_here() -> None:
    assert list(mapped(None, os.getpid, [()], pytest.fail)) == [os.getpid()]


def test_cancelling_ends_all_at_once() -> None:
    workers = Workers(2)
    for _ in range(4):
        workers.submit(time.sleep, 60)
    begun = time.monotonic()

    workers.shutdown(cancel_futures=True)

    assert time.monotonic() - begun < 10
    with pytest.raises(RuntimeError):
        workers.submit(math.sqrt, 1.0)


def test_a_plain_script_may_use_workers_without_a_guard(tmp_path: Path) -> None:
    script = tmp_path / "script.py"
    script.write_text(
        textwrap.dedent("""
            import math
            from beadwright.pipeline._workers import Workers
            with Workers(2) as workers:
                print(workers.submit(math.sqrt, 16.0).result())
        """)
    )

    run = subprocess.run(
        [sys.executable, str(script)], capture_output=True, text=True, timeout=60, check=True
    )

    assert run.stdout == "4.0\n"


def test_workers_end_when_their_caller_is_killed(tmp_path: Path) -> None:
    script = (
        "import math, os\n"
        "from beadwright.pipeline._workers import Workers\n"
        "workers = Workers(2)\n"
        "print(*(workers.submit(os.getpid).result() for _ in range(4)), flush=True)\n"
        "os.kill(os.getpid(), 9)\n"
    )
    run = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, timeout=60, check=False
    )
    pids = {int(pid) for pid in run.stdout.split()}
    assert pids

    deadline = time.monotonic() + 20
    while time.monotonic() < deadline and any(_is_running(pid) for pid in pids):
        time.sleep(0.05)

    assert not any(_is_running(pid) for pid in pids)


def _is_running(pid: int) -> bool:
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0]
    except OSError:
        return False
    return state != "Z"


def test_there_is_at_least_one_core() -> None:
    assert core_count() >= 1
