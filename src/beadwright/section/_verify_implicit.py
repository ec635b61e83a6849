"""How far carried curves stray from planes, spheres, cylinders, cones and tori: by their polynomials."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.brep import (
    CircleProfile,
    Frame,
    LineProfile,
    PlaneSurface,
    RevolutionSurface,
    SphereSurface,
    Surface,
)
from beadwright.section._verify_nodes import Long, above, bernstein, chebyshev, least

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Implicit:
    """A polynomial G of a frame's coordinates that vanishes on a surface and has slope about 1 there.

    Attributes
    ----------
    frame : Frame
    form : {"plane", "sphere", "cone", "torus"}
    numbers : tuple of float
        Of the form.
    degree : int
    bend : float
        Bound of G's second derivatives near the surface, 1/mm.
    """

    frame: Frame
    form: str
    numbers: tuple[float, ...]
    degree: int
    bend: float

    def __call__(self, local: Long) -> tuple[Long, Long]:
        """G (...,) and its gradient (..., 3) at points in the frame's coordinates."""
        gradient = np.zeros_like(local)
        if self.form == "plane":
            gradient[..., 2] = 1.0
            return local[..., 2], gradient
        ring = local[..., 0] ** 2 + local[..., 1] ** 2
        w = local[..., 2]
        if self.form == "sphere":
            (radius,) = self.numbers
            return (ring + w * w - np.longdouble(radius) ** 2) / (2 * radius), local / radius
        if self.form == "cone":
            r0, w0, dr, dw, size = (np.longdouble(v) for v in self.numbers)
            line = r0 * dw + (w - w0) * dr
            gradient[..., :2] = local[..., :2] * (dw * dw / size)
            gradient[..., 2] = -line * dr / size
            return (dw * dw * ring - line * line) / (2 * size), gradient
        major, minor, w0 = (np.longdouble(v) for v in self.numbers)
        w = w - w0
        size = 8 * major * major * minor
        power = ring + w * w + major * major - minor * minor
        gradient[..., :2] = local[..., :2] * (4 * power - 8 * major * major)[..., None] / size
        gradient[..., 2] = 4 * power * w / size
        return (power * power - 4 * major * major * ring) / size, gradient


def implicit(surface: Surface, reach: float) -> Implicit | None:
    """The polynomial of a surface, or None for surfaces that have none; ``reach`` mm is the face's size."""
    match surface:
        case PlaneSurface(frame=frame):
            return Implicit(frame=frame, form="plane", numbers=(), degree=1, bend=0.0)
        case SphereSurface(frame=frame, radius=radius):
            return Implicit(
                frame=frame, form="sphere", numbers=(abs(radius),), degree=2, bend=1.0 / abs(radius)
            )
        case RevolutionSurface(frame=frame, profile=LineProfile() as line) if line.dw != 0.0:
            size = max(abs(line.r0), abs(line.dr) * reach, 1e-3)
            return Implicit(
                frame=frame,
                form="cone",
                numbers=(line.r0, line.w0, line.dr, line.dw, size),
                degree=2,
                bend=1.0 / size,
            )
        case RevolutionSurface(frame=frame, profile=CircleProfile() as circle) if circle.major != 0.0:
            major, minor = abs(circle.major), abs(circle.minor)
            # |second derivatives| of the quartic within the torus, over its slope at the ring
            bend = 16.0 * (major + minor) ** 2 / (8.0 * major * major * minor)
            return Implicit(frame=frame, form="torus", numbers=(major, minor, circle.w0), degree=4, bend=bend)
        case _:
            return None


def stray_implicit(
    shape: Implicit, back: Long, shift: Long, h: float, control: Long, is_proof: bool
) -> tuple[Array, Array]:
    """Distance in the plane of parts from the section of a surface, and what rounding hides of it.

    Parameters
    ----------
    shape : Implicit
        Of the surface as read.
    back, shift : (3, 3), (3,) longdouble
        A placed point P is ``back @ (P - shift)`` on the surface as read.
    h : float
        Height of the plane, mm.
    control : (b, n + 1, 3) longdouble
    is_proof : bool
        Bound everywhere on the part, else the greatest value at some places.

    Returns
    -------
    stray, noise : (b,) float
        mm; ``stray`` is infinite where nothing is proven.

    Notes
    -----
    With |G| <= g at a point and |grad G| >= s in the plane within g / s of it, following the gradient
    reaches G = 0 within g / s. G and the square of the gradient are polynomials along a part, held between
    Chebyshev points by `above` and `least`; the slope is lowered by the bend over twice the way.
    """
    n = control.shape[1] - 1
    high = n * shape.degree
    m = max(4 * high, 8) if is_proof else 9
    table = bernstein(n, chebyshev(m)).astype(np.longdouble)
    value = np.einsum("mk,bkc->bmc", table, control)
    weight = value[..., 2]
    point = np.empty_like(value)
    point[..., :2] = value[..., :2] / weight[..., None]
    point[..., 2] = h
    axes = shape.frame.axes.astype(np.longdouble)
    local = ((point - shift) @ back.T - shape.frame.origin) @ axes.T
    g, gradient = shape(local)
    plane = (gradient @ axes @ back)[..., :2]
    slope = np.hypot(plane[..., 0], plane[..., 1])
    # The frame's own axes are orthonormal only to a rounding.
    noise = 4.0 * 2.0**-53 * np.abs(local).sum(axis=-1)
    smallest = np.maximum(slope, 1e-30)
    seen = (noise / smallest).max(axis=1).astype(float)
    if not is_proof:
        return (np.abs(g) / smallest).max(axis=1).astype(float), seen
    light = np.maximum(least(weight.astype(float), n), 1e-30)
    heavy = above(weight.astype(float), n)
    worst = above((g * weight**shape.degree).astype(float), high) / light**shape.degree
    power = shape.degree - 1
    square = (slope**2 * weight ** (2 * power)).astype(float)
    steep = np.sqrt(np.maximum(least(square, 2 * power * n), 0.0)) / heavy**power
    bend = shape.bend * float(np.linalg.norm(back.astype(float), 2)) ** 2
    steep = steep - 2.0 * bend * worst / np.maximum(steep, 1e-30)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(
            (worst == 0.0) & (steep >= 0.0), 0.0, np.where(steep > 0.0, worst / steep, np.inf)
        ), seen
