"""The curves of a section that lie on surface looking one way, as chains of moves."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from beadwright.arcs import Fitted
from beadwright.brep import curve_points
from beadwright.curves import ArcPath, chords, lengths, nearest_place, points_at
from beadwright.layers._facing import UPRIGHT, Facing
from beadwright.layers._folds import Fold, Folds
from beadwright.layers._seen import SAME, Curve
from beadwright.section import Section

Array = npt.NDArray[np.float64]

FAR = 0.05
"""A silhouette farther than this from the section's curve of its face does not cut it, mm."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Run:
    """An open or closed chain that is to become part of a loop."""

    path: ArcPath
    solid: int


def crossings(parts: Sequence[tuple[Fold, Curve]], z: float) -> dict[int, list[Array]]:
    """Where silhouettes pass a plane, by face."""
    found: dict[int, list[Array]] = {}
    for fold, _ in parts:
        if fold.silhouette:
            for point in curve_points(fold.curve, np.array([fold.start, fold.end])):
                if abs(point[2] - z) < SAME:
                    found.setdefault(fold.face, []).append(point[:2])
    return found


def kept_runs(
    fitted: Fitted,
    section: Section,
    folds: Folds,
    keep: int,
    crossing: dict[int, list[Array]],
    shift: int,
    into: float,
    rule: npt.NDArray[np.int64] | None = None,
) -> Iterator[Run]:
    """The moves of a section that lie on surface looking one way, as chains.

    With `rule`, a number for each face, the product of that and of the way it looks (1 or -1) is to be `keep`.
    """
    paths = [shifted(path, shift) for path in fitted.paths]
    cuts: list[Array] = []
    for face, points in crossing.items():
        for point in points:
            paths = _split_nearest(paths, face, point, cuts)
    for path, solid in zip(paths, section.solid.tolist(), strict=True):
        sign = _signs(path, folds.facing, section.taken + into, cuts, rule)
        yield from _runs(path, sign == keep, solid)


def _signs(
    path: ArcPath,
    facing: Sequence[Facing],
    z: float,
    cuts: Sequence[Array],
    rule: npt.NDArray[np.int64] | None,
) -> npt.NDArray[np.int64]:
    """1 for each move on surface looking up, -1 on surface looking down; connectors as what they follow.

    Times the rule of its face, if there is one.
    """
    sign = np.zeros(len(path.bulge), dtype=np.int64)
    middle = _middles(path)
    height = np.zeros(len(sign))
    for face in set(path.face.tolist()) - {-1}:
        mine = path.face == face
        sign[mine] = facing[face].sign
        if facing[face].sign == 0:
            points = np.column_stack((middle[mine], np.full(int(mine.sum()), z)))
            height[mine] = facing[face].normal_z(points)
    mixed = sign == 0
    if mixed.any():
        for run in _same(path, cuts):
            rows = run[mixed[run]]
            if len(rows) and path.face[rows[0]] >= 0:
                most = height[rows][np.argmax(np.abs(height[rows]))]
                sign[rows] = -1 if most < -UPRIGHT else 1
    if rule is not None:
        sign = np.where(path.face >= 0, sign * rule[path.face], sign)
    for row in np.flatnonzero(path.face < 0):
        before = [sign[row - k] for k in range(1, len(sign)) if path.face[row - k] >= 0]
        sign[row] = before[0] if before else 1
    return sign


def _same(path: ArcPath, cuts: Sequence[Array]) -> list[npt.NDArray[np.int64]]:
    """Moves of a closed chain in runs of one face, cut where silhouettes pass too."""
    n = len(path.bulge)
    new = path.face != np.roll(path.face, 1)
    for cut in cuts:
        new |= np.hypot(*(path.points[:n] - cut).T) < SAME
    starts = np.flatnonzero(new)
    if not len(starts):
        return [np.arange(n)]
    ends = np.append(starts[1:], starts[0] + n)
    return [np.arange(a, b) % n for a, b in zip(starts, ends, strict=True)]


def _middles(path: ArcPath) -> Array:
    """The middle of each move, (m, 2)."""
    chord = chords(path)
    right = np.column_stack((chord[:, 1], -chord[:, 0]))
    return np.asarray(path.points[: len(chord)] + chord / 2 + (path.bulge / 2)[:, None] * right)


def _split_nearest(paths: list[ArcPath], face: int, point: Array, cuts: list[Array]) -> list[ArcPath]:
    """Cut the move of a face that passes nearest to a point there, and note the place of the cut."""
    best = (np.inf, -1, -1, 0.0)
    for j, path in enumerate(paths):
        own = np.flatnonzero(path.face == face)
        if not len(own):
            continue
        i, share = nearest_place(path, point, own)
        off = float(np.hypot(*(_at(path, i, share) - point)))
        if off < best[0]:
            best = (off, j, i, share)
    off, j, i, share = best
    if off > FAR:
        return paths
    path, out = paths[j], list(paths)
    size = float(lengths(path)[i])
    if share * size < SAME or (1 - share) * size < SAME:
        cuts.append(path.points[i if share < 0.5 else (i + 1) % len(path.points)])
        return paths
    angle = np.arctan(path.bulge[i])
    bulge = np.concatenate(
        (path.bulge[:i], np.tan([angle * share, angle * (1 - share)]), path.bulge[i + 1 :])
    )
    here = _at(path, i, share)
    cuts.append(here)
    out[j] = ArcPath(
        points=np.insert(path.points, i + 1, here, axis=0),
        bulge=bulge,
        face=np.insert(path.face, i + 1, face),
        support=np.insert(path.support, i + 1, path.support[i]),
        closed=path.closed,
    )
    return out


def _at(path: ArcPath, i: int, share: float) -> Array:
    """A point of a move, by its share of the length."""
    return np.asarray(points_at(path, np.array([i]), np.array([share]))[0])


def _runs(path: ArcPath, kept: npt.NDArray[np.bool_], solid: int) -> Iterator[Run]:
    """Chains of the moves to keep."""
    if kept.all():
        yield Run(path=path, solid=solid)
        return
    n = len(kept)
    for start in np.flatnonzero(kept & ~np.roll(kept, 1)):
        count = 1
        while kept[(start + count) % n]:
            count += 1
        rows = np.arange(start, start + count) % n
        last = path.points[(start + count) % n]
        yield Run(
            path=ArcPath(
                points=np.vstack((path.points[rows], last)),
                bulge=path.bulge[rows],
                face=path.face[rows],
                support=path.support[rows],
                closed=False,
            ),
            solid=solid,
        )


def shifted(path: ArcPath, rows: int) -> ArcPath:
    return replace(path, support=np.where(path.support >= 0, path.support + rows, -1).astype(np.int32))
