"""One layer of a bead that climbs steadily: its path, heights and thickness, and how it is laid."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from beadwright.beads import Bead
from beadwright.curves import ArcPath, lengths
from beadwright.process import mean_areas
from beadwright.program import Carry, Climb, Follow

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RisenLayer:
    """The bead of one layer, which goes on from the layer below.

    Attributes
    ----------
    bead : Bead
        Open, with m moves.
    height, thickness : (m + 1,) float
        Of the nozzle, and of what is laid under it, where the first move starts and where each ends, mm.
    carry : Carry
        How it hangs together with the layers beside it.
    fastest : float
        Greatest speed along it, mm/s: of the machine, upwards, and of the whole bead where its screw turns evenly.
    by_speed : float or None
        Where the flow follows the thickness by the speed, at one screw speed: the greatest the machine knows, mm/s.
    even : bool
        Whether every millimetre of it gets as much melt, whatever its thickness.
    kind : {"flat", "round"}
        Of the bead's section.
    bound : float
        How far it may be from where the section at its own height wants it, mm.
    planes : int
        At which the part was cut for it.
    level : ArcPath
        The closed bead in place of which it stands.
    """

    bead: Bead
    height: Floats
    thickness: Floats
    carry: Carry
    fastest: float
    by_speed: float | None
    even: bool
    kind: Any
    bound: float
    planes: int
    level: ArcPath

    @property
    def beads(self) -> tuple[Bead, ...]:
        """The only bead of the layer."""
        return (self.bead,)

    def rises(self) -> list[Floats]:
        """What each move climbs, mm."""
        return [np.diff(self.height)]

    def areas(self) -> Floats:
        """Mean area of what is laid along each move, mm2."""
        return self._full() if self.even else self._local()

    def volumes(self) -> list[float]:
        """Of the bead, mm3, on the way in the plane."""
        return [float(self.areas() @ lengths(self.bead.path))]

    def wanted(self) -> Floats:
        """What lies between each move and what is below it, mm3."""
        return np.asarray(self._local() * lengths(self.bead.path))

    def excess(self, feed: float, *, tied: bool) -> float:
        """Volume that is laid beyond that, mm3: where the drive follows the speed by itself, or the speed ends."""
        run, area = lengths(self.bead.path), self._local()
        full = self._full()
        if tied:
            return float((full - area) @ run)
        return float(np.maximum(full * feed / self._filling(feed) - area, 0.0) @ run)

    def feeds(self, feed: float) -> list[float | Floats]:
        """Speed along it, or along each of its moves, mm/s."""
        return [feed if self.by_speed is None else self._filling(feed)]

    def _local(self) -> Floats:
        """Mean area of the section along each move, as thick as it is there, mm2."""
        return mean_areas(self.kind, max(self.bead.width, self.bead.height), self.thickness)

    def _full(self) -> Floats:
        """Area of the whole section along each move, mm2."""
        level = np.full(len(self.thickness), self.bead.height)
        return mean_areas(self.kind, max(self.bead.width, self.bead.height), level)

    def _filling(self, feed: float) -> Floats:
        """Speed along each move at which what fills the whole section fills the local one, mm/s, as far as it goes."""
        assert self.by_speed is not None
        return np.minimum(feed * self._full() / self._local(), max(feed, self.by_speed))

    def follow(self, feed: float) -> Follow:
        """How the bead climbs, laid at a speed, mm/s; what is laid beside it is level."""

        def one(bead: Bead, path: ArcPath, flowing: bool) -> tuple[ArcPath, Climb]:
            if path is bead.path:
                height, thickness = self.height, self.thickness
                feeds = self._filling(feed) if flowing and self.by_speed is not None else None
            else:
                # A run-in lies before its start, a wiping pass after its end.
                row, feeds = (0 if flowing else -1), None
                height = np.full(len(path.bulge) + 1, self.height[row])
                thickness = np.full(len(height), self.bead.height)
            return path, Climb(height=height, thickness=thickness, bound=0.0, slope=0.0, feeds=feeds)

        return lambda asked: [one(*each) for each in asked]

    def rest(self, beads: Sequence[Bead]) -> RisenLayer:
        """What is left of it where its bead is shorter: a print is taken up within it."""
        (bead,) = beads
        way = np.concatenate([[0.0], np.cumsum(lengths(self.bead.path))])
        own = np.concatenate([[0.0], np.cumsum(lengths(bead.path))])
        at = way[-1] - own[-1] + own
        return replace(
            self,
            bead=bead,
            height=np.interp(at, way, self.height),
            thickness=np.interp(at, way, self.thickness),
            carry=replace(self.carry, begins=False),
        )

    def as_dict(self) -> dict[str, Any]:
        """What plan.json says of the layer."""
        return {
            "rising": {
                "start_mm": [*self.bead.start, float(self.height[0])],
                "end_mm": [*self.bead.end, float(self.height[-1])],
                "thickness_mm": [float(self.thickness.min()), float(self.thickness.max())],
                "planes": self.planes,
                "off_mm": self.bound,
            }
        }
