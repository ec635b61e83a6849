"""A program's text to motion: one state machine in the order of execution (NISTIR 6556, table 8)."""

from __future__ import annotations

import math
import re

from beadwright.verify._machine import Machine, as_words
from beadwright.verify._reading import FlowWords, Reading
from beadwright.verify._standard import (
    AXES,
    CENTRE_LETTERS,
    ENDS,
    G_GROUPS,
    HALTS,
    INCH,
    MOTIONS,
    NEEDS,
    TAKES_AXES,
)
from beadwright.verify._told import number as told_number
from beadwright.verify._words import Line, split

NUMBER = r"-?\d{1,12}\.?\d{0,15}"
# Most lines of a long program are one plain move each: read without the general way.
PLAIN = re.compile(
    rf"G0?([0-3]) ?(?:X({NUMBER}) ?)?(?:Y({NUMBER}) ?)?(?:Z({NUMBER}) ?)?(?:I({NUMBER}) ?J({NUMBER}))?"
)
# Far below the length that a line may have.
SHORT = 200


def read(text: str, flow: FlowWords | None = None) -> Reading:
    r"""Read a program.

    Parameters
    ----------
    text : str
        The whole program.
    flow : FlowWords, optional

    Examples
    --------
    >>> found = read("G21\nF600\nM3\nG1 X100 M5\nM2\n")
    >>> found.moves.length, found.faults[0].rule, found.faults[0].line
    (array([100.]), 'event with motion', 4)
    """
    reader = _Reader(flow or FlowWords())
    lines = text.split("\n")
    wrapped = reader.wrapping(lines)
    for number, raw in enumerate(lines, 1):
        reader.line = number
        reader.read(raw.rstrip("\r"))
    reader.line = len(lines)
    if not (reader.ended or wrapped):
        reader.tell("end", "neither M2 or M30, nor % at both ends")
    return reader.freeze()


