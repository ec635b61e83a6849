"""From the machine's and the material's cards to what the process room works with."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from beadwright.numeric import Finding, Level
from beadwright.pipeline._doubts import doubts
from beadwright.pipeline._passes import Lapping
from beadwright.process import (
    NO_DOUBTS,
    BeadSection,
    Doubts,
    Lag,
    MotionLimits,
    Prices,
    Response,
    ScrewCurve,
    WallModel,
    Window,
    fit_screw,
    slowest_feed,
)
from beadwright.settings import Machine, Material, PlanSettings, Resolved

KG_M3 = 1e-9
"""kg/mm3 in a kg/m3: the unit's own definition."""
HOUR = 3600.0
# Time in which a drive takes a step in velocity that its acceleration allows, s: one cycle of the position loop
# (common practice). Joints of arcs that meet in one direction but for rounding cost no time so.
SERVO = 1e-3
# A step of a tapered lap is at least this share of the bead's width long.
STEP = 0.25
# What the wall model needs of a material.
HEAT = ("conductivity", "specific_heat", "emissivity", "deposition", "platform")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cards:
    """All that motion, flow, heat and estimate ask of a job.

    Attributes
    ----------
    kind : {"flat", "round"}
        Section of every bead.
    density : float
        kg/mm3.
    limits, vertical : MotionLimits
        In the plane and upwards.
    feed, clearance : float
        mm/s along beads; mm above the layer for traverses.
    speeds : (float, float)
        Least and greatest feed of the machine, mm/s.
    screw : ScrewCurve or None
        None where it is not calibrated.
    lag : Lag or None
        Likewise.
    wall : WallModel or None
        None where the material card does not hold all that it needs: `lacking`.
    lacking : tuple of str
    window, wished : Window or None
        Interlayer temperatures that must be and that are wished for.
    band : float
        Half width of the band of interlayer temperatures, K.
    least_time, greatest_time : float or None
        Window of layer times, s.
    idle_limit, wipe, purge, hopper : float
        s, mm, kg, kg.
    doubts : Doubts
        What of the inputs is not known exactly.
    purge_place : (float, float, float) or None
        Where purge moves begin, mm; None where the operator purges by hand.
    purge_track : float
        Length of their track, mm.
    bead : (float, float)
        Width and height of the job's bead, mm.
    prices : Prices
    level : Level
        Of what a card's numbers say: a note as long as nobody has chosen the card.
    machine_level : Level
        Likewise of the machine.
    over : float
        Height at which the way to the park place passes other parts, mm.
    park : (float, float)
        Where the nozzle waits off the part, mm.
    cold : bool
        Whether the first layer is laid on a body that has cooled down.
    halts : (float, float)
        How long the axes stand for the start and the stop word of the extruder, s.
    leads_inside : bool
        Whether those words may stand inside a bead, because they stop no axis.
    run_in : bool
        Whether open beads begin with a run-in where the lag asks for one.
    by_speed : bool
        Whether the screw turns evenly along a bead, so that its width follows the speed.
    lapping : Lapping or None
        How closed beads are laid over their own starts; None: they end there.
    """

    kind: Literal["flat", "round"]
    density: float
    limits: MotionLimits
    vertical: MotionLimits
    feed: float
    clearance: float
    screw: ScrewCurve | None
    lag: Lag | None
    wall: WallModel | None
    lacking: tuple[str, ...]
    window: Window | None
    wished: Window | None
    band: float
    least_time: float
    greatest_time: float | None
    idle_limit: float
    wipe: float
    purge: float
    hopper: float
    prices: Prices
    level: Level
    machine_level: Level
    park: tuple[float, float]
    bead: tuple[float, float]
    speeds: tuple[float, float]
    doubts: Doubts = NO_DOUBTS
    purge_place: tuple[float, float, float] | None = None
    purge_track: float = 0.0
    over: float = 0.0
    cold: bool = False
    halts: tuple[float, float] = (0.0, 0.0)
    leads_inside: bool = False
    by_speed: bool = False
    run_in: bool = True
    lapping: Lapping | None = None

    @property
    def prime(self) -> float:
        """Time that the extruder runs standing before each bead, s."""
        return 0.0 if self.lag is None else self.lag.prime

    def section(self, width: float, height: float) -> BeadSection:
        """Section of a bead of a width and height, mm; one wider than high at the least."""
        return BeadSection(kind=self.kind, width=max(width, height), height=height)

    def slowest(self, area: float) -> float:
        """Least feed that the calibrated screw can follow with a bead of an area (mm2), mm/s; 0: any."""
        if self.screw is None:
            return 0.0
        return slowest_feed(output=self.screw.least, area=area, density=self.density)

    def feeds(self, areas: Sequence[float]) -> tuple[float, float]:
        """Least and greatest feed that machine and calibrated screw can give beads of some areas (mm2), mm/s."""
        low, high = self.speeds
        if self.screw is None or not areas:
            return low, high
        fastest = self.screw.greatest / (max(areas) * self.density)
        return max(low, self.slowest(min(areas))), min(high, fastest)


