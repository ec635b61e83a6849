"""The words of a controller, as data: templates for events, checked when they are loaded."""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType
from typing import Annotated, Literal

from pydantic import Field

from beadwright.post._words import LEAST_DECIMALS, MOST_DECIMALS, Units
from beadwright.settings import Motion, Quantity, Section

FIELD = re.compile(r"\{([^{}]*)\}")

MOVE = frozenset({"x", "y", "dx", "dy", "a", "da"})
FIELDS: Mapping[str, frozenset[str]] = MappingProxyType(
    {
        "program_start": frozenset({"units", "path_tolerance", "work_offset", "off"}),
        "program_end": frozenset({"off"}),
        "flow_start": frozenset({"on", "rpm"}),
        "flow_stop": frozenset({"off"}),
        "flow_change": frozenset({"rpm"}),
        "rise": frozenset({"z"}),
        "traverse": frozenset({"x", "y"}),
        "lower": frozenset({"z"}),
        "lift": frozenset({"z"}),
        "feed": frozenset({"feed"}),
        "line": MOVE,
        "arc_clockwise": MOVE | {"i", "j", "r"},
        "arc_counterclockwise": MOVE | {"i", "j", "r"},
        "dwell": frozenset({"seconds"}),
        "stop": frozenset(),
        "message": frozenset({"text"}),
    }
)
"""What the lines of each event may name in braces."""

MOTIONS = ("line", "arc_clockwise", "arc_counterclockwise")
"""Events of which one line is one move."""


class Event(Section):
    """What is written for an event, and what the axes do meanwhile."""

    lines: tuple[Annotated[str, Field(max_length=200)], ...] = Field(
        max_length=20, description="lines of the program; a line that comes out empty is left out"
    )
    motion: Motion = Field(
        description="halts: the axes stand while the line is carried out; blends: they do not;"
        " synchronised: it takes effect with the start of the next move"
    )
    halt_time: Annotated[float, Quantity("time", 0.0, 600.0)] | None = Field(
        None, description="how long the axes stand, s; stated exactly where they halt"
    )

    def between(self) -> list[tuple[str, str]]:
        """A halt has its time."""
        if self.motion == "halts" and self.halt_time is None:
            return [("halt_time", "must be stated where motion is halts")]
        if self.motion != "halts" and self.halt_time:
            return [("halt_time", f"has no meaning where motion is {self.motion}")]
        return []

    @property
    def halt(self) -> float:
        """How long the axes stand for it, s."""
        return self.halt_time or 0.0


class Events(Section):
    """All events that a program is made of; none may be missing."""

    program_start: Event = Field(description="units, plane, modes: before anything moves")
    program_end: Event = Field(description="the last word")
    flow_start: Event = Field(description="the extruder starts")
    flow_stop: Event = Field(description="the extruder stops")
    flow_change: Event | None = Field(
        None,
        description="another screw speed inside a bead, where flow is s-word; only if it is synchronised with motion"
        " do beads vary in width",
    )
    rise: Event = Field(description="traverse rate, to height z")
    traverse: Event = Field(description="traverse rate, to x, y")
    lower: Event = Field(description="feed move down to a bead's height z")
    lift: Event = Field(description="feed move up to height z")
    feed: Event = Field(description="feed from now on, units a minute")
    line: Event = Field(description="straight feed move; where a move climbs, a Z word follows its Y word")
    arc_clockwise: Event | None = Field(None, description="clockwise arc; needed unless arcs is lines")
    arc_counterclockwise: Event | None = Field(
        None, description="counter-clockwise arc; needed unless arcs is lines"
    )
    dwell: Event = Field(description="wait for some seconds")
    stop: Event = Field(description="stop until the operator goes on")
    message: Event = Field(description="a text for the operator")


class Split(Section):
    """Where a program is cut into files; always between layers."""

    by: Literal["layer", "time", "size"] = Field(description="what a file may hold at the most")
    most: float = Field(
        ge=1.0, le=1e12, description="layers, seconds or bytes; layers of one rising bead count as one"
    )


