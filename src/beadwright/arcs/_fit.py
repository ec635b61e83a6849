"""Exact section curves to tangent-continuous chains of lines and arcs, with a certificate.

Lines and circles of the CAD keep their numbers. Every other curve becomes arcs whose knots lie on it,
each with the tangent turned by ``-kappa' L^2 / 12``, as the best arc spline of a curve of steadily
changing curvature has it [1]_; then the deviation over an arc of length L is
``|kappa'| L^3 / (72 sqrt 3)``, less than a third of that of a Hermite biarc's half.

References
----------
.. [1] D. S. Meek and D. J. Walton, "Approximating smooth planar curves by arc splines", Journal of
       Computational and Applied Mathematics 59 (1995) 221-231. :doi:`10.1016/0377-0427(94)00029-Z`
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.curves import ArcPath, ArcRegion, CurveKind, CurveLoops
from beadwright.errors import BoundError, GeometryError
from beadwright.numeric import Bound

# Below this the rounding of coordinates of some metres is no longer small.
_LEAST_TOLERANCE = 1e-6
# Most control points of a piece: binomial coefficients of twice the degree must stay exact enough.
_MAX_DEGREE = 60


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fitted:
    """Chains of lines and arcs beside the exact curves that they follow (m chains, k moves).

    Attributes
    ----------
    region : ArcRegion
        The closed chains, in their order, and the supports that all paths refer to.
    paths : tuple of ArcPath
        All chains, closed and open, in their order.
    bound : Bound
        Greatest proven Fréchet distance from a carried curve to its moves, mm.
    chain_bound : (m,) float
        The same chain by chain.
    first_move : (m + 1,) int64
        Chain ``j`` owns the moves ``first_move[j]`` up to ``first_move[j + 1]``.
    curve : (k,) int32
        Curve that each move follows.
    span : (k, 4) float
        First Bézier piece, parameter there, last piece, parameter there that each move follows; -1, 0
        where it is a line or circle of the CAD. The moves of a chain that is one smooth closed curve may begin
        anywhere on it: then one runs from the last piece on into the first.
    curves, moves : (8,) int64
        How many curves of each `CurveKind` there were, and how many moves they became.
    kinks : int
        Straight moves laid where no tangent arc could follow the curve; 0 but for degenerate input.
    """

    region: ArcRegion
    paths: tuple[ArcPath, ...]
    bound: Bound
    chain_bound: npt.NDArray[np.float64]
    first_move: npt.NDArray[np.int64]
    curve: npt.NDArray[np.int32]
    span: npt.NDArray[np.float64]
    curves: npt.NDArray[np.int64]
    moves: npt.NDArray[np.int64]
    kinks: int


def fit(loops: CurveLoops, *, tolerance: float | npt.NDArray[np.float64]) -> Fitted:
    """Follow exact curves by lines and arcs within a tolerance, with a near-minimal number of arcs.

    Parameters
    ----------
    loops : CurveLoops
        Closed and open chains of exact curves.
    tolerance : float or (m,) float
        Largest Fréchet distance allowed between a carried curve and its moves, mm; for each chain its own
        where an array is given.

    Returns
    -------
    Fitted
        ``chain_bound <= tolerance``: proven by Bernstein enclosures, rounding included. Every end of a curve
        of the chain is an end of a move, bit for bit, but where one smooth closed curve is the whole chain: that
        may begin elsewhere. Corners stay corners; where curves meet at less than
        1e-4 rad, and within a curve, neighbouring moves share their tangent. Lines and arcs of the CAD keep
        their numbers. A chain's result does not depend on the other chains. Not included: what the carried
        curve itself strays from the true section (`CurveLoops.bound`).

    Raises
    ------
    BoundError
        If a curve cannot be followed within the tolerance; it carries the bound that was reached.
    GeometryError
        If a number is not finite, a weight not positive, a degree above 60, or the tolerance below 1e-6 mm.

    Examples
    --------
    A half disc of radius 10, its arc given as a circle:

    >>> import numpy as np
    >>> from beadwright.curves import CurveKind, CurveLoops
    >>> loops = CurveLoops(
    ...     kind=np.array([CurveKind.LINE, CurveKind.CIRCLE], dtype=np.int8),
    ...     face=np.array([0, 1], dtype=np.int32),
    ...     ends=np.array([[-10.0, 0, 10, 0], [10, 0, -10, 0]]),
    ...     circle=np.array([[0, 0, 0, 0], [0, 0, 10, np.pi]]),
    ...     first_piece=np.zeros(3, dtype=np.int32), degree=np.zeros(0, dtype=np.int32),
    ...     first_control=np.zeros(1, dtype=np.int32), control=np.zeros((0, 3)), bound=np.zeros(2),
    ...     first_curve=np.array([0, 2], dtype=np.int32), closed=np.array([True]),
    ... )
    >>> fitted = fit(loops, tolerance=0.01)
    >>> fitted.paths[0].bulge.round(6).tolist()
    [0.0, 1.0]
    >>> fitted.bound.mm < 1e-12
    True
    """
    # numba: late, see `beadwright --help`
    from beadwright.arcs._kernels.fit_batch import fit_batch
    from beadwright.arcs._kernels.fit_joints import MARKS, TANGENTS

    chains, curves = loops.n_chains, len(loops.kind)
    tolerances = np.full(chains, tolerance) if np.isscalar(tolerance) else np.array(tolerance, dtype=float)
    _check(loops, tolerances)
    first_move = np.zeros(chains + 1, dtype=np.int64)
    chain_bound, failed = np.zeros(chains), np.empty(chains, dtype=np.int64)
    choose = choose_table(loops.degree)
    moves = fit_batch(
        np.ascontiguousarray(loops.kind, dtype=np.int64),
        np.ascontiguousarray(loops.ends, dtype=np.float64),
        np.ascontiguousarray(loops.circle, dtype=np.float64),
        np.ascontiguousarray(loops.first_piece, dtype=np.int64),
        np.ascontiguousarray(loops.degree, dtype=np.int64),
        np.ascontiguousarray(loops.first_control, dtype=np.int64),
        np.ascontiguousarray(loops.control, dtype=np.float64).reshape(-1, 3),
        np.ascontiguousarray(loops.first_curve, dtype=np.int64),
        np.ascontiguousarray(loops.closed, dtype=np.bool_),
        choose,
        tolerances,
        *scratch(choose),
        np.zeros((curves, MARKS), dtype=np.int64),
        np.zeros((curves, TANGENTS)),
        first_move,
        chain_bound,
        failed,
    )
    if np.any(failed >= 0):
        chain = int(np.argmax(failed >= 0))
        curve = int(failed[chain])
        x, y = loops.ends[curve, :2]
        where = (
            f"chain {chain}, curve {curve} ({CurveKind(int(loops.kind[curve])).name.lower()}, "
            f"face {int(loops.face[curve])}) from x {x:.3f} y {y:.3f} mm"
        )
        raise BoundError(float(tolerances[chain]), float(chain_bound[chain]), where)
    return _assemble(loops, moves, first_move, chain_bound)


def _check(loops: CurveLoops, tolerances: npt.NDArray[np.float64]) -> None:
    """Refuse what the kernels cannot take."""
    bad = ~((tolerances >= _LEAST_TOLERANCE) & (tolerances < np.inf))
    if bad.any():
        least = f"at least {_LEAST_TOLERANCE} mm and finite"
        msg = f"the fit's tolerance must be {least}, not {tolerances[bad][0]} mm"
        raise GeometryError(msg)
    if not (np.isfinite(loops.control).all() and np.isfinite(loops.ends).all()):
        msg = "a section curve has coordinates that are not finite"
        raise GeometryError(msg)
    if len(loops.control) and not np.all(loops.control[:, 2] > 0.0):
        msg = "a rational section curve has a weight that is not positive"
        raise GeometryError(msg)
    if len(loops.degree) and not (loops.degree.min() >= 1 and loops.degree.max() <= _MAX_DEGREE):
        msg = f"section curves of degree 1 to {_MAX_DEGREE} can be fitted, not of {loops.degree.max()}"
        raise GeometryError(msg)


def choose_table(degree: npt.NDArray[np.int32] | npt.NDArray[np.int64]) -> npt.NDArray[np.float64]:
    """Pascal's triangle up to twice the greatest degree: row n holds n choose k."""
    rows = 2 * (int(degree.max()) if len(degree) else 1) + 1
    table = np.zeros((rows, rows))
    table[:, 0] = 1.0
    for n in range(1, rows):
        table[n, 1 : n + 1] = table[n - 1, 1 : n + 1] + table[n - 1, :n]
    return table


