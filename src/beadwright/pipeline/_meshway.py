"""What cutting triangles would have given on the same part: both ways measured against the exact offset."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from beadwright.brep import Model, placed, placement
from beadwright.errors import SettingsError
from beadwright.layers import LayerPlan, plan_layers
from beadwright.mesh import load
from beadwright.pipeline._cards import cards
from beadwright.pipeline._heights import layer_planes
from beadwright.pipeline._layer_beads import offsets_of
from beadwright.pipeline._part import describe_input, read_part
from beadwright.pipeline._plan import compile_kernels
from beadwright.pipeline._two_ways import Laid, by_solid, by_triangles
from beadwright.pipeline._warm import is_warm
from beadwright.pipeline._ways import Measure, Way
from beadwright.pipeline._workers import Workers
from beadwright.section import prepare
from beadwright.settings import Resolved

Floats = npt.NDArray[np.float64]
Progress = Callable[[str, int, int], None]

CHORDS = (1.0, 0.1, 0.01)
"""Chord tolerances of the meshes to compare with, mm."""
LAYERS = 20
"""Layers looked at, evenly spread."""
REFERENCE = 0.0005
"""Fit tolerance of the beads that both ways are measured against, mm: their own bound is told."""
MOST_TRIANGLES = 1_000_000
"""Larger meshes are told as predicted and not made."""
TRIES = 2
"""Meshes made to find the chord that matches our bound."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeshComparison:
    """Both ways on the same layers of one part.

    Attributes
    ----------
    model : Model
    layers : int
        Layers looked at, of `of`.
    feed, width, contours : float, float, int
        mm/s, mm, beads of each loop.
    bound : float
        Proven bound of the exact way, mm (without the file's own gaps).
    reference : float
        Bound of the centrelines that both ways are measured against, mm.
    exact : Way
    meshes : tuple of Way
        By falling chord, then those given as files.
    match : Way or None
        The mesh whose measured error is at most the exact way's bound; None if none was found.
    predicted : mapping or None
        Where the matching mesh is too large to make: its chord, triangles and moves by the square-root law.
    """

    model: Model
    layers: int
    of: int
    feed: float
    width: float
    contours: int
    bound: float
    reference: float
    exact: Way
    meshes: tuple[Way, ...]
    match: Way | None
    predicted: dict[str, float] | None

    def good_enough(self) -> str:
        """Where the mesh way would do, in a sentence."""
        flat = [way for way in self.meshes if way.error <= self.bound and way.missing == 0.0]
        if flat:
            best = min(flat, key=lambda way: way.moves)
            more = best.moves / max(1, self.exact.moves)
            return (
                f"{best.name} stays within our bound on these layers with {more:.2g} times the moves: here the"
                " mesh way is good enough"
            )
        if not self.meshes:
            return "no mesh was compared"
        whole = [way for way in self.meshes if way.missing == 0.0]
        if not whole:
            return "every mesh compared lacks beads that the solid has: is it of this part, in its place and in mm?"
        best = min(whole, key=lambda way: way.error)
        return (
            f"no mesh compared stays within {self.bound:.4g} mm; the best, {best.name}, strays {best.error:.4g} mm."
            " Where a print may stray more than that, the mesh way is good enough"
        )

    def as_dict(self) -> dict[str, Any]:
        """As JSON has it."""
        told: dict[str, Any] = {
            "format": "beadwright meshway 1",
            "input": describe_input(self.model),
            "layers": self.layers,
            "of_layers": self.of,
            "feed_mm_s": self.feed,
            "width_mm": self.width,
            "contours": self.contours,
            "bound_mm": self.bound,
            "reference_bound_mm": self.reference,
            "ways": [self.exact.as_dict(), *(way.as_dict() for way in self.meshes)],
            "good_enough": self.good_enough(),
        }
        if self.match is not None:
            told["match"] = self.match.as_dict()
        if self.predicted is not None:
            told["predicted"] = self.predicted
        return told


