"""`replan`: the rest of a print at the height that it has really reached."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from beadwright.errors import OutputError, SettingsError
from beadwright.pipeline._axis_left import axis_left
from beadwright.pipeline._bed import mapped_layers
from beadwright.pipeline._output import FORMAT
from beadwright.pipeline._plan import Progress, plan_part
from beadwright.pipeline._rest import Rest, Seam
from beadwright.pipeline._result import PlanResult
from beadwright.pipeline._resume import Resume, find_place
from beadwright.pipeline._set_up import beside_path
from beadwright.settings import Resolved, resolve_told

# A measured height further from the planned one than this share of it is a slip of the pen.
FAR = 0.25


def replan(
    folder: str | Path,
    out: str | Path | None = None,
    *,
    from_layer: int | None = None,
    height: float | None = None,
    from_bead: int | None = None,
    after: float = 0.0,
    at_line: int | None = None,
    part: str | Path | None = None,
    finished: str | Path | None = None,
    workers: int | None = None,
    overwrite: bool = False,
    progress: Progress | None = None,
) -> PlanResult:
    """Plan the rest of a print from a layer on, or from a place within one.

    From a layer on: new section planes through the true solid at the heights that are still missing. Within a
    layer the heights stay as planned, since a part of it is there, and the rest is what the old program had.

    Parameters
    ----------
    folder : str or Path
        Output of the earlier plan; it is read and never changed.
    out : str or Path, optional
        New folder; default beside the old one, its name with ``-from-N``.
    from_layer : int, optional
        Index of the first layer that is not printed; with `height`.
    height : float, optional
        Measured height of what is printed, above the platform, mm.
    from_bead : int, optional
        Bead of the old program that is not, or not wholly, printed.
    after : float
        So much of that bead is printed, mm; without a bead an error.
    at_line : int, optional
        In place of `from_bead`: first line of the old program.nc that was not carried out.
    part : str or Path, optional
        The STEP file; default where the earlier plan found it. It must be the same file, byte for byte.
    finished : str or Path, optional
        The finished part's STEP file, where stock was judged against one; default where the earlier plan found it.
    workers : int, optional
        Processes; default all cores.
    overwrite : bool
        Whether an earlier output in `out` may be replaced.
    progress : callable, optional
        As of `plan`.

    Returns
    -------
    PlanResult
        ``document["join"]`` lists where old and new program meet.

    Raises
    ------
    SettingsError
        The folder holds no plan of ours, the part is not the same, or layer and height do not fit it.
    """
    old = Path(folder)
    document, text = _read(old)
    _one_place(document, from_layer, height, from_bead, at_line, after)
    source = _part(old, document, part)
    rest: Rest | Resume
    if from_layer is not None and height is not None:
        rest, name = _rest(old, document, text, from_layer, height), f"from-{from_layer}"
    else:
        if "join" in document:
            raise SettingsError(
                f"{old} is the rest of a print itself; take it up at a layer, with --from-layer"
            )
        rest = find_place(
            old,
            document,
            bead=from_bead,
            after=after,
            line=at_line,
            old_sha256=hashlib.sha256(text.encode()).hexdigest(),
        )
        name = f"from-bead-{rest.bead}"
    resolved = resolve_told(
        document.get("settings", {}),
        {"workers": workers, "overwrite": overwrite or None},
        without=frozenset({"layers"} if from_layer is not None else ()),
        files=_finished(old, document, finished),
    )
    shared = mapped_layers(resolved)
    if (rest.first if isinstance(rest, Rest) else rest.layer) < shared:
        raise SettingsError(
            f"layers below {shared} follow the platform's map and are not level; take up the print at"
            f" layer {shared} or above, or plan the part anew with a map of what is printed"
        )
    resolved = replace(resolved, job_folder=_job_folder(old))
    _check_beside(document, resolved)
    where = old.with_name(f"{old.resolve().name}-{name}") if out is None else Path(out)
    if where.resolve() == old.resolve():
        raise OutputError(f"{where} is the earlier plan itself; give the rest a folder of its own")
    return plan_part(source, where, resolved=resolved, progress=progress, rest=rest)


def _one_place(
    document: Mapping[str, Any],
    from_layer: int | None,
    height: float | None,
    from_bead: int | None,
    at_line: int | None,
    after: float,
) -> None:
    """A layer of the plan with its height, or a bead and how much of it there is, or a line."""
    places = {"--from-layer": from_layer, "--from-bead": from_bead, "--at-line": at_line}
    given = [name for name, value in places.items() if value is not None]
    if not given:
        lone = "" if height is None else f"--height {height:g} is given without a layer; "
        lone += f"--after {after:g} is given without a bead; " if after else ""
        raise SettingsError(
            f"{lone}say where the print is taken up: --from-layer with --height, or --from-bead (with --after), or"
            " --at-line"
        )
    if len(given) > 1:
        told = (
            f"{' and '.join(given)} are given together, and each says by itself where the print is taken up"
        )
        raise SettingsError(
            f"{told}: keep --from-layer (with --height) for a layer that is to be cut anew at its measured height, else"
            " --from-bead or --at-line for a place within one"
        )
    if after and from_bead is None:
        raise SettingsError(
            f"--after {after:g} goes with --from-bead, which says of which bead so much is printed; {given[0]} says by"
            " itself where the print is taken up: leave --after out, or name the bead in place of it"
        )
    if from_layer is None:
        if height is not None:
            raise SettingsError(
                f"--height {height:g} goes with --from-layer: within a layer, as {given[0]} says, heights stay as"
                " planned; leave it out"
            )
        return
    rows = {row["index"] for row in document["layers"]}
    if from_layer not in rows or from_layer - 1 not in rows:
        raise SettingsError(
            f"from-layer: the plan has no layer {from_layer} to take up on one below; allowed {min(rows) + 1} to"
            f" {max(rows)}, or plan the part anew"
            if len(rows) > 1
            else f"from-layer: the plan has layer {min(rows)} alone, and no rest begins above it; plan the part anew"
        )
    if height is None:
        raise SettingsError(
            f"--from-layer {from_layer} needs --height: measure the top of what is printed above the platform and give"
            " it in mm"
        )


def _read(folder: Path) -> tuple[Mapping[str, Any], str]:
    """The plan.json of an earlier output."""
    path = folder / "plan.json"
    try:
        text = path.read_text(encoding="utf-8")
        document = json.loads(text)
    except OSError as error:
        raise SettingsError(
            f"{path} cannot be read: {error.strerror or error}; give a folder that plan wrote"
        ) from error
    except ValueError as error:
        raise SettingsError(f"{path} is no JSON: {error}") from error
    if not isinstance(document, dict) or document.get("format") != FORMAT:
        raise SettingsError(f"{path} is no plan of beadwright")
    return document, text


def _part(folder: Path, document: Mapping[str, Any], part: str | Path | None) -> Path:
    """The same part as before: where it is said to be, else where it was."""
    name, wanted = document["input"]["file"], document["input"]["sha256"]
    part = part or _run(folder).get("part")
    if not isinstance(part, (str, Path)):
        raise SettingsError(f"where {name} lies is not recorded; name it with --part")
    path = Path(part)
    found = _sha256(path, f"name {name} with --part")
    if found != wanted:
        raise SettingsError(
            f"{path} is not the file that was printed: its SHA-256 is {found[:12]}..., not {wanted[:12]}...;"
            " give that very file with --part"
        )
    return path


def _finished(folder: Path, document: Mapping[str, Any], given: str | Path | None) -> dict[str, str]:
    """Where the finished part's file lies that the earlier plan was judged against, if it was; it must be the same."""
    told = document.get("finished")
    if told is None:
        if given is not None:
            raise SettingsError(
                "finished: the earlier plan was judged against no finished part; leave it out"
            )
        return {}
    path = given or _run(folder).get("finished")
    if not isinstance(path, (str, Path)):
        raise SettingsError(f"where {told['file']} lies is not recorded; name it with --finished")
    found = _sha256(Path(path), f"name {told['file']} with --finished")
    if found != told["sha256"]:
        raise SettingsError(
            f"{path} is not the finished part of the earlier plan: its SHA-256 is {found[:12]}..., not"
            f" {told['sha256'][:12]}...; give that very file with --finished"
        )
    return {"finished": str(Path(path).resolve())}


