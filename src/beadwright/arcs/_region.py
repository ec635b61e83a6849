"""What an operation on regions returns, and the steps that offset and booleans share."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from beadwright.arcs._spans import Floats, Ints, Spans
from beadwright.curves import ArcPath, ArcRegion
from beadwright.errors import GeometryError
from beadwright.numeric import Bound

# Contact distance of spans, mm: nodes snap within 2.5 times of it, edges merge within 10 times.
EPS = 1e-9
# How far a place of an offset may be off its distance, mm.
TAU = 1e-8
# How often an arrangement whose snapping made new crossings is cut again.
ROUNDS = 3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Result:
    """A region that passed its audit.

    Attributes
    ----------
    region : ArcRegion
        Outer loops counter-clockwise, holes clockwise; every move keeps the face it stems from.
    bound : Bound
        How far a place of the boundary may be from where it was asked for, mm.
    grey : int
        Places where the region vanishes within 1e-8 mm of the asked distance: necks of width 0.
    rounds : int
        How often the spans were cut: 1, and more where snapping made new crossings.
    fallbacks : int
        How often polygons had to stand in.
    retries : int
        How often the audit failed before a finer, coarser or slightly moved attempt passed it.
    normalised : bool
        Whether the given loops crossed or were wrongly nested and were united first.
    inverted : tuple of (float, float, float)
        Area (mm2) and a place of each piece of winding number below 0, which is left out.
    """

    region: ArcRegion
    bound: Bound
    grey: int = 0
    rounds: int = 1
    fallbacks: int = 0
    retries: int = 0
    normalised: bool = False
    inverted: tuple[tuple[float, float, float], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Paths:
    """Paths beside a path.

    Attributes
    ----------
    paths : tuple of ArcPath
        What is left of the curve beside it, in its direction; `support` is -1.
    bound : Bound
        How far a place may be off the asked distance, mm.
    """

    paths: tuple[ArcPath, ...]
    bound: Bound


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Graph:
    """Arranged spans: see the kernel `arrange`. ``base`` is the given span of each arranged one."""

    spans: Floats
    base: Ints
    e: Floats
    edge: Ints
    following: Ints
    wind: Ints
    sub: Ints
    of: Ints
    xy: Floats
    rounds: int
    sound: bool


def arranged(rows: Floats, counts: Ints, eps: float) -> Graph:
    """Arrange spans, again on the snapped edges as long as snapping made new crossings."""
    from beadwright.arcs._kernels.region_graph import ALONG, FULL, SOUND, arrange

    base = np.arange(len(rows))
    for turn in range(1, ROUNDS + 1):
        room = 4 * len(rows) + 64
        while True:
            e, edge, following, wind, sub, of, xy, state = arrange(rows, counts, eps, room)
            if state[0] != FULL:
                break
            room *= 4
        if state[0] == SOUND or turn == ROUNDS:
            break
        along = edge[:, ALONG] >= 0
        span = sub[np.where(along, edge[:, ALONG], edge[:, ALONG + 1]), 2]
        base = base[span]
        rows = np.where(along[:, None], e, reversed_rows(e))
        counts = np.ascontiguousarray(np.where(along[:, None], 1, -1) * edge[:, 2:4])
    return Graph(
        spans=rows,
        base=base,
        e=e,
        edge=edge,
        following=following,
        wind=wind,
        sub=sub,
        of=of,
        xy=xy,
        rounds=turn,
        sound=bool(state[0] == SOUND),
    )


def reversed_rows(rows: Floats) -> Floats:
    """The same spans run the other way."""
    back = rows[:, [2, 3, 0, 1, 8, 9, 6, 7, 4, 5]]
    back[:, 4:] *= -1
    return back


def empty() -> ArcRegion:
    """The region without a point."""
    return ArcRegion(loops=(), supports=np.zeros((0, 4)))


def crooked(source: Spans) -> bool:
    """Whether closed paths cross or are nested as no region's boundary is."""
    from beadwright.arcs._kernels.region_audit import shape

    return bool(np.any(shape(source.rows, source.heads, 2 * TAU)))


def refuse(what: str, source: Spans, faults: npt.NDArray[np.int64], **more: float) -> GeometryError:
    """Error for a result that passed no audit; the spans are saved for replay."""
    with tempfile.NamedTemporaryFile(prefix="beadwright-region-", suffix=".npz", delete=False) as file:
        np.savez(file, rows=source.rows, after=source.after, heads=source.heads, **more)  # type: ignore[arg-type]
        name = Path(file.name)
    names = ("open", "crossed", "nested", "too near", "too far", "lost", "grey")
    told = ", ".join(f"{name} {n}" for name, n in zip(names, faults, strict=True) if n)
    return GeometryError(f"{what} of {len(source.heads) - 1} loops passed no audit ({told}); saved as {name}")
