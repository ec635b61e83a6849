"""Who measures the layers of a verification: this process for a few, processes of their own for many."""

from __future__ import annotations

import functools
import pickle
import time
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from beadwright.numeric import Finding
from beadwright.pipeline._verify_outline import drawn
from beadwright.pipeline._workers import Workers, core_count, mapped

if TYPE_CHECKING:
    from beadwright.verify import Job, Measured

CHUNK, MOST = 2, 12
"""Layers of a call: many at first, since each is held against the one below, few at last, so that none waits long."""
WORTH_WORKERS = 6.0
"""A worker loads the CAD kernel first, which takes seconds; less work than this is done here, s."""


class VerifyCrew:
    """Measures layers, here or elsewhere, and hands them out in their order.

    Parameters
    ----------
    asked : int or None
        Worker processes; None: as many as it pays.

    Attributes
    ----------
    count : int
        Processes at work.
    lost : list of str
        A sentence for each worker that was lost; its layers were measured again.
    """

    def __init__(self, asked: int | None = None) -> None:
        self._asked = asked
        self.count = 1
        self.lost: list[str] = []

    def findings(self) -> list[tuple[int | None, Finding]]:
        """Workers that were lost, as notes."""
        told = "; what it had was measured again in the main process"
        return [(None, Finding(code="worker-lost", level="note", text=text + told)) for text in self.lost]

    def __call__(self, job: Job, places: Sequence[int]) -> Iterator[Measured | None]:
        """Measure the layers at some places of the deposit."""
        from beadwright.verify import measure_layer

        start = time.perf_counter()
        done = 0
        for place in places[:2]:  # the first loads what must be loaded
            start = time.perf_counter()
            yield drawn(measure_layer(job, place))
            done += 1
        rest = places[done:]
        wanted = min(self._asked or core_count(), -(-len(rest) // CHUNK))
        seconds = (time.perf_counter() - start) * len(rest)
        if wanted <= 1 or (self._asked is None and seconds < WORTH_WORKERS):
            yield from (drawn(measure_layer(job, place)) for place in rest)
            return
        self.count = wanted
        data = pickle.dumps(job, pickle.HIGHEST_PROTOCOL)
        calls = [(data, part) for part in shares(rest, wanted)]
        workers = Workers(wanted)
        try:
            for chunk in mapped(workers, measure_some, calls, self.lost.append):
                yield from chunk
        finally:
            workers.shutdown(cancel_futures=True)


def shares(places: Sequence[int], workers: int) -> list[tuple[int, ...]]:
    """Places cut into shares, in their order: an even share of half of what is left at a time."""
    found, at = [], 0
    while at < len(places):
        size = min(max(CHUNK, (len(places) - at) // (2 * workers)), MOST)
        found.append(tuple(places[at : at + size]))
        at += size
    return found


@functools.lru_cache(maxsize=1)
def _job(data: bytes) -> Job:
    """The job of a verification, unpacked once in each process."""
    from beadwright.verify import Job

    job = pickle.loads(data)
    assert isinstance(job, Job)
    return job


def measure_some(data: bytes, places: tuple[int, ...]) -> tuple[Measured | None, ...]:
    """Measure some layers.

    Parameters
    ----------
    data : bytes
        A pickled `Job`.
    places : tuple of int
        Of the layers in its deposit.
    """
    from beadwright.verify import measure_layer

    job = _job(data)
    return tuple(drawn(measure_layer(job, place)) for place in places)
