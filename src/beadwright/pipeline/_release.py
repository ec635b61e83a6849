"""What goes to the machine: trial programs, the list of files with their hashes, and the job record."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from beadwright import __version__
from beadwright.brep import Model
from beadwright.errors import InternalError, SettingsError
from beadwright.pipeline._course import Reach
from beadwright.pipeline._json import as_text
from beadwright.pipeline._output import Output
from beadwright.pipeline._record import FILE, PAGE, new_record, record_page, record_text
from beadwright.pipeline._writing import Writing
from beadwright.post import ProgramFile, ProgramText, dry_run, trace
from beadwright.settings import Release, Resolved

# A dry run raised by less would strike what is built.
LEAST_LIFT = 1.0
MAX_LINE = 256


def write_release(
    output: Output,
    program: ProgramText,
    files: Sequence[ProgramFile],
    *,
    model: Model,
    resolved: Resolved,
    writing: Writing,
    reaches: Sequence[Reach],
    notes: Sequence[str],
) -> None:
    """Write dry_run.nc, trace.nc, release.json and the job record beside the programs that are written already.

    Parameters
    ----------
    output : Output
    program : ProgramText
        What program.nc holds.
    files : sequence of ProgramFile
        Those that it is cut into.
    model, resolved, writing
    reaches : sequence of Reach
        How far the layers go.
    notes : sequence of str
        Rules of safety that the user overrode: what the trials drive through, too.

    Raises
    ------
    SettingsError
        If a file breaks a limit of the controller, or the machine leaves no room for the dry run.
    """
    release = resolved.settings.release
    assert release is not None
    trials = _trials(program.whole(), release, resolved, writing, reaches, notes)
    ending = resolved.machine.controller.line_ending
    for file in trials:
        output.write(file.name, file.text, ending=ending)
    names = ["program.nc", *(file.name for file in (*files, *trials))]
    output.write("release.json", as_text(_list(output.folder, names, resolved, cut=len(files) > 0)))
    record = new_record(_first(output.folder, model, resolved))
    output.write(FILE, record_text(record))
    output.write(PAGE, record_page(record))


def _trials(
    text: str,
    release: Release,
    resolved: Resolved,
    writing: Writing,
    reaches: Sequence[Reach],
    notes: Sequence[str],
) -> tuple[ProgramFile, ...]:
    machine = resolved.machine
    low = np.min([reach.low for reach in reaches], axis=0)
    high = np.max([reach.high for reach in reaches], axis=0)
    room = machine.volume.high()[2] - machine.work_offset.at[2] - float(high[2])
    if room < LEAST_LIFT:
        raise SettingsError(
            f"release.lift: the program reaches Z {high[2]:g} mm, {abs(room):g} mm"
            f" {'above' if room < 0 else 'below'} the top of the machine: no room to raise a dry run"
        )
    dry = dry_run(
        text,
        words=writing.words,
        dialect=writing.dialect,
        devices=[line for device in machine.device for line in (*device.on, *device.off)],
        lift=min(release.lift, room),
        feed=release.feed,
        notes=notes,
    )
    round_it = trace(
        (float(low[0]), float(low[1])),
        (float(high[0]), float(high[1])),
        float(high[2]),
        words=writing.words,
        dialect=writing.dialect,
        path_tolerance=writing.path_tolerance,
        work_offset=writing.work_offset,
        notes=notes,
    )
    return ProgramFile(name="dry_run.nc", text=dry), ProgramFile(name="trace.nc", text=round_it)


def _list(folder: Path, names: Sequence[str], resolved: Resolved, *, cut: bool) -> dict[str, Any]:
    """release.json: files as they are read back from the disk, held against the controller's limits."""
    controller = resolved.machine.controller
    files, faults = [], []
    for name in names:
        raw = (folder / name).read_bytes()
        lines = raw.decode("ascii").splitlines()
        blocks = [line for line in lines if line and line[0] != "("]
        ends = b"\r\n" if controller.line_ending == "crlf" else b"\n"
        if raw.count(b"\n") != raw.count(ends) or (ends == b"\n" and b"\r" in raw):
            raise InternalError(f"{name}: line ends differ from {controller.line_ending}")
        whole = cut and name in {"program.nc", "dry_run.nc"}
        files.append(
            {
                "name": name,
                "bytes": len(raw),
                "sha256": hashlib.sha256(raw).hexdigest(),
                "lines": len(lines),
                "longest_line": max(map(len, lines)),
                "first_block": blocks[0],
                "last_block": blocks[-1],
                "for": "record" if whole else "machine",
            }
        )
        if whole:
            continue
        if controller.name_length is not None and len(name) > controller.name_length:
            faults.append(f"{name} has {len(name)} characters, the controller takes {controller.name_length}")
        if controller.greatest_size is not None and len(raw) > controller.greatest_size:
            faults.append(
                f"{name} has {len(raw)} bytes, the controller takes {controller.greatest_size}; take a dialect that"
                " cuts by size"
            )
    if faults:
        raise SettingsError("controller: " + "; ".join(faults))
    limits: dict[str, Any] = {"line_length": MAX_LINE, "line_ending": controller.line_ending}
    if controller.name_length is not None:
        limits["name_length"] = controller.name_length
    if controller.greatest_size is not None:
        limits["greatest_size"] = controller.greatest_size
    return {"format": "beadwright release 1", "version": __version__, "limits": limits, "files": files}


def _first(folder: Path, model: Model, resolved: Resolved) -> dict[str, str]:
    """The first entry of the job record: what is known before anything moves."""
    extruder = resolved.machine.extruder
    known = {
        "part": model.file,
        "part_sha256": model.sha256,
        "program_sha256": hashlib.sha256((folder / "program.nc").read_bytes()).hexdigest(),
        "version": __version__,
        "machine": resolved.machine.name,
        "nozzle": f"{resolved.settings.nozzle_bore():g}",
        "calibration": extruder.calibration_date if extruder.calibration else "NOT CALIBRATED",
        "lag": extruder.lag.date if extruder.lag is not None else "NOT CALIBRATED",
        "material": resolved.material.name,
    }
    return {key: value for key, value in known.items() if value}
