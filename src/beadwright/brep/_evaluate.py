"""Points and derivatives of curves and surfaces, vectorised over parameters."""

from __future__ import annotations

from typing import assert_never

import numpy as np
import numpy.typing as npt

from beadwright.brep import _splines
from beadwright.brep._curves import Conic3, Curve3, Line3, Spline3
from beadwright.brep._surfaces import (
    CircleProfile,
    ExtrusionSurface,
    LineProfile,
    OffsetSurface,
    PlaneSurface,
    RevolutionSurface,
    SphereSurface,
    SplineProfile,
    SplineSurface,
    Surface,
)

Array = npt.NDArray[np.float64]


def curve_derivatives(curve: Curve3, t: npt.ArrayLike, order: int = 1) -> list[Array]:
    """Points and derivatives of a curve.

    Parameters
    ----------
    curve : Curve3
    t : (k,) float
        Parameters; any real number for a line or conic.
    order : int
        Highest derivative.

    Returns
    -------
    list of (k, 3) float
        Point, first derivative, ..., mm per parameter.
    """
    t = np.atleast_1d(np.asarray(t, dtype=float))
    match curve:
        case Line3():
            out = [curve.origin + t[:, None] * curve.direction]
            out += [np.broadcast_to(curve.direction, (len(t), 3)).copy()]
            out += [np.zeros((len(t), 3)) for _ in range(order - 1)]
            return out[: order + 1]
        case Conic3():
            c, s = np.cos(t)[:, None], np.sin(t)[:, None]
            turns = [
                c * curve.major + s * curve.minor,
                c * curve.minor - s * curve.major,
            ]
            turns += [-turns[0], -turns[1]]
            return [curve.centre + turns[0]] + [turns[k % 4] for k in range(1, order + 1)]
        case Spline3():
            return _splines.curve_derivatives(curve.knots, curve.degree, curve.poles, curve.weights, t, order)
        case _:
            assert_never(curve)


def curve_points(curve: Curve3, t: npt.ArrayLike) -> Array:
    """Points of a curve at parameters ``t`` (k,): (k, 3), mm."""
    return curve_derivatives(curve, t, 0)[0]


def profile_derivatives(
    profile: LineProfile | CircleProfile | SplineProfile, v: Array, order: int, handed: float
) -> list[Array]:
    """(r, w) of a meridian and its derivatives, (k, 2) each; ``handed`` is +-1, that of the frame."""
    match profile:
        case LineProfile():
            slope = np.array([profile.dr, profile.dw])
            out = [np.array([profile.r0, profile.w0]) + v[:, None] * slope]
            out += [np.broadcast_to(slope, (len(v), 2)).copy()]
            out += [np.zeros((len(v), 2)) for _ in range(order - 1)]
            return out[: order + 1]
        case CircleProfile():
            c, s = profile.minor * np.cos(v), profile.minor * np.sin(v)
            turns = [np.stack(p, axis=1) for p in ((c, s), (-s, c), (-c, -s), (s, -c))]
            centre = np.array([profile.major, profile.w0])
            return [centre + turns[0]] + [turns[k % 4] for k in range(1, order + 1)]
        case SplineProfile():
            curve = profile.curve
            raw = order if profile.offset == 0.0 else order + 1
            d = _splines.curve_derivatives(curve.knots, curve.degree, curve.poles, curve.weights, v, raw)
            if profile.offset == 0.0:
                return d
            return _offset_profile(d, profile.offset * handed, order)
        case _:
            assert_never(profile)


def _offset_profile(d: list[Array], distance: float, order: int) -> list[Array]:
    """A plane curve moved along sign(r) (w', -r') / |.|, with its first derivative."""
    if order > 1:
        raise ValueError("second derivatives of an offset are not offered; use those of its base")
    tangent = d[1]
    length = np.linalg.norm(tangent, axis=1, keepdims=True)
    signed = distance * np.where(d[0][:, :1] < 0.0, -1.0, 1.0)
    turn = np.array([[0.0, -1.0], [1.0, 0.0]])  # row vector (r', w') to (w', -r')
    out = [d[0] + signed * (tangent @ turn) / length]
    if order == 1:
        along = np.sum(tangent * d[2], axis=1, keepdims=True)
        out.append(tangent + signed * ((d[2] / length - tangent * along / length**3) @ turn))
    return out


