"""A section checked against the surfaces it was cut from, by none of the ways it was made."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.brep import Face, Model, SplineSurface
from beadwright.section._section import Section
from beadwright.section._verify_implicit import implicit, stray_implicit
from beadwright.section._verify_nodes import Long, Parts, halved, parts_of
from beadwright.section._verify_spline import Nearest, Spans, stray_proven, stray_sampled

Array = npt.NDArray[np.float64]

HALVINGS = 7
"""How often a part is halved, at most, to prove what its curve says of itself."""
ROUNDING = 2e-15
"""Of the evaluation of a free-form surface, as a part of the greatest coordinate."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Verified:
    """What the curves of a section were found to be off (n curves).

    Attributes
    ----------
    deviation : (n,) float
        Distance in the plane from the section of each curve's face, mm; 0 for a connector. Infinite where a
        proof was asked for and the surface and the plane are too nearly parallel for one.
    noise : (n,) float
        What the check's own rounding hides, mm.
    proven : (n,) bool
        Whether ``deviation`` bounds every place of the curve, not only the places looked at.
    excess : float
        Greatest amount by which ``deviation`` exceeds the curve's own bound and ``noise``, mm; at most 0 if
        the section keeps what it says.
    """

    deviation: Array
    noise: Array
    proven: npt.NDArray[np.bool_]
    excess: float


def verify_loops(
    model: Model, section: Section, *, matrix: npt.ArrayLike | None = None, proof: bool = False
) -> Verified:
    """Measure how far each carried curve lies from its face's surface and the plane.

    Parameters
    ----------
    model : Model
        As placed; as read if ``matrix`` is given.
    section : Section
    matrix : (3, 4) float, optional
        The placement. Then curves are taken back to the model as read in extended precision, so that what
        rounding did when the model was placed is measured too.
    proof : bool
        Bound every place of each curve, in some ten times the time, where the surface is a plane, a sphere,
        a cylinder, a cone, a torus or a spline surface; curves on other surfaces (extruded or revolved
        splines, offsets) are measured at 9 places a part, and so is everything without ``proof``.

    Returns
    -------
    Verified

    Notes
    -----
    The distance in the plane is (distance from the surface + height's residual) / sin of the angle between
    the surface and the plane. Only the surfaces' own formulas and `brep`'s evaluation are used, none of the
    compiled loops that made the section. Parts whose proven value exceeds the curve's own bound are halved.
    """
    m = np.column_stack((np.eye(3), np.zeros(3))) if matrix is None else np.asarray(matrix, dtype=float)
    loops = section.loops
    deviation, noise = np.zeros(len(loops.kind)), np.zeros(len(loops.kind))
    proven = np.ones(len(loops.kind), dtype=bool)
    allowed = loops.bound
    size = float(np.abs(loops.ends).max(initial=0.0)) + abs(section.taken)
    way = _Way(m, section.taken, size)
    kept: dict[int, tuple[Nearest, Spans | None]] = {}
    for parts in parts_of(loops):
        face = model.faces[parts.face]
        control, owner = parts.control, parts.curve
        for level in range(HALVINGS + 1):
            if len(owner) == 0:
                break
            stray, hidden, is_proven = _stray(face, parts, control, way, kept, proof)
            open_ = (stray > allowed[owner] + hidden) & (level < HALVINGS) & is_proven & (parts.degree > 0)
            np.maximum.at(deviation, owner[~open_], stray[~open_])
            np.maximum.at(noise, owner, hidden)
            proven[owner] &= is_proven
            control, owner = halved(control[open_]), np.tile(owner[open_], 2)
    with np.errstate(invalid="ignore"):
        excess = float(np.max(deviation - noise - allowed, initial=0.0))
    return Verified(deviation=deviation, noise=noise, proven=proven, excess=excess)


class _Way:
    """From the machine back to the model as read, in extended precision."""

    def __init__(self, matrix: Array, h: float, size: float) -> None:
        self.linear = matrix[:, :3]
        self.shift: Long = matrix[:, 3].astype(np.longdouble)
        self.h, self.size = h, size
        a, b, c = self.linear.astype(np.longdouble)
        cross = np.stack((np.cross(b, c), np.cross(c, a), np.cross(a, b)), axis=1)
        self.back: Long = cross / (a @ np.cross(b, c))


def _stray(
    face: Face,
    parts: Parts,
    control: Long,
    way: _Way,
    kept: dict[int, tuple[Nearest, Spans | None]],
    proof: bool,
) -> tuple[Array, Array, bool]:
    shape = implicit(face.surface, way.size)
    if shape is not None:
        stray, noise = stray_implicit(shape, way.back, way.shift, way.h, control, proof)
        return stray, noise, proof
    if parts.face not in kept:
        surface = face.surface
        kept[parts.face] = (
            Nearest(surface, np.asarray(face.uv_box)),
            Spans(surface) if proof and isinstance(surface, SplineSurface) else None,
        )
    near, spans = kept[parts.face]
    is_proof = spans is not None and parts.degree > 0
    args = (way.linear, way.back, way.shift, way.h, control)
    stray, sine = stray_proven(near, spans, *args) if is_proof and spans else stray_sampled(near, *args)
    return stray, ROUNDING * way.size / np.maximum(sine, 1e-300), is_proof
