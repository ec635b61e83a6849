"""Segments to chains, chains to curves, curves to one `Section` a plane."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from beadwright.curves import CurveKind, CurveLoops
from beadwright.section._batch import Batch, spans_of
from beadwright.section._cutter import Cutter
from beadwright.section._directions import directions
from beadwright.section._fallback import GIVEN
from beadwright.section._free_pieces import free_pieces
from beadwright.section._kernels import codes
from beadwright.section._rescue import STRAIGHT
from beadwright.section._section import Chord, Counters, NearTangent, Section

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

ORDER = 7
"""Degree of the pieces that carry level curves without a closed form."""
WHY = ("undecided", "pole", "sharp")
"""Why a stretch is a chord, in the order of `FreePieces.chords`."""


def _interpolation() -> tuple[Array, Array, Array, Array]:
    """Lobatto points on [0, 1], values to Bernstein coefficients, values to checks, places of the checks."""
    nodes = 0.5 - 0.5 * np.cos(np.pi * np.arange(ORDER + 1) / ORDER)
    checks = 0.5 * (nodes[1:] + nodes[:-1])
    inverse: Array = np.linalg.inv(_bernstein(nodes)).astype(np.float64)
    inverse[0], inverse[-1] = 0.0, 0.0
    inverse[0, 0] = inverse[-1, -1] = 1.0
    return nodes, inverse, _bernstein(checks) @ inverse, checks


def _bernstein(t: Array) -> Array:
    from math import comb

    k = np.arange(ORDER + 1)
    return np.asarray([comb(ORDER, int(j)) for j in k]) * t[:, None] ** k * (1.0 - t[:, None]) ** (ORDER - k)


def assemble(cutter: Cutter, batch: Batch, asked: Array, traced: float) -> list[Section]:
    """Sections of all planes of a batch, in its order, level curves of free faces ``traced`` so closely."""
    from beadwright.section._kernels.emit import emit
    from beadwright.section._kernels.link import link

    segments, faces = batch.segments, cutter.faces
    pair = segments[:, 0]
    plane, face = batch.pair_plane[pair], batch.pair_face[pair]
    shell = cutter.face_shell[face]
    whole = segments[:, 2] < 0
    # A row more, which whole closed branches take: they have no nodes, and neither may the whole batch.
    use_node, node_xy = np.append(batch.use_node, -1), np.concatenate((batch.points[:, :2], np.zeros((1, 2))))
    start = np.where(whole, -1, use_node[np.where(whole, -1, segments[:, 2])])
    end = np.where(whole, -1, use_node[np.where(whole, -1, segments[:, 3])])
    chord = node_xy[end] - node_xy[start]
    chains, chain, first, closed, first_chain = link(
        np.argsort(plane, kind="stable"),
        start,
        end,
        shell,
        plane,
        len(batch.points),
        len(batch.heights),
        directions(cutter, batch, start, end, chord),
    )
    first, closed = first[: chains + 1], closed[:chains]
    free_row, free_tables, near, chords = _free(cutter, batch, traced)
    n, used, curves, shape, first_piece, pieces, control, first_curve, gap, tangent = emit(
        chain,
        segments,
        batch.use_node,
        batch.points,
        batch.use_s,
        batch.table,
        batch.par,
        batch.pair_face,
        batch.heights[batch.pair_plane],
        faces.kind,
        faces.par,
        faces.first_span,
        spans_of(cutter),
        faces.span_bend,
        *_interpolation(),
        free_row,
        free_tables,
    )
    curves, shape, first_piece = curves[:n], shape[:n], first_piece[: n + 1]
    for m in np.flatnonzero(segments[chain, 1] == GIVEN):
        # one straight piece each
        curves[first_curve[m]] = int(CurveKind.LINE), face[chain[m]]
        shape[first_curve[m], 8] = batch.given[int(pair[chain[m]])]
        gap[m] = 0.0
    pieces, control = pieces[: used[0]], control[: used[1]]
    chain_curve = first_curve[first]
    kind, owner = curves[:, 0].astype(np.int8), curves[:, 1].astype(np.int32)
    degree = pieces[:, 0].astype(np.int32)
    first_control = np.append(pieces[:, 1], len(control)).astype(np.int32)
    piece_of = first_piece.astype(np.int32)
    chain_shell = shell[chain[first[:-1]]]
    chain_solid = cutter.shell_solid[chain_shell] if len(chain_shell) else chain_shell
    shut = closed.astype(bool)
    hidden, conflicts = _free_reports(batch)
    model = np.zeros(len(batch.heights))
    bound = np.zeros(len(batch.heights))
    curve_plane = np.repeat(plane[chain], np.diff(first_curve))
    for row in np.flatnonzero(tangent[:n, 0] > 0.0):
        k = int(curve_plane[row])
        place = (float(tangent[row, 1]), float(tangent[row, 2]), float(batch.heights[k]))
        beside = NearTangent(face=int(owner[row]), at=place, uncertainty=float(tangent[row, 0]))
        near.setdefault(k, []).append(beside)
    np.maximum.at(model, plane[chain], gap)
    np.maximum.at(bound, curve_plane, shape[:, 8])
    straight = np.bincount(plane[segments[:, 1] == STRAIGHT], minlength=len(batch.heights))
    straight -= batch.counts[:, 1]
    fallbacks = np.bincount(batch.pair_plane[list(batch.given)], minlength=len(batch.heights))
    ends, circle, limit = (
        np.ascontiguousarray(shape[:, :4]),
        np.ascontiguousarray(shape[:, 4:8]),
        np.ascontiguousarray(shape[:, 8]),
    )
    out = []
    for k in range(len(batch.heights)):
        ja, jb = first_chain[k], first_chain[k + 1]
        ca, cb = chain_curve[ja], chain_curve[jb]
        pa, pb = piece_of[ca], piece_of[cb]
        qa, qb = first_control[pa], first_control[pb]
        loops = CurveLoops(
            kind=kind[ca:cb],
            face=owner[ca:cb],
            ends=ends[ca:cb],
            circle=circle[ca:cb],
            first_piece=piece_of[ca : cb + 1] - pa,
            degree=degree[pa:pb],
            first_control=first_control[pa : pb + 1] - qa,
            control=control[qa:qb],
            bound=limit[ca:cb],
            first_curve=(chain_curve[ja : jb + 1] - ca).astype(np.int32),
            closed=shut[ja:jb],
        )
        out.append(
            Section(
                asked=float(asked[k]),
                taken=float(batch.heights[k]),
                loops=loops,
                shell=chain_shell[ja:jb],
                solid=chain_solid[ja:jb],
                model=float(model[k]),
                bound=float(bound[k]),
                near_tangent=tuple(near.get(k, ())),
                chords=tuple(chords.get(k, ())),
                hidden=float(hidden[k]),
                fallbacks=int(fallbacks[k]),
                counters=Counters(
                    swaps=int(batch.counts[k, 0]),
                    run_on=int(batch.counts[k, 1]),
                    straight=int(straight[k]),
                    doubtful=int(batch.counts[k, 2]),
                    conflicts=int(conflicts[k]),
                    unmatched=int(batch.counts[k, 3]),
                ),
                notes=tuple(batch.notes.get(k, ())),
            )
        )
    return out


def _free_reports(batch: Batch) -> tuple[Array, Ints]:
    hidden = np.zeros(len(batch.heights))
    conflicts = np.zeros(len(batch.heights), dtype=np.int64)
    for face, own in batch.free.items():
        low = batch.pair_low[face]
        here = slice(low, low + len(own.heights))
        hidden[here] = np.maximum(hidden[here], own.hidden)
        conflicts[here] += own.conflicts
    return hidden, conflicts


def _free(
    cutter: Cutter, batch: Batch, traced: float
) -> tuple[Ints, tuple[Ints, Ints, Ints, Array, Array], dict[int, list[NearTangent]], dict[int, list[Chord]]]:
    """Bézier pieces of all segments of free faces, in one table."""
    segments = batch.segments
    free_row = np.full(len(segments), -1, dtype=np.int64)
    firsts, degrees, counts, controls, bounds = [np.zeros(1, dtype=np.int64)], [], [], [], []
    near: dict[int, list[NearTangent]] = {}
    chords: dict[int, list[Chord]] = {}
    if batch.free:
        branch = segments[:, 1]
        is_free = branch >= 0
        is_free[is_free] = batch.table[branch[is_free], 0] == codes.B_FREE
        face = batch.pair_face[segments[:, 0]]
        done = pieces_done = 0
        for f, own in batch.free.items():
            rows = np.flatnonzero(is_free & (face == f))
            if len(rows) == 0:
                continue
            outward = cutter.outline[f].outward
            whole = segments[rows, 2] < 0
            use_s = np.append(batch.use_s, 0.0)  # whole branches take the last; they have no nodes
            s0 = use_s[np.where(whole, -1, segments[rows, 2])]
            s1 = use_s[np.where(whole, -1, segments[rows, 3])]
            if not outward:
                s0, s1 = -s1, -s0
            # a whole number is the joint of two pieces: a part of 1e-9 of one says nothing
            s0, s1 = _snapped(s0), _snapped(s1)
            own_rows = batch.free_branch[branch[rows]]
            turn = np.diff(own.first_piece)[own_rows]
            s0, s1 = (
                np.where(own.closed[own_rows], s0 % turn, s0),
                np.where(own.closed[own_rows], s1 % turn, s1),
            )
            found = free_pieces(cutter.free[f], own, own_rows, s0, s1, traced)
            first, degree, control = (
                found.first_piece.astype(np.int64),
                found.degree.astype(np.int64),
                found.control,
            )
            sizes = degree + 1
            if not outward:
                first, degree, control, sizes = _reversed(
                    first, degree, found.first_control.astype(np.int64), control
                )
            free_row[rows] = done + np.arange(len(rows))
            done += len(rows)
            firsts.append(pieces_done + first[1:])
            pieces_done += len(degree)
            degrees.append(degree)
            counts.append(sizes)
            controls.append(control)
            bounds.append(found.bound)
            for j in np.flatnonzero(found.near_tangent | (found.chords > 0.0).any(axis=1)):
                k = int(batch.pair_plane[segments[rows[j], 0]])
                p = found.control[found.first_control[found.first_piece[j]]]
                place = (float(p[0] / p[2]), float(p[1] / p[2]), float(batch.heights[k]))
                if found.near_tangent[j]:
                    entry = NearTangent(face=f, at=place, uncertainty=float(found.unsure[j]))
                    near.setdefault(k, []).append(entry)
                for why, off in zip(WHY, found.chords[j], strict=True):
                    if off > 0.0:
                        chords.setdefault(k, []).append(Chord(face=f, at=place, bound=float(off), why=why))
    size = np.concatenate(counts) if counts else np.zeros(0, dtype=np.int64)
    return (
        free_row,
        (
            np.concatenate(firsts),
            np.concatenate(degrees) if degrees else np.zeros(0, dtype=np.int64),
            np.concatenate(([0], np.cumsum(size))).astype(np.int64),
            np.concatenate(controls) if controls else np.zeros((0, 3)),
            np.concatenate(bounds) if bounds else np.zeros(0),
        ),
        near,
        chords,
    )


def _snapped(s: Array) -> Array:
    whole = np.round(s)
    return np.where(np.abs(s - whole) < 1e-9, whole, s)


def _reversed(
    first: Ints, degree: Ints, first_control: Array, control: Array
) -> tuple[Ints, Ints, Array, Ints]:
    """Each run of pieces read backwards."""
    n = len(degree)
    run = np.repeat(np.arange(len(first) - 1), np.diff(first))
    back = first[run] + first[run + 1] - 1 - np.arange(n)
    size = degree[back] + 1
    start = first_control[back].astype(np.int64)
    at = np.concatenate(([0], np.cumsum(size)))
    piece = np.repeat(np.arange(n), size)
    rows = start[piece] + size[piece] - 1 - (np.arange(at[-1]) - at[piece])
    return first, degree[back], np.ascontiguousarray(control[rows]), size