def cards(resolved: Resolved) -> Cards:
    """What the process room needs, from settings that are in range.

    Raises
    ------
    SettingsError
        A calibration that carries no line.
    """
    settings, machine, material = resolved.settings, resolved.machine, resolved.material
    lacking = tuple(name for name in HEAT if getattr(material, name) is None)
    rates, room = machine.rates, machine.room
    screw, density = _screw(machine), material.density.value * KG_M3
    return Cards(
        kind=settings.bead_section,
        density=density,
        limits=_limits(machine),
        vertical=MotionLimits(
            acceleration=machine.accelerations.vertical,
            centripetal=machine.accelerations.vertical,
            traverse=machine.speeds.vertical,
        ),
        feed=settings.feed,
        clearance=settings.clearance,
        screw=screw,
        lag=_lag(machine),
        wall=None if lacking else _wall(material, film=room.convection, air=room.temperature),
        lacking=lacking,
        window=_window(material, "interlayer_least", "interlayer_greatest"),
        wished=_window(material, "interlayer_wished_least", "interlayer_wished_greatest"),
        band=settings.layer_time.band,
        least_time=settings.layer_time.least,
        greatest_time=settings.layer_time.greatest,
        idle_limit=machine.extruder.idle_limit,
        wipe=machine.extruder.wipe,
        purge=machine.extruder.purge,
        hopper=machine.hopper,
        prices=Prices(
            currency=rates.currency,
            material=None if material.price is None else material.price.value,
            machine=rates.machine,
            labour=rates.labour,
            attendance=rates.attendance,
            energy=rates.energy,
            sheet=rates.sheet,
            idle_power=rates.idle_power,
            extruder_power=rates.extruder_power,
        ),
        level=_level(resolved, "material"),
        machine_level=_level(resolved, "machine"),
        park=machine.park_place()[:2],
        bead=(settings.width, settings.height),
        speeds=(machine.speeds.least, machine.speeds.greatest),
        lapping=_lapping(settings),
        doubts=doubts(resolved, screw, density),
        purge_place=machine.extruder.purge_place,
        purge_track=machine.extruder.purge_track,
        run_in=machine.extruder.start_lead == "run-in",
    )


def _level(resolved: Resolved, prefix: str) -> Level:
    chosen = any(
        name.startswith(f"{prefix}.") and source != "default" for name, source in resolved.source.items()
    )
    return "warning" if chosen else "note"


def _lapping(settings: PlanSettings) -> Lapping | None:
    kind, run = settings.sequence.closure, settings.sequence.lap(settings.width)
    if kind == "butt":
        return None
    return Lapping(
        length=run, steps=0 if kind == "lap" else max(2, math.floor(run / (STEP * settings.width)))
    )


def _limits(machine: Machine) -> MotionLimits:
    return MotionLimits(
        acceleration=machine.accelerations.along,
        centripetal=machine.accelerations.across,
        traverse=machine.speeds.traverse,
        jump=machine.accelerations.along * SERVO,
        path_tolerance=machine.path.tolerance,
    )


def _screw(machine: Machine) -> ScrewCurve | None:
    rows = machine.extruder.calibration
    if not rows:
        return None
    return fit_screw([row.rpm for row in rows], [row.rate / HOUR for row in rows])


def _lag(machine: Machine) -> Lag | None:
    told = machine.extruder.lag
    if told is None:
        return None
    return Lag(
        up=Response(dead=told.dead_up, constant=told.tau_up),
        down=Response(dead=told.dead_down, constant=told.tau_down),
        prime=told.prime,
    )


def _wall(material: Material, *, film: float, air: float) -> WallModel:
    conductivity, capacity, emissivity, deposition, platform = (
        getattr(material, name).value for name in HEAT
    )
    return WallModel(
        conductivity=conductivity,
        heat_capacity=capacity,
        density=material.density.value,
        emissivity=emissivity,
        film=film,
        deposition=deposition,
        platform=platform,
        air=air,
    )


def _window(material: Material, low: str, high: str) -> Window | None:
    least, greatest = getattr(material, low), getattr(material, high)
    if least is None or greatest is None:
        return None
    return Window(least=least.value, greatest=greatest.value)


def halt_findings(cards: Cards, settings: PlanSettings) -> tuple[Finding, ...]:
    """What the screw lays in one place while the axes stand for its own stop word."""
    halt = cards.halts[1]
    if halt <= 0:
        return ()
    area = settings.bead_area(settings.widest())
    volume = area * settings.feed * halt
    return (
        Finding(
            code="halt-at-end",
            level="note",
            measured=volume,
            allowed=0.0,
            unit="mm3",
            text=f"the axes stand for {halt:g} s at the end of each bead while the extruder stops: up to so much is"
            f" laid in one place, as much as {volume / area:.3g} mm of bead; no such word stands"
            " inside a bead",
        ),
    )


def output_findings(cards: Cards, settings: PlanSettings) -> tuple[Finding, ...]:
    """Whether the calibrated screw can feed the bead, and what is doubtful in its calibration."""
    if cards.screw is None:
        return (
            Finding(
                code="screw-not-calibrated",
                level=cards.machine_level,
                text="the screw is not calibrated: its speed, and whether it can feed the bead, are not known;"
                " weigh timed purges at three or more screw speeds and run `calibrate`",
            ),
        )
    low, high = cards.screw.least, cards.screw.greatest
    found = list(cards.screw.findings())
    widths = sorted({settings.narrowest(), settings.widest()})
    for width in widths:
        area = settings.bead_area(width)
        needed = cards.density * area * settings.feed
        if low <= needed <= high:
            continue
        wanted = high if needed > high else low
        told = "the bead asks" if len(widths) == 1 else f"a bead {width:g} mm wide asks"
        found.append(
            Finding(
                code="screw-output",
                level="warning",
                measured=needed * HOUR,
                allowed=wanted * HOUR,
                unit="kg/h",
                text=f"{told} for more or less than the screw was calibrated for; with a feed of"
                f" {wanted / (cards.density * area):.4g} mm/s it is at the limit",
            )
        )
    return tuple(found)
