"""Who makes the layers: this process for a little work, processes of their own for much."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from concurrent.futures import Executor
from contextlib import contextmanager
from dataclasses import replace

from beadwright.layers import LayerPlan
from beadwright.pipeline._hanging import hanging_over
from beadwright.pipeline._heights import Asked
from beadwright.pipeline._layer_work import LayerWork, Planes, work_on
from beadwright.pipeline._stages import COMPILE, Stages
from beadwright.pipeline._workers import Workers, core_count, mapped
from beadwright.settings import PlanSettings

# Layers of the first chunk, which is made in this process: it compiles what must be compiled, and tells how
# long a layer takes.
FIRST_CHUNK = 4
# Layers of a chunk: many planes share the cost of a call, few keep the progress bar moving. The chunks of a
# plan are the same for any number of workers, so that its bytes are too.
CHUNK = 16
# Starting workers costs about a second of each core; work that takes less than this is done here, s.
WORTH_WORKERS = 4.0


class Crew:
    """Makes layers, here or elsewhere, and hands them out in their order.

    Parameters
    ----------
    executor : Executor or None
        Where chunks are made, if the caller has a place for them.
    asked : int or None
        Worker processes; None: as many as it pays.
    lost : list of str
        Grows by a sentence for each worker that was lost.
    stages : Stages
        Grows by what the chunks took.

    Attributes
    ----------
    stages : Stages
    count : int
        Processes at work.
    peak_memory : float
        Greatest of any process that made layers, MB.
    """

    def __init__(
        self, *, executor: Executor | None, asked: int | None, lost: list[str], stages: Stages
    ) -> None:
        self._executor, self._asked, self._lost = executor, asked, lost
        self.stages = stages
        self.count = 1
        self.peak_memory = 0.0

    def work(
        self, data: bytes, asked: Asked, planes: Sequence[Planes], settings: PlanSettings
    ) -> Iterator[LayerWork]:
        """Layers that were asked for, in their order; `planes` are of these and those beside them."""
        clock = Stages()
        (own, *calls) = _split(data, asked, planes)
        made = work_on(*own)
        here = clock.total() - made.seconds.get(COMPILE, 0.0) - made.seconds["load"]
        self.stages.merge(made.seconds)
        yield from made.layers
        last = made.layers[-1]
        n_left = asked.count - len(made.layers)
        if not n_left:
            return
        seconds = here / len(made.layers) * n_left
        with self._hired(seconds, n_left) as executor:
            for chunk in mapped(executor, work_on, calls, self._lost.append):
                self.stages.merge(chunk.seconds)
                self.peak_memory = max(self.peak_memory, chunk.peak_memory)
                first, *others = chunk.layers
                # the layer below the first of a chunk was made elsewhere
                over = hanging_over(first.layer, last.layer, settings)
                last = chunk.layers[-1]
                yield replace(first, hanging=over)
                yield from others

    @contextmanager
    def _hired(self, seconds: float, n_left: int) -> Iterator[Executor | None]:
        """An executor, or None where the work is done in this process."""
        if self._executor is not None:
            yield self._executor
            return
        wanted = min(self._asked or core_count(), -(-n_left // CHUNK))
        if wanted == 1 or (self._asked is None and seconds < WORTH_WORKERS):
            yield None
            return
        self.count = wanted
        workers = Workers(wanted)
        try:
            yield workers
        finally:
            # Nothing is left to do where all went well; else (an error, an interruption) they end at once.
            workers.shutdown(cancel_futures=True)


Call = tuple[bytes, tuple[LayerPlan, ...], tuple[Planes, ...], int, int]


def _split(data: bytes, asked: Asked, planes: Sequence[Planes]) -> list[Call]:
    """Calls of `work_on` for chunks of layers, each with the layers beside it that it needs."""
    end = asked.first + asked.count
    cuts = [asked.first, *range(min(asked.first + FIRST_CHUNK, end), end, CHUNK), end]
    calls = []
    for a, b in itertools.pairwise(cuts):
        low, high = max(a - asked.beside, 0), min(b + asked.beside, len(asked.plans))
        calls.append((data, tuple(asked.plans[low:high]), tuple(planes[low:high]), a - low, b - a))
    return calls