def scratch(choose: npt.NDArray[np.float64]) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.int64]]:
    """Room for the certificate's halved pieces and how often each was halved."""
    from beadwright.arcs._kernels.fit_certify import MAX_DEPTH  # numba: late

    order = len(choose) // 2 + 2
    return np.empty((MAX_DEPTH + 3, max(order, 4), 3)), np.empty(MAX_DEPTH + 3, dtype=np.int64)


def _supports(loops: CurveLoops) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.int32]]:
    """Lines and circles of the CAD, each once, and the row of each curve or -1."""
    rows = np.zeros((len(loops.kind), 4))
    is_circle = loops.kind == CurveKind.CIRCLE
    rows[is_circle, 0] = 1.0
    rows[is_circle, 1:] = loops.circle[is_circle, :3]
    step = loops.ends[:, 2:] - loops.ends[:, :2]
    size = np.hypot(step[:, 0], step[:, 1])
    is_line = ((loops.kind == CurveKind.LINE) | (loops.kind == CurveKind.CONNECTOR)) & (size > 0.0)
    unit = step[is_line] / size[is_line, None]
    normal = np.stack([-unit[:, 1], unit[:, 0]], axis=1)
    rows[is_line, 1:3] = normal
    rows[is_line, 3] = np.sum(normal * loops.ends[is_line, :2], axis=1)
    has = is_circle | is_line
    index = np.full(len(rows), -1, dtype=np.int32)
    # As `np.unique` of rows does it, which takes as long as the fit of a small section.
    own = rows[has]
    order = np.lexsort(own.T[::-1])
    own = own[order]
    first = np.ones(len(own), dtype=np.bool_)
    first[1:] = (own[1:] != own[:-1]).any(axis=1)
    index[np.flatnonzero(has)[order]] = np.cumsum(first) - 1
    return own[first], index