class _Reader(Machine):
    """The machine with the text in front of it."""

    def wrapping(self, lines: list[str]) -> bool:
        """Whether the program stands between two lines of a lone %."""
        lone = [i for i, raw in enumerate(lines, 1) if raw.strip() == "%"]
        first = next((i for i, raw in enumerate(lines, 1) if raw.strip()), 0)
        if lone and lone[0] == first and len(lone) == 1:
            self.line = first
            self.tell("percent", "the first line is %, so a second % must follow the program")
        return len(lone) >= 2 and lone[0] == first

    def read(self, raw: str) -> None:
        """One line."""
        if self.plain and raw[:1] == "G":
            found = PLAIN.fullmatch(raw)
            if found is not None and len(raw) < SHORT:
                mode, *values = found.groups()
                given = {k: float(v) for k, v in zip("XYZIJ", values, strict=True) if v is not None}
                if given and ("I" in given) == (mode in "23"):
                    self.modes["motion"] = int(mode) * 10
                    self.motion(given, None)
                    return
        if raw.strip() == "%" or not raw:
            return
        line = split(raw, self.parameters, self.words.axis)
        for told in line.comments:
            self.told.comment(told, self.line)
            self._flow_words()
            if self.told.header_line == self.line and "axis_at" in self.told.header:
                self.advance = told_number(self.told.header["axis_at"])
        beyond = {f"M{code}" for code in line.m} & self._beyond()
        for broken in line.broken:
            if broken.rule == "code" and broken.text.rsplit(" ", 1)[-1] in beyond:
                continue
            self.tell(broken.rule, broken.text)
        for word in sorted(beyond - self.met):
            self.tell(
                "beyond",
                f"{word} is not in the standard: the program says that its controller has it",
                strict=False,
            )
        self.met |= beyond
        if not line.words and not line.settings:
            return
        if self.ended:
            self.tell("end", "words after the program's end never run", strict=False)
            return
        self.execute(line, raw)
        self.parameters.update(line.settings)
        self.plain = (
            self.modes["distance"] == 900
            and self.modes["plane"] == 170
            and self.modes["feed mode"] == 940
            and not self.ended  # type: ignore[redundant-expr]  # execute() may have ended it
            and self.unit_known
        )

    def _beyond(self) -> set[str]:
        """M words outside the standard that the program's own head names."""
        told = self.told.header.get("beyond", "")
        return set(told.split(",")) if told else set()

    def _flow_words(self) -> None:
        """Take the switching words from the program's own head, if none were given."""
        if self.words.on is None and self.told.header.get("on"):
            self.on = as_words(self.told.header["on"])
        if self.words.off is None and self.told.header.get("off"):
            self.off = as_words(self.told.header["off"])

    def execute(self, line: Line, raw: str) -> None:
        """All words of a line, in the standard's order."""
        given = {name: number for name, number in line.words if name not in "GMNFST"}
        codes = set(line.g)
        if not {f"M{code}" for code in line.m} & self._beyond():
            self._unused(given, codes)
        self._feed(line, codes)
        for name, number in line.words:
            if name in "STD" and number < 0:
                self.tell("words", f"a negative {name} word")
        speed = line.value("S")
        if speed is not None:
            self.speed = speed
        self._switch(line, raw)
        if {7, 8} & set(line.m):
            self.coolant = True
        elif 9 in line.m:
            self.coolant = False
        self._extruder_modes(line.m)
        if 40 in codes:
            self._dwell(given)
        self._modes(codes)
        if codes & TAKES_AXES or codes & {921, 922, 923}:
            self.offsets(codes, given)
        moves = not codes & TAKES_AXES and any(axis in given for axis in self._axes(codes))
        if moves:
            if line.m:
                switch = bool({3, 4, 5} & set(line.m))
                text = "an M word acts before the motion of its own line"
                self.tell("event with motion", text, strict=switch)
            self.motion(given, line)
        elif codes & (MOTIONS - {800}):
            self.tell("axes", "a motion word without axis words")
        self._stops(line.m)

    def _axes(self, codes: set[int]) -> str:
        """Letters that make this line a motion."""
        motion = next((c for c in codes if c in MOTIONS), self.modes["motion"])
        return AXES + self.words.axis + (CENTRE_LETTERS + "R" if motion in {20, 30} else "")

    def _unused(self, given: dict[str, float], codes: set[int]) -> None:
        """Words that nothing on the line or in force uses."""
        force = {*codes}
        if not codes & MOTIONS:
            force.add(self.modes["motion"])
        for letter in given:
            wanted = NEEDS.get(letter)
            if wanted is not None and letter != self.words.axis and not force & wanted:
                self.tell("unused word", f"nothing on this line uses {letter}")

    def _feed(self, line: Line, codes: set[int]) -> None:
        mode = next((c for c in codes if c in {930, 940}), None)
        if mode is not None and mode != self.modes["feed mode"]:
            self.modes["feed mode"] = mode
            self.feed = 0.0
        number = line.value("F")
        if number is None:
            return
        if number < 0:
            self.tell("feed", "a negative feed")
        # Units of the same line act later (table 8), but a feed is stored as told: see 3.5.7.
        unit = INCH if 200 in codes else 1.0 if 210 in codes else self.unit
        self.feed = number if self.modes["feed mode"] == 930 else number * unit / 60.0

    def _switch(self, line: Line, raw: str) -> None:
        """The extruder's words."""
        if self.off is not None:
            off = line.holds(self.off) if self.off else (self.words.off or "?").upper() in raw.upper()
        else:
            off = 5 in line.m
        if self.on is not None:
            on = line.holds(self.on) if self.on else (self.words.on or "?").upper() in raw.upper()
        else:
            on = bool({3, 4} & set(line.m))
        if off or 5 in line.m:
            self.turning = False
        elif on:
            self.turning = True

    def _extruder_modes(self, m: tuple[int, ...]) -> None:
        """M82 and M83 of programs with an extruder's axis; outside the standard, and told as such."""
        if self.words.axis and {82, 83} & set(m):
            self.advance_absolute = 82 in m

    def _dwell(self, given: dict[str, float]) -> None:
        seconds = given.get("P")
        if seconds is None:
            self.tell("dwell", "G4 without P")
        elif seconds < 0:
            self.tell("dwell", "a negative dwell")
        else:
            self.stand("G4", seconds)

    def _modes(self, codes: set[int]) -> None:
        """Modes, each by its group."""
        for group, members in G_GROUPS.items():
            found = codes & members
            if not found or group in {"not modal", "feed mode"}:
                continue
            code = min(found)
            if group == "units":
                self._units(code)
            elif code in {410, 420, 430}:
                self.tell(
                    "not followed", f"G{code // 10} shifts what later words mean; it is not followed here"
                )
            self.modes[group] = code

    def _units(self, code: int) -> None:
        unit = INCH if code == 200 else 1.0
        if self.moved and unit != self.unit:
            self.tell("units", "the unit changes after a motion", strict=False)
        self.unit, self.unit_known = unit, True

    def _stops(self, m: tuple[int, ...]) -> None:
        if HALTS & set(m):
            self.stand(f"M{min(HALTS & set(m))}", math.nan)
        if 6 in m:
            self.stand("M6", math.nan)
        if ENDS & set(m):
            if self.flow:
                self.stand(f"M{min(ENDS & set(m))}", 0.0)
            self._reset()

    def _reset(self) -> None:
        """What M2 and M30 set back (3.6.1)."""
        self.ended, self.turning, self.coolant, self.override = True, False, False, True
        self.shift = [0.0, 0.0, 0.0]
        self.modes.update({"motion": 10, "plane": 170, "distance": 900, "feed mode": 940})
        self.modes.update({"coordinate system": 540, "radius compensation": 400})

    def freeze(self) -> Reading:
        """The finished reading."""
        return Reading(
            moves=self.table.freeze(),
            standstills=tuple(self.standstills),
            told=self.told,
            faults=tuple(sorted(self.faults, key=lambda fault: fault.line)),
            counts=dict(self.counts),
            state={**self.modes, "flow": self.flow, "coolant": self.coolant, "override": self.override},
            units=tuple(self.units),
            unit_line=self.first_motion,
            lines=self.line,
        )
