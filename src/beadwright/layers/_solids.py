"""A layer's section as lines and arcs, finer where solids cross at a shallow angle.

Where two solids cross, the corner between them moves by more than the error of either. So the chains that
meet there are followed more closely, until the corner too is within the tolerance, and what remains is carried.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol, TypeVar

import numpy as np
import numpy.typing as npt

from beadwright.arcs import Fitted, Meeting, fit, fit_polygons, meeting
from beadwright.curves import ArcPath, ArcRegion, CurveKind, CurveLoops
from beadwright.layers._weld import HAIR
from beadwright.numeric import Finding

# Chains are followed at most this many times more closely than asked.
FINEST = 64.0
# Rounds of following chains more closely.
MAX_ROUNDS = 4
# Aimed at a little below the tolerance, since the angle at the corner changes a little too.
AIM = 0.9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LayerFit:
    """Lines and arcs of a section.

    Attributes
    ----------
    region : ArcRegion
        The closed chains.
    paths : tuple of ArcPath
        All chains.
    bound : float
        Greatest proven Fréchet distance from a curve to its moves, mm.
    crossing : float
        By how much more than that and the section's own bound the corners between solids may be off, mm.
    findings : tuple of Finding
    """

    region: ArcRegion
    paths: tuple[ArcPath, ...]
    bound: float
    crossing: float = 0.0
    findings: tuple[Finding, ...] = ()


class _Met(Protocol):
    @property
    def met(self) -> Meeting | None: ...


Made = TypeVar("Made", bound=_Met)


def followed_closely(make: Callable[[float], Made | None], tolerance: float) -> Made | None:
    """What is made of a section's chains, followed more closely until corners where they cross are well known.

    Parameters
    ----------
    make : callable
        From how closely the chains are followed, mm, to what is made of them, or None; where they cross, if that
        is known, is its ``met``.
    tolerance : float
        How well the corners are to be known, mm, and how closely chains are followed first.
    """
    asked = tolerance
    for turn in range(MAX_ROUNDS + 1):
        made = make(asked)
        if made is None or made.met is None or made.met.bound <= tolerance or turn == MAX_ROUNDS:
            return made
        finer = max(AIM * asked * tolerance / made.met.bound, tolerance / FINEST)
        if finer >= asked:
            return made
        asked = finer
    return None


def fit_layer(
    loops: CurveLoops,
    *,
    tolerance: float,
    solid_of_face: npt.NDArray[np.int64] | None = None,
    layer: int | None = None,
    z: float = 0.0,
) -> LayerFit:
    """Follow the exact curves of a section by lines and arcs.

    Parameters
    ----------
    loops : CurveLoops
        The section.
    tolerance : float
        Largest distance allowed between a curve and its moves, mm.
    solid_of_face : (faces,) int, optional
        Given where the closed chains come from more than one solid.
    layer : int, optional
        Its index, and
    z : float
        its height, mm, for findings.

    Returns
    -------
    LayerFit
        The boundary of the union of all solids is within ``bound + crossing`` and the section's bound of the
        true one, but for places told by a finding ``solids-graze``.
    """
    fitted = fit(loops, tolerance=tolerance)
    if solid_of_face is None or not loops.closed.all():
        findings = tuple(kinks_told(fitted.kinks, layer))
        return LayerFit(region=fitted.region, paths=fitted.paths, bound=fitted.bound.mm, findings=findings)
    return _met(loops, fitted, tolerance, solid_of_face, layer, z)


def follow_polygons(loops: CurveLoops, *, tolerance: float) -> LayerFit:
    """Follow the chords of a mesh's section by lines and arcs.

    Parameters
    ----------
    loops : CurveLoops
        Closed chains of straight curves.
    tolerance : float
        Largest distance allowed between a chain and its moves, mm.
    """
    fitted = fit_polygons(loops, tolerance=tolerance)
    return LayerFit(region=fitted.region, paths=fitted.region.loops, bound=fitted.bound.mm)


def kinks_told(kinks: int, layer: int | None) -> list[Finding]:
    """Where straight moves had to stand in for arcs."""
    if not kinks:
        return []
    text = "straight moves stand where no arc could follow the curve with its tangent; the bound holds"
    return [Finding(code="kinks", level="note", layer=layer, measured=float(kinks), text=text)]


def _met(
    loops: CurveLoops,
    chosen: Fitted,
    tolerance: float,
    solid_of_face: npt.NDArray[np.int64],
    layer: int | None,
    z: float,
) -> LayerFit:
    """The fit, refined until the corners between solids are within the tolerance."""
    solid = _solids(loops, solid_of_face)
    asked = np.full(loops.n_chains, tolerance)
    for turn in range(MAX_ROUNDS + 1):
        met = meeting(chosen.paths, solid, _errors(loops, chosen), target=tolerance)
        finer = _finer(asked, met, tolerance)
        if turn == MAX_ROUNDS or not np.any(finer < asked):
            break
        asked = finer
        chosen = fit(loops, tolerance=asked)
    own = chosen.bound.mm + float(loops.bound.max(initial=0.0))
    findings = [*kinks_told(chosen.kinks, layer), *grazes(met, layer, z)]
    if met.bound > max(own, tolerance):
        findings.append(shallow(met, tolerance, layer, z))
    return LayerFit(
        region=chosen.region,
        paths=chosen.paths,
        bound=chosen.bound.mm,
        crossing=max(0.0, met.bound - own),
        findings=tuple(findings),
    )


def _solids(loops: CurveLoops, solid_of_face: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """Solid that each chain bounds; connectors, with which a chain may begin, are of no face."""
    chain = np.repeat(np.arange(loops.n_chains), np.diff(loops.first_curve))
    known = loops.face >= 0
    solid = np.full(loops.n_chains, -1, np.int64)
    solid[chain[known]] = solid_of_face[loops.face[known]]
    return solid


def _errors(loops: CurveLoops, fitted: Fitted) -> list[npt.NDArray[np.float64]]:
    """How far each move may be from the true section, chain by chain, mm: lines and circles are the CAD's own."""
    exact = np.isin(loops.kind, (CurveKind.LINE, CurveKind.CIRCLE, CurveKind.CONNECTOR))[fitted.curve]
    chain = np.repeat(np.arange(loops.n_chains), np.diff(fitted.first_move))
    error = loops.bound[fitted.curve] + np.where(exact, 0.0, fitted.chain_bound[chain])
    return np.split(error, fitted.first_move[1:-1])


