"""All planes together: nodes, branches, matching, chains, curves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from beadwright.section._assemble import assemble
from beadwright.section._batch import Batch, spans_of
from beadwright.section._cutter import Cutter
from beadwright.section._fallback import Fallback, replace_faces
from beadwright.section._free import FreeFace
from beadwright.section._free_branches import FreeBranches, FreeFaceError, free_branches
from beadwright.section._free_locate import free_locate
from beadwright.section._free_pieces import TOLERANCE
from beadwright.section._kernels import codes
from beadwright.section._rescue import rescue
from beadwright.section._section import Section
from beadwright.section._trial import settle

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


def cut(
    cutter: Cutter,
    heights: npt.ArrayLike,
    *,
    asked: Sequence[float] | None = None,
    fallback: Fallback | None = None,
    traced: float = 0.0,
) -> list[Section]:
    """Sections at many heights at once.

    Parameters
    ----------
    cutter : Cutter
    heights : (k,) float
        mm, any order, as `take_plane` gave them.
    asked : sequence of float, optional
        What `Section.asked` says; the heights themselves if not given.
    fallback : callable, optional
        Row of a face and height, mm, to curves as (k, 2) points, mm, neither ordered nor directed; asked
        where a face cannot be cut here. Its curves are refined on the surface and carried as lines; they
        are counted in `Section.fallbacks`, and a note names the face.
    traced : float
        How far a polynomial piece may be from a free-form face's level curve, mm, where that is more than
        2e-7; what it is off is proven and part of the bound. Curves of other faces are not traced.

    Returns
    -------
    list of Section
        In the order of `heights`.

    Raises
    ------
    GeometryError
        A face cannot be cut (a free-form surface so folded that its level curves cannot be separated, or
        an outline that does not close) and there is no fallback.
    """
    wanted = np.atleast_1d(np.asarray(heights, dtype=float))
    names = wanted if asked is None else np.asarray(asked, dtype=float)
    if len(wanted) == 0:
        return []
    order = np.argsort(wanted, kind="stable")
    batch = run(cutter, np.ascontiguousarray(wanted[order]), fallback)
    sections = assemble(cutter, batch, names[order], max(traced, TOLERANCE))
    out: list[Section | None] = [None] * len(wanted)
    for row, section in zip(order, sections, strict=True):
        out[row] = section
    return [s for s in out if s is not None]


def run(cutter: Cutter, heights: Array, fallback: Fallback | None = None) -> Batch:
    """Everything up to matched segments."""
    from beadwright.section._kernels import locate, match
    from beadwright.section._kernels.nodes import node_points

    pieces, faces, uses = cutter.pieces, cutter.faces, cutter.uses
    bottom, top = pieces.sign_z.min(axis=1), pieces.sign_z.max(axis=1)
    # above if z >= h: a piece has a node where bottom < h <= top
    low = np.searchsorted(heights, bottom, side="right")
    high = np.searchsorted(heights, top, side="right")
    first_node = np.concatenate(([0], np.cumsum(high - low)))
    points = node_points(
        pieces.kind, pieces.par, pieces.base, pieces.degree, pieces.control, low, high, first_node, heights
    )
    face_low = np.searchsorted(heights, cutter.face_z[:, 0] - 1e-6, side="left")
    face_high = np.searchsorted(heights, cutter.face_z[:, 1] + 1e-6, side="right")
    face_high = np.maximum(face_high, face_low)
    first_pair = np.concatenate(([0], np.cumsum(face_high - face_low)))
    pair_face = np.repeat(np.arange(len(faces.kind)), face_high - face_low)
    pair_plane = np.arange(first_pair[-1]) - np.repeat(first_pair[:-1] - face_low, face_high - face_low)
    rising = (pieces.sign_z[:, 1] > pieces.sign_z[:, 0]).astype(np.int64)
    first_use, use_node, use_start = match.collect(
        uses.face,
        uses.piece,
        uses.sense,
        rising,
        low,
        high,
        first_node,
        first_pair,
        face_low,
        int(first_pair[-1]),
    )
    first_branch, table, par = _branches(cutter, heights, pair_face, pair_plane)
    free: dict[int, FreeBranches] = {}
    failed: dict[int, str] = {}
    for row, packed in cutter.free.items():
        if face_high[row] > face_low[row]:
            free[row], bad = _free_branches(packed, heights[face_low[row] : face_high[row]])
            failed.update({int(first_pair[row]) + k: why for k, why in bad.items()})
    free_branch = np.full(len(table), -1, dtype=np.int64)
    if free:
        first_branch, table, par, free_branch = _with_free(free, first_pair, first_branch, table, par)
    branch, s, distance = locate.locate_all(
        first_use,
        use_node,
        points,
        first_branch,
        table,
        par,
        pair_face,
        faces.kind,
        faces.par,
        faces.first_span,
        spans_of(cutter),
    )
    batch = Batch(
        heights=heights,
        pair_face=pair_face,
        pair_plane=pair_plane,
        first_pair=first_pair,
        pair_low=face_low,
        points=points,
        first_use=first_use,
        use_node=use_node,
        use_start=use_start,
        use_branch=branch,
        use_s=s,
        use_distance=distance,
        first_branch=first_branch,
        table=table,
        par=par,
        free_branch=free_branch,
        free=free,
        segments=np.zeros((0, 5), dtype=np.int64),
        counts=np.zeros((len(heights), 4), dtype=np.int64),
        node_first=first_node,
        node_low=low,
    )
    for row, own in free.items():
        _locate_free(batch, row, cutter.free[row], own, cutter.outline[row].outward)
    count, segments, batch.counts, spare = match.match(
        first_use,
        use_node,
        use_start,
        batch.use_branch,
        batch.use_s,
        batch.use_distance,
        points,
        first_branch,
        table,
        pair_plane,
        len(heights),
    )
    batch.segments = segments[:count]
    left = rescue(cutter, batch, spare[~np.isin(spare[:, 0], list(failed))])
    failed.update({int(pair): "the ends of its curves do not pair up" for pair in left})
    settle(cutter, batch)
    if failed:
        replace_faces(cutter, batch, failed, fallback)
    return batch


def _free_branches(packed: FreeFace, heights: Array) -> tuple[FreeBranches, dict[int, str]]:
    """Branches at all heights but those that a face cannot be cut at, and what is wrong there."""
    try:
        return free_branches(packed, heights), {}
    except FreeFaceError:
        bad = _refused(packed, heights, np.arange(len(heights)))
    good = np.setdiff1d(np.arange(len(heights)), list(bad))
    own = free_branches(packed, heights[good])
    wide, hidden = np.zeros((2, len(heights)), dtype=np.int64), np.zeros(len(heights))
    wide[:, good], hidden[good] = (own.cells, own.conflicts), own.hidden
    return (
        replace(own, heights=heights, plane=good[own.plane], cells=wide[0], hidden=hidden, conflicts=wide[1]),
        bad,
    )


def _refused(packed: FreeFace, heights: Array, rows: Ints) -> dict[int, str]:
    """Heights at which a face cannot be cut, by halving the set of them."""
    try:
        free_branches(packed, heights[rows])
    except FreeFaceError as error:
        if len(rows) == 1:
            return {int(rows[0]): str(error)}
        half = len(rows) // 2
        return _refused(packed, heights, rows[:half]) | _refused(packed, heights, rows[half:])
    return {}


def _branches(cutter: Cutter, heights: Array, pair_face: Ints, pair_plane: Ints) -> tuple[Ints, Ints, Array]:
    from beadwright.section._kernels.branches import fill

    faces = cutter.faces
    capacity = 2 * len(pair_face) + 16
    while True:
        first, table, par = fill(
            pair_face,
            pair_plane,
            heights,
            faces.kind,
            faces.par,
            faces.first_span,
            spans_of(cutter),
            faces.span_reach,
            capacity,
        )
        if first[-1] <= capacity:
            return first, table[: first[-1]], par[: first[-1]]
        capacity = int(first[-1])


def _with_free(
    free: dict[int, FreeBranches],
    first_pair: Ints,
    first_branch: Ints,
    table: Ints,
    par: Array,
) -> tuple[Ints, Ints, Array, Ints]:
    """Branches of free faces put among the others, in the order of the pairs."""
    pairs = [np.repeat(np.arange(len(first_branch) - 1), np.diff(first_branch))]
    tables, rows = [table], [np.full(len(table), -1, dtype=np.int64)]
    for face, own in free.items():
        n = len(own.plane)
        pairs.append(first_pair[face] + own.plane)
        added = np.empty((n, 3), dtype=np.int64)
        added[:, 0], added[:, 1], added[:, 2] = codes.B_FREE, own.closed, codes.C_LEVEL
        tables.append(added)
        rows.append(np.arange(n))
    pair = np.concatenate(pairs)
    order = np.argsort(pair, kind="stable")
    first = np.searchsorted(pair[order], np.arange(len(first_branch)))
    wide = np.zeros((len(pair), par.shape[1]))
    wide[: len(par)] = par
    return (
        first.astype(np.int64),
        np.ascontiguousarray(np.concatenate(tables)[order]),
        np.ascontiguousarray(wide[order]),
        np.concatenate(rows)[order],
    )


def _locate_free(batch: Batch, face: int, packed: FreeFace, own: FreeBranches, outward: bool) -> None:
    """Node uses of one free face; read backwards where the normal points into the solid."""
    p0, p1 = batch.first_pair[face], batch.first_pair[face + 1]
    a, b = batch.first_use[p0], batch.first_use[p1]
    if a == b:
        return
    plane = np.repeat(np.arange(p1 - p0), np.diff(batch.first_use[p0 : p1 + 1]))
    row, s, distance = free_locate(packed, own, batch.points[batch.use_node[a:b]], plane)
    # rows of the joint table: branches of this face stand plane by plane in their own order
    first = np.searchsorted(own.plane, np.arange(p1 - p0 + 1))
    here = row >= 0
    batch.use_branch[a:b] = np.where(here, batch.first_branch[p0 + plane] + row - first[plane], -1)
    batch.use_s[a:b] = s if outward else -s
    batch.use_distance[a:b] = np.where(here, distance, 0.0)
