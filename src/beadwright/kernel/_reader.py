"""What the process that reads a STEP file does: one file, under limits, its answer on standard output.

The reader of the CAD kernel meets files from anywhere. What such a file can do to it (an endless loop, a
crash, all the memory there is) happens here and not in the caller's process.
"""

from __future__ import annotations

import math
import os
import pickle
import resource
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TypeVar

from beadwright.brep import Model, Triangles
from beadwright.errors import BeadwrightError, StepError, unexpected
from beadwright.kernel._read import read_step
from beadwright.kernel._segments import segments
from beadwright.kernel._triangles import display_triangles

Answer = TypeVar("Answer")
Planes = Sequence[tuple[Sequence[float], Sequence[float]]]

GIGABYTE = 1_000_000_000
# Processor time that a picture is worth; the slowest public model needs 3 s.
PICTURE_SECONDS = 30


def serve(path: str, walls: bool, seconds: int, memory: int, picture: bool = False) -> None:
    """Read a file and write the pickled `Model`, or the error, on standard output.

    With `picture`, its `Triangles` follow, or None; the model is out before the kernel begins with them, so
    that whatever they do to it costs the picture only.

    Parameters
    ----------
    path : str
    walls : bool
        See `read_step`.
    seconds : int
        Processor time after which the system ends this process, also when nobody waits for it any more.
    memory : int
        Bytes that reading may take.
    picture : bool
        Whether triangles for a picture are wanted too.
    """
    with os.fdopen(os.dup(1), "wb") as answers:
        os.dup2(2, 1)  # whatever the kernel prints must not get into the answer
        answer = _answer(lambda: read_step(path, walls=walls), path, seconds, memory)
        pickle.dump(answer, answers, pickle.HIGHEST_PROTOCOL)
        answers.flush()
        if picture and isinstance(answer, Model):
            pickle.dump(_picture(answer), answers, pickle.HIGHEST_PROTOCOL)


def _picture(model: Model) -> Triangles | None:
    """Triangles of a model; None where the kernel gives up."""
    used = resource.getrusage(resource.RUSAGE_SELF)
    _limit(resource.RLIMIT_CPU, math.ceil(used.ru_utime + used.ru_stime) + PICTURE_SECONDS)
    with ThreadPoolExecutor(1) as thread:
        call = thread.submit(display_triangles, model)
        return None if call.exception() is not None else call.result()


def serve_segments(path: str, planes: Planes, name: str, seconds: int, memory: int) -> None:
    """Cut a file's solids by planes and write the pickled `Segments`, or the error, on standard output.

    Parameters
    ----------
    path, planes, name
        See `segments`.
    seconds, memory : int
        As of `serve`.
    """
    with os.fdopen(os.dup(1), "wb") as answers:
        os.dup2(2, 1)
        answer = _answer(lambda: segments(path, planes, name), path, seconds, memory)
        pickle.dump(answer, answers, pickle.HIGHEST_PROTOCOL)


def _limited(work: Callable[[], Answer], seconds: int, memory: int) -> Answer:
    _limit(resource.RLIMIT_CPU, seconds)
    _limit(resource.RLIMIT_AS, _mapped() + memory)
    return work()


def _answer(work: Callable[[], Answer], path: str, seconds: int, memory: int) -> Answer | BeadwrightError:
    """Work in a thread, whose future keeps any error."""
    with ThreadPoolExecutor(1) as thread:
        call = thread.submit(_limited, work, seconds, memory)
        fault = call.exception()
        if fault is None:
            return call.result()
    if isinstance(fault, BeadwrightError):
        return fault
    if isinstance(fault, MemoryError):
        return StepError(out_of_memory(path, memory))
    if type(fault).__module__.startswith("OCP."):  # the kernel's exceptions have no base of their own
        return StepError(
            f"{Path(path).name}: the CAD kernel gives up on this file ({type(fault).__name__}: {fault}); it is"
            " damaged, or holds what the kernel does not master: export it again"
        )
    return unexpected(fault)


def out_of_memory(path: str, memory: int) -> str:
    """The sentence for a file that takes more than it may."""
    return (
        f"{Path(path).name}: reading it took more than {memory / GIGABYTE:.3g} GB of memory; export the part"
        " alone, or, if it really is that large, raise BEADWRIGHT_READ_GB in the environment"
    )


def _limit(which: int, value: int) -> None:
    """Lower a limit of this process; what is lower already stays."""
    _, hard = resource.getrlimit(which)
    if hard != resource.RLIM_INFINITY:
        value = min(value, hard)
    resource.setrlimit(which, (value, hard))


def _mapped() -> int:
    """Address space that this process has taken already (libraries, reserves of threads), bytes."""
    status = Path("/proc/self/statm")
    if not status.exists():
        return GIGABYTE
    return int(status.read_text().split()[0]) * os.sysconf("SC_PAGE_SIZE")
