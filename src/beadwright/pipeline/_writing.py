"""How a program is written: dialect, words, path mode and extruder command, settled before anything is planned."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Literal

from beadwright.errors import SettingsError
from beadwright.post import (
    AxisFeed,
    Devices,
    Dialect,
    LayerText,
    ProgramFile,
    ProgramText,
    Words,
    layer_text,
    load_dialect,
    program_text,
    split_program,
    words_beyond,
)
from beadwright.process import BeadSection, ScrewCurve, fit_screw, mass_flow
from beadwright.program import Before, Head, LayerProgram, Purge
from beadwright.settings import ROUNDING_UNITS, PlanSettings, Resolved

CUBIC_METRE = 1e9  # mm3
HOUR = 3600.0  # s

FITTING = MappingProxyType(
    {
        ("continuous", "speed-tied"): "rs274-continuous",
        ("exact", "axis"): "rs274-axis",
        ("exact", "s-word"): "rs274-screw",
    }
)
"""Shipped dialects by path mode and flow control of a machine whose file names none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Screw:
    """What screw speeds follow from: the calibration, density (kg/mm3) and range (rpm)."""

    curve: ScrewCurve
    density: float
    least: float
    greatest: float

    def speed(self, feed: float, area: float) -> float:
        """Screw speed for a bead of an area in mm2 at a feed in mm/s, rpm.

        Raises
        ------
        SettingsError
            Outside what was measured or what the machine turns at.
        """
        speed = self.curve.speed(float(mass_flow(area, feed, self.density)))
        if not self.least <= speed <= self.greatest:
            raise SettingsError(
                f"feed: the bead at {feed:g} mm/s wants {speed:.4g} rpm; the machine's screw turns at"
                f" {self.least:g} to {self.greatest:g} rpm"
            )
        return speed


@dataclass(frozen=True, slots=True, kw_only=True)
class Writing:
    """All that the text of a plan depends on beside its events.

    Attributes
    ----------
    dialect : Dialect
    words : Words
    path_tolerance : float or None
        Greatest distance from the path that the controller may cut off, mm; None for exact path.
    work_offset : str or None
        Word of the coordinate system.
    axis : AxisFeed or None
        How the extruder axis counts, if it is one.
    screw : Screw or None
        For the screw speed, where the program commands it.
    devices : Devices
        What is switched when the program starts and ends.
    kind : {"flat", "round"}
        Section of every bead.
    """

    dialect: Dialect
    words: Words
    path_tolerance: float | None
    work_offset: str | None
    axis: AxisFeed | None
    screw: Screw | None
    devices: Devices
    kind: Literal["flat", "round"] = "flat"

    def halts(self) -> tuple[float, float]:
        """How long the axes stand for the extruder's start and stop, s."""
        events = self.dialect.events
        return events.flow_start.halt, events.flow_stop.halt

    def leads_inside(self) -> bool:
        """Whether the extruder's words stop no axis, so that its leads may stand inside a bead."""
        events = self.dialect.events
        return events.flow_start.motion != "halts" and events.flow_stop.motion != "halts"

    def check_closure(self, settings: PlanSettings) -> None:
        """Refuse a tapered lap that the machine cannot lay.

        Raises
        ------
        SettingsError
            The flow cannot follow the way inside a bead.
        """
        if settings.sequence.closure == "tapered" and self.dialect.flow != "axis":
            raise SettingsError(
                "sequence.closure: tapered changes the flow inside a bead, which dialect"
                f' {self.dialect.name} cannot: take an extruder axis (machine extruder.flow_control = "axis"), or'
                " closure lap or butt"
            )

    def rpm(
        self, feeds: Iterable[float], areas: Iterable[float | tuple[float, ...]]
    ) -> tuple[float | tuple[float, ...], ...] | None:
        """Screw speeds for beads of areas (mm2) at feeds (mm/s), rpm; None where the program does not command them.

        Of a bead whose width varies one for each of its areas.
        """
        if self.screw is None:
            return None
        screw = self.screw
        return tuple(
            tuple(screw.speed(feed, each) for each in area)
            if isinstance(area, tuple)
            else screw.speed(feed, area)
            for feed, area in zip(feeds, areas, strict=True)
        )

    def goes_on_from(self, axis: float | None) -> float:
        """Where the extruder axis stands before the program; incremental words need not know."""
        return axis if axis is not None and self.dialect.distance == "absolute" else 0.0

    def before(self, each: Before) -> Before:
        """What comes before a layer; a purge with its screw speed, where the program commands it."""
        if not isinstance(each, Purge) or self.screw is None:
            return each
        area = BeadSection(kind=self.kind, width=each.width, height=each.height).area
        return replace(each, rpm=self.screw.speed(each.feed, area))

    def layer(self, program: LayerProgram, advance: float) -> LayerText:
        """Text of a layer; the extruder axis stands at `advance` before it."""
        axis = None if self.axis is None else replace(self.axis, start=advance)
        return layer_text(program, words=self.words, dialect=self.dialect, axis=axis)

    def program(self, head: Head, layers: Sequence[LayerText]) -> ProgramText:
        """The whole program, part by part."""
        return program_text(
            head,
            layers,
            words=self.words,
            dialect=self.dialect,
            path_tolerance=self.path_tolerance,
            work_offset=self.work_offset,
            devices=self.devices,
        )

    def files(self, head: Head, layers: Sequence[LayerText]) -> tuple[ProgramFile, ...]:
        """The files that the dialect cuts it into beside; mostly none."""
        return split_program(
            head,
            layers,
            words=self.words,
            dialect=self.dialect,
            path_tolerance=self.path_tolerance,
            work_offset=self.work_offset,
            devices=self.devices,
        )


