"""The check of a fit: how far paths, as they are now, stray from the curves that they claim to follow."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from beadwright.arcs._fit import Fitted, choose_table, scratch
from beadwright.curves import CurveKind, CurveLoops
from beadwright.numeric import Bound

# Rounding of a circle's own control points, as a share of its largest coordinate.
_CIRCLE_ROUNDING = 2.0**-48
# Bulge of a quarter turn, with room for rounding.
_QUARTER = (2**0.5 - 1) * (1 + 2.0**-30)


def certify(loops: CurveLoops, fitted: Fitted) -> Bound:
    """Bound anew how far paths stray from the curves that they claim to follow.

    It looks at the paths' points and bulges, not at how they came about: a path that was moved after the
    fit is measured as it is now. Each move is compared with its part of the curve; a line of the CAD with
    the line between its ends, an arc of the CAD with equal parts of it.

    Parameters
    ----------
    loops : CurveLoops
        The exact curves.
    fitted : Fitted
        Paths, with the curve and the parameters that each move follows.

    Returns
    -------
    Bound
        Greatest proven Fréchet distance between a curve and its moves, mm; infinite where the moves leave
        part of a curve out.

    References
    ----------
    .. [1] R. T. Farouki, "The Bernstein polynomial basis: A centennial retrospective", Computer Aided
           Geometric Design 29 (2012) 379-419, section 5. :doi:`10.1016/j.cagd.2012.03.001`
    """
    from beadwright.arcs._kernels.fit_certify import (  # numba: late
        M_BOUND,
        M_BULGE,
        M_EX,
        M_Q0,
        MOVE_COLUMNS,
    )
    from beadwright.arcs._kernels.fit_check import check_moves

    moves = np.zeros((len(fitted.curve), MOVE_COLUMNS))
    for j, path in enumerate(fitted.paths):
        part = slice(int(fitted.first_move[j]), int(fitted.first_move[j + 1]))
        moves[part, :2] = path.points if path.closed else path.points[:-1]
        moves[part, M_EX : M_EX + 2] = np.roll(path.points, -1, axis=0) if path.closed else path.points[1:]
        moves[part, M_BULGE] = path.bulge
    moves, curve, span = _in_halves(loops, moves, fitted)
    degree, control, span, blur, whole = _pieces(loops, curve, span)
    if not whole:
        return Bound(np.inf, "fit", "the moves leave part of a curve out")
    moves[:, M_Q0 : M_Q0 + 4] = span
    first_control = np.concatenate([[0], np.cumsum(degree + 1)])
    choose = choose_table(degree)
    check_moves(degree, first_control, control, moves, choose, *scratch(choose))
    worst = float((moves[:, M_BOUND] + blur).max()) if len(moves) else 0.0
    return Bound(worst, "fit", "Bernstein enclosures of the paths as they are")


def _in_halves(
    loops: CurveLoops, moves: npt.NDArray[np.float64], fitted: Fitted
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.int32], npt.NDArray[np.float64]]:
    """Moves, their curves and spans; of a CAD arc's moves those beyond a quarter turn as two halves each.

    An enclosure tells no place of half a turn from one that went round, and half a circle is no quadratic.
    """
    from beadwright.arcs._kernels.fit_certify import M_BULGE, M_EX, M_EY, M_X, M_Y  # numba: late

    is_wide = (loops.kind[fitted.curve] == CurveKind.CIRCLE) & (np.abs(moves[:, M_BULGE]) > _QUARTER)
    row = np.repeat(np.arange(len(moves)), 1 + is_wide)
    halves = moves[row]
    second = np.flatnonzero(np.diff(row, prepend=-1) == 0)
    start, end = moves[is_wide, M_X : M_Y + 1], moves[is_wide, M_EX : M_EY + 1]
    across = (end - start)[:, ::-1] * (1.0, -1.0)
    middle = 0.5 * (start + end + moves[is_wide, M_BULGE, None] * across)
    halves[second, M_X : M_Y + 1] = halves[second - 1, M_EX : M_EY + 1] = middle
    wide = row[second]
    halves[second, M_BULGE] = halves[second - 1, M_BULGE] = np.tan(0.5 * np.arctan(moves[wide, M_BULGE]))
    return halves, fitted.curve[row], fitted.span[row]


def _pieces(
    loops: CurveLoops, curve: npt.NDArray[np.int32], span: npt.NDArray[np.float64]
) -> tuple[
    npt.NDArray[np.int64],
    npt.NDArray[np.float64],
    npt.NDArray[np.float64],
    npt.NDArray[np.float64],
    bool,
]:
    """Bézier pieces of all curves, CAD lines and circles too; spans, own rounding, whether all is there."""
    degree = loops.degree.astype(np.int64).tolist()
    control = [loops.control.reshape(-1, 3)]
    span = span.copy()
    blur = np.zeros(len(span))
    whole = True
    starts = np.searchsorted(curve, np.arange(len(loops.kind) + 1))
    for c, kind in enumerate(loops.kind.tolist()):
        own = np.arange(starts[c], starts[c + 1])
        x0, y0, x1, y1 = loops.ends[c].tolist()
        if kind in (CurveKind.LINE, CurveKind.CONNECTOR):
            whole = whole and len(own) == int((x0, y0) != (x1, y1))
            rows = [np.array([[x0, y0, 1.0], [x1, y1, 1.0]])][: len(own)]
        elif kind == CurveKind.CIRCLE:
            rows = _circle_pieces(loops.circle[c], x0, y0, len(own))
            whole = whole and (len(own) > 0 or loops.circle[c, 3] == 0.0)
            blur[own] = _CIRCLE_ROUNDING * float(np.abs(loops.circle[c, :3]).sum())
        else:
            pieces = range(*loops.first_piece[c : c + 2].tolist())
            span[own], again = _unrolled(span[own], len(pieces))
            whole = whole and (len(own) == 0 or _covers(span[own], pieces, again))
            if again:
                span[own, 0::2] += len(degree) - pieces.start
                held = loops.control[loops.first_control[pieces.start] : loops.first_control[pieces.stop]]
                degree += 2 * degree[pieces.start : pieces.stop]
                control += [held, held]
            continue
        for move, row in zip(own.tolist(), rows, strict=False):
            span[move] = (len(degree), 0.0, len(degree), 1.0)
            degree.append(len(row) - 1)
            control.append(row)
    return np.array(degree, dtype=np.int64), np.concatenate(control), span, blur, whole


def _unrolled(span: npt.NDArray[np.float64], count: int) -> tuple[npt.NDArray[np.float64], bool]:
    """Spans of a curve of ``count`` pieces, those beyond its end in a second round of them; whether there are any."""
    goes_back = (span[:, 2] < span[:, 0]) | ((span[:, 2] == span[:, 0]) & (span[:, 3] < span[:, 1]))
    rounds = np.cumsum(goes_back)
    out = span.copy()
    out[:, 0] += count * (rounds - goes_back)
    out[:, 2] += count * rounds
    return out, bool(goes_back.any())


def _covers(span: npt.NDArray[np.float64], pieces: range, again: bool) -> bool:
    """Whether spans run from the first piece's start to the last one's end, or once round, without a gap."""
    if again:
        ends = tuple(span[-1, 2:]) == (span[0, 0] + len(pieces), span[0, 1])
    else:
        # Pieces of no length at either end belong to no move.
        ends = pieces.start <= span[0, 0] and span[-1, 2] < pieces.stop
        ends = ends and span[0, 1] == 0.0 and span[-1, 3] == 1.0
    return bool(ends and np.array_equal(span[1:, :2], span[:-1, 2:]))


def _circle_pieces(
    circle: npt.NDArray[np.float64], x: float, y: float, count: int
) -> list[npt.NDArray[np.float64]]:
    """Equal parts of a circle as rational quadratics, from the direction of the point (x, y) on."""
    cx, cy, radius, sweep = circle.tolist()
    start = np.arctan2(y - cy, x - cx)
    angles = start + sweep * np.arange(count + 1) / max(count, 1)
    w = np.cos(0.5 * sweep / max(count, 1))
    ends = np.stack([cx + radius * np.cos(angles), cy + radius * np.sin(angles)], axis=1)
    mids = 0.5 * (angles[:-1] + angles[1:])
    tips = np.stack([cx * w + radius * np.cos(mids), cy * w + radius * np.sin(mids)], axis=1)
    return [np.array([[*ends[i], 1.0], [*tips[i], w], [*ends[i + 1], 1.0]]) for i in range(count)]