def _revolved(
    axes: Array, origin: Array, u: Array, profile: list[Array], order: int
) -> dict[tuple[int, int], Array]:
    x, y, z = axes
    c, s = np.cos(u)[:, None], np.sin(u)[:, None]
    ring = [c * x + s * y, c * y - s * x]
    ring += [-ring[0], -ring[1]]
    out = {}
    for i in range(order + 1):
        for j in range(order + 1 - i):
            value = profile[j][:, :1] * ring[i % 4]
            out[i, j] = value + profile[j][:, 1:] * z if i == 0 else value
    out[0, 0] = out[0, 0] + origin
    return out


def cross(a: Array, b: Array) -> Array:
    """Vector products of rows, (k, 3); several times faster than the general one of numpy."""
    out = np.empty(np.broadcast_shapes(a.shape, b.shape))
    out[..., 0] = a[..., 1] * b[..., 2] - a[..., 2] * b[..., 1]
    out[..., 1] = a[..., 2] * b[..., 0] - a[..., 0] * b[..., 2]
    out[..., 2] = a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]
    return out


def handedness(axes: Array) -> float:
    """+1 for right-handed axes (rows), -1 for left-handed."""
    return 1.0 if float(cross(axes[0], axes[1]) @ axes[2]) > 0.0 else -1.0


def surface_derivatives(surface: Surface, uv: npt.ArrayLike, order: int = 1) -> dict[tuple[int, int], Array]:
    """Points and partial derivatives of a surface.

    Parameters
    ----------
    surface : Surface
    uv : (k, 2) float
        Parameters; may lie outside the face.
    order : int
        0, 1 or 2; offsets give 0 and 1 (critical points of an offset are those of its base).

    Returns
    -------
    dict
        ``[i, j]``: d^(i+j) S / du^i dv^j, (k, 3), for all ``i + j <= order``.

    Raises
    ------
    ValueError
        Second derivatives of an offset asked for.
    """
    uv = np.asarray(uv, dtype=float).reshape(-1, 2)
    u, v = uv[:, 0], uv[:, 1]
    match surface:
        case PlaneSurface(frame=frame):
            out = {(i, j): np.zeros((len(uv), 3)) for i in range(order + 1) for j in range(order + 1 - i)}
            out[0, 0] = frame.origin + uv @ frame.axes[:2]
            if order >= 1:
                out[1, 0] += frame.axes[0]
                out[0, 1] += frame.axes[1]
            return out
        case SphereSurface(frame=frame, radius=radius):
            circle = CircleProfile(major=0.0, minor=radius)
            return _revolved(frame.axes, frame.origin, u, profile_derivatives(circle, v, order, 1.0), order)
        case RevolutionSurface(frame=frame, profile=profile):
            meridian = profile_derivatives(profile, v, order, handedness(frame.axes))
            return _revolved(frame.axes, frame.origin, u, meridian, order)
        case ExtrusionSurface(directrix=directrix, direction=direction):
            c = curve_derivatives(directrix, u, order)
            out = {(i, j): np.zeros((len(uv), 3)) for i in range(order + 1) for j in range(order + 1 - i)}
            for i in range(order + 1):
                out[i, 0] = c[i]
            out[0, 0] = c[0] + v[:, None] * direction
            if order >= 1:
                out[0, 1] = np.broadcast_to(direction, (len(uv), 3)).copy()
            return out
        case SplineSurface():
            return _splines.surface_derivatives(
                surface.degree, (surface.knots_u, surface.knots_v), surface.poles, surface.weights, uv, order
            )
        case OffsetSurface():
            return _offset(surface, uv, order)
        case _:
            assert_never(surface)


def _offset(surface: OffsetSurface, uv: Array, order: int) -> dict[tuple[int, int], Array]:
    if order > 1:
        raise ValueError("second derivatives of an offset are not offered; use those of its base")
    s = surface_derivatives(surface.base, uv, order + 1)
    across = cross(s[1, 0], s[0, 1])
    length = np.linalg.norm(across, axis=1, keepdims=True)
    normal = across / length
    out = {(0, 0): s[0, 0] + surface.distance * normal}
    if order == 1:
        turned = {
            (1, 0): cross(s[2, 0], s[0, 1]) + cross(s[1, 0], s[1, 1]),
            (0, 1): cross(s[1, 1], s[0, 1]) + cross(s[1, 0], s[0, 2]),
        }
        for key, d in turned.items():
            d_normal = (d - normal * np.sum(normal * d, axis=1, keepdims=True)) / length
            out[key] = s[key] + surface.distance * d_normal
    return out


