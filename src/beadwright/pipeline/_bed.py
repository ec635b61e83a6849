"""A measured platform in a plan: which layers follow it, how, and what a reader should know of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from beadwright.beads import Bead
from beadwright.bedmap import BedMap, Follower, Following, follow, read_map
from beadwright.curves import ArcPath, lengths
from beadwright.errors import InputError, SettingsError
from beadwright.layers import LayerPlan
from beadwright.numeric import Finding, counted
from beadwright.process import mean_areas
from beadwright.program import Beside, Climb, Follow
from beadwright.settings import BedMapRule, Resolved

Floats = npt.NDArray[np.float64]

# A layer is laid well from half to one and a half of the bead's height (common practice), where the job does not say.
THIN, THICK = 0.5, 1.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MappedLayer:
    """The beads of one layer that follows the platform.

    Attributes
    ----------
    follower : Follower
    beads : tuple of Bead
        Cut where their height bends.
    follows : tuple of Following
        Heights along each.
    by_speed : bool
        The flow follows the thickness by the speed, at one screw speed.
    kind : {"flat", "round"}
        Of the beads' section.
    """

    follower: Follower
    beads: tuple[Bead, ...]
    follows: tuple[Following, ...]
    by_speed: bool
    kind: Any

    def rises(self) -> list[Floats]:
        """What each move of each bead climbs, mm."""
        return [np.diff(own.rise) for own in self.follows]

    def areas(self) -> list[Floats]:
        """Mean area of the section along each move of each bead, mm2."""
        return [
            mean_areas(self.kind, _widths(bead, bead.path), own.thickness)
            for bead, own in zip(self.beads, self.follows, strict=True)
        ]

    def volumes(self) -> list[float]:
        """Of each bead, mm3: what lies between two layers, on the way in the plane."""
        return [float(area @ lengths(bead.path)) for area, bead in zip(self.areas(), self.beads, strict=True)]

    def feeds(self, feed: float) -> list[float | Floats]:
        """Speed along each bead, mm/s: where the screw turns evenly, that at which it fills the local thickness."""
        if not self.by_speed:
            return [feed] * len(self.beads)
        return [self._filling(bead, own, feed) for bead, own in zip(self.beads, self.follows, strict=True)]

    def _filling(self, bead: Bead, own: Following, feed: float) -> Floats:
        """Speed along each move at which what fills the bead's own height fills the local one, mm/s."""
        width = _widths(bead, own.path)
        level = np.full(len(own.thickness), bead.height)
        full, local = (mean_areas(self.kind, width, each) for each in (level, own.thickness))
        speeds: Floats = feed * full / local
        return speeds

    def follow(self, feed: float) -> Follow:
        """How paths along and beside beads follow the platform, laid at a speed, mm/s."""

        def own(asked: Sequence[Beside]) -> list[tuple[ArcPath, Climb]]:
            made = follow(self.follower, [path for _, path, _ in asked])
            return [
                (each.path, self._climb(bead, each, feed if flowing else None))
                for (bead, _, flowing), each in zip(asked, made, strict=True)
            ]

        return own

    def _climb(self, bead: Bead, made: Following, feed: float | None) -> Climb:
        """Heights along a path; `feed`, mm/s, with the extruder on."""
        return Climb(
            height=self.follower.z + made.rise,
            thickness=made.thickness,
            bound=made.bound,
            slope=made.slope,
            feeds=self._filling(bead, made, feed) if self.by_speed and feed is not None else None,
        )

    def as_dict(self, off: float | None) -> dict[str, Any]:
        """What plan.json says of the layer; `off` is the bound of the printed heights, mm."""
        if not self.follows or off is None:
            return {}
        return {
            "map": {
                "off_mm": off,
                "rise_mm": _range([own.rise for own in self.follows]),
                "thickness_mm": _range([own.thickness for own in self.follows]),
            }
        }


def _widths(bead: Bead, path: ArcPath) -> Floats:
    """Width of a bead along each move of a path on it, mm; as wide as high at the least."""
    own = np.array(bead.widths)[path.support] if bead.widths else np.full(len(path.bulge), bead.width)
    return np.asarray(np.maximum(own, bead.height))


