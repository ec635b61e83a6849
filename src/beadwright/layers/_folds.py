"""Curves of a solid along which its boundary folds over when looked at from above: edges and silhouettes."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from beadwright.brep import (
    Coedge,
    Conic3,
    Curve3,
    Edge,
    Line3,
    Model,
    Spline3,
    curve_derivatives,
    curve_points,
    edge_uses,
    surface_points,
)
from beadwright.brep._reach import scalar_critical
from beadwright.layers._between import Between, between
from beadwright.layers._facing import GRID, UPRIGHT, Facing, divides, facing_of
from beadwright.numeric import Finding

Array = npt.NDArray[np.float64]

Weigh = Callable[[int, int], int]

SAMPLES = 33
"""Places along an edge at which the sign of a face that looks both ways is looked at."""
ON_SILHOUETTE = 1e-7
"""An edge along which the normal's vertical part stays smaller than this runs along a silhouette."""
BESIDE = 1e-3
"""How far beside such an edge the face is looked at, mm."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fold:
    """A piece of a curve along which z only rises or only falls, between surface that looks up and down.

    Attributes
    ----------
    curve : Curve3
    start, end : float
    reverse : bool
        Under the outer rule it is walked from end to start; under the inner rule the other way.
    face, solid : int
        Face that it is told of; solid (-1: none).
    silhouette : bool
        Whether it runs inside its face.
    z : (float, float)
        At start and end, mm.
    beside : tuple of int
        All faces that meet there.
    """

    curve: Curve3
    start: float
    end: float
    reverse: bool
    face: int
    solid: int
    silhouette: bool
    z: tuple[float, float]
    beside: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Folds:
    """What the rules ``outer`` and ``inner`` need of a placed model; pickles. Made by `find_folds`.

    Attributes
    ----------
    folds : tuple of Fold
    facing : tuple of Facing
        By face.
    untraced : tuple of (float, float)
        Least and greatest z of faces that look both ways and whose silhouettes have no closed form.
    solid : tuple of int
        By face; -1 for a loose one.
    between : Between or None
        What planes may miss that stand in beside such faces; None where there are none.
    """

    folds: tuple[Fold, ...]
    facing: tuple[Facing, ...]
    untraced: tuple[tuple[float, float], ...]
    solid: tuple[int, ...]
    between: Between | None = None

    def findings(self) -> tuple[Finding, ...]:
        """A note if faces were told up from down by samples only."""
        rows = [row for row, each in enumerate(self.facing) if each.sampled and each.sign]
        if not rows:
            return ()
        return (
            Finding(
                code="rule-sampled",
                level="note",
                face=self.facing[rows[0]].face.id,
                measured=float(len(rows)),
                text=f"free-form faces were judged to look one way by {GRID * GRID} samples each, not by proof",
            ),
        )


def find_folds(model: Model) -> Folds:
    """All folds of a placed model, once for any number of layers."""
    folds = folds_of(
        model, tuple(facing_of(face) for face in model.faces), lambda _, sign: -1 if sign < 0 else 0
    )
    return replace(folds, between=between(model)) if folds.untraced else folds


def folds_of(model: Model, facing: tuple[Facing, ...], weigh: Weigh) -> Folds:
    """Boundaries, seen from above, of a part of a placed model's surface.

    Parameters
    ----------
    model : Model
    facing : tuple of Facing
        By face.
    weigh : callable
        From the row of a face and the way it looks (1 up, -1 down) to how often the surface there counts along an edge
        that its face runs forward: a part that looks up is surrounded forward (1), one that looks down the other way
        (-1), and 0 leaves it out.
    """
    solid = [-1] * len(model.faces)
    for shell in model.shells:
        for row in shell.faces:
            solid[row] = shell.solid
    uses = [[(use.face, use.coedge) for use in own] for own in edge_uses(model)]
    folds: list[Fold] = []
    crossings: dict[int, list[Array]] = {}
    for edge, used in zip(model.edges, uses, strict=True):
        folds += _edge_folds(edge, used, facing, solid, crossings, weigh)
    for row, each in enumerate(facing):
        # Seen from above, what looks up and what looks down lie on the same side of a silhouette.
        count = weigh(row, 1) - weigh(row, -1)
        if not count:
            continue
        for curve, start, end in each.silhouettes:
            made = _silhouette_folds(each, row, solid[row], curve, (start, end), crossings.get(row, []))
            folds += made if count > 0 else [replace(fold, reverse=not fold.reverse) for fold in made]
    untraced = [_z_range(each) for each in facing if each.sign == 0 and each.sampled]
    return Folds(folds=tuple(folds), facing=facing, untraced=tuple(untraced), solid=tuple(solid))


def _z_range(facing: Facing) -> tuple[float, float]:
    lines = [coedge.uv for wire in facing.face.wires for coedge in wire]
    z = surface_points(facing.face.surface, np.concatenate((facing.seeds, *lines)))[:, 2]
    return float(z.min()), float(z.max())


def _edge_folds(
    edge: Edge,
    used: Sequence[tuple[int, Coedge]],
    facing: Sequence[Facing],
    solid: Sequence[int],
    crossings: dict[int, list[Array]],
    weigh: Weigh,
) -> Iterator[Fold]:
    curve = edge.curve
    # Where a face meets itself the edge is inside it: if it folds there, its silhouette says so.
    joint = len(used) == 2 and used[0][0] == used[1][0] and used[0][1].forward != used[1][1].forward
    used = [(row, coedge) for row, coedge in used if weigh(row, 1) or weigh(row, -1)]
    if curve is None or not used or joint:
        return
    if any(facing[row].sign == 0 and facing[row].sampled for row, _ in used):
        return  # slabs that hold such a face never ask for folds
    cuts = {edge.start, edge.end, *_turns(curve, edge.start, edge.end)}
    for row in {row for row, _ in used}:
        if facing[row].sign == 0:
            found = _zeros(facing[row], curve, edge.start, edge.end)
            cuts.update(found)
            if found:
                crossings.setdefault(row, []).extend(curve_points(curve, np.array(found)))
    for a, b in pairwise(sorted(cuts)):
        net = 0
        for row, coedge in used:
            count = weigh(row, _sign_beside(facing[row], curve, a, b, forward=coedge.forward))
            net += count if coedge.forward else -count
        z = curve_points(curve, np.array([a, b]))[:, 2]
        for _ in range(abs(net)):
            yield Fold(
                curve=curve,
                start=a,
                end=b,
                reverse=net < 0,
                face=used[0][0],
                solid=solid[used[0][0]],
                silhouette=False,
                z=(float(z[0]), float(z[1])),
                beside=tuple(sorted({row for row, _ in used})),
            )


def _turns(curve: Curve3, start: float, end: float) -> list[float]:
    """Where z turns along a curve, between its ends."""
    match curve:
        case Conic3(major=major, minor=minor):
            if np.hypot(major[2], minor[2]) < UPRIGHT:
                return []
            top = float(np.arctan2(minor[2], major[2]))
            first = int(np.ceil((start - top) / np.pi))
            found = [top + k * np.pi for k in range(first, first + int((end - start) / np.pi) + 2)]
        case Spline3(knots=knots, degree=degree, poles=poles, weights=weights):
            found = scalar_critical(knots, degree, poles[:, 2], weights)
        case _:
            return []
    slack = 1e-12 * (end - start)
    return [t for t in found if start + slack < t < end - slack]


def _zeros(facing: Facing, curve: Curve3, start: float, end: float) -> list[float]:
    """Where the face's normal is horizontal along an edge: changes of sign, halved down."""
    t = np.linspace(start, end, SAMPLES)
    z = facing.normal_z(curve_points(curve, t))
    found = []
    for i in np.flatnonzero(
        (z[:-1] < -UPRIGHT) & (z[1:] > UPRIGHT) | (z[:-1] > UPRIGHT) & (z[1:] < -UPRIGHT)
    ):
        found.append(
            _root(lambda at: facing.normal_z(curve_points(curve, np.array([at])))[0], t[i], t[i + 1])
        )
    level = np.abs(z) <= UPRIGHT
    found += [
        float(t[i]) for i in range(1, SAMPLES - 1) if level[i] and not level[i - 1] and not level[i + 1]
    ]
    return found


