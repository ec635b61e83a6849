"""A small reader of RS274/NGC text for tests; it shares no code with the package.

Written from NISTIR 6556: one machine state, words executed in the standard's order. XY-plane arcs only.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field


@dataclass
class Step:
    """One motion: ends in mm (x, y, z), an arc's centre (x, y) and signed sweep, feed in mm/min, extruder."""

    code: int
    start: tuple[float, float, float]
    end: tuple[float, float, float]
    centre: tuple[float, float] | None
    sweep: float
    feed: float
    extruding: bool
    bead: int | None

    @property
    def flat_length(self) -> float:
        if self.centre is None:
            return math.dist(self.start[:2], self.end[:2])
        return abs(self.sweep) * math.dist(self.start[:2], self.centre)

    @property
    def length(self) -> float:
        return math.hypot(self.flat_length, self.end[2] - self.start[2])

    @property
    def radii(self) -> tuple[float, float]:
        return math.dist(self.start[:2], self.centre), math.dist(self.end[:2], self.centre)


@dataclass
class Machine:
    """What the interpreter remembers."""

    position: list[float] = field(default_factory=lambda: [0.0, 0.0, 0.0])
    modes: dict[str, str] = field(
        default_factory=lambda: {
            "motion": "G1",
            "plane": "G17",
            "distance": "G90",
            "feed mode": "G94",
            "units": "G21",
            "path": "G61",
            "system": "G54",
            "compensation": "G40",
            "spindle": "M5",
            "coolant": "M9",
        }
    )
    feed: float = 0.0
    bead: int | None = None
    axis: float = 0.0
    events: list[str] = field(default_factory=list)
    done: bool = False
    steps: list[Step] = field(default_factory=list)
    comments: list[tuple[str, dict[str, str]]] = field(default_factory=list)


GROUPS = {
    "G0": "motion", "G1": "motion", "G2": "motion", "G3": "motion",
    "G17": "plane", "G18": "plane", "G19": "plane",
    "G90": "distance", "G91": "distance", "G93": "feed mode", "G94": "feed mode",
    "G20": "units", "G21": "units", "G61": "path", "G61.1": "path", "G64": "path",
    "G54": "system", "G55": "system", "G40": "compensation",
    "M3": "spindle", "M4": "spindle", "M5": "spindle", "M7": "coolant", "M8": "coolant", "M9": "coolant",
}  # fmt: skip


# Outputs in time with the moves, of controllers that descend from the standard's: on, off, off at once.
OUTPUTS = {"M62": "M3", "M63": "M5", "M65": "M5"}


def read(text: str, *, at: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> Machine:
    """Run a program from a start position and return the machine with its steps."""
    machine = Machine(position=list(at))
    for line in text.splitlines():
        if machine.done:
            break
        for comment in re.findall(r"\(([^()]*)\)", line):
            _comment(comment, machine)
        words = re.findall(r"([A-Z])\s*([-+]?[0-9.]+)", re.sub(r"\([^()]*\)", "", line).upper())
        if words:
            _block([(a, float(b)) for a, b in words], machine)
    return machine


def _comment(text: str, machine: Machine) -> None:
    head, *rest = text.split()
    keys = dict(word.split("=", 1) for word in rest if "=" in word)
    machine.comments.append((head if keys else text, keys))
    if head in {"layer", "bead"} or text.startswith("end "):
        machine.events.append(text.split(" role")[0])
    if head == "bead":
        machine.bead = int(keys["index"])
    if text == "end bead":
        machine.bead = None


def _block(words: list[tuple[str, float]], machine: Machine) -> None:
    """One line, in the standard's order: modes of feed, F, spindle, units and so on, motion, end."""
    values = {a: b for a, b in words if a not in "GM"}
    names = [OUTPUTS.get(name, name) for name in (f"{a}{b:g}" for a, b in words if a in "GM")]
    machine.events += [name for name in names if name in {"M3", "M5", "M2"}]
    for name in names:
        if name in GROUPS:
            machine.modes[GROUPS[name]] = name
    unit = 25.4 if machine.modes["units"] == "G20" else 1.0
    if "F" in values:
        machine.feed = values["F"] * unit
    if set(values) & set("XYZ"):
        _move(values, unit, machine)
    if {"M2", "M30"} & set(names):
        machine.done = True
        machine.modes |= {
            "system": "G54", "plane": "G17", "distance": "G90", "feed mode": "G94", "compensation": "G40",
            "spindle": "M5", "coolant": "M9", "motion": "G1",
        }  # fmt: skip


def _move(values: dict[str, float], unit: float, machine: Machine) -> None:
    start = tuple(machine.position)
    relative = machine.modes["distance"] == "G91"
    end = tuple(
        (old if relative else 0.0) + values[axis] * unit if axis in values else old
        for axis, old in zip("XYZ", start, strict=True)
    )
    code = int(machine.modes["motion"][1:])
    centre, sweep = None, 0.0
    if code > 1:
        turn = 1 if code == 3 else -1
        if "R" in values:
            centre = _centre_by_radius(start, end, values["R"] * unit, turn)
        else:
            centre = (start[0] + values.get("I", 0.0) * unit, start[1] + values.get("J", 0.0) * unit)
        begin, finish = (math.atan2(p[1] - centre[1], p[0] - centre[0]) for p in (start, end))
        sweep = turn * ((turn * (finish - begin)) % (2 * math.pi) or 2 * math.pi)
    extruding = machine.modes["spindle"] != "M5"
    if "A" in values:  # an axis that drives the extruder
        after = machine.axis + values["A"] if relative else values["A"]
        extruding, machine.axis = after > machine.axis, after
    machine.steps.append(Step(code, start, end, centre, sweep, machine.feed, extruding, machine.bead))
    machine.position = list(end)


def _centre_by_radius(start, end, radius: float, turn: int) -> tuple[float, float]:
    """The centre of a radius-form arc: left of the chord for a short counter-clockwise one."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    chord = math.hypot(dx, dy)
    high = math.sqrt(radius**2 - (chord / 2) ** 2) * turn * math.copysign(1.0, radius)
    return (start[0] + end[0]) / 2 - high * dy / chord, (start[1] + end[1]) / 2 + high * dx / chord