def _finer(asked: npt.NDArray[np.float64], met: Meeting, tolerance: float) -> npt.NDArray[np.float64]:
    """Tolerances that bring the corners within the one asked for; walls closer than a hair are left to it."""
    known = np.isfinite(met.loop_bound)
    share = AIM * tolerance / np.where(known, np.maximum(met.loop_bound, tolerance * AIM), tolerance)
    wanted = np.where(known, asked * share, np.minimum(asked, HAIR / 4))
    return np.where(met.loop_bound > tolerance, np.maximum(wanted, tolerance / FINEST), asked)


def grazes(met: Meeting, layer: int | None, z: float) -> list[Finding]:
    """Where walls face each other closer than they are known."""
    if not len(met.undecided):
        return []
    x, y, _ = met.undecided[len(met.undecided) // 2].tolist()
    return [
        Finding(
            code="solids-graze",
            level="note",
            layer=layer,
            at_mm=(x, y, z),
            measured=float(met.undecided[:, 2].sum()) / 2,
            unit="mm",
            text="along this length solids lie closer than their curves are known; where the gap is narrower"
            f" than {HAIR} mm they are united, and the bound does not tell where the seam ends",
        )
    ]


def shallow(met: Meeting, tolerance: float, layer: int | None, z: float) -> Finding:
    """Where a corner between solids is not known to the tolerance."""
    return Finding(
        code="shallow-crossing",
        level="warning",
        layer=layer,
        at_mm=None if met.at is None else (*met.at, z),
        measured=met.bound,
        allowed=tolerance,
        unit="mm",
        text="solids cross here at so shallow an angle that the corner between them is not known to the tolerance;"
        " the layer's bound says how well it is; a lower --tolerance helps",
    )
