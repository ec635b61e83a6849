"""The machine as the text drives it: modes, offsets, motion (NISTIR 6556, sections 2.1, 3.5)."""

from __future__ import annotations

import math
from collections import Counter

from beadwright.verify._arc import Arc, by_centre, by_radius
from beadwright.verify._moves import MoveTable
from beadwright.verify._reading import MAX_FAULTS_OF_A_RULE, Fault, FlowWords, Standstill
from beadwright.verify._standard import (
    ARC_RULE_INCH,
    ARC_RULE_MM,
    AXES,
    CENTRE_LETTERS,
    CYCLES,
    DIGITS,
    G_GROUPS,
    INCH,
    PLANES,
    SYSTEMS,
)
from beadwright.verify._told import Told
from beadwright.verify._words import WORD, Line


class Machine:
    """State while a program is read. Lengths in mm in machine coordinates, words in their own unit."""

    def __init__(self, flow: FlowWords) -> None:
        self.words = flow
        self.on = as_words(flow.on)
        self.off = as_words(flow.off)
        self.table, self.told = MoveTable(), Told()
        self.standstills: list[Standstill] = []
        self.faults: list[Fault] = []
        self.counts: Counter[str] = Counter()
        self.parameters: dict[int, float] = {}
        self.at = [0.0, 0.0, 0.0]
        self.origins = {code: [0.0, 0.0, 0.0] for code in SYSTEMS}
        self.shift, self.kept_shift = [0.0, 0.0, 0.0], [0.0, 0.0, 0.0]
        self.modes = dict.fromkeys(G_GROUPS, 0)
        self.modes.update(
            {"motion": 10, "plane": 170, "distance": 900, "feed mode": 940, "coordinate system": 540}
        )
        self.unit, self.unit_known, self.moved = 1.0, False, False
        self.units: list[float] = []
        self.first_motion = 0
        self.feed, self.speed, self.turning = 0.0, math.nan, False
        self.coolant, self.override = False, True
        self.advance, self.advance_absolute, self.advance_mark = 0.0, True, 0.0
        self.line, self.ended = 0, False
        self.plain = False
        self.met: set[str] = set()

    def tell(
        self,
        rule: str,
        text: str,
        *,
        measured: float | None = None,
        allowed: float | None = None,
        strict: bool = True,
    ) -> None:
        """Write down a broken rule."""
        self.counts[rule] += 1
        if self.counts[rule] <= MAX_FAULTS_OF_A_RULE:
            self.faults.append(Fault(self.line, rule, text, measured, allowed, strict))

    @property
    def flow(self) -> bool:
        """Whether the extruder runs, where words switch it."""
        return self.turning and self.speed != 0.0

    def stand(self, what: str, seconds: float, advance: float = 0.0) -> None:
        """Write down a wait."""
        x, y, z = self.at
        running = self.flow or advance > 0
        feed = self.feed if self.modes["feed mode"] == 940 else 0.0
        self.standstills.append(Standstill(self.line, what, seconds, running, feed, (x, y, z), advance))

    def origin(self) -> list[float]:
        """Of the coordinate system in force, in machine coordinates."""
        return self.origins.get(self.modes["coordinate system"], [0.0, 0.0, 0.0])

    def offsets(self, codes: set[int], given: dict[str, float]) -> None:
        """G10, G28, G30 and the G92 family (3.5.5, 3.5.8, 3.5.18)."""
        told = [given.get(a) for a in "XYZ"]
        if 100 in codes:
            system = round(given.get("P", 0))
            if given.get("L") != 2 or not 1 <= system <= len(SYSTEMS):
                self.tell("words", "G10 wants L2 and P from 1 to 9")
                return
            old = self.origins[SYSTEMS[system - 1]]
            self.origins[SYSTEMS[system - 1]] = [
                o if v is None else v * self.unit for o, v in zip(old, told, strict=True)
            ]
        if 920 in codes:
            if not any(a in given for a in AXES + self.words.axis):
                self.tell("axes", "G92 without axis words")
            origin = self.origin()
            for axis, value in enumerate(told):
                if value is not None:
                    self.shift[axis] = self.at[axis] - origin[axis] - value * self.unit
            if self.words.axis in given:
                self.advance_mark = self.advance - given[self.words.axis]
            self.kept_shift = list(self.shift)
        if 921 in codes:
            self.shift = self.kept_shift = [0.0, 0.0, 0.0]
        if 922 in codes:
            self.shift = [0.0, 0.0, 0.0]
        if 923 in codes:
            self.shift = list(self.kept_shift)
        if codes & {280, 300}:
            self.tell("not followed", "where G28 and G30 lead stands in the machine, not here", strict=False)
            if any(v is not None for v in told):
                self._go(0, self._target(given), Arc(0, 0, 0, 0, 0), 0.0)

    def motion(self, given: dict[str, float], line: Line | None) -> None:
        """One motion by the mode in force."""
        mode = self.modes["motion"]
        if not self.unit_known:
            self.tell("units", "a motion before G20 or G21")
            self.unit_known = True
        if mode in CYCLES or mode in {382, 800}:
            what = "axis words while motion is cancelled by G80" if mode == 800 else f"G{mode / 10:g}"
            self.tell("not followed", f"{what} is no motion that is followed here")
            return
        if mode and self.feed <= 0:
            self.tell("feed", "a feed move without a feed above 0")
        if line is not None:
            if mode and self.modes["feed mode"] == 930 and line.value("F") is None:
                self.tell("feed", "in inverse time every feed move has its own F")
            if any(axis in given for axis in "ABC" if axis != self.words.axis):
                self.tell("not followed", "turning axes are not followed here")
        machine = line is not None and 530 in line.g
        if machine and (mode not in {0, 10} or self.modes["distance"] == 910):
            self.tell("group", "G53 goes with G0 or G1 and G90 only")
        target = self._target(given, machine=machine)
        arc = Arc(0.0, 0.0, 0.0, 0.0, 0.0)
        if mode in {20, 30}:
            found = self._arc(given, target, clockwise=mode == 20)
            arc = arc if found is None else found
        self._go(mode // 10, target, arc, self._advance(given))

    def _target(self, given: dict[str, float], *, machine: bool = False) -> list[float]:
        """Where a motion ends, in machine coordinates."""
        unit, shift = self.unit, self.shift
        if self.modes["distance"] == 910 and not machine:
            return [p + given.get(a, 0.0) * unit for a, p in zip("XYZ", self.at, strict=True)]
        origin = [0.0, 0.0, 0.0] if machine else [o + s for o, s in zip(self.origin(), shift, strict=True)]
        return [
            o + given[a] * unit if a in given else p for a, p, o in zip("XYZ", self.at, origin, strict=True)
        ]

    def _advance(self, given: dict[str, float]) -> float:
        """Advance of the extruder's axis."""
        axis = self.words.axis
        if not axis or axis not in given:
            return 0.0
        told = given[axis] * self.unit
        step = told + self.advance_mark - self.advance if self.advance_absolute else told
        self.advance += step
        return step

    def _arc(self, given: dict[str, float], target: list[float], *, clockwise: bool) -> Arc | None:
        """An arc by the rules of 3.5.3; None where there is none to follow."""
        first, second, normal = PLANES[self.modes["plane"]]
        centre = CENTRE_LETTERS[first], CENTRE_LETTERS[second]
        if CENTRE_LETTERS[normal] in given:
            self.tell("arc", f"{CENTRE_LETTERS[normal]} has no meaning in this plane")
        if "XYZ"[first] not in given and "XYZ"[second] not in given:
            self.tell("arc", f"an arc without {'XYZ'[first]} and {'XYZ'[second]}")
        x0, y0, x1, y1 = self.at[first], self.at[second], target[first], target[second]
        if "R" in given:
            if given.keys() & set(CENTRE_LETTERS):
                self.tell("arc", "an arc with both a radius and a centre")
            found = by_radius(x0, y0, x1, y1, given["R"] * self.unit, clockwise=clockwise)
            if found is None:
                same = x0 == x1 and y0 == y1
                text = "its end at its start" if same else "a chord longer than its diameter"
                self.tell("arc", f"an arc in radius form with {text}")
            return found
        if centre[0] not in given and centre[1] not in given:
            self.tell("arc", f"an arc without {centre[0]}, {centre[1]} or R")
            return None
        i, j = given.get(centre[0], 0.0) * self.unit, given.get(centre[1], 0.0) * self.unit
        if i == 0.0 and j == 0.0:
            self.tell("arc", "an arc of radius 0")
            return None
        arc = by_centre(x0, y0, x1, y1, i, j, clockwise=clockwise)
        rule = ARC_RULE_INCH * INCH if self.unit == INCH else ARC_RULE_MM
        if arc.mismatch > rule + DIGITS:
            self.tell(
                "arc rule",
                f"the radii at the ends of this arc differ by {arc.mismatch:.6f} mm",
                measured=arc.mismatch,
                allowed=rule,
            )
        return arc

    def _go(self, kind: int, target: list[float], arc: Arc, advance: float) -> None:
        """Write a motion down."""
        start, self.at = self.at, target
        if not self.moved:
            self.moved, self.first_motion = True, self.line
        if self.unit not in self.units:
            self.units.append(self.unit)
        if arc.sweep == 0.0 and start == target:
            if advance > 0:
                self.stand(f"{self.words.axis} alone", math.nan, advance)
            return
        feed = math.nan
        if kind:
            feed = (
                self.feed if self.modes["feed mode"] == 940 else -60.0 / self.feed if self.feed else math.nan
            )
        flow = advance > 0 or (self.flow and not self.words.axis)
        self.table.rows.append(
            (
                self.line,
                kind,
                *start,
                *target,
                self.modes["plane"],
                arc.x,
                arc.y,
                arc.sweep,
                feed or math.nan,
                flow,
                advance,
                self.told.layer,
                self.told.bead,
            )
        )


def as_words(told: str | None) -> tuple[tuple[str, float], ...] | None:
    """Switching words; an empty tuple for a text that holds none, which is then looked for as it stands."""
    if told is None:
        return None
    bare = "".join(told.split()).upper()
    found = WORD.findall(bare)
    if "".join(a + b for a, b in found) != bare:
        return ()
    return tuple((name, float(value)) for name, value in found)