def surface_points(surface: Surface, uv: npt.ArrayLike) -> Array:
    """Points of a surface at parameters ``uv`` (k, 2): (k, 3), mm."""
    return surface_derivatives(surface, uv, 0)[0, 0]


def surface_normals(surface: Surface, uv: npt.ArrayLike) -> Array:
    """Unit dS/du x dS/dv at ``uv`` (k, 2): (k, 3); zeros where the surface is singular (pole, apex)."""
    s = surface_derivatives(surface, uv, 1)
    across = cross(s[1, 0], s[0, 1])
    length = np.linalg.norm(across, axis=1, keepdims=True)
    return np.asarray(np.divide(across, length, out=np.zeros_like(across), where=length > 0.0))


def project(surface: Surface, points: Array, seeds: Array, rounds: int = 12) -> tuple[Array, Array]:
    """Parameters of the surface's points nearest to given points, from seeds.

    Gauss-Newton steps with the metric of the surface, held to a spline's own domain; a step that
    makes it worse is halved, so the result is never farther than the seed.

    Parameters
    ----------
    surface : Surface
    points : (k, 3) float
    seeds : (k, 2) float
    rounds : int

    Returns
    -------
    uv : (k, 2) float
    distance : (k,) float
        From each point to the surface at ``uv``, mm.
    """
    low, high = domain(surface)
    uv = np.clip(seeds, low, high)
    distance = np.linalg.norm(surface_points(surface, uv) - points, axis=1)
    live = np.flatnonzero(distance > 1e-12)
    damping = np.ones(len(uv))
    for _ in range(rounds):
        if len(live) == 0:
            break
        s = surface_derivatives(surface, uv[live], 1)
        residual = points[live] - s[0, 0]
        a = np.sum(s[1, 0] ** 2, axis=1)
        b = np.sum(s[1, 0] * s[0, 1], axis=1)
        c = np.sum(s[0, 1] ** 2, axis=1)
        p, q = np.sum(s[1, 0] * residual, axis=1), np.sum(s[0, 1] * residual, axis=1)
        det = a * c - b * b
        regular = det > 1e-14 * np.maximum(a * c, 1e-300)
        safe = np.where(regular, det, 1.0)
        # At a pole one direction carries no length: move along the other alone.
        du = np.where(regular, (c * p - b * q) / safe, np.where(a > c, p / np.maximum(a, 1e-300), 0.0))
        dv = np.where(regular, (a * q - b * p) / safe, np.where(a > c, 0.0, q / np.maximum(c, 1e-300)))
        trial = np.clip(uv[live] + damping[live, None] * np.stack((du, dv), axis=1), low, high)
        moved = np.linalg.norm(surface_points(surface, trial) - points[live], axis=1)
        better = moved < distance[live]
        gain = distance[live] - moved
        uv[live[better]] = trial[better]
        distance[live[better]] = moved[better]
        damping[live] = np.where(better, np.minimum(1.0, 2.0 * damping[live]), 0.5 * damping[live])
        stay = np.where(better, gain > 1e-12, damping[live] > 1e-3)
        live = live[stay]
    return uv, distance


def domain(surface: Surface) -> tuple[Array, Array]:
    """Least and greatest u, v that a surface is defined on; infinite where it has no end."""
    infinite = np.array([np.inf, np.inf])
    match surface:
        case SplineSurface():
            return (
                np.array([surface.knots_u[0], surface.knots_v[0]]),
                np.array([surface.knots_u[-1], surface.knots_v[-1]]),
            )
        case OffsetSurface():
            return domain(surface.base)
        case ExtrusionSurface(directrix=Spline3(knots=knots)):
            return np.array([knots[0], -np.inf]), np.array([knots[-1], np.inf])
        case RevolutionSurface(profile=SplineProfile(curve=curve)):
            return np.array([-np.inf, curve.knots[0]]), np.array([np.inf, curve.knots[-1]])
        case _:
            return -infinite, infinite
