"""Worker processes as an executor, and mapping over any executor."""

from __future__ import annotations

import contextlib
import os
import pickle
import queue
import subprocess
import sys
import threading
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import BrokenExecutor, Executor, Future
from typing import Any, ParamSpec, TypeVar

from beadwright.pipeline._worker import BOOT

P = ParamSpec("P")
T = TypeVar("T")
AHEAD = 16
"""Calls that are submitted before the result of the first of them is taken."""
Call = tuple["Future[Any]", bytes]


class WorkerLost(BrokenExecutor):
    """A worker process ended while it had something to do (killed, or out of memory)."""


class Workers(Executor):
    """Worker processes, each a fresh interpreter (see `serve`).

    The processes start at once, so that they load their libraries while the caller does something else. A
    call whose worker is lost ends in `WorkerLost`; other calls go on, on a new worker.

    Parameters
    ----------
    count : int
        Processes, at least 1.
    """

    def __init__(self, count: int) -> None:
        self._calls: queue.SimpleQueue[Call | None] = queue.SimpleQueue()
        self._lock = threading.Lock()
        self._closed = False
        self._processes: dict[int, subprocess.Popen[bytes]] = {}
        self._threads = [threading.Thread(target=self._work, args=(i,), daemon=True) for i in range(count)]
        for i, thread in enumerate(self._threads):
            self._start(i)
            thread.start()

    @property
    def pids(self) -> tuple[int, ...]:
        """Process ids of the workers that run now."""
        with self._lock:
            return tuple(process.pid for process in self._processes.values())

    def submit(self, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        """Have a picklable function of picklable arguments called by the next worker that is free."""
        if kwargs:
            raise TypeError("workers take positional arguments only")
        if self._closed:
            raise RuntimeError("the workers are closed")
        future: Future[T] = Future()
        self._calls.put((future, pickle.dumps((fn, args), pickle.HIGHEST_PROTOCOL)))
        return future

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """End the workers: after what was submitted, or, if futures are cancelled, at once by killing."""
        with self._lock:
            if self._closed:
                return
            self._closed = True
            running = list(self._processes.values()) if cancel_futures else []
        if cancel_futures:
            while not self._calls.empty():
                call = self._calls.get()
                if call is not None:
                    call[0].cancel()
        for _ in self._threads:
            self._calls.put(None)
        for process in running:
            process.kill()
        if wait:
            for thread in self._threads:
                thread.join()

    def _start(self, index: int) -> subprocess.Popen[bytes] | None:
        """A new process that knows where modules are, unless all is being closed."""
        with self._lock:
            if self._closed:
                return None
            process = subprocess.Popen(
                [sys.executable, "-c", BOOT],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                start_new_session=True,  # an interruption from the keyboard goes to the caller alone
            )
            self._processes[index] = process
        assert process.stdin is not None
        pickle.dump(sys.path, process.stdin)
        process.stdin.flush()
        return process

    def _work(self, index: int) -> None:
        """One thread: hand calls to its own process, one after the other."""
        process: subprocess.Popen[bytes] | None = self._processes[index]
        while (call := self._calls.get()) is not None:
            future, message = call
            if not future.set_running_or_notify_cancel():
                continue
            if process is None:
                process = self._start(index)
            if process is None:
                future.set_exception(WorkerLost("the workers are closed"))
                continue
            try:
                answer = _ask(process, message)
            except (OSError, EOFError, pickle.UnpicklingError):
                self._end(process)
                future.set_exception(WorkerLost(_how(process.returncode)))
                process = None
                continue
            if answer.error is None:
                future.set_result(answer.value)
            else:
                future.set_exception(answer.error)
        if process is not None:
            self._end(process)

    @staticmethod
    def _end(process: subprocess.Popen[bytes]) -> None:
        """Close a worker's pipes, which ends it, and wait."""
        assert process.stdin is not None
        assert process.stdout is not None
        with contextlib.suppress(BrokenPipeError):  # it is gone already, with something unread
            process.stdin.close()
        process.stdout.close()
        process.wait()


def _ask(process: subprocess.Popen[bytes], message: bytes) -> Any:
    """One call and its answer."""
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdin.write(message)
    process.stdin.flush()
    return pickle.load(process.stdout)


def _how(code: int | None) -> str:
    """How a process ended, in words."""
    if code is not None and code < 0:
        return f"a worker process was ended by signal {-code}"
    return f"a worker process ended with code {code}"


def core_count() -> int:
    """Processor cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def mapped(
    executor: Executor | None,
    function: Callable[..., T],
    arguments: Sequence[tuple[Any, ...]],
    lost: Callable[[str], None],
) -> Iterator[T]:
    """Results of a function in the order of its arguments, on an executor or in this process.

    A call whose worker was lost is made once more, in this process.

    Parameters
    ----------
    executor : Executor or None
        None: everything in this process, one after the other.
    function : callable
        At the top level of a module, so that it pickles.
    arguments : sequence of tuple
        Of each call.
    lost : callable
        Told in words of each call that had to be made once more.

    Notes
    -----
    No more than `AHEAD` calls wait or run at a time, so memory does not grow with their number.
    """
    if executor is None:
        for row in arguments:
            yield function(*row)
        return
    futures: deque[Future[T]] = deque()
    for done, row in enumerate(arguments):
        while len(futures) < AHEAD and done + len(futures) < len(arguments):
            futures.append(executor.submit(function, *arguments[done + len(futures)]))
        try:
            result = futures.popleft().result()
        except BrokenExecutor as error:
            lost(str(error))
            result = function(*row)
        yield result
