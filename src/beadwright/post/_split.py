"""A program cut into files, each of which runs alone."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from beadwright.errors import SettingsError
from beadwright.post._comments import number
from beadwright.post._dialect import Dialect
from beadwright.post._layer import LayerText
from beadwright.post._program import NO_DEVICES, Devices, program_text
from beadwright.post._words import Words
from beadwright.program import Head

# What head and end of a file may take, with room for more settings than there are.
MARGIN = 16_000


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgramFile:
    """A file of a program: its name and text."""

    name: str
    text: str


def split_program(
    head: Head,
    layers: Sequence[LayerText],
    *,
    words: Words,
    dialect: Dialect,
    path_tolerance: float | None = None,
    work_offset: str | None = None,
    devices: Devices = NO_DEVICES,
) -> tuple[ProgramFile, ...]:
    """Files of a program as the dialect wants it cut; none if it wants one file.

    Every file has the full modal state and its start place at its head: it first rises to the height of its
    first traverse, so it may begin wherever the nozzle stands, as long as nothing is in the way up.

    Parameters
    ----------
    head : Head
    layers : sequence of LayerText
        All, from the platform up.
    words, dialect, path_tolerance, work_offset, devices
        As of `program_text`.

    Raises
    ------
    SettingsError
        If a layer alone is more than a file may hold.
    """
    split = dialect.split
    if split is None or not layers:
        return ()
    groups: list[list[LayerText]] = []
    filled = 0.0
    for run in _whole(layers):
        # Layers of one rising bead cannot be told apart: they count as one.
        seconds, size = math.fsum(layer.seconds for layer in run), sum(len(layer.text) for layer in run)
        room = {"layer": 1.0, "time": seconds, "size": float(size)}[split.by]
        most = split.most - (MARGIN if split.by == "size" else 0)
        if room > most:
            unit = {"layer": "layers", "time": "s", "size": "bytes with head and end"}[split.by]
            who = f"layer {run[0].index} alone takes"
            if len(run) > 1:
                who = f"layers {run[0].index} to {run[-1].index}, which are one rising bead, take"
            raise SettingsError(
                f"dialect {dialect.name}: {who} {room:.0f} of the {split.most:.0f} {unit} that a file may hold"
            )
        if not groups or filled + room > most:
            groups.append([])
            filled = 0.0
        groups[-1] += run
        filled += room
    files = []
    for place, group in enumerate(groups, 1):
        partial = head.partial or len(groups) > 1
        own = replace(head, first=group[0].index, partial=partial, notes=(*head.notes, *_start(group)))
        text = program_text(
            own,
            group,
            words=words,
            dialect=dialect,
            path_tolerance=path_tolerance,
            work_offset=work_offset,
            devices=devices,
            file=f"{place}/{len(groups)}",
        )
        files.append(ProgramFile(name=f"program-{place:03d}.nc", text=text.whole()))
    return tuple(files)


def _whole(layers: Sequence[LayerText]) -> list[list[LayerText]]:
    """Layers between which a file may end: those of a bead that goes on from one to the next stay together."""
    runs: list[list[LayerText]] = []
    for layer in layers:
        if layer.carried and runs:
            runs[-1].append(layer)
        else:
            runs.append([layer])
    return runs


def _start(group: Sequence[LayerText]) -> tuple[str, ...]:
    """Where a file starts, for the reader."""
    start = next((layer.start for layer in group if layer.start is not None), None)
    if start is None:
        return ()
    x, y, z = map(number, start)
    return (f"Start: rises to Z {z} mm, then traverses to X {x} Y {y} mm.",)
