"""What a program must not do: leave the machine's volume or speeds, strike what stands, stay on, overheat."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from beadwright.errors import SettingsError
from beadwright.numeric import Finding
from beadwright.pipeline._course import Floats, Reach
from beadwright.settings import Figure, Machine, Material, Resolved

LARGE = ", or cut a part that is too large into segments by [[cut]] in the job"
# Coordinates of some metres are doubles good to 1e-12; a place on the limit is inside.
ON_LIMIT = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """What safety has to say of a program that is written.

    Attributes
    ----------
    notes : tuple of str
        Rules that the user overrode by name, for the top of the program.
    findings : tuple of Finding
        Those rules, and what does not fit to the generic machine, as long as nobody has told which machine it is.
    """

    notes: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()


def check_safety(resolved: Resolved, reaches: Sequence[Reach]) -> Judged:
    """Hold a program against the machine and the material.

    Where no machine file is given, the numbers are those of a generic machine that nobody has chosen: then what
    does not fit to it is a warning, else an error.

    Parameters
    ----------
    resolved : Resolved
    reaches : sequence of Reach
        Of all layers, from the platform up.

    Raises
    ------
    SettingsError
        If a rule is broken that the job does not override; the message lists all of them with the remedy.
    """
    machine = resolved.machine
    broken = [
        *(("volume", text) for text in _volume(machine, reaches)),
        *(("keep-out", text) for text in _keep_outs(machine, reaches)),
        *(("speed", text) for text in _speeds(machine, reaches)),
        *(("traverse", text) for text in _traverses(machine, reaches)),
        *(("temperature", text) for text in _temperatures(machine, resolved.material)),
        *(("tamper", text) for text in _tamper(machine)),
        *(("purge", text) for text in _purge(resolved, reaches)),
    ]
    allowed: set[str] = set(resolved.settings.override)
    chosen = any(name.startswith("machine.") and told != "default" for name, told in resolved.source.items())
    if not chosen:
        found = tuple(
            Finding(
                code=f"safety-{name}",
                level="warning",
                text=f"{text}; that is the generic machine: tell yours",
            )
            for name, text in broken
            if name not in allowed
        )
        judged = _overridden(broken, allowed)
        return Judged(notes=judged.notes, findings=(*judged.findings, *found))
    refused = [f"{name}: {text}" for name, text in broken if name not in allowed]
    if refused:
        names = sorted({name for name, _ in broken if name not in allowed})
        raise SettingsError(
            "this program would not be safe on the machine as its file tells it:\n  "
            + "\n  ".join(refused)
            + f"\n  change the job or the machine file{LARGE if 'volume' in names else ''};"
            f" --override {','.join(names)} writes it all the same and says so"
        )
    return _overridden(broken, allowed)


def _overridden(broken: Sequence[tuple[str, str]], allowed: set[str]) -> Judged:
    """What is broken on purpose: a note at the program's top, and a warning wherever findings are shown."""
    rows = [(name, text) for name, text in broken if name in allowed]
    return Judged(
        notes=tuple(f"OVERRIDDEN by the user, {name}: {text}" for name, text in rows),
        findings=tuple(
            Finding(code=f"safety-{name}", level="warning", text=f"OVERRIDDEN by the user: {text}")
            for name, text in rows
        ),
    )


def _volume(machine: Machine, reaches: Sequence[Reach]) -> list[str]:
    low, high = np.array(machine.volume.low()), np.array(machine.volume.high())
    shift = np.array(machine.work_offset.at)
    texts = []
    for axis, name in enumerate("XYZ"):
        for reach in reaches:
            least, most = reach.low[axis] + shift[axis], reach.high[axis] + shift[axis]
            if least < low[axis] - ON_LIMIT or most > high[axis] + ON_LIMIT:
                texts.append(
                    f"layer {reach.layer} goes from {name} {least:.3f} to {most:.3f} mm in machine coordinates,"
                    f" the machine from {low[axis]:g} to {high[axis]:g} mm"
                )
                break
    return texts


