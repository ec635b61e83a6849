"""What the machine can do, with defaults of a generic gantry of 6 x 2.4 x 1.8 m."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Annotated, ClassVar, Literal

from pydantic import Field

from beadwright.settings._base import Fault, Section
from beadwright.settings._bed_map import BedMap
from beadwright.settings._quantity import AlsoText, Quantity

Place = Annotated[float, Quantity("length", -100_000.0, 100_000.0)]
Size = Annotated[float, Quantity("length", 1.0, 100_000.0)]
Speed = Annotated[float, Quantity("speed", 0.1, 5000.0)]
Acceleration = Annotated[float, Quantity("acceleration", 1.0, 100_000.0)]
Share = Annotated[float, Field(ge=0.05, le=2.0)]
Seconds = Annotated[float, Quantity("time", 0.0, 86_400.0)]
Words = tuple[Annotated[str, Field(max_length=200)], ...]
# M words with their P, Q or S; or a dwell; spaces between.
_SWITCHING = re.compile(r"(?:M[0-9]+(?: [PQS][0-9.]+)*)(?: M[0-9]+(?: [PQS][0-9.]+)*)*|G4 P[0-9.]+")
Motion = Literal["halts", "blends", "synchronised"]


class KeepOut(Section):
    """A box that neither nozzle nor tamper may enter, machine coordinates."""

    name: str = Field("keep-out", max_length=60, description="what stands there")
    low: tuple[Place, Place, Place] = Field(description="lowest corner X,Y,Z, mm")
    high: tuple[Place, Place, Place] = Field(description="highest corner X,Y,Z, mm")

    def between(self) -> list[tuple[str, str]]:
        """Corners in their order."""
        if all(a < b for a, b in zip(self.low, self.high, strict=True)):
            return []
        return [("high", "each number must be above that of low")]


class Volume(Section):
    """What the tip of the nozzle can reach."""

    size: tuple[Size, Size, Size] = Field(
        (6000.0, 2400.0, 1800.0), description="its size along X, Y and Z, mm"
    )
    corner: tuple[Place, Place, Place] | None = Field(
        None,
        description="lowest corner in machine coordinates, mm; default: zero is the middle of the platform",
    )
    keep_out: tuple[KeepOut, ...] = Field((), description="boxes that may not be entered")

    def low(self) -> tuple[float, float, float]:
        """Lowest corner, mm."""
        return self.corner if self.corner is not None else (-self.size[0] / 2, -self.size[1] / 2, 0.0)

    def high(self) -> tuple[float, float, float]:
        """Highest corner, mm."""
        low, size = self.low(), self.size
        return low[0] + size[0], low[1] + size[1], low[2] + size[2]


class Speeds(Section):
    """Speeds of the nozzle."""

    least: Speed = Field(1.0, description="least speed along a bead, mm/s")
    greatest: Speed = Field(500.0, description="greatest speed along a bead, mm/s")
    traverse: Speed = Field(300.0, description="traverse rate (G0) in X and Y, mm/s")
    vertical: Speed = Field(100.0, description="greatest speed in Z, mm/s")

    override: tuple[Share, Share] = Field(
        (0.9, 1.0),
        description="least and greatest feed override that the operator runs with; 1 is the programmed feed and lies"
        " in it: the estimate's time has its range from it",
    )

    def _range(self) -> Iterator[Fault]:
        if self.least >= self.greatest:
            yield "least", f"{self.least:g} mm/s is not below the greatest, {self.greatest:g} mm/s"

    def _override(self) -> Iterator[Fault]:
        low, high = self.override
        if low > high:
            yield "override", "the first number must not be above the second"
        elif not low <= 1.0 <= high:
            yield (
                "override",
                f"{low:g} to {high:g} leaves out 1, the programmed feed, for which time and heat are reckoned; program"
                " the feed that is really run (--feed), and give its range about 1",
            )

    RULES: ClassVar = (_range, _override)


class Accelerations(Section):
    """Accelerations that the controller plans with."""

    along: Acceleration = Field(1000.0, description="along the path, mm/s2")
    across: Acceleration = Field(1000.0, description="towards the centre of an arc, mm/s2")
    vertical: Acceleration = Field(500.0, description="in Z, mm/s2")


class PathMode(Section):
    """How the controller goes round corners."""

    mode: Literal["exact", "continuous"] = Field(
        "exact", description="exact: exact path, G61; continuous: corners are cut within the tolerance, G64 P"
    )
    tolerance: Annotated[float, Quantity("length", 0.0001, 10.0)] | None = Field(
        None, description="greatest distance from the programmed path in mode continuous, mm"
    )

    def between(self) -> list[tuple[str, str]]:
        """A tolerance is stated exactly where it is used."""
        if self.mode == "continuous" and self.tolerance is None:
            return [("tolerance", "must be stated in mode continuous: without it a corner has no limit")]
        if self.mode == "exact" and self.tolerance is not None:
            return [("tolerance", "has no meaning in mode exact; take mode continuous or leave it out")]
        return []


class CalibrationRow(Section):
    """One weighed purge at a steady screw speed."""

    rpm: float = Field(gt=0.0, le=2000.0, description="screw speed, rpm")
    rate: Annotated[float, Quantity("rate", 0.0, 2000.0)] = Field(description="mass flow weighed, kg/h")


class Lag(Section):
    """How the extruder follows a command: a dead time, then first order with a time constant."""

    dead_up: Seconds = Field(description="dead time after a start, s")
    tau_up: Seconds = Field(description="time constant of the rise, s")
    dead_down: Seconds = Field(description="dead time after a stop, s")
    tau_down: Seconds = Field(description="time constant of the fall, s")
    prime: Seconds = Field(0.0, description="time for which the screw turns standing before it moves, s")
    date: str = Field("", max_length=40, description="when it was measured")


class Extruder(Section):
    """The screw, its drive and its lag."""

    flow_control: Literal["speed-tied", "s-word", "axis"] = Field(
        "speed-tied",
        description="speed-tied: the drive follows the path speed by itself; s-word: the program commands rpm;"
        " axis: the program moves an axis A that feeds the screw",
    )
    least_rpm: float = Field(5.0, gt=0.0, le=2000.0, description="least screw speed, rpm")
    greatest_rpm: float = Field(120.0, gt=0.0, le=2000.0, description="greatest screw speed, rpm")
    axis_scale: float = Field(
        1.0, gt=0.0, le=1e6, description="volume per unit of the extruder axis, mm3 (flow control axis)"
    )
    calibration: tuple[CalibrationRow, ...] = Field(
        (), max_length=1000, description="weighed purges at three or more screw speeds; none: not calibrated"
    )
    calibration_date: str = Field("", max_length=40, description="when they were weighed")
    lag: Lag | None = Field(None, description="as measured; without it the lag is not calibrated")
    idle_limit: Seconds = Field(180.0, description="longest time for which melt may stand in the barrel, s")
    purge: Annotated[float, Quantity("mass", 0.0, 100.0)] = Field(
        1.0, description="mass purged off the part after a longer stop, kg"
    )
    purge_place: tuple[Place, Place, Place] | None = Field(
        None,
        description="where purge moves begin, off the part, program coordinates of the tip, mm: the program then purges"
        " at its start, after planned stops and in waits beyond idle_limit; none: the operator purges by hand",
    )
    purge_track: Annotated[float, Quantity("length", 10.0, 10_000.0)] = Field(
        300.0, description="length of the purge moves back and forth along X from there, mm"
    )
    start_lead: Literal["run-in", "none"] = Field(
        "run-in",
        description="run-in: with a lag, open beads begin with a run back over their own first stretch while the flow"
        " comes up; none: with the extruder's start at their first point",
    )
    wipe: Annotated[float, Quantity("length", 0.0, 1000.0)] = Field(
        0.0,
        description="length of the nozzle wiping pass at an open end, mm; 0: three time constants of the lag",
    )

    def _range(self) -> Iterator[Fault]:
        if self.least_rpm >= self.greatest_rpm:
            yield "least_rpm", f"{self.least_rpm:g} is not below the greatest, {self.greatest_rpm:g} rpm"

    def _rows(self) -> Iterator[Fault]:
        if len({row.rpm for row in self.calibration}) in {1, 2}:
            yield "calibration", "needs weighed purges at three or more screw speeds"

    RULES: ClassVar = (_range, _rows)


class Tamper(Section):
    """A plate or ring round the nozzle that presses the bead flat."""

    shape: Literal["circle", "rectangle"] = Field("circle", description="shape of its footprint")
    size: tuple[Size, Size] = Field(
        (80.0, 80.0), description="size of its footprint along X and Y, mm; of a circle its diameter"
    )
    stroke: Annotated[float, Quantity("length", 0.0, 100.0)] = Field(
        2.0, description="length of its stroke, mm"
    )
    lowest: Annotated[float, Quantity("length", -50.0, 50.0)] = Field(
        0.0, description="its lowest point above the tip of the nozzle, mm"
    )
    on_delay: Seconds = Field(0.0, description="time from the start of a bead to the first stroke, s")


class Head(Section):
    """What moves with the nozzle and would strike a part that stands beside: for parts printed one after another."""

    size: tuple[Size, Size] = Field(
        description="size of the head along X and Y, the nozzle in its middle, mm"
    )
    above_tip: Annotated[float, Quantity("length", 0.0, 10_000.0)] = Field(
        description="its lowest point above the tip of the nozzle, mm"
    )
    beam_depth: Size = Field(
        description="depth along Y of the beam that carries it all along X, the nozzle in its middle, mm"
    )
    beam_above_tip: Annotated[float, Quantity("length", 0.0, 10_000.0)] = Field(
        description="the beam's lowest point above the tip of the nozzle, mm"
    )


Moment = Literal[
    "program start",
    "program end",
    "layer begin",
    "layer end",
    "bead start",
    "bead end",
    "traverse begin",
    "traverse end",
    "pause begin",
    "pause end",
    "closure",
]


def _no_switching(key: str, lines: Words) -> Iterator[Fault]:
    for line in lines:
        if not _SWITCHING.fullmatch(line):
            yield (
                key,
                f"{line!r} is no line of M words alone: a device is never switched on a line with a move",
            )


class Device(Section):
    """A device and the moments at which it is switched."""

    name: str = Field(
        pattern=r"^[a-z][a-z0-9_-]{0,39}$", description="its name: lower-case letters, digits, - and _"
    )
    on: Words = Field((), description="lines that switch it on")
    off: Words = Field((), description="lines that switch it off")
    on_at: tuple[Moment, ...] = Field((), description="moments at which it is switched on")
    off_at: tuple[Moment, ...] = Field((), description="moments at which it is switched off")
    motion: Motion = Field("halts", description="what the axes do meanwhile")
    halt_time: Seconds = Field(0.2, description="how long the axes stand if they halt, s")
    heats: Literal["melt", "platform"] | None = Field(None, description="what it heats, if it is a heater")
    temperature: Annotated[float, Quantity("temperature", -50.0, 500.0)] | None = Field(
        None, description="to what its lines set it, degC; held against the material card"
    )

    def _on_lines(self) -> Iterator[Fault]:
        yield from _no_switching("on", self.on)

    def _off_lines(self) -> Iterator[Fault]:
        yield from _no_switching("off", self.off)

    def _on_moments(self) -> Iterator[Fault]:
        if self.on_at and not self.on:
            yield "on_at", "names moments, but on has no line"

    def _off_moments(self) -> Iterator[Fault]:
        if self.off_at and not self.off:
            yield "off_at", "names moments, but off has no line"

    def _ends(self) -> Iterator[Fault]:
        if self.on_at and "program end" not in self.off_at:
            yield "off_at", "must hold program end, so that nothing stays on"

    RULES: ClassVar = (_on_lines, _off_lines, _on_moments, _off_moments, _ends)


class Controller(Section):
    """What the controller can read."""

    dialect: str = Field(
        "rs274", max_length=1000, description="name of a shipped dialect, or a dialect file beside this one"
    )
    name_length: int | None = Field(None, ge=8, le=255, description="longest name of a program, characters")
    line_ending: Literal["lf", "crlf"] = Field("lf", description="end of each line")
    greatest_size: int | None = Field(None, ge=1000, description="greatest program, bytes")
    block_time: Annotated[float, Quantity("time", 0.0, 10.0)] = Field(
        0.0,
        description="time to take in a line, s; 0: not known; shorter moves are merged within the arcs' tolerance",
    )


class WorkOffset(Section):
    """Where the program's zero lies."""

    word: str | None = Field(
        None,
        pattern=r"^G5[4-9](\.[123])?$",
        description="coordinate system selected at the start: G54 to G59.3",
    )
    at: tuple[Place, Place, Place] = Field(
        (0.0, 0.0, 0.0), description="program zero in machine coordinates, mm"
    )