def _range(values: Sequence[Floats]) -> list[float]:
    """Least and greatest."""
    return [min(float(each.min()) for each in values) + 0.0, max(float(each.max()) for each in values) + 0.0]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bed:
    """The measured platform of a plan.

    Attributes
    ----------
    bed : BedMap
    rule : BedMapRule
    least, greatest : float
        Range of a layer's thickness, mm.
    flow : {"speed-tied", "s-word", "axis"}
        How the extruder is commanded.
    kind : {"flat", "round"}
        Of the beads' section.
    feed, vertical : float
        Speed along beads and greatest speed in Z, mm/s.
    """

    bed: BedMap
    rule: BedMapRule
    least: float
    greatest: float
    flow: str
    kind: Any
    feed: float
    vertical: float

    def ground(self, plan: LayerPlan, beads: Sequence[Bead]) -> MappedLayer | None:
        """The beads of a layer above the platform; None where it is even already.

        Raises
        ------
        InputError
            The map does not cover them, or the layer is too thin or too thick somewhere; with the place.
        """
        shared = self.rule.layers
        if plan.index >= shared:
            return None
        follower = Follower(
            bed=self.bed,
            layer=plan.index,
            z=plan.z,
            height=plan.height,
            share=(shared - 1 - plan.index) / shared,
            part=1 / shared,
            bound=self.rule.bound,
            least=self.least,
            greatest=self.greatest,
        )
        follows = tuple(follow(follower, [bead.path for bead in beads]))
        return MappedLayer(
            follower=follower,
            beads=tuple(replace(bead, path=own.path) for bead, own in zip(beads, follows, strict=True)),
            follows=follows,
            by_speed=self.flow == "s-word",
            kind=self.kind,
        )

    def notes(self) -> tuple[str, ...]:
        """What stands at the top of the program."""
        return (
            f"PLATFORM MAP {self.bed.file}: the first {counted(self.rule.layers, 'layer follows', 'layers follow')}"
            f" measured heights of {self.bed.z.min():g} to {self.bed.z.max():g} mm. With a map of another platform or"
            " work offset, or of a cold one, the nozzle can strike the platform: measure again after every change, at"
            " printing temperature.",
        )

    def as_dict(self) -> dict[str, Any]:
        """What plan.json says of the map."""
        told = {
            "file": self.bed.file,
            "sha256": self.bed.sha256,
            "layers": self.rule.layers,
            "columns": len(self.bed.x),
            "rows": len(self.bed.y),
            "box_mm": self.bed.box.tolist(),
            "z_mm": [float(self.bed.z.min()), float(self.bed.z.max())],
            "bound_mm": self.rule.bound,
        }
        return {"bed_map": told}

    def findings(self, grounds: Sequence[MappedLayer | None]) -> tuple[Finding, ...]:
        """That layers are squeezed or stretched, what cannot follow, and how steep it gets."""
        laid = [own for own in grounds if own is not None and own.follows]
        if not laid:
            return ()
        found = [self._squeezed(laid)]
        if self.flow == "speed-tied":
            found.append(self._uneven(laid))
        steep = max(laid, key=lambda own: max(each.slope for each in own.follows))
        speed = self.feed * max(each.slope for each in steep.follows)
        if speed > self.vertical:
            found.append(
                Finding(
                    code="map-steep",
                    level="warning",
                    layer=steep.follower.layer,
                    measured=speed,
                    allowed=self.vertical,
                    unit="mm/s",
                    text="at the beads' speed Z would have to move faster than the machine can; lower the feed",
                )
            )
        return tuple(found)

    def _squeezed(self, laid: Sequence[MappedLayer]) -> Finding:
        """How far material lies off its drawn height at the most: that of the lowest layer's underside."""
        ground, place = max(
            (
                (float((own.follower.height - each.thickness[row]) / own.follower.part), (own, each, row))
                for own in laid
                for each in own.follows
                for row in [int(np.abs(own.follower.height - each.thickness).argmax())]
            ),
            key=lambda pair: abs(pair[0]),
        )
        return Finding(
            code="mapped",
            level="note",
            layer=place[0].follower.layer,
            at_mm=_place(*place),
            measured=ground,
            unit="mm",
            text=f"the first {counted(self.rule.layers, 'layer evens', 'layers even')} out the platform, so what lies"
            " on it is up to so much off its drawn height, and level again above them: an upright wall is as drawn, a"
            " wall that leans by an angle a is off by tan(a) of that",
        )

    def _uneven(self, laid: Sequence[MappedLayer]) -> Finding:
        """How far the flow is off where it cannot follow."""
        share, place = max(
            (
                (abs(float(own.follower.height / each.thickness[row]) - 1), (own, each, row))
                for own in laid
                for each in own.follows
                for row in [int(np.abs(own.follower.height - each.thickness).argmax())]
            ),
            key=lambda pair: pair[0],
        )
        own = place[0]
        return Finding(
            code="map-flow",
            level="warning",
            layer=own.follower.layer,
            at_mm=_place(*place),
            measured=100 * share,
            unit="%",
            text="the drive follows the path speed by itself, so the program cannot fit the flow to the local"
            " thickness: beads come out this much too wide or too narrow there; take flow control s-word or axis, or"
            " let more layers share the height (bed_map.layers)",
        )


