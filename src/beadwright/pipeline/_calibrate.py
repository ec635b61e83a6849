"""`calibrate`: cards from the measurements of test pieces."""

from __future__ import annotations

import csv
import os
import secrets
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from beadwright.errors import OutputError, SettingsError
from beadwright.pipeline._output import told
from beadwright.process import (
    corner_tolerance,
    fit_band,
    fit_lag,
    fit_screw,
    fit_sizes,
    fit_spacing,
    fit_width,
    greatest_lean,
)

Columns = Mapping[str, npt.NDArray[np.float64]]

# A sheet is filled by hand: some hundred rows, and a logger's some ten thousand.
MAX_BYTES = 10_000_000
KG_H = 3.6  # kg/h in g/s
# Where a sheet tells no `flow`, a bead had its own.
USUAL = "1"
WORDS = {"start": 0.0, "stop": 1.0}
"""Words that stand for numbers, in the column `command`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """What measurements give.

    Attributes
    ----------
    machine, job : str
        TOML for the machine file and the job file; empty where nothing was measured for it.
    told : tuple of (str, str)
        What was found and how sure it is.
    skipped : int
        Rows without a measurement.
    """

    machine: str
    job: str
    told: tuple[tuple[str, str], ...]
    skipped: int

    def as_dict(self) -> dict[str, object]:
        """For JSON; what is empty is absent."""
        rows = {"machine_toml": self.machine, "job_toml": self.job}
        return {
            **{key: text for key, text in rows.items() if text},
            "found": [{"what": what, "text": text} for what, text in self.told],
            "rows_without_measurement": self.skipped,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """What one kind of test piece gives."""

    machine: tuple[str, ...] = ()
    job: tuple[str, ...] = ()
    told: tuple[tuple[str, str], ...] = ()


def calibrate(measured: str | Path, out: str | Path | None = None) -> Calibration:
    """Fit what was measured on test pieces.

    Parameters
    ----------
    measured : str or Path
        CSV with the column `coupon` and those of the sheets that `coupon` writes; sheets may be joined if their
        rows have the same columns, else each is fitted on its own.
    out : str or Path, optional
        Folder into which machine-measured.toml and job-measured.toml are written; existing files are never
        changed.

    Returns
    -------
    Calibration

    Raises
    ------
    SettingsError
        The file cannot be read, a number is none, or the data cannot carry a fit: all of it is told together.
    OutputError
        A file is there already, or cannot be written.
    """
    sheets, skipped = _read(Path(measured))
    parts, faults = [], []
    for kind, columns in sheets.items():
        try:
            parts.append(FITS[kind][1](columns))
        except SettingsError as error:
            faults.append(str(error))
    if faults:
        raise SettingsError("\n  ".join([f"{Path(measured).name} cannot carry this:", *faults]))
    made = Calibration(
        machine="".join(f"{line}\n" for part in parts for line in part.machine),
        # Plain keys before tables, as TOML wants them.
        job="".join(f"{line}\n" for part in sorted(parts, key=_has_table) for line in part.job),
        told=tuple(row for part in parts for row in part.told),
        skipped=skipped,
    )
    if out is not None:
        _write(Path(out), {"machine-measured.toml": made.machine, "job-measured.toml": made.job})
    return made


def _has_table(part: Part) -> bool:
    return any(line.startswith("[") for line in part.job)


def _read(path: Path) -> tuple[dict[str, Columns], int]:
    """Numbers by kind of test piece and column, and how many rows hold no measurement."""
    try:
        if path.stat().st_size > MAX_BYTES:
            raise SettingsError(f"{path}: more than {MAX_BYTES:,} bytes; that is no sheet of measurements")
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise SettingsError(f"{path.name}: byte {error.start} is not UTF-8 text") from error
    except OSError as error:
        raise SettingsError(f"{path} cannot be read: {error.strerror or error}") from error
    try:
        lines = list(csv.reader(text.splitlines(), strict=True))
    except csv.Error as error:
        raise SettingsError(f"{path.name} is no CSV: {error}") from error
    if not lines or "coupon" not in lines[0]:
        raise SettingsError(f"{path.name}:1: the first line must name the columns, coupon among them")
    head = [name.strip() for name in lines[0]]
    rows: dict[str, list[list[float]]] = {}
    faults: list[str] = []
    skipped = 0
    for number, line in enumerate(lines[1:], 2):
        cells = dict(zip(head, (cell.strip() for cell in line), strict=False))
        kind = cells.get("coupon", "")
        if not any(cells.values()):
            continue
        if kind not in FITS:
            faults.append(f"{path.name}:{number}: coupon is {kind!r}; allowed {', '.join(FITS)}")
            continue
        wanted = FITS[kind][0]
        if kind == "width" and not cells.get("flow"):
            cells["flow"] = USUAL
        missing = [name for name in wanted if name not in cells]
        if missing:
            faults.append(f"{path.name}:1: {kind} needs the column {missing[0]}")
            break
        if any(not cells.get(name) for name in wanted):
            skipped += 1
            continue
        try:
            rows.setdefault(kind, []).append([_number(cells[name]) for name in wanted])
        except ValueError:
            bad = next(name for name in wanted if not _is_number(cells[name]))
            faults.append(f"{path.name}:{number}: {bad} is {cells[bad]!r}, a number is wanted")
    if faults:
        raise SettingsError(
            "\n  ".join([f"{len(faults)} fault(s):", *faults]) if len(faults) > 1 else faults[0]
        )
    if not rows:
        raise SettingsError(f"{path.name}: no row holds a measurement")
    return {
        kind: dict(zip(FITS[kind][0], np.array(values, float).T, strict=True))
        for kind, values in rows.items()
    }, skipped


def _number(cell: str) -> float:
    return WORDS[cell] if cell in WORDS else float(cell)


def _is_number(cell: str) -> bool:
    try:
        _number(cell)
    except ValueError:
        return False
    return True


def _write(folder: Path, files: Mapping[str, str]) -> None:
    """New files, all or none."""
    texts = {name: text for name, text in files.items() if text}
    for name in texts:
        if os.path.lexists(folder / name):
            raise OutputError(f"{folder / name} is there already; rename it or choose another folder")
    if folder.exists() and not folder.is_dir():
        raise OutputError(f"{folder} is a file; give the folder another name")
    finished: list[Path] = []
    try:
        with told(f"cannot write to {folder}"):
            folder.mkdir(parents=True, exist_ok=True)
            for name, text in texts.items():
                part = folder / f".{name}.{secrets.token_hex(4)}.part"
                finished.append(part)
                part.write_text(text, encoding="utf-8", newline="\n")
                finished[-1] = part.rename(folder / name)
    except BaseException:
        for each in finished:
            with suppress(OSError):  # where there is no folder, there is nothing to take away
                each.unlink(missing_ok=True)
        raise


def _screw(c: Columns) -> Part:
    if not (c["seconds"] > 0).all():
        raise SettingsError("screw: seconds must be above 0")
    rate = c["mass_g"] / c["seconds"]
    curve = fit_screw(c["rpm"], rate / 1000)
    lines: list[str] = []
    for rpm, each in zip(c["rpm"].tolist(), (rate * KG_H).tolist(), strict=True):
        lines += ["[[extruder.calibration]]", f"rpm = {rpm!r}", f"rate = {each:.12g}"]
    rows = [
        (
            "screw",
            f"{curve.slope * 3600:.5g} kg/h a rpm, intercept {curve.intercept * 3600:+.4g} kg/h, from {curve.low:g} to"
            f" {curve.high:g} rpm; residuals {curve.spread * 3600:.3g} kg/h"
            f" (greatest {float(np.abs(curve.residual).max()) * 3600:.3g})",
        ),
        *(("screw", finding.text) for finding in curve.findings()),
    ]
    return Part(machine=tuple(lines), told=tuple(rows))


def _lag(c: Columns) -> Part:
    if not (c["full_width_mm"] > 0).all():
        raise SettingsError("lag: the full width must be above 0")
    share, stop = c["width_mm"] / c["full_width_mm"], c["command"] == WORDS["stop"]
    lines, found = ["[extruder.lag]"], []
    for name, own in (("up", ~stop), ("down", stop)):
        fit = fit_lag(np.ones(int(own.sum())), c["time_s"][own], share[own], stop=name == "down")
        response = fit.response
        lines += [f"dead_{name} = {response.dead:.4g}", f"tau_{name} = {response.constant:.4g}"]
        found.append(
            (
                f"lag {name}",
                f"dead time {response.dead:.3g} s (sure to {fit.dead_sure:.2g}), time constant"
                f" {response.constant:.3g} s (sure to {fit.constant_sure:.2g}); residuals {fit.spread:.2g} of a full"
                f" bead at {fit.rows} places",
            )
        )
    return Part(machine=tuple(lines), told=tuple(found))


def _width(c: Columns) -> Part:
    fit = fit_width(c["feed_mm_s"], c["width_mm"], c["flow"])
    text = (
        f"{fit.width.value:.4g} mm (sure to {fit.width.sure:.2g}), single readings within {fit.spread:.2g};"
        f" {fit.slope.value:+.2g} mm for each mm/s of feed (sure to {fit.slope.sure:.2g})"
    )
    if fit.by_flow is not None:
        text += f"; {fit.by_flow.value / 100:+.2g} mm for each percent of flow (sure to {fit.by_flow.sure / 100:.2g})"
    found = [("width", text)]
    if abs(fit.slope.value) > 3 * fit.slope.sure:
        found.append(
            ("width", "it changes with the feed: the screw does not follow it; calibrate the screw first")
        )
    return Part(job=(f"width = {fit.width.value:.4g}",), told=tuple(found))


def _overlap(c: Columns) -> Part:
    nominal = np.unique(c["layer_height_mm"])
    if len(nominal) != 1 or not (c["layers"] > 0).all():
        raise SettingsError("overlap: all rows need one layer height and layers above 0")
    fit = fit_spacing(c["spacing_mm"], c["height_mm"] / c["layers"], nominal=float(nominal[0]))
    return Part(
        job=(f"spacing = {fit.value:.4g}",),
        told=(("spacing", f"{fit.value:.4g} mm leaves no void (sure to {fit.sure:.2g})"),),
    )


def _corner(c: Columns) -> Part:
    most = corner_tolerance(c["feed_mm_s"], c["cut_mm"])
    return Part(
        told=(
            (
                "corner",
                f"corners are cut by up to {most:.3g} mm: tell the controller, or path.tolerance, no less",
            ),
        )
    )


def _lean(c: Columns) -> Part:
    return Part(
        told=(("lean", f"good up to {greatest_lean(c['lean_deg'], c['good']):g} degrees from the vertical"),)
    )


def _circle(c: Columns) -> Part:
    fit = fit_sizes(c["drawn_mm"], c["measured_mm"])
    factor, offset = fit.factor, fit.offset
    text = (
        f"measured = {factor.value:.6f} x drawn {offset.value:+.3g} mm (sure to {factor.sure:.2g} and"
        f" {offset.sure:.2g}), residuals {fit.spread:.2g} mm; drawn larger by {1 / factor.value:.6f} it comes out right"
    )
    return Part(told=(("circle", text),))


def _interface(c: Columns) -> Part:
    band = fit_band(c["predicted_c"], c["measured_c"])
    return Part(
        job=("[layer_time]", f"band = {band:.3g}"),
        told=(
            (
                "interface",
                f"readings lie within {band:.3g} K of the wall model, 95 of 100; greatest"
                f" {float(np.abs(c['measured_c'] - c['predicted_c']).max()):.3g} K. A camera sees the skin, which is"
                " colder than the mean of the layer",
            ),
        ),
    )


FITS: dict[str, tuple[Sequence[str], Callable[[Columns], Part]]] = {
    "screw": (("rpm", "seconds", "mass_g"), _screw),
    "lag": (("command", "time_s", "width_mm", "full_width_mm"), _lag),
    "width": (("feed_mm_s", "width_mm", "flow"), _width),
    "overlap": (("spacing_mm", "layers", "layer_height_mm", "height_mm"), _overlap),
    "corner": (("feed_mm_s", "cut_mm"), _corner),
    "lean": (("lean_deg", "good"), _lean),
    "interface": (("predicted_c", "measured_c"), _interface),
    "circle": (("drawn_mm", "measured_mm"), _circle),
}
"""By kind of test piece: the columns that a fit needs, and the fit."""
