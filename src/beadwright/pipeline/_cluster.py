"""Chunks of layers on a running dask.distributed scheduler."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, Executor, Future
from contextlib import contextmanager
from typing import Any, ParamSpec, TypeVar

from beadwright import __version__
from beadwright.errors import SettingsError

P = ParamSpec("P")
T = TypeVar("T")

_ADDRESS = re.compile(r"(tcp|tls)://[^\s/:]+:\d{1,5}")
CONNECT = 10.0
"""How long a scheduler may take to answer, s."""


@contextmanager
def cluster(address: str) -> Iterator[Executor]:
    """An executor whose calls are made by the workers of a scheduler.

    A worker that is lost is no error: the scheduler hands its calls to another one. Only if they end the
    workers again and again a call ends in `BrokenExecutor`, and is made in the calling process.

    Parameters
    ----------
    address : str
        ``tcp://HOST:PORT`` or ``tls://HOST:PORT``.

    Raises
    ------
    SettingsError
        The optional extra is not installed, no scheduler answers, it has no workers, or a worker has another
        version of this package.
    """
    if not _ADDRESS.fullmatch(address):
        raise SettingsError(f"cluster: {address!r} is no address; expected tcp://HOST:PORT")
    try:
        from distributed import Client
    except ImportError as error:
        raise SettingsError(
            "cluster: the optional extra 'cluster' is not installed; `pip install \"beadwright[cluster]\"` adds it"
        ) from error
    try:
        connect: Any = Client  # untyped
        client = connect(address, timeout=CONNECT, set_as_default=False)
    except OSError as error:
        raise SettingsError(f"cluster: no scheduler answers at {address} within {CONNECT:.0f} s") from error
    with client:
        _check_workers(client, address)
        executor = ClusterExecutor(client)
        try:
            yield executor
        finally:
            executor.shutdown(cancel_futures=True)


def _check_workers(client: Any, address: str) -> None:
    """Refuse a cluster that cannot give the same bytes."""
    found = client.run(_installed, on_error="return")
    if not found:
        raise SettingsError(f"cluster: the scheduler at {address} has no workers; start some first")
    for worker, answer in sorted(found.items()):
        if answer != __version__:
            told = f"cannot load it ({answer})" if isinstance(answer, BaseException) else f"has {answer}"
            raise SettingsError(
                f"cluster: beadwright {__version__} is needed on every worker, but {worker} {told}"
            )


def _installed() -> str:
    """The version of this package where it is called."""
    return __version__


class ClusterExecutor(Executor):
    """Calls on a connected `distributed.Client`, with futures of the standard library."""

    def __init__(self, client: Any) -> None:
        self._client = client
        self._running: set[Any] = set()

    def submit(self, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        """Have a function called by a worker of the cluster."""
        future: Future[T] = Future()
        future.set_running_or_notify_cancel()
        # pure: equal calls of another plan would otherwise be answered from the scheduler's memory.
        running = self._client.submit(fn, *args, **kwargs, pure=False)
        self._running.add(running)
        running.add_done_callback(lambda done: self._finish(done, future))
        return future

    def _finish(self, done: Any, future: Future[Any]) -> None:
        """Hand a result or an error on, and let the cluster forget it."""
        self._running.discard(done)
        if done.status == "finished":
            future.set_result(done.result())
            return
        fault = done.exception() if done.status == "error" else None
        if fault is None or type(fault).__module__.startswith("distributed"):
            future.set_exception(BrokenExecutor(f"the cluster lost a call: {fault or done.status}"))
        else:
            future.set_exception(fault)

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """Forget what is still running, if asked to; the cluster itself stays."""
        if cancel_futures:
            self._client.cancel(list(self._running))
        elif wait:
            for running in list(self._running):
                running.exception()
