"""Edges in the parameters of a face, and how far they miss its surface."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from OCP.Geom import Geom_Surface
from OCP.Geom2d import Geom2d_BSplineCurve, Geom2d_Curve, Geom2d_Line, Geom2d_TrimmedCurve

from beadwright.brep import curve_points, project, surface_points
from beadwright.kernel._convert_curve import CurvePiece, xyz
from beadwright.kernel._convert_surface import Sheet

Array = npt.NDArray[np.float64]

CLOSE = 1e-6
"""An edge's trace is taken as the kernel has it where it lies this near the edge, mm."""
FLAT = 1e-4
"""Sag of a traced chord, as a share of the trace's extent."""
CHECKS = 9
MOST = 257


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Use:
    """One use of an edge by a face, before its trace is known.

    Attributes
    ----------
    row : int
        Row of the edge.
    piece : CurvePiece or None
        None for a degenerate edge.
    span : (float, float)
        Range on the kernel's own curve in space.
    pcurve : Geom2d_Curve
        In the kernel's parameters.
    range : (float, float)
        Its parameters.
    forward : bool
        Sense of the walk.
    """

    row: int
    piece: CurvePiece | None
    span: tuple[float, float]
    pcurve: Geom2d_Curve
    range: tuple[float, float]
    forward: bool


def trace(sheet: Sheet, surface: Geom_Surface, uses: list[Use]) -> tuple[list[Array], float]:
    """Each use as a polyline in the parameters of ``sheet.surface``, along the walk.

    Returns
    -------
    lines : list of (k, 2) float
    gap : float
        Greatest measured distance of an edge from the surface, mm.
    """
    if not uses:
        return [], 0.0
    shares, raw, straight = zip(*(_sample(use) for use in uses), strict=True)
    counts = np.array([len(r) for r in raw])
    kernel_uv = np.concatenate(raw)
    seeds = kernel_uv @ sheet.matrix.T + sheet.shift
    if not sheet.affine:
        seen = np.array([xyz(surface.Value(u, v)) for u, v in kernel_uv])
        seeds, _ = project(sheet.surface, seen, seeds)
    truth = surface_points(sheet.surface, seeds)
    first = np.concatenate(([0], np.cumsum(counts)))
    for use, share, a, b in zip(uses, shares, first[:-1], first[1:], strict=True):
        if use.piece is not None:
            t = use.piece.start + share * (use.piece.end - use.piece.start)
            truth[a:b] = curve_points(use.piece.curve, t)
    off = np.linalg.norm(surface_points(sheet.surface, seeds) - truth, axis=1)
    far = np.flatnonzero(off > CLOSE)
    uv = seeds.copy()
    if len(far):
        uv[far], off[far] = project(sheet.surface, truth[far], seeds[far])
    moved = np.zeros(len(uv), dtype=bool)
    moved[far] = True
    lines = []
    for use, direct, a, b in zip(uses, straight, first[:-1], first[1:], strict=True):
        line = uv[a:b]
        if direct and sheet.affine and not moved[a:b].any():
            line = line[[0, -1]]
        lines.append(np.ascontiguousarray(line if use.forward else line[::-1]))
    return lines, float(off.max())


def _sample(use: Use) -> tuple[Array, Array, bool]:
    """Shares of the range, the pcurve's points there, and whether it is straight."""
    a, b = use.range
    curve = use.pcurve
    while isinstance(curve, Geom2d_TrimmedCurve):
        curve = curve.BasisCurve()
    straight = isinstance(curve, Geom2d_Line)
    shares = np.linspace(0.0, 1.0, CHECKS)
    if isinstance(curve, Geom2d_BSplineCurve) and b > a:
        inner = np.array([curve.Knot(i) for i in range(1, curve.NbKnots() + 1)])
        inner = (inner - a) / (b - a)
        shares = np.union1d(shares, inner[(inner > 1e-9) & (inner < 1.0 - 1e-9)])
    points = _points(curve, a + shares * (b - a))
    while not straight and len(shares) < MOST:
        middles = 0.5 * (shares[1:] + shares[:-1])
        between = _points(curve, a + middles * (b - a))
        sag = np.abs(between - 0.5 * (points[1:] + points[:-1]))
        bent = np.flatnonzero(np.any(sag > FLAT * (np.ptp(points, axis=0).max() + 1e-12), axis=1))
        if len(bent) == 0:
            break
        shares = np.insert(shares, bent + 1, middles[bent])
        points = np.insert(points, bent + 1, between[bent], axis=0)
    return shares, points, straight


def _points(curve: Geom2d_Curve, t: Array) -> Array:
    return np.array([(p.X(), p.Y()) for p in map(curve.Value, t.tolist())])