def _root(value: Callable[[float], float], a: float, b: float) -> float:
    """A change of sign in [a, b], by halving to the last bits."""
    low = value(a)
    for _ in range(80):
        middle = 0.5 * (a + b)
        if not a < middle < b:
            break
        now = value(middle)
        if (now < 0) == (low < 0):
            a = middle
        else:
            b = middle
    return float(0.5 * (a + b))


def _sign_beside(facing: Facing, curve: Curve3, a: float, b: float, *, forward: bool) -> int:
    """Whether a face looks up (1) or down (-1) beside a piece of its edge."""
    if facing.sign:
        return facing.sign
    t = a + (np.arange(9) + 0.5) / 9 * (b - a)
    point, tangent = curve_derivatives(curve, t, 1)
    z = facing.normal_z(point)
    most = int(np.argmax(np.abs(z)))
    if abs(z[most]) > ON_SILHOUETTE:
        return -1 if z[most] < 0 else 1
    normal = facing.normals(point[4:5])[0]
    left = np.cross(normal, tangent[4] if forward else -tangent[4])
    beside = facing.normal_z((point[4] + BESIDE * left / np.linalg.norm(left))[None])[0]
    return -1 if beside < -UPRIGHT else 1


def _silhouette_folds(
    facing: Facing,
    face: int,
    solid: int,
    curve: Curve3,
    ends: tuple[float, float],
    crossings: Sequence[Array],
) -> Iterator[Fold]:
    """Pieces of a silhouette inside its face: cut where edges cross it, and where z turns."""
    start, end = ends
    cuts = {start, end, *_turns(curve, start, end)}
    for point in crossings:
        t = _parameter(curve, point, start)
        if start < t < end and np.linalg.norm(curve_points(curve, np.array([t]))[0] - point) < 0.1:
            cuts.add(t)
    for a, b in pairwise(sorted(cuts)):
        inner = a + (np.arange(9) + 0.5) / 9 * (b - a)
        side = int(np.sign(np.sum(divides(facing.face, facing.seeds, curve, inner))))
        if side == 0:
            continue
        z = curve_points(curve, np.array([a, b]))[:, 2]
        yield Fold(
            curve=curve,
            start=a,
            end=b,
            reverse=side < 0,
            face=face,
            solid=solid,
            silhouette=True,
            z=(float(z[0]), float(z[1])),
        )


