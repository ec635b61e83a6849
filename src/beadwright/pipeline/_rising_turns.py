"""Turns of a bead that climbs: at which heights each begins and ends, and the path that is laid for it."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from beadwright.beads import Level, Stretch, stepped
from beadwright.brep import Steepness
from beadwright.curves import ArcPath, joined, length
from beadwright.layers import LayerPlan
from beadwright.settings import PlanSettings

Floats = npt.NDArray[np.float64]

# Within a move the thickness changes by at most this share of the height: its flow, even along a move, is then within
# 1 % of the demand, far below what a screw is known to (common practice: 3 to 5 %).
FLOW_STEP = 0.02
# Planes that are not cut anew: a wall that leans by less than this share of the tolerance in a layer is upright.
UPRIGHT = 0.1

Begins = Literal["flat", "on flat", "on ramp"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """One turn of a bead: heights of the nozzle and of what it lays, at its start and at its end, mm.

    Attributes
    ----------
    layer : int
        Index of the layer in which it is laid.
    z, thickness : (float, float)
    middles : (float, float)
        Heights at which the part is followed.
    count : int
        Planes at which the part is cut for it; 0: the layer's own stands for all.
    lean : float
        Bound of how far the wall goes aside with each mm of height.
    part : (float, float)
        Which shares of the turn are laid.
    """

    layer: int
    z: tuple[float, float]
    thickness: tuple[float, float]
    middles: tuple[float, float]
    count: int = 0
    lean: float = 0.0
    part: tuple[float, float] = (0.0, 1.0)

    def planes(self) -> list[float]:
        """Heights at which the part is cut, mm."""
        low, high = self.middles
        return [low + (k + 0.5) / self.count * (high - low) for k in self._rows()]

    def _rows(self) -> range:
        """Which of the pieces of a whole turn are laid."""
        return range(math.floor(self.part[0] * self.count), math.ceil(self.part[1] * self.count))

    def levels(self, paths: Sequence[ArcPath]) -> list[Level]:
        """Closed paths of the turn, from the lowest up, with the part that each has of it."""
        (low, high), count = self.middles, max(self.count, 1)
        # One path alone stands for the whole turn, and lies in its layer's middle.
        planes, rows = (self.planes(), self._rows()) if self.count else ([high], range(1))
        return [
            Level(
                path=path,
                first=max(k / count, self.part[0]),
                last=min((k + 1) / count, self.part[1]),
                height=plane,
                begin=low + max(k / count, self.part[0]) * (high - low),
                end=low + min((k + 1) / count, self.part[1]) * (high - low),
            )
            for k, path, plane in zip(rows, paths, planes, strict=True)
        ]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Strip:
    """A turn as it is laid: path, heights and thickness at its joints, bound of how far it is off, steepest rise."""

    path: ArcPath
    height: Floats
    thickness: Floats
    bound: float
    slope: float


def strip(turn: Turn, pieces: Sequence[Stretch], height: float) -> Strip:
    """A turn of its pieces, with joints so near that the flow follows the thickness."""
    change = abs(turn.thickness[1] - turn.thickness[0]) / height
    if change > FLOW_STEP:
        pieces = [stepped(piece, FLOW_STEP / change) for piece in pieces]
    path, share = pieces[0].path, pieces[0].share
    for piece in pieces[1:]:
        path, share = joined(path, piece.path), np.concatenate([share, piece.share[1:]])
    (low, high), (thin, thick) = turn.z, turn.thickness
    heights = low + (high - low) * share
    # The next turn begins just there, so digits must not differ.
    heights[0], heights[-1] = (
        (heights[0] if turn.part[0] else low),
        (heights[-1] if turn.part[1] < 1 else high),
    )
    middle_low, middle_high = turn.middles
    reach = abs(middle_high - middle_low) / (2 * turn.count or 1)
    run = min(length(piece.path) / float(piece.share[-1] - piece.share[0]) for piece in pieces)
    return Strip(
        path=path,
        height=heights,
        thickness=np.maximum(thin + (thick - thin) * share, 0.0),
        bound=reach * turn.lean + max(piece.moved for piece in pieces),
        slope=(high - low) / run,
    )


def leaning(steep: Steepness, low: float, high: float) -> float:
    """Bound of how far walls go aside with each mm of height between two heights; infinite where nothing is known."""
    if high <= low:
        return 0.0
    up = min(float(steep.greatest(np.array([low, high]))[0]), 1.0)
    return up / math.sqrt(1.0 - up * up) if up < 1.0 else math.inf


def turns_of(
    plans: Sequence[LayerPlan], steep: Steepness, settings: PlanSettings, begins: Begins, *, even: bool
) -> tuple[Turn, ...]:
    """Turns of a run, with the planes at which the part is cut for each.

    Parameters
    ----------
    plans : sequence of LayerPlan
        The first of them lies flat, unless the run begins on what is printed already.
    steep : Steepness
    settings : PlanSettings
    begins : {"flat", "on flat", "on ramp"}
        With a flat layer of its own; or what the first layer lies on.
    even : bool
        Whether every place along it gets as much melt: then what would lie thinner than half a layer is not laid, so
        that what is laid too thick elsewhere makes up for it.
    """
    found = []
    if begins != "flat":
        # What is printed already ends as a turn as high as this one.
        plans = [replace(plans[0], z0=plans[0].z0 - plans[0].height, z=plans[0].z0), *plans]
    for row, (under, plan) in enumerate(itertools.pairwise(plans)):
        low, high = under.z - under.height / 2, plan.z - plan.height / 2
        lean = leaning(steep, low, high)
        aside = (high - low) * lean
        # A piece is off by what the wall leans within half its height, and is shifted by as much to meet the next one.
        count = 0
        if aside > UPRIGHT * settings.tolerance:
            count = min(math.ceil(aside / settings.tolerance), settings.rising_planes)
        grows = begins != "on ramp" and not row
        found.append(
            Turn(
                layer=plan.index,
                z=(under.z, plan.z),
                thickness=(0.0 if grows else under.height, plan.height),
                middles=(low, high),
                count=count,
                lean=lean,
                part=(0.5, 1.0) if grows and even else (0.0, 1.0),
            )
        )
    top = plans[-1]
    middle = top.z - top.height / 2
    level = Turn(
        layer=top.index,
        z=(top.z, top.z),
        thickness=(top.height, 0.0),
        middles=(middle, middle),
        part=(0.0, 0.5) if even else (0.0, 1.0),
    )
    return (*found, level)
