"""What one plane cuts out of a model."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.curves import CurveLoops


@dataclass(frozen=True, slots=True, kw_only=True)
class NearTangent:
    """A curve along which surface and plane are nearly parallel.

    Attributes
    ----------
    face : int
    at : (float, float, float)
        A point of it, mm.
    uncertainty : float
        How far the curve may lie beside in the plane, mm: sqrt(2 x residual x radius).
    """

    face: int
    at: tuple[float, float, float]
    uncertainty: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Chord:
    """A stretch of a free-form face's curve that could not be followed and is carried as a straight line.

    Attributes
    ----------
    face : int
    at : (float, float, float)
        Where the part of the curve that holds the stretch begins, mm.
    bound : float
        How far the curve may lie beside the line, mm; part of the section's own bound.
    why : str
        ``undecided`` (a cell too small to be decided, see `Section.hidden`), ``pole`` (the surface's derivatives are
        parallel or vanish there) or ``sharp`` (it turns too sharply).
    """

    face: int
    at: tuple[float, float, float]
    bound: float
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Counters:
    """What the matching had to do beyond pairing neighbours; all 0 on a clean file.

    Attributes
    ----------
    swaps : int
        Neighbours nearer than their own gaps that stood in the wrong order.
    run_on : int
        Curves that leave one open branch of a surface and go on upon another, over a connector.
    straight : int
        Pairs of nodes joined by a straight line because a surface does not reach the plane there.
    doubtful : int
        Lone pairs on a closed branch so close that a point-in-face test decided between sliver and loop.
    conflicts : int
        Crossings in cells of free-form faces that did not alternate.
    unmatched : int
        Nodes left over although the fallback was asked; 0 on any closed shell.
    """

    swaps: int = 0
    run_on: int = 0
    straight: int = 0
    doubtful: int = 0
    conflicts: int = 0
    unmatched: int = 0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Section:
    """The exact section at one height (m chains).

    Attributes
    ----------
    asked, taken : float
        Height as asked for and as used, mm.
    loops : CurveLoops
        Closed chains, material on the left; open ones only for open shells. The region is where the
        winding number of all closed chains is positive.
    shell, solid : (m,) int64
        Where each chain comes from.
    model : float
        Longest connector, measured in the plane, mm: the file's own share.
    bound : float
        Greatest distance of a carried curve from the true one, mm: what its form strays, and rounding (and
        what else moves the surface) over the sine of the angle between surface and plane.
    near_tangent : tuple of NearTangent
        Where that angle is below 1e-4: there the curve may lie farther beside, as each entry says.
    chords : tuple of Chord
        Stretches of curves of free-form faces carried straight; what they are off is in ``bound``, and here apart.
    hidden : float
        Greatest size of a cell of a free-form face in which a part of the section could hide unseen, mm; 0 if there
        is none. It is no part of ``bound``.
    fallbacks : int
        Faces that could not be cut here, whose curves are the fallback's.
    counters : Counters
    notes : tuple of str
    """

    asked: float
    taken: float
    loops: CurveLoops
    shell: npt.NDArray[np.int64]
    solid: npt.NDArray[np.int64]
    model: float
    bound: float
    near_tangent: tuple[NearTangent, ...]
    chords: tuple[Chord, ...]
    hidden: float
    fallbacks: int
    counters: Counters
    notes: tuple[str, ...]
