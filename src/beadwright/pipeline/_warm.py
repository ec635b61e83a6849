"""Compiling the numeric kernels once on a machine, in two processes, so that no plan waits for it.

Every kernel is met by making a small part that has all kinds of surfaces, and a test holds that no example
needs one more. numba keeps what it compiles beside the package or, where that is read-only, in the user's
cache folder; a stamp there tells that all of it is present for this version, interpreter and processor.
"""

from __future__ import annotations

import hashlib
import sys
import time
from collections.abc import Callable
from concurrent.futures import as_completed
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from beadwright.arcs import fit, offset, offset_path, subtract, unite
from beadwright.compiled import stamp
from beadwright.curves import CurveKind, CurveLoops
from beadwright.pipeline._guard import read_step
from beadwright.pipeline._load import load_kernels
from beadwright.pipeline._quick import quicken
from beadwright.pipeline._workers import WorkerLost, Workers, core_count
from beadwright.section import cut, prepare, take_plane

SAMPLE = Path(__file__).with_name("sample.step.gz")
"""Planes, cylinders, cones, spheres, tori, splines, a revolution and an extrusion of a spline."""

STAMP = "beadwright.compiled"
COMPILING = "compiling, once on this machine"
"""The stage as told to whoever waits."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Warmed:
    """What compiling took.

    Attributes
    ----------
    seconds : float
        On the wall.
    caches : tuple of str
        Folders that hold the compiled kernels.
    """

    seconds: float
    caches: tuple[str, ...]


def is_warm() -> bool:
    """Whether all kernels were compiled for this version, interpreter and processor."""
    names = load_kernels()
    stamp = Path(_caches(names)[0]) / STAMP
    return stamp.exists() and stamp.read_text(encoding="ascii") == _key(names)


def warm(whole: Callable[[], object], progress: Callable[[str, int, int], None] | None = None) -> Warmed:
    """Compile all kernels, or see that they are there.

    Parameters
    ----------
    whole : callable
        Plans `SAMPLE`, which meets all of them: in this process, where workers cannot live.
    progress : callable, optional
        Called as ``progress(stage, done, total)`` when something is finished.
    """
    tell = progress or _silent
    begun = time.perf_counter()
    # Sections and arcs take about as long; what is done first goes on with the others.
    shares: tuple[Callable[[], None], ...] = (_sections, _arcs, _others)
    total = len(shares)
    tell(COMPILING, 0, total)
    workers = Workers(min(2, core_count()))
    try:
        calls = [workers.submit(share) for share in shares]
        for done, call in enumerate(as_completed(calls), 1):
            call.result()
            tell(COMPILING, done, total)
    except WorkerLost:
        whole()
        tell(COMPILING, total, total)
    finally:
        workers.shutdown(cancel_futures=True)
    names = load_kernels()
    caches = _caches(names)
    Path(caches[0], STAMP).write_text(_key(names), encoding="ascii")
    return Warmed(seconds=time.perf_counter() - begun, caches=caches)


def _silent(_stage: str, _done: int, _total: int) -> None:
    """Nobody wants to know how far it is."""


def _sections() -> None:
    """Meet the kernels of the section room."""
    quicken()
    cutter = prepare(read_step(SAMPLE))
    low, high = cutter.z_range
    heights = np.linspace(low, high, 9)[1:-1]
    cut(cutter, [take_plane(cutter, float(height), "below").taken for height in heights])


def _arcs() -> None:
    """Meet the kernels of the arcs room on a square with one round and one free side; locate for the sections first."""
    quicken()
    # Sections are made meanwhile: what is compiled for them here must be there before they ask for it.
    _compile(plain_kernels()[:1])
    fitted = fit(
        CurveLoops(
            kind=np.array(
                [CurveKind.LINE, CurveKind.SPLINE, CurveKind.CIRCLE, CurveKind.LINE], dtype=np.int8
            ),
            face=np.arange(4, dtype=np.int32),
            ends=np.array([[0.0, 0, 20, 0], [20, 0, 20, 20], [20, 20, 0, 20], [0, 20, 0, 0]]),
            circle=np.array([[0.0, 0, 0, 0], [0, 0, 0, 0], [10, 20, 10, np.pi], [0, 0, 0, 0]]),
            first_piece=np.array([0, 0, 1, 1, 1], dtype=np.int32),
            degree=np.array([3], dtype=np.int32),
            first_control=np.array([0, 4], dtype=np.int32),
            control=np.array([[20.0, 0, 1], [26, 6, 1], [14, 14, 1], [20, 20, 1]]),
            bound=np.zeros(4),
            first_curve=np.array([0, 4], dtype=np.int32),
            closed=np.array([True]),
        ),
        tolerance=0.01,
    )
    region = unite(fitted.region).region
    subtract(region, offset(region, distance=-1.0).region)
    offset_path(region.loops[0], distance=1.0)


def _others() -> None:
    """Kernels whose types are few and plain, but for that of the sections."""
    quicken()
    _compile(plain_kernels()[1:])


def _compile(kernels: tuple[tuple[Any, tuple[Any, ...]], ...]) -> None:
    """Compile kernels by their types, so that no part need be made to meet them."""
    for compiled, types in kernels:
        compiled.compile(types)


def plain_kernels() -> tuple[tuple[Any, tuple[Any, ...]], ...]:
    """Kernels of plain types, that of the sections first, each with the types of its arguments as a call has them.

    Numba's cache keeps a signature in words apart from that of a call.
    """
    from numba import typeof

    from beadwright.beads._kernels import boundary, nested, touching, unreached
    from beadwright.process._kernels import nearest, wall
    from beadwright.section._kernels.locate import locate_all

    row, grid = np.zeros(1), np.zeros((1, 2))
    count, pairs = np.zeros(1, np.int64), np.zeros((1, 2), np.int64)
    spans = (grid, count, count, grid)
    calls = (
        (locate_all, (count, count, grid, count, pairs, grid, count, count, grid, count, spans)),
        (boundary, (grid, row, count, 1.0, 1.0)),
        (nested, (grid,)),
        (touching, (count, row, grid, grid, row, count, pairs, count, count, grid, 1.0, 1.0)),
        (unreached, (grid, grid, 1.0)),
        (nearest, (grid, grid, 1.0)),
        (wall, (row, row, row, row, 1, 1, 1, 1.0)),
    )
    return tuple((compiled, tuple(typeof(each) for each in arguments)) for compiled, arguments in calls)


def _caches(names: tuple[str, ...]) -> tuple[str, ...]:
    """Folders in which numba keeps the kernels of some modules, those of the first module first."""
    from numba.core.dispatcher import Dispatcher

    found = {
        each.stats.cache_path: None
        for name in names
        for each in vars(sys.modules[name]).values()
        if isinstance(each, Dispatcher)
    }
    return tuple(str(path) for path in found)


def _key(names: tuple[str, ...]) -> str:
    """What the compiled kernels depend on."""
    import llvmlite.binding
    import numba

    parts = [sys.version, numba.__version__, llvmlite.binding.get_host_cpu_name()]
    for name in names:
        file = sys.modules[name].__file__
        assert file is not None
        parts.append(f"{name} {stamp(Path(file))}")
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()