def _sha256(path: Path, remedy: str) -> str:
    """Of a file's bytes."""
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError as error:
        raise SettingsError(f"{path} cannot be read: {error.strerror or error}; {remedy}") from error


def _run(folder: Path) -> Mapping[str, Any]:
    """The run.json of an earlier output; empty where there is none to read."""
    try:
        told = json.loads((folder / "run.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return told if isinstance(told, dict) else {}


def _job_folder(folder: Path) -> Path | None:
    """Where the job file of the earlier plan stood, as far as that is recorded."""
    told = _run(folder).get("job_folder")
    return Path(told) if isinstance(told, str) else None


def _check_beside(document: Mapping[str, Any], resolved: Resolved) -> None:
    """Refuse further parts that are not those that were printed."""
    printed = {row["sha256"] for row in document.get("copies", ())}
    for row in resolved.settings.beside:
        path = beside_path(row.file, resolved.job_folder)
        found = _sha256(path, "it was printed beside the part and must lie where it did")
        if found not in printed:
            raise SettingsError(f"{path} is not the file that was printed: its SHA-256 is {found[:12]}...")


def _rest(folder: Path, document: Mapping[str, Any], text: str, first: int, height: float) -> Rest:
    """Where old and new meet."""
    rows = {row["index"]: row for row in document["layers"]}
    planned, line = float(rows[first]["z0_mm"]), _line(folder, first)
    if not abs(height - planned) <= FAR * planned:
        raise SettingsError(
            f"height: {height:g} mm is far from the {planned:g} mm that were planned up to layer {first}; check"
            " both, or plan the part anew"
        )
    return Rest(
        first=first,
        height=height,
        planned=planned,
        layer_height=float(rows[first]["height_mm"]),
        top=_top(document),
        layers_before=sum(index >= first for index in rows),
        beads_laid=sum(row["beads"] for index, row in rows.items() if index < first),
        old_line=line,
        axis=None if line is None else axis_left((folder / "program.nc").read_text("ascii", "replace"), line),
        old_sha256=hashlib.sha256(text.encode()).hexdigest(),
        below=tuple(
            (index, float(row.get("time_s", 0.0)), float(row.get("mass_kg", 0.0)))
            for index, row in rows.items()
            if index < first
        ),
        seam=_seam(rows[first], rows[first - 1]),
    )


def _top(document: Mapping[str, Any]) -> float | None:
    """Height at which a plan of a part of the layers ended, mm; None where it went up to the part's top."""
    told = document.get("join", {}).get("top_mm")
    if told is not None:
        return float(told)
    layers = str(document.get("settings", {}).get("layers", {}).get("value", "0:"))
    return None if layers.endswith(":") else max(float(row["z_mm"]) for row in document["layers"])


def _seam(row: Mapping[str, Any], below: Mapping[str, Any]) -> Seam | None:
    """Where a layer goes on from the bead of the one below, mm; None where it does not climb."""
    if "rising" not in row:
        return None
    x, y, _ = row["rising"]["start_mm"]
    return Seam(at=(float(x), float(y)), ramp="rising" in below)


def _line(folder: Path, first: int) -> int | None:
    """Last line of the old program before a layer, counted from 1."""
    mark = f"(layer index={first} "
    try:
        with (folder / "program.nc").open(encoding="ascii", errors="replace") as program:
            return next((number for number, line in enumerate(program) if line.startswith(mark)), None)
    except OSError:
        return None