def _keep_outs(machine: Machine, reaches: Sequence[Reach]) -> list[str]:
    shift = np.array(machine.work_offset.at)
    around = np.zeros(3)
    hang = np.zeros(3)
    if machine.tamper is not None:
        around[:2] = np.array(machine.tamper.size) / 2
        # What hangs below the tip strikes a box that the tip itself would clear.
        hang[2] = max(-machine.tamper.lowest, 0.0)
    texts = []
    for each in machine.volume.keep_out:
        low, high = np.array(each.low) - shift - around, np.array(each.high) - shift + around + hang
        for reach in reaches:
            moves = np.concatenate([reach.moves, reach.purges])
            inside = (moves[:, 0] < high).all(axis=1) & (moves[:, 1] > low).all(axis=1)
            if inside.any() or _cross(reach.traverses, low, high):
                texts.append(f"layer {reach.layer} enters {each.name}")
                break
    return texts


def _cross(ways: Floats, low: Floats, high: Floats) -> bool:
    """Whether a straight way passes through the inside of a box: by the parameters at which it meets its slabs."""
    start, step = ways[:, 0], ways[:, 1] - ways[:, 0]
    still = step == 0
    with np.errstate(divide="ignore", invalid="ignore"):
        first, second = (low - start) / step, (high - start) / step
    between = (start > low) & (start < high)
    enter = np.where(still, np.where(between, -np.inf, np.inf), np.minimum(first, second)).max(
        axis=1, initial=0.0
    )
    leave = np.where(still, np.where(between, np.inf, -np.inf), np.maximum(first, second)).min(
        axis=1, initial=1.0
    )
    return bool((enter < leave).any())


def _speeds(machine: Machine, reaches: Sequence[Reach]) -> list[str]:
    speeds = machine.speeds
    for reach in reaches:
        least, most = reach.feeds
        if most > 0 and (most > speeds.greatest or least < speeds.least):
            return [
                f"layer {reach.layer} is laid at {least:g} to {most:g} mm/s, the machine moves at {speeds.least:g} to"
                f" {speeds.greatest:g} mm/s"
            ]
    return []


def _traverses(machine: Machine, reaches: Sequence[Reach]) -> list[str]:
    """No traverse, and no tamper in it, through what is built."""
    hang = 0.0 if machine.tamper is None else min(machine.tamper.lowest, 0.0)
    built = -np.inf
    for reach in reaches:
        if len(reach.moves):
            built = max(built, float(reach.moves[:, 1, 2].max()))
        if reach.least_traverse + hang < built:
            return [
                f"layer {reach.layer} traverses at Z {reach.least_traverse + hang:.3f} mm, below the top of what is"
                f" built, Z {built:.3f} mm"
            ]
    return []


def _temperatures(machine: Machine, material: Material) -> list[str]:
    texts = []
    for device in machine.device:
        if device.temperature is None or device.heats is None:
            continue
        figure: Figure | None = material.melt if device.heats == "melt" else material.platform
        low, high = (None, None) if figure is None else (figure.low, figure.high)
        if device.heats == "melt":
            low = material.melt_least.value if material.melt_least is not None else low
            high = material.melt_greatest.value if material.melt_greatest is not None else high
        if (low is not None and device.temperature < low) or (high is not None and device.temperature > high):
            shown = " to ".join(f"{v:g}" if v is not None else "?" for v in (low, high))
            texts.append(
                f"device {device.name} is set to {device.temperature:g} degC, the card of {material.name} allows"
                f" {shown} degC for the {device.heats}"
            )
    return texts


def _tamper(machine: Machine) -> list[str]:
    if machine.tamper is None or machine.tamper.lowest >= 0:
        return []
    return [
        f"its lowest point lies {-machine.tamper.lowest:g} mm below the tip of the nozzle and would strike beads"
        " laid beside"
    ]


def _purge(resolved: Resolved, reaches: Sequence[Reach]) -> list[str]:
    """No purge where anything is built: half a bead and half a tamper beside both."""
    tamper = resolved.machine.tamper
    around = np.full(2, resolved.settings.widest())
    if tamper is not None:
        around = np.maximum(around, np.array(tamper.size) / 2)
    place = next((reach.purges[0, :, :2] for reach in reaches if len(reach.purges)), None)
    if place is None:
        return []
    low, high = place[0] - around, place[1] + around
    for reach in reaches:
        moves = reach.moves[:, :, :2]
        if ((moves[:, 0] < high).all(axis=1) & (moves[:, 1] > low).all(axis=1)).any():
            return [
                f"extruder.purge_place: what is purged from X {low[0]:g} to {high[0]:g} and Y {low[1]:g} to"
                f" {high[1]:g} mm lies where layer {reach.layer} is built"
            ]
    return []