def meshway(
    part: Any,
    *,
    resolved: Resolved,
    chords: Sequence[float] = CHORDS,
    files: Sequence[str | Path] = (),
    layers: int = LAYERS,
    progress: Progress | None = None,
) -> MeshComparison:
    """Lay the contour beads of some layers both ways, and measure both.

    Parameters
    ----------
    part : str, Path, Model, cadquery.Workplane, cadquery.Shape or TopoDS_Shape
    resolved : Resolved
        Bead, layer and placement of `plan`.
    chords : sequence of float
        Chord tolerances of the meshes to make, mm.
    files : sequence of path
        Further meshes, in the part's own coordinates and mm.
    layers : int
        How many layers to look at, evenly spread.
    progress : callable, optional
        Called as ``progress(stage, done, total)``.

    Returns
    -------
    MeshComparison
        Seconds and memory are those of one process each, one after the other.

    Raises
    ------
    SettingsError
        A chord or the count of layers is out of range.
    StepError, InputError
        The part or a mesh cannot be read.
    """
    if any(not (math.isfinite(c) and 1e-4 <= c <= 100.0) for c in chords):
        raise SettingsError("--chord: expected numbers of 0.0001 to 100 mm with commas between")
    if layers < 1:
        raise SettingsError(f"--layers: expected a whole number of at least 1, got {layers}")
    tell = progress or (lambda *_: None)
    settings = resolved.settings.model_copy(update={"medial": False, "rule": "neutral", "wall": None})
    given = [load(path) for path in files]
    total = 3 + len(chords) + len(given)
    tell("reading", 0, total)
    model = read_part(part)
    if not is_warm():
        compile_kernels(progress)
    matrix = placement(model, settings.scale, settings.rotate, settings.at)
    solid = placed(model, matrix)
    low, high = float(solid.box[0, 2]), float(solid.box[1, 2])
    every = plan_layers(low, high, settings.height, rule="neutral", platform_z=min(low, 0.0))
    rows = np.unique(np.linspace(0, len(every) - 1, min(layers, len(every))).round().astype(int))
    plans: tuple[LayerPlan, ...] = tuple(every[row] for row in rows)
    cutter = prepare(solid)
    planes = tuple(layer_planes(cutter, plan) for plan in plans)
    heights = [own[0].taken for own in planes]

    def made(done: int, stage: str, work: Callable[..., Laid], *arguments: object) -> Laid:
        tell(stage, done, total)
        with Workers(1) as worker:
            return worker.submit(work, *arguments).result()

    fine = settings.model_copy(update={"tolerance": REFERENCE, "decimals": max(6, settings.decimals)})
    falling = sorted(chords, reverse=True)
    ours = made(0, "the solid", by_solid, model, matrix, settings, plans, planes)
    tell("the reference", 1, total)
    truth = by_solid(model, matrix, fine, plans, planes)
    measure = Measure(
        truth=truth,
        feed=settings.feed,
        width=settings.width_of("outer"),
        offsets=offsets_of(settings),
        limits=cards(resolved).limits,
    )
    exact = measure.way("the solid", None, ours)
    meshes: list[Way] = []
    for done, chord in enumerate(falling, 2):
        laid = made(done, f"chord {chord:g}", by_triangles, model, matrix, settings, heights, chord)
        meshes.append(measure.way(f"chord {chord:g} mm", chord, laid))
    for done, mesh in enumerate(given, 2 + len(chords)):
        laid = made(done, mesh.name, by_triangles, mesh, matrix, settings, heights, REFERENCE)
        meshes.append(measure.way(mesh.name, None, laid))
    match, predicted = _matching(
        meshes,
        ours.bound,
        lambda chord: measure.way(
            f"chord {chord:.3g} mm",
            chord,
            made(total - 1, f"chord {chord:.3g}", by_triangles, model, matrix, settings, heights, chord),
        ),
    )
    tell("done", total, total)
    return MeshComparison(
        model=model,
        layers=len(plans),
        of=len(every),
        feed=settings.feed,
        width=settings.width,
        contours=settings.contours,
        bound=ours.bound,
        reference=truth.bound,
        exact=exact,
        meshes=tuple(meshes),
        match=match,
        predicted=predicted,
    )


def _matching(
    meshes: Sequence[Way], bound: float, make: Callable[[float], Way]
) -> tuple[Way | None, dict[str, float] | None]:
    """The mesh that strays no more than our bound: among those made, else searched by its error's law.

    A chord's error falls with the square of its length, so the error goes with the chord tolerance and the
    triangles of a doubly curved face with its inverse.
    """
    known = [way for way in meshes if way.chord is not None]
    fit = [way for way in known if way.error <= bound]
    if fit:
        return max(fit, key=lambda way: way.chord or 0.0), None
    if not known:
        return None, None
    best = min(known, key=lambda way: way.error)
    for _ in range(TRIES):
        assert best.chord is not None
        chord = 0.8 * best.chord * bound / best.error
        triangles = best.triangles * best.chord / chord
        if triangles > MOST_TRIANGLES:
            moves = best.moves * math.sqrt(best.chord / chord)
            return None, {
                "chord_mm": chord,
                "triangles": float(round(triangles)),
                "moves": float(round(moves)),
            }
        best = make(chord)
        if best.error <= bound:
            return best, None
    return None, None
