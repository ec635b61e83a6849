"""One way of making contour beads, from the solid or through triangles, run in a process of its own."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.brep import Model, placed
from beadwright.curves import ArcPath
from beadwright.layers import LayerPlan
from beadwright.mesh import TriangleMesh, contours, cut
from beadwright.pipeline._kernel_fallback import kernel_fallback
from beadwright.pipeline._layer_beads import offsets_of
from beadwright.pipeline._layer_work import Job, Planes, work_on
from beadwright.pipeline._load import load_kernels
from beadwright.pipeline._stages import peak_memory_mb
from beadwright.post import Words, motion_lines, move_formats, print_path, standard
from beadwright.section import prepare
from beadwright.settings import ROUNDING_UNITS, PlanSettings

Matrix = npt.NDArray[np.float64]
Layers = tuple[tuple[tuple[ArcPath, ...], ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Printed:
    """Paths as printed, their moves, the bytes of their text, and what rounding moved them by at most, mm."""

    layers: Layers
    n_moves: int
    n_bytes: int
    bound: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Laid:
    """Contour beads of some layers, however made.

    Attributes
    ----------
    layers : tuple of tuple of tuple of ArcPath
        By layer, then by rank; as printed.
    areas : tuple of float
        Of each layer's region, mm2.
    seconds : mapping of str to float
        By stage; the same machine, one core.
    memory : float
        Greatest resident memory of the process, MB.
    n_moves, n_bytes : int
        Printed moves of the beads, and the size of their text.
    triangles : int
        0 if there are none.
    open_length : float
        Length of section chains that did not close, mm.
    bound : float
        Proven distance of the beads from those of the exact solid, mm; inf if there is no proof.
    boundaries : tuple of tuple of ArcPath
        Loops of each layer's region, as fitted; empty by triangles.
    """

    layers: Layers
    areas: tuple[float, ...]
    seconds: dict[str, float]
    memory: float
    n_moves: int
    n_bytes: int
    triangles: int = 0
    open_length: float = 0.0
    bound: float = float("inf")
    boundaries: tuple[tuple[ArcPath, ...], ...] = ()


def by_solid(
    model: Model,
    matrix: Matrix,
    settings: PlanSettings,
    plans: tuple[LayerPlan, ...],
    planes: tuple[Planes, ...],
) -> Laid:
    """Sections of the solid itself, arcs, exact offsets."""
    import pickle

    load_kernels()
    watch = _Watch()
    cutter = prepare(placed(model, matrix))
    job = Job(
        cutter=cutter,
        settings=settings,
        fallback=kernel_fallback(model, matrix),
        rounding=ROUNDING_UNITS * 10.0**-settings.decimals,
    )
    data = pickle.dumps(job)
    watch.lap("prepare")
    made = work_on(data, plans, planes)
    watch.seconds |= {name: v for name, v in made.seconds.items() if name not in {"load", "compile"}}
    watch.lap("")
    layers = tuple(
        tuple(
            tuple(bead.path for bead in work.beads if bead.role == "contour" and bead.rank == rank)
            for rank in range(1, settings.contours + 1)
        )
        for work in made.layers
    )
    printed = _printed(layers, settings.decimals)
    watch.lap("text")
    return Laid(
        layers=printed.layers,
        areas=tuple(work.layer.area for work in made.layers),
        seconds=watch.seconds,
        memory=peak_memory_mb(),
        n_moves=printed.n_moves,
        n_bytes=printed.n_bytes,
        bound=max(work.layer.budget.total for work in made.layers) + printed.bound,
        boundaries=tuple(work.layer.region.loops for work in made.layers),
    )


def by_triangles(
    source: Model | TriangleMesh,
    matrix: Matrix,
    settings: PlanSettings,
    heights: Sequence[float],
    chord: float,
) -> Laid:
    """Triangles, plane cuts, polygon offsets, straight moves.

    Parameters
    ----------
    source : Model or TriangleMesh
        A model is tessellated first.
    matrix : (3, 4) float
        Placement.
    settings : PlanSettings
    heights : sequence of float
        Of the planes, mm, placed.
    chord : float
        Of the triangles and of the rounds of polygon offsets, mm, placed.
    """
    import shapely  # noqa: F401  loaded before the clock runs, as the kernels of the other way are
    import trimesh  # noqa: F401

    watch = _Watch()
    if isinstance(source, Model):
        from beadwright.kernel import tessellate

        watch = _Watch()
        scale = float(np.linalg.norm(matrix[2, :3]))
        vertices, triangles = tessellate(source, chord / scale)
        mesh = TriangleMesh(name=f"chord {chord:g}", vertices=vertices, triangles=triangles)
        watch.lap("tessellate")
    else:
        mesh = source
    sections = cut(mesh.moved(matrix), heights)
    watch.lap("section")
    laid = [
        contours(
            section.polygon,
            distances=offsets_of(settings),
            chord=chord,
        )
        for section in sections
    ]
    watch.lap("beads")
    layers = tuple(tuple(tuple(map(_straight, rings)) for rings in ranks) for ranks in laid)
    printed = _printed(layers, settings.decimals)
    watch.lap("text")
    return Laid(
        layers=printed.layers,
        areas=tuple(float(section.polygon.area) for section in sections),
        seconds=watch.seconds,
        memory=peak_memory_mb(),
        n_moves=printed.n_moves,
        n_bytes=printed.n_bytes,
        triangles=len(mesh.triangles),
        open_length=sum(section.open_length for section in sections),
    )


class _Watch:
    """Seconds by stage, one after the other."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = {}
        self._since = time.perf_counter()

    def lap(self, stage: str) -> None:
        """Close a stage; one without a name is not told (its parts are already)."""
        now = time.perf_counter()
        if stage:
            self.seconds[stage] = now - self._since
        self._since = now


def _straight(ring: npt.NDArray[np.float64]) -> ArcPath:
    """A closed ring of points as a path of lines."""
    count = len(ring) - 1
    none = np.full(count, -1, np.int32)
    return ArcPath(points=ring[:-1], bulge=np.zeros(count), face=none, support=none)


def _printed(layers: Layers, decimals: int) -> _Printed:
    """Paths as their printed digits say, both ways by the same writer."""
    words, moves, size, bound = Words(decimals=decimals), 0, 0, 0.0
    unit, formats = 10.0**-decimals, move_formats(standard(), decimals)

    def one(path: ArcPath) -> ArcPath:
        nonlocal moves, size, bound
        digits = print_path(path, words)
        moves += len(digits.end)
        size += len(motion_lines(digits, words, formats))
        bound = max(bound, digits.bound * unit)
        start = np.concatenate([[digits.start], digits.end[:-1]]) if len(digits.end) else digits.end
        chord = digits.end - start
        # The centre lies at chord / 2 + i chord (1 - b^2) / (4 b): solved for b, the arc below half a turn.
        high = ((digits.centre - chord / 2) / np.where(chord == 0, 1.0, 1j * chord)).real * digits.turn
        bulge = np.where(digits.turn == 0, 0.0, digits.turn / (2 * high + np.sqrt(4 * high * high + 1)))
        none = np.full(len(bulge), -1, np.int32)
        points = np.column_stack([start.real, start.imag]) * unit
        return ArcPath(points=points, bulge=bulge, face=none, support=none, closed=path.closed)

    every = tuple(tuple(tuple(map(one, paths)) for paths in ranks) for ranks in layers)
    return _Printed(layers=every, n_moves=moves, n_bytes=size, bound=bound)