class Dialect(Section):
    """The words of a controller.

    ``Dialect`` is plain data from a TOML file (`load_dialect`); `RS274NGC` is that of the standard.
    """

    name: str = Field(
        pattern=r"^[a-z0-9][a-z0-9_-]{0,39}$", description="lower-case letters, digits, - and _"
    )
    title: str = Field(max_length=100, pattern=r"^[ -'*-~]+$", description="ASCII without parentheses")
    units: Units = Field(description="of the words")
    decimals: int | None = Field(
        None, ge=3, le=8, description="of the coordinates, where the job says nothing; else 4"
    )
    distance: Literal["absolute", "incremental"] = Field(description="how bead moves are written")
    arcs: Literal["centre", "radius", "lines"] = Field(
        description="centre: I and J; radius: R, not advised; lines: chords"
    )
    chord: Annotated[float, Quantity("length", 0.0001, 1.0)] | None = Field(
        None, description="greatest distance of a chord from its arc, mm; stated exactly where arcs is lines"
    )
    path: Literal["exact", "continuous"] = Field(description="path mode that program_start selects")
    flow: Literal["speed-tied", "s-word", "axis"] = Field(description="how the extruder is commanded")
    on: str | None = Field(None, pattern=r"^[A-Z][0-9.]+$", description="word that starts the extruder")
    off: str | None = Field(None, pattern=r"^[A-Z][0-9.]+$", description="word that stops the extruder")
    axis: Literal["A", "B", "C"] | None = Field(None, description="extruder axis, where flow is axis")
    beyond: tuple[Annotated[str, Field(pattern=r"^M[0-9]{1,4}$")], ...] = Field(
        (), max_length=50, description="M words that the controller has and NISTIR 6556 has not, as M62"
    )
    line_numbers: int = Field(0, ge=0, le=1000, description="step of N words; 0: none")
    split: Split | None = Field(None, description="where the program is cut into files")
    events: Events = Field(description="what is written for each event")

    def between(self) -> list[tuple[str, str]]:
        """Fields known, arcs and flow whole."""
        faults = [*self._field_faults()]
        if (self.chord is None) == (self.arcs == "lines"):
            faults.append(("chord", "is stated exactly where arcs is lines"))
        if self.decimals is not None and not LEAST_DECIMALS[self.units] <= self.decimals <= MOST_DECIMALS:
            faults.append(
                ("decimals", f"allowed {LEAST_DECIMALS[self.units]} to {MOST_DECIMALS} in {self.units}")
            )
        if self.arcs != "lines":
            faults += [
                (f"events.{name}", "is missing, and arcs is not lines")
                for name in MOTIONS[1:]
                if getattr(self.events, name) is None
            ]
        if self.flow != "s-word" and self.events.flow_change is not None:
            faults.append(("events.flow_change", f"has no meaning where flow is {self.flow}"))
        for key in ("on", "off"):
            if (getattr(self, key) is None) != (self.flow == "axis"):
                faults.append((key, "is stated exactly where flow is not axis"))
        if (self.axis is None) == (self.flow == "axis"):
            faults.append(("axis", "is stated exactly where flow is axis"))
        return faults

    def _field_faults(self) -> list[tuple[str, str]]:
        faults = []
        for name, known in FIELDS.items():
            event: Event | None = getattr(self.events, name)
            if event is None or (self.arcs == "lines" and name in MOTIONS[1:]):
                continue
            key = f"events.{name}.lines"
            used = {field for line in event.lines for field in FIELD.findall(line)}
            for unknown in sorted(used - known):
                shown = ", ".join(sorted(known)) or "none"
                faults.append((key, f"there is no field {{{unknown}}} in {name}; known are: {shown}"))
            if any(set(FIELD.sub("", line)) & set("{}") for line in event.lines):
                faults.append((key, "a brace that opens or closes no field"))
            wanted = self._wanted(name)
            if not wanted <= used:
                missing = ", ".join(f"{{{field}}}" for field in sorted(wanted - used))
                faults.append((key, f"must write {missing}"))
            if name in MOTIONS and len(event.lines) != 1:
                faults.append((key, "must be one line"))
        return faults

    def _wanted(self, name: str) -> set[str]:
        """Fields without which an event would not say what it must."""
        if name in MOTIONS:
            ends = {"x", "y"} if self.distance == "absolute" else {"dx", "dy"}
            centre = set() if name == "line" else {"i", "j"} if self.arcs == "centre" else {"r"}
            advance = set() if self.flow != "axis" else {"a"} if self.distance == "absolute" else {"da"}
            return ends | centre | advance
        return {
            "program_start": {"units"} | ({"path_tolerance"} if self.path == "continuous" else set()),
            "flow_start": {"rpm"} if self.flow == "s-word" else set(),
            "flow_change": {"rpm"},
            "rise": {"z"},
            "traverse": {"x", "y"},
            "lower": {"z"},
            "lift": {"z"},
            "feed": {"feed"},
            "dwell": {"seconds"},
        }.get(name, set())

    @property
    def varies(self) -> bool:
        """Whether what is laid can change inside a bead while the axes go on: by the flow, or by the speed."""
        return self.flow == "axis" or self._changes or self.by_speed

    @property
    def by_speed(self) -> bool:
        """Whether it changes by the speed: the screw turns evenly along a bead, and lays more where that is slow."""
        return self.flow == "s-word" and not self._changes

    @property
    def _changes(self) -> bool:
        change = self.events.flow_change
        return change is not None and change.motion == "synchronised"

    def write(self, event: str, /, **fields: str) -> str:
        """Lines of an event, each with its end; empty ones are left out.

        Parameters
        ----------
        event : str
            Its name.
        **fields : str
            What its lines may name, as text.
        """
        told: Event | None = getattr(self.events, event)
        if told is None:
            return ""
        lines = (line.format(**fields).strip() for line in told.lines)
        return "".join(f"{line}\n" for line in lines if line)