def settle(resolved: Resolved) -> tuple[Resolved, Writing]:
    """How the program of some settings is written, and the settings with the decimals that it really has.

    Raises
    ------
    SettingsError
        If the dialect does not fit to the machine or to the decimals.
    """
    machine = resolved.machine
    given = resolved.settings.dialect
    dialect = load_dialect(given or _of_machine(resolved), folder=None if given else resolved.folder)
    if dialect.decimals is not None and resolved.source["decimals"] == "default":
        settings = resolved.settings.model_copy(update={"decimals": dialect.decimals})
        source = MappingProxyType({**resolved.source, "decimals": "dialect"})
        resolved = replace(resolved, settings=settings, source=source)
    settings = resolved.settings
    words = Words(units=dialect.units, decimals=settings.decimals)
    least = ROUNDING_UNITS * words.place
    if settings.tolerance < least:
        raise SettingsError(
            f"tolerance: {settings.tolerance:g} mm cannot be kept with {settings.decimals} decimals of"
            f" {words.units}, whose rounding alone moves arcs by up to {least:.3g} mm; take more decimals"
        )
    stated = resolved.source["machine.extruder.flow_control"] == "machine"
    if stated and machine.extruder.flow_control != dialect.flow:
        raise SettingsError(
            f"dialect {dialect.name} commands the extruder by {dialect.flow}, but the machine file has"
            f" extruder.flow_control = {machine.extruder.flow_control!r}; write"
            f' extruder.flow_control = "{dialect.flow}" if the controller drives it so, or take another dialect'
        )
    _check_devices(resolved, dialect)
    axis = None
    if dialect.flow == "axis":
        axis = AxisFeed(scale=machine.extruder.axis_scale, kind=settings.bead_section)
    return resolved, Writing(
        dialect=dialect,
        words=words,
        path_tolerance=machine.path.tolerance,
        work_offset=machine.work_offset.word,
        axis=axis,
        kind=settings.bead_section,
        screw=_screw(resolved) if dialect.flow == "s-word" else None,
        devices=Devices(
            start=tuple(line for d in machine.device if "program start" in d.on_at for line in d.on),
            end=tuple(line for d in machine.device if "program end" in d.off_at for line in d.off),
        ),
    )


def _check_devices(resolved: Resolved, dialect: Dialect) -> None:
    """Refuse devices that are switched by words which nobody says the controller has."""
    faults, every = [], list(dialect.beyond)
    for row, device in enumerate(resolved.machine.device, 1):
        words = words_beyond((*device.on, *device.off), dialect.beyond)
        if words:
            faults.append(f"device[{row}] {device.name}: NISTIR 6556 has no word {' or '.join(words)}")
            every += [word for word in words if word not in every]
    if faults:
        told = ", ".join(f'"{word}"' for word in every)
        raise SettingsError(
            "\n  ".join(faults)
            + f"\n  if the controller has them, say so in a dialect of your own, three lines in a file for --dialect:"
            f' name = "own", based_on = "{dialect.name}", beyond = [{told}]'
        )


def _of_machine(resolved: Resolved) -> str:
    """The machine's dialect; where its file names none, the shipped one that fits to what the file tells."""
    machine = resolved.machine
    if resolved.source["machine.controller.dialect"] != "default":
        return machine.controller.dialect
    return FITTING.get((machine.path.mode, machine.extruder.flow_control), machine.controller.dialect)


def _screw(resolved: Resolved) -> Screw:
    extruder = resolved.machine.extruder
    rows = extruder.calibration
    if not rows:
        raise SettingsError(
            "extruder.calibration: the dialect commands the screw speed, so the machine file must hold weighed"
            " purges at three or more screw speeds; give such a file with --machine, made by the coupon `screw` and"
            " `calibrate`"
        )
    return Screw(
        curve=fit_screw([row.rpm for row in rows], [row.rate / HOUR for row in rows]),
        density=resolved.material.density.value / CUBIC_METRE,
        least=extruder.least_rpm,
        greatest=extruder.greatest_rpm,
    )