class Room(Section):
    """The air round the machine."""

    temperature: Annotated[float, Quantity("temperature", -30.0, 150.0)] = Field(
        20.0, description="temperature of the air, degC"
    )
    convection: float = Field(7.0, ge=0.1, le=500.0, description="coefficient of free convection, W/m2K")


class Rates(Section):
    """Prices and powers, for the estimate; 0: not counted."""

    currency: str = Field("USD", pattern=r"^[A-Z]{3}$", description="three letters as in ISO 4217")
    machine: float = Field(0.0, ge=0.0, le=1e6, description="price of an hour of the machine")
    labour: float = Field(0.0, ge=0.0, le=1e6, description="price of an hour of labour")
    attendance: float = Field(1.0, ge=0.0, le=10.0, description="hours of labour in an hour of the build")
    energy: float = Field(0.0, ge=0.0, le=1e4, description="price of a kWh")
    sheet: float = Field(0.0, ge=0.0, le=1e6, description="price of the sheet printed on")
    idle_power: Annotated[float, Quantity("power", 0.0, 1e4)] = Field(
        0.0, description="power of drives, platform and cabinet, kW"
    )
    extruder_power: Annotated[float, Quantity("power", 0.0, 1e4)] = Field(
        0.0, description="power of screw and barrel while printing, kW"
    )


