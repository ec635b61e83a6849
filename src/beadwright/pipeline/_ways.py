"""A way of making contour beads, measured against the exact section."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from beadwright.curves import ArcPath, distances, length, lengths, samples
from beadwright.mesh import Joints, busiest, joints
from beadwright.pipeline._two_ways import Laid
from beadwright.process import MotionLimits, profiles

Floats = npt.NDArray[np.float64]

STEP = 1.0
"""Greatest distance of samples along a bead, mm."""
TURN = math.radians(0.1)
"""A joint that turns more than this is felt by a gantry; common practice."""


DIP = 0.9
"""A speed below this share of the feed at a joint is a dip."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """One way, measured.

    Attributes
    ----------
    name : str
    chord : float or None
        Of the triangles, mm; None for the exact way and for a given mesh.
    triangles : int
    error, mean, p95 : float
        Of the way's centrelines, sampled every mm and at the ends and middles of moves: how far their distance
        from the boundary of the exact section differs from the offset that was asked for; greatest, mean and
        95th percentile, mm.
    short : float
        Greatest distance from the exact centrelines to the way's, mm: where walls are nearly two offsets wide a
        bead may end elsewhere, and no tolerance mends that.
    missing : float
        Length of reference centreline that has nothing of the way within a bead's width, mm.
    moves, size : int
        Printed moves, and bytes of their text.
    blocks : float
        Moves a second in the busiest tenth of a second at feed.
    joints : int
        Joints that turn more than 0.1 degree and are no corner of the CAD.
    dips : int
        Joints inside beads where the speed falls below nine tenths of the feed, by a look-ahead under the machine's
        limits; corners of the CAD count in every way.
    laying : float
        Time of the beads by that look-ahead, s.
    seconds : mapping of str to float
        By stage, one process; ``total`` with them.
    memory : float
        MB.
    open_length : float
        Of chains that did not close, mm.
    """

    name: str
    chord: float | None
    triangles: int
    error: float
    mean: float
    p95: float
    short: float
    missing: float
    moves: int
    size: int
    blocks: float
    joints: int
    dips: int
    laying: float
    seconds: dict[str, float]
    memory: float
    open_length: float

    def as_dict(self) -> dict[str, Any]:
        """As JSON has it; what the way does not have is absent."""
        told: dict[str, Any] = {"way": self.name}
        if self.chord is not None:
            told["chord_mm"] = self.chord
        if self.triangles:
            told |= {"triangles": self.triangles, "open_mm": self.open_length}
        if self.moves:
            told["error_mm"] = {"greatest": self.error, "mean": self.mean, "p95": self.p95}
        return told | {
            "short_mm": self.short,
            "missing_mm": self.missing,
            "moves": self.moves,
            "bytes": self.size,
            "blocks_per_s": self.blocks,
            "joints": self.joints,
            "dips": self.dips,
            "laying_s": self.laying,
            "seconds": self.seconds,
            "memory_mb": self.memory,
        }


def _corners(paths: Sequence[ArcPath]) -> Floats:
    every = [joints(path.points, path.bulge) for path in paths]
    return np.concatenate([np.zeros((0, 2)), *(each.at[each.turn > TURN] for each in every)])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Measure:
    """How beads are measured: against the reference, a bead's width and offsets by rank, at a feed and limits."""

    truth: Laid
    feed: float
    width: float
    offsets: tuple[float, ...]
    limits: MotionLimits

    def way(self, name: str, chord: float | None, laid: Laid) -> Way:
        """A way's centrelines against the boundary of the exact section, and the exact ones against them."""
        off: list[Floats] = [np.zeros(0)]
        moves: list[Floats] = [np.zeros(0)]
        felt, missing, short = 0, 0.0, 0.0
        dips, laying = 0, 0.0
        for layer, ranks in enumerate(laid.layers):
            for rank, paths in enumerate(ranks):
                wanted = self.truth.layers[layer][rank]
                asked = self.offsets[rank]
                off.append(np.abs(distances(self.truth.boundaries[layer], samples(paths, STEP)) - asked))
                away = distances(paths, samples(wanted, STEP))
                gone = away > self.width
                missing += float(gone.sum() / max(1, len(away)) * sum(map(length, wanted)))
                short = max(short, float(away[~gone].max(initial=0.0)))
                moves += map(lengths, paths)
                for motion in profiles(list(paths), [self.feed] * len(paths), self.limits):
                    dips += int((motion.leave[:-1] < DIP * self.feed).sum())
                    laying += motion.duration
                corners = _corners(wanted)
                felt += sum(self._felt(joints(path.points, path.bulge), corners, chord) for path in paths)
        every = np.concatenate(off)
        return Way(
            name=name,
            chord=chord,
            triangles=laid.triangles,
            error=float(every.max(initial=0.0)),
            mean=float(every.mean()) if len(every) else 0.0,
            p95=float(np.quantile(every, 0.95)) if len(every) else 0.0,
            short=short,
            missing=missing,
            moves=laid.n_moves,
            size=laid.n_bytes,
            blocks=busiest(np.concatenate(moves), feed=self.feed),
            joints=felt,
            dips=dips,
            laying=laying,
            seconds={**laid.seconds, "total": sum(laid.seconds.values())},
            memory=laid.memory,
            open_length=laid.open_length,
        )

    @staticmethod
    def _felt(found: Joints, corners: Floats, chord: float | None) -> int:
        """Joints that turn and are no corner of the reference."""
        at = found.at[found.turn > TURN]
        if not len(at) or not len(corners):
            return len(at)
        reach = max(0.05, 3 * (chord or 0.0))
        step = max(1, 4_000_000 // len(corners))
        near = 0
        for first in range(0, len(at), step):
            gap = at[first : first + step, None, :] - corners
            near += int((np.hypot(gap[..., 0], gap[..., 1]).min(axis=1) <= reach).sum())
        return len(at) - near