def _parameter(curve: Curve3, point: Array, start: float) -> float:
    """Parameter of the point of a line or circle nearest to a point."""
    if isinstance(curve, Line3):
        return float((point - curve.origin) @ curve.direction)
    assert isinstance(curve, Conic3)
    off = point - curve.centre
    t = float(np.arctan2(off @ curve.minor, off @ curve.major))
    return start + float(np.mod(t - start, 2 * np.pi))


def height_at(fold: Fold, z: float) -> float:
    """Parameter at which a fold passes a height between those of its ends."""
    low = fold.z[0] < fold.z[1]
    return _root(
        lambda t: (curve_points(fold.curve, np.array([t]))[0, 2] - z) * (1.0 if low else -1.0),
        fold.start,
        fold.end,
    )


def clipped(fold: Fold, low: float, high: float) -> tuple[float, float] | None:
    """Parameters of the part of a fold between two heights, from its start to its end; None: no part."""
    below, above = min(fold.z), max(fold.z)
    if above <= low or below >= high:
        return None
    at_low = height_at(fold, low) if below < low else None
    at_high = height_at(fold, high) if above > high else None
    first, last = (at_low, at_high) if fold.z[0] < fold.z[1] else (at_high, at_low)
    return (fold.start if first is None else first, fold.end if last is None else last)
