"""What a solid covers somewhere in a slab, and what it covers everywhere in it, without projecting a face.

Let D count the surface that looks down over a point inside the slab, U that which looks up. Going up from the
bottom, in(bottom) + D - U = in(top). So a point is covered somewhere in the slab exactly if
in(bottom) + D > 0, and everywhere exactly if in(bottom) - U > 0. The boundary of the first count, seen from
above, is made of the bottom section's curves on faces that look up, the top section's curves on faces that
look down, and the folds between; that of the second of the others and of the same folds reversed. Hence no
face is ever projected: the region is where these closed chains wind more than 0 times.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from beadwright.arcs import Meeting, Result, fit, meeting, unite
from beadwright.curves import ArcPath, ArcRegion, reversed_path
from beadwright.layers._folds import Folds
from beadwright.layers._seen import SAME, fold_parts, loops_of
from beadwright.layers._sides import Run, crossings, kept_runs, shifted
from beadwright.numeric import Bound
from beadwright.section import Section

Array = npt.NDArray[np.float64]
Side = Literal["outer", "inner"]

INTO = 1e-5
"""How far inside the slab the facing of a curve on its border is looked at, mm."""
JOIN = 0.05
"""Ends farther apart than this and the file's own gap are not joined, mm."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SlabRegion:
    """A region by rule.

    Attributes
    ----------
    region : ArcRegion
    fit, bound : float
        Greatest distance of the arcs from the curves that they stand for; of the union, mm.
    joined : float
        Longest line that had to join two ends beyond `fit` and the file's own gaps, mm.
    inverted : tuple of (float, float, float)
    fallbacks : int
    kinks : int
        Straight moves that stand where no tangent arc could follow the curve.
    met : Meeting or None
        How far corners may be off where different chains cross; None where that was not asked.
    """

    region: ArcRegion
    fit: float
    bound: float
    joined: float
    inverted: tuple[tuple[float, float, float], ...] = ()
    fallbacks: int = 0
    kinks: int = 0
    met: Meeting | None = None


def slab_region(
    folds: Folds, bottom: Section, top: Section, *, side: Side, tolerance: float
) -> SlabRegion | None:
    """What a solid covers somewhere (outer) or everywhere (inner) between two planes.

    Parameters
    ----------
    folds : Folds
        Of the placed model.
    bottom, top : Section
        At the planes.
    side : {"outer", "inner"}
    tolerance : float
        Of the fit, mm.

    Returns
    -------
    SlabRegion or None
        None where this cannot be made: a face in the slab looks both ways and its silhouettes have no closed
        form, or chains do not close within 0.05 mm.
    """
    if any(low < top.taken and high > bottom.taken for low, high in folds.untraced):
        return None
    inner = side == "inner"
    parts = list(fold_parts(folds.folds, bottom.taken, top.taken))
    fits = [
        fit(bottom.loops, tolerance=tolerance),
        fit(top.loops, tolerance=tolerance),
        fit(loops_of([curve for _, curve in parts]), tolerance=tolerance),
    ]
    rows = np.cumsum([0, *(len(f.region.supports) for f in fits)])
    runs: list[Run] = []
    for fitted, section, keep, shift, into in (
        (fits[0], bottom, -1 if inner else 1, rows[0], INTO),
        (fits[1], top, 1 if inner else -1, rows[1], -INTO),
    ):
        crossing = crossings(parts, section.taken)
        runs += kept_runs(fitted, section, folds, keep, crossing, int(shift), into)
    for (fold, _), path in zip(parts, fits[2].paths, strict=True):
        moved = shifted(path, int(rows[2]))
        runs.append(Run(path=reversed_path(moved) if fold.reverse != inner else moved, solid=fold.solid))
    limit = JOIN + 2 * max(bottom.model, top.model)
    linked = linked_runs(runs, limit)
    if linked is None:
        return None
    loops, joined = linked
    bound = max(f.bound.mm for f in fits)
    model = max(bottom.model, top.model)
    supports = np.concatenate([f.region.supports for f in fits])
    united = united_loops(loops, supports, inner)
    joined = joined if joined > max(bound, model) + SAME else 0.0
    # Lines and circles of the CAD are its own; every chain counts as a solid, since those of one may cross.
    own = max(bottom.bound, top.bound) + joined
    met = meeting(
        [run.path for run in loops],
        np.arange(len(loops)),
        [own + np.where(run.path.support >= 0, 0.0, bound) for run in loops],
        target=tolerance,
    )
    return SlabRegion(
        region=united.region,
        fit=bound,
        bound=united.bound.mm,
        joined=joined,
        inverted=united.inverted if not inner else (),
        fallbacks=united.fallbacks,
        kinks=sum(f.kinks for f in fits),
        met=met,
    )


def united_loops(loops: Sequence[Run], supports: Array, inner: bool) -> Result:
    """Loops of all solids; under the inner rule each solid for itself, as its count may be below 0."""
    if not inner:
        return unite(ArcRegion(loops=tuple(run.path for run in loops), supports=supports))
    solids = sorted({run.solid for run in loops})
    done = [
        unite(ArcRegion(loops=tuple(run.path for run in loops if run.solid == solid), supports=supports))
        for solid in solids
    ]
    if len(done) == 1:
        return done[0]
    whole = unite([each.region for each in done])
    bound = whole.bound.mm + max((each.bound.mm for each in done), default=0.0)
    return replace(whole, bound=Bound(bound, "region", whole.bound.why))


def linked_runs(runs: Sequence[Run], limit: float) -> tuple[list[Run], float] | None:
    """Join ends to starts, nearest first; any pairing at a node winds alike. None if ends are left."""
    loops = [run for run in runs if run.path.closed]
    loose = [run for run in runs if not run.path.closed]
    longest = 0.0
    for solid in sorted({run.solid for run in loose}):
        mine = [run.path for run in loose if run.solid == solid]
        starts = np.array([path.points[0] for path in mine])
        ends = np.array([path.points[-1] for path in mine])
        gap = np.hypot(*(ends[:, None] - starts[None]).transpose(2, 0, 1))
        following = np.full(len(mine), -1)
        taken = np.zeros(len(mine), dtype=bool)
        near = np.argwhere(gap <= limit)
        for i, j in near[np.argsort(gap[near[:, 0], near[:, 1]], kind="stable")]:
            if following[i] < 0 and not taken[j]:
                following[i], taken[j] = j, True
                longest = max(longest, float(gap[i, j]))
        if not taken.all():
            return None
        loops += [Run(path=path, solid=solid) for path in _closed(mine, following)]
    return loops, longest


def _closed(paths: Sequence[ArcPath], following: npt.NDArray[np.int64]) -> Iterator[ArcPath]:
    """Closed paths of chains that follow one another."""
    done = np.zeros(len(paths), dtype=bool)
    for first in range(len(paths)):
        points, bulge, face, support = [], [], [], []
        at = first
        while not done[at]:
            done[at] = True
            path, onward = paths[at], paths[following[at]].points[0]
            points.append(path.points[:-1])
            bulge.append(path.bulge)
            face.append(path.face)
            support.append(path.support)
            if np.hypot(*(onward - path.points[-1])) > SAME:
                points.append(path.points[-1:])
                bulge.append(np.zeros(1))
                face.append(path.face[-1:])
                support.append(np.full(1, -1, np.int32))
            at = int(following[at])
        if points:
            yield ArcPath(
                points=np.concatenate(points),
                bulge=np.concatenate(bulge),
                face=np.concatenate(face),
                support=np.concatenate(support),
            )