class Machine(Section):
    """A machine card. The defaults are those of a generic machine: check each against your own."""

    name: str = Field("generic gantry", max_length=60, description="its name, for the record")
    volume: Volume = Field(Volume.model_validate({}), description="what the tip of the nozzle can reach")
    speeds: Speeds = Field(Speeds.model_validate({}), description="speeds of the nozzle")
    accelerations: Accelerations = Field(
        Accelerations.model_validate({}), description="what the controller plans with"
    )
    path: PathMode = Field(PathMode.model_validate({}), description="how the controller goes round corners")
    extruder: Extruder = Field(Extruder.model_validate({}), description="the screw, its drive and its lag")
    tamper: Tamper | None = Field(
        None, description="plate or ring that presses the bead flat; none: no tamper"
    )
    head: Head | None = Field(
        None, description="head and beam above the nozzle; needed where parts are printed one after another"
    )
    device: tuple[Device, ...] = Field(
        (), max_length=100, description="what is switched, and at what moments"
    )
    controller: Controller = Field(Controller.model_validate({}), description="what the controller can read")
    work_offset: WorkOffset = Field(
        WorkOffset.model_validate({}), description="where the program's zero lies"
    )
    park: tuple[Place, Place, Place] | None = Field(
        None,
        description="where the nozzle waits, program coordinates, mm; default: least X and Y, greatest Z",
    )
    bed_map: Annotated[BedMap, AlsoText()] = Field(
        None,
        description="measured heights of its platform, beside this file; a job's own map wins",
        examples=["bed_map.csv"],
    )
    hopper: Annotated[float, Quantity("mass", 0.1, 100_000.0)] = Field(
        60.0, description="pellets in a full hopper, kg"
    )
    room: Room = Field(Room.model_validate({}), description="the air round the machine")
    rates: Rates = Field(Rates.model_validate({}), description="prices and powers, for the estimate")

    def between(self) -> list[tuple[str, str]]:
        """Devices have names of their own."""
        names = [device.name for device in self.device]
        twice = sorted({name for name in names if names.count(name) > 1})
        return [("device", f"two have the name {name}") for name in twice]

    def park_place(self) -> tuple[float, float, float]:
        """Where the nozzle waits, program coordinates, mm."""
        if self.park is not None:
            return self.park
        low, high, at = self.volume.low(), self.volume.high(), self.work_offset.at
        return low[0] - at[0], low[1] - at[1], high[2] - at[2]
