"""Curvature of sections by the CAD kernel's own surfaces, and the arcs of the best arc spline that follow from it.

Carried pieces of a section only say where to look. Each place is put on the kernel's surface by Gauss-Newton;
the curvature of the level curve there follows from the surface's first and second derivatives: with z the height,
(u', v') = (-z_v, z_u) runs along the curve, its second derivative is what the chain rule makes of that.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from OCP.BRep import BRep_Tool
from OCP.GeomAPI import GeomAPI_ProjectPointOnSurf
from OCP.gp import gp_Pnt, gp_Vec
from OCP.TopoDS import TopoDS

from beadwright.brep import Model
from beadwright.curves import CurveKind, CurveLoops
from beadwright.kernel._document import faces
from beadwright.kernel._referee import bodies_of
from tests.arcs import _fit_oracles as oracles

# Kinds whose ends are corners or the ends of what is asked for: nothing is fitted there.
PLAIN = (CurveKind.LINE, CurveKind.CIRCLE, CurveKind.CONNECTOR)


def surfaces(model: Model) -> list[Any]:
    """The kernel's surfaces by face, as read."""
    return [
        BRep_Tool.Surface_s(TopoDS.Face_s(face))
        for body in bodies_of(model.kernel_bytes)
        for face in faces(body)
    ]


def derivatives(surface: Any, matrix: np.ndarray, uv: np.ndarray) -> np.ndarray:
    """Place, d/du, d/dv, d2/du2, d2/dv2, d2/dudv, placed (6, 3)."""
    point, *vectors = gp_Pnt(), *(gp_Vec() for _ in range(5))
    surface.D2(uv[0], uv[1], point, *vectors)
    rows = np.array([[v.X(), v.Y(), v.Z()] for v in (point, *vectors)]) @ matrix[:, :3].T
    rows[0] += matrix[:, 3]
    return rows


def curvature_at(surface: Any, matrix: np.ndarray, places: np.ndarray) -> np.ndarray:
    """Curvature of the level curves through places (k, 3) in space that follow each other along one of them."""
    turn = np.linalg.inv(matrix[:, :3])
    first = turn @ (places[0] - matrix[:, 3])
    uv = np.array(GeomAPI_ProjectPointOnSurf(gp_Pnt(*first), surface).LowerDistanceParameters())
    out = np.empty(len(places))
    for i, place in enumerate(places):
        for _ in range(20):
            d = derivatives(surface, matrix, uv)
            step = np.linalg.lstsq(d[1:3].T, place - d[0], rcond=None)[0]
            uv = uv + step
            if np.abs(d[1:3].T @ step).max() < 1e-9:
                break
        s, su, sv, suu, svv, suv = derivatives(surface, matrix, uv)
        assert np.abs(s - place).max() < 1e-5
        du, dv = -sv[2], su[2]
        ddu = -(suv[2] * du + svv[2] * dv)
        ddv = suu[2] * du + suv[2] * dv
        one = su * du + sv * dv
        two = suu * du * du + 2 * suv * du * dv + svv * dv * dv + su * ddu + sv * ddv
        out[i] = (one[0] * two[1] - one[1] * two[0]) / np.hypot(one[0], one[1]) ** 3
    return out


def best_of_curve(
    loops: CurveLoops, c: int, z: float, surface: Any, matrix: np.ndarray, count: int = 7
) -> float:
    """Integral of |kappa'|^(1/3) ds along one free-form curve, each Bézier piece at ``count`` places."""
    points = []
    for q in range(loops.first_piece[c], loops.first_piece[c + 1]):
        rows = loops.control[loops.first_control[q] : loops.first_control[q + 1]]
        points.append(oracles.bezier_points(rows, np.linspace(0, 1, count))[:-1])
    points.append(rows[-1:, :2] / rows[-1:, 2:])
    xy = np.concatenate(points)
    kappa = np.abs(np.diff(curvature_at(surface, matrix, np.column_stack([xy, np.full(len(xy), z)]))))
    ds = np.hypot(*np.diff(xy, axis=0).T)
    return float(np.sum(kappa ** (1 / 3) * ds ** (2 / 3)))


def runs(loops: CurveLoops, chain: int) -> list[tuple[list[int], bool]]:
    """Curves of a chain from corner to corner, lines and circles of the CAD left out; whether they close smoothly."""
    own = list(range(loops.first_curve[chain], loops.first_curve[chain + 1]))
    first, last = {}, {}
    for c in own:
        if loops.kind[c] not in PLAIN:
            a = loops.control[loops.first_control[loops.first_piece[c]] :][:2]
            b = loops.control[: loops.first_control[loops.first_piece[c + 1]]][-2:]
            first[c], last[c] = (
                np.diff(a[:, :2] / a[:, 2:], axis=0)[0],
                np.diff(b[:, :2] / b[:, 2:], axis=0)[0],
            )

    def smooth(c: int, d: int) -> bool:
        if loops.kind[c] in PLAIN or loops.kind[d] in PLAIN:
            return False
        cross = last[c][0] * first[d][1] - last[c][1] * first[d][0]
        return bool(abs(np.arctan2(cross, last[c] @ first[d])) <= 1e-4)

    breaks = [
        i for i in range(len(own)) if not smooth(own[i - 1], own[i]) or (i == 0 and not loops.closed[chain])
    ]
    if not breaks:
        return [(own, True)]
    own = own[breaks[0] :] + own[: breaks[0]]
    found: list[list[int]] = []
    for i, c in enumerate(own):
        if i == 0 or not smooth(own[i - 1], c):
            found.append([])
        found[-1].append(c)
    return [(run, False) for run in found if loops.kind[run[0]] not in PLAIN]
