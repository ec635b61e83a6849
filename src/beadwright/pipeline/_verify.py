"""A program's file against a part's."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from beadwright.brep import several_pictures
from beadwright.errors import InputError, SettingsError, StepError
from beadwright.pipeline._part import read_part, read_part_with_picture
from beadwright.pipeline._range import layer_range
from beadwright.pipeline._read_back import with_more, with_read_back
from beadwright.pipeline._verify_crew import VerifyCrew
from beadwright.pipeline._verify_out import verification_output
from beadwright.pipeline._verify_sheet import verification_sheet

if TYPE_CHECKING:
    from collections.abc import Callable

    from beadwright.brep import Model, Triangles
    from beadwright.verify import Verification, VerifyOptions


def verify_program(
    program: str | Path,
    part: Any,
    options: VerifyOptions | None = None,
    progress: Callable[[str, int, int], None] | None = None,
    *,
    sheet: str | Path | None = None,
    out: str | Path | None = None,
    overwrite: bool = False,
    release: str | Path | None = None,
    parts: Sequence[Any] = (),
    workers: int | None = None,
    bed_map: str | Path | None = None,
) -> Verification:
    """Judge a program's file by its text alone, against a part.

    Parameters
    ----------
    program : str or Path
        RS274/NGC text, ours or not.
    part : str, Path, Model, cadquery.Workplane, cadquery.Shape or TopoDS_Shape
    options : VerifyOptions, optional
    progress : callable, optional
        Called with a stage, what is done and what there is to do.
    sheet : str or Path, optional
        Where the sheet of the verification is written, ``.html``; an earlier one is replaced.
    out : str or Path, optional
        A folder instead, with report.html and verification.json.
    overwrite : bool
        Whether they may replace what is no sheet of a verification, or an earlier such folder.
    release : str or Path, optional
        A release.json: its files, as read back from the controller, must lie beside the program, byte for byte.
    parts : sequence
        Further files that the program prints beside.
    workers : int, optional
        Processes that measure layers; by default as many as there are cores, if it pays.
    bed_map : str or Path, optional
        Measured heights of the platform that the first layers must follow; default those that the program tells.

    Returns
    -------
    Verification

    Raises
    ------
    InputError
        The program or the map cannot be read, or the program holds no motion.
    OutputError
        The sheet or the folder cannot be written.
    StepError
        The part cannot be read.
    """
    from beadwright.pipeline._asked import asked_of
    from beadwright.verify import VerifyOptions, check_heights, verify

    if workers is not None and workers < 1:
        raise SettingsError(f"--workers: expected a number of at least 1, got {workers}")
    options = options or VerifyOptions()
    if bed_map is not None:
        text_of, name = _heights(Path(bed_map))
        check_heights(text_of, name)
        options = replace(options, bed_map=(text_of, name))
    try:
        text = Path(program).read_bytes().decode("ascii", errors="replace")
    except OSError as reason:
        inside = "; name the program inside it, program.nc" if Path(program).is_dir() else ""
        raise InputError(f"{program}: cannot be read: {reason.strerror}{inside}") from reason
    with verification_output(sheet, out, overwrite=overwrite) as write:
        read = [_referee(each, picture=write is not None) for each in (part, *parts)]
        try:
            model, triangles = _set_up(text, read)
            asked = replace(options, outlines=write is not None)
            crew = VerifyCrew(workers)
            judged = verify(text, model, asked_of(text, model, asked), progress, crew=crew)
        except InputError as reason:
            raise InputError(f"{program}: {reason}") from reason
        found = with_more(judged, crew.findings())
        if release is not None:
            found = with_read_back(found, Path(release), Path(program).parent)
        if write is not None:
            write(verification_sheet(text, model, triangles, found), found)
    return found


def _heights(path: Path) -> tuple[str, str]:
    """Text and name of a file of heights."""
    try:
        return path.read_text("utf-8-sig"), path.name
    except (OSError, UnicodeDecodeError) as reason:
        raise InputError(f"--bed-map: {path} cannot be read: {reason}") from reason


def _referee(part: Any, *, picture: bool) -> tuple[Model, Triangles | None]:
    """A part that may judge a program."""
    model, triangles = _part(part, picture=picture)
    if model.schema == "mesh":
        raise InputError(
            f"{part}: a mesh cannot be the referee; give the STEP file that the part was drawn in"
        )
    return model, triangles


def _set_up(text: str, read: Sequence[tuple[Model, Triangles | None]]) -> tuple[Model, Triangles | None]:
    """The part, or all copies that the program says it prints, where it says they stand."""
    from beadwright.verify import placements, set_up, told_copies

    copies = told_copies(text)
    if not copies:
        if len(read) > 1:
            raise InputError("the program prints one part, but several were given")
        return read[0]
    models = [model for model, _ in read]
    where = placements(copies, models)
    unused = set(range(len(models))) - {row for row, _ in where}
    if unused:
        raise InputError(f"the program does not print {models[min(unused)].file}")
    shown = []
    for row, matrix in where:
        triangles = read[row][1]
        if triangles is not None:
            shown.append(replace(triangles, points=triangles.points @ matrix[:, :3].T + matrix[:, 3]))
    counts = [len(models[row].faces) for row, _ in where]
    return set_up(models, where), several_pictures(shown, counts) if len(shown) == len(where) else None


def _part(part: Any, *, picture: bool) -> tuple[Model, Triangles | None]:
    """A part, or, where it holds no solid, its surfaces; reading those gives the reason if there are none."""

    def read(walls: bool) -> tuple[Model, Triangles | None]:
        return read_part_with_picture(part, walls=walls) if picture else (read_part(part, walls=walls), None)

    try:
        return read(False)
    except StepError:
        return read(True)


def numbers(text: str | None, count: int, what: str) -> npt.NDArray[np.float64] | None:
    """An option of several numbers, with commas between; None if it is not given.

    Raises
    ------
    SettingsError
        There are not that many finite numbers.
    """
    if text is None:
        return None
    try:
        found = np.array([float(v) for v in text.replace(";", ",").split(",")])
    except ValueError:
        found = np.zeros(0)
    if found.shape != (count,) or not np.isfinite(found).all():
        raise SettingsError(f"{what}: expected {count} numbers with commas between, got {text!r}")
    return found


def _chosen(layers: int | str | None) -> tuple[int | None, tuple[int, int | None] | None]:
    """How many layers to measure, None for all, and from which range."""
    if not isinstance(layers, str):
        return layers, None
    if ":" in layers:
        return None, layer_range(layers)
    if not layers.strip().isdecimal():
        raise SettingsError(
            "--layers: expected how many layers to measure, such as 10, or A:B for layers A up to B - 1,"
            f" got {layers!r}"
        )
    return int(layers), None


def verify_options(
    *,
    layers: int | str | None = 10,
    tolerance: float | None = None,
    bead: tuple[float | None, float | None, str | None] = (None, None, None),
    density: float | None = None,
    matrix: str | None = None,
    machine: tuple[str | None, float | None, float | None] = (None, None, None),
    standstill: float = 0.0,
    flow: tuple[str | None, str | None, str | None] = (None, None, None),
    cover: tuple[float | None, float | None] = (None, None),
) -> VerifyOptions:
    """Options of the command as the verifier takes them.

    Parameters
    ----------
    layers : int, str or None
        How many, evenly spread; ``"A:B"``: all from A up to B - 1; None: all.
    tolerance, density, standstill : float or None
        mm, g/cm3, mm3.
    bead : (width, height, section)
        mm, mm, ``flat`` or ``round``.
    matrix : str or None
        Twelve numbers with commas between.
    machine : (envelope, greatest feed, speed of traverses)
        Six numbers with commas between, mm/s, mm/s.
    flow : (on, off, axis)
        Words that switch the extruder, letter of its own axis.
    cover : (least, most)
        Percent of a section that beads must cover, and that may be laid beyond it or twice.

    Raises
    ------
    SettingsError
        One is out of range.
    """
    from beadwright.verify import FlowWords, VerifyOptions

    count, only = _chosen(layers)
    (width, height, bead_section), (envelope, greatest_feed, traverse), (on, off, axis) = bead, machine, flow
    above = {
        "--layers": None if count is None else float(count),
        "--tolerance": tolerance,
        "--width": width,
        "--height": height,
        "--density": density,
        "--greatest-feed": greatest_feed,
        "--traverse-speed": traverse,
    }
    for name, value in above.items():
        if value is not None and not (np.isfinite(value) and value > 0):
            raise SettingsError(f"{name}: expected a number above 0, got {value:g}")
    if not (np.isfinite(standstill) and standstill >= 0):
        raise SettingsError(f"--standstill: expected a number of at least 0, got {standstill:g}")
    least, most = cover
    for name, share, top in (("--least-cover", least, 100.0), ("--most-overfill", most, 1000.0)):
        if share is not None and not 0 <= share <= top:
            raise SettingsError(f"{name}: expected percent of 0 to {top:g}, got {share:g}")
    if bead_section not in {None, "flat", "round"}:
        raise SettingsError(f"--bead-section: expected flat or round, got {bead_section!r}")
    if axis is not None and not (len(axis) == 1 and axis.isalpha()):
        raise SettingsError(f"--extruder-axis: expected one letter, got {axis!r}")
    placed = numbers(matrix, 12, "--matrix")
    if placed is not None:
        placed = placed.reshape(3, 4)
        if not abs(np.linalg.det(placed[:, :3])) > 0:
            raise SettingsError("--matrix: the three rows do not span space")
    box = numbers(envelope, 6, "--envelope")
    if box is not None and not (box[:3] < box[3:]).all():
        raise SettingsError("--envelope: expected least x, y, z and then greatest x, y, z")
    return VerifyOptions(
        layers=count or 0,
        every=count is None,
        only=only,
        tolerance=tolerance,
        width=width,
        height=height,
        bead_section=bead_section,
        density=density,
        matrix=placed,
        envelope=None if box is None else box.reshape(2, 3),
        greatest_feed=greatest_feed,
        traverse=traverse,
        standstill_mm3=standstill,
        least_cover=least,
        most_overfill=most,
        flow=FlowWords(on=on, off=off, axis=(axis or "").upper()),
    )