def _place(own: MappedLayer, each: Following, row: int) -> tuple[float, float, float]:
    """A node of a bead in space."""
    x, y = each.path.points[row % len(each.path.points)].tolist()
    return x, y, own.follower.z + float(each.rise[row])


def bed_of(resolved: Resolved, flow: str, plans: Sequence[LayerPlan]) -> Bed | None:
    """The measured platform of the job, or else of the machine; None if there is none.

    Parameters
    ----------
    resolved : Resolved
    flow : {"speed-tied", "s-word", "axis"}
        How the extruder is commanded.
    plans : sequence of LayerPlan
        Those of the whole plan.

    Raises
    ------
    InputError
        Its file cannot be read.
    SettingsError
        The thickness that is allowed does not hold the bead's, or there are fewer layers than share the map; what is
        wrong with the file is told with it.
    """
    rule, folder = resolved.settings.bed_map, None
    if rule is None:
        rule, folder = resolved.machine.bed_map, resolved.folder
    elif resolved.source["bed_map"] == "job":
        folder = resolved.job_folder
    if rule is None:
        return None
    settings = resolved.settings
    faults: list[str] = []
    if len(plans) < rule.layers:
        faults.append(
            f"bed_map.layers: {counted(rule.layers, 'layer')} cannot share the platform's heights, since the part has"
            f" {len(plans)}; give {len(plans)} or fewer (--bed-map-layers)"
        )
    path = Path(rule.file)
    if folder is not None and not path.is_absolute():
        path = folder / path
    least = THIN * settings.height if rule.least is None else rule.least
    greatest = rule.greatest
    if greatest is None:
        greatest = min(THICK * settings.height, settings.narrowest())
    if not least <= settings.height <= greatest:
        faults.append(
            f"bed_map: layers of {least:g} to {greatest:g} mm are allowed, but the bead is {settings.height:g} mm high;"
            " set bed_map.least and bed_map.greatest about it"
        )
    try:
        bed = read_map(path)
    except InputError as error:
        if not faults:
            raise
        faults.append(str(error))
        bed = None
    if bed is None or faults:
        raise SettingsError("\n  ".join(faults))
    return Bed(
        bed=bed,
        rule=rule,
        least=least,
        greatest=greatest,
        flow=flow,
        kind=settings.bead_section,
        feed=settings.feed,
        vertical=resolved.machine.speeds.vertical,
    )


def mapped_layers(resolved: Resolved) -> int:
    """How many layers share a measured platform; 0 without one."""
    rule = resolved.settings.bed_map or resolved.machine.bed_map
    return 0 if rule is None else rule.layers