def _assemble(
    loops: CurveLoops,
    moves: npt.NDArray[np.float64],
    first_move: npt.NDArray[np.int64],
    chain_bound: npt.NDArray[np.float64],
) -> Fitted:
    """Paths and counts out of the kernels' rows."""
    from beadwright.arcs._kernels.fit_certify import M_BULGE, M_CURVE, M_EX, M_KINK, M_Q0

    supports, row_of_curve = _supports(loops)
    curve = moves[:, M_CURVE].astype(np.int32)
    points, bulge = np.ascontiguousarray(moves[:, :2]), np.ascontiguousarray(moves[:, M_BULGE])
    face, support = loops.face[curve].astype(np.int32), row_of_curve[curve]
    paths = []
    for j, closed in enumerate(loops.closed.tolist()):
        part = slice(int(first_move[j]), int(first_move[j + 1]))
        own = points[part]
        if not closed and len(own):
            own = np.concatenate([own, moves[part.stop - 1 : part.stop, M_EX : M_EX + 2]])
        paths.append(
            ArcPath(points=own, bulge=bulge[part], face=face[part], support=support[part], closed=closed)
        )
    worst = float(chain_bound.max()) if len(chain_bound) else 0.0
    return Fitted(
        region=ArcRegion(loops=tuple(p for p in paths if p.closed), supports=supports),
        paths=tuple(paths),
        bound=Bound(worst, "fit", "Bernstein enclosures of the curves about their arcs"),
        chain_bound=chain_bound,
        first_move=first_move,
        curve=curve,
        span=np.ascontiguousarray(moves[:, M_Q0 : M_Q0 + 4]),
        curves=np.bincount(loops.kind, minlength=8).astype(np.int64),
        moves=np.bincount(loops.kind[curve], minlength=8).astype(np.int64),
        kinks=int(moves[:, M_KINK].sum()),
    )
