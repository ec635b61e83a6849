"""plan.json and run.json as plain values."""

from __future__ import annotations

import datetime as dt
import importlib.metadata
import math
import platform
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
import numpy.typing as npt

from beadwright import __version__
from beadwright.brep import Model
from beadwright.curves import ArcPath, cut_at, length, samples
from beadwright.numeric import Budget, Finding
from beadwright.pipeline._bed import MappedLayer
from beadwright.pipeline._build import LayerBuild
from beadwright.pipeline._built import Built, build_told, layer_told, totals_told
from beadwright.pipeline._heights import sides_told
from beadwright.pipeline._kept import Kept, View
from beadwright.pipeline._layer_work import LayerWork
from beadwright.pipeline._output import FORMAT
from beadwright.pipeline._part import describe_input
from beadwright.pipeline._risen import RisenLayer
from beadwright.pipeline._stages import Stages, peak_memory_mb
from beadwright.post import LayerText
from beadwright.settings import PlannedStop, Resolved

BOUNDS = ("model", "section", "fit", "region", "rounding", "corner", "total")
# A plan may list a hundred thousand lost places: their digits go no further than the program's.
PLACES, WIDTH_PLACES = 4, 6
# Greatest distance between places along a bead's end that is laid after its stop, mm.
LED_PITCH = 4.0
# Likewise along a bead that climbs.
RISEN_PITCH = 3.0
# Why places are listed where the deposit lacks nothing: only a reader of the words alone misses a level bead there.
FOR_READERS = frozenset({"stop-lead", "laid-before", "rising"})
# Region, beads and text of a layer take about so many times what its text alone does (measured).
ROOM = 5
PACKAGES = ("numpy", "numba", "scipy", "cadquery-ocp", "pydantic")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Laid:
    """A layer's work, its text, what it takes; `before` are contour beads of it that an earlier program laid.

    `ground` holds its beads above a measured platform, `risen` the bead that climbs through it.
    """

    work: LayerWork
    text: LayerText
    build: LayerBuild
    before: tuple[ArcPath, ...] = ()
    ground: MappedLayer | None = None
    risen: RisenLayer | None = None

    def room(self) -> int:
        """About what the layer takes of memory, bytes."""
        return ROOM * len(self.text.text)


def worst(budgets: Sequence[Budget]) -> Budget:
    """Part by part the greatest bound; its total is the greatest total or more."""
    parts = {name: max((getattr(b, name) for b in budgets), default=0.0) for name in BOUNDS[:-1]}
    return Budget(**parts)


def bounds_of(budget: Budget, total: float) -> dict[str, float]:
    """Bounds by part, mm."""
    parts = {name: float(getattr(budget, name)) for name in BOUNDS[:-1]}
    if not parts["corner"]:
        del parts["corner"]
    return {**parts, "total": float(total)}


def plan_document(
    model: Model,
    matrix: npt.NDArray[np.float64],
    resolved: Resolved,
    layers: Sequence[Laid],
    findings: Sequence[Finding],
    whole: Built,
    *,
    cut_later: Sequence[Mapping[str, Any]] = (),
    stock: Mapping[int, tuple[float, float]] = MappingProxyType({}),
    heights: Mapping[str, Any] = MappingProxyType({}),
) -> dict[str, Any]:
    """All results, as plan.json holds them.

    Parameters
    ----------
    model : Model
        As read, before placement.
    matrix : (3, 4) float
        Placement.
    resolved : Resolved
        Settings and where they came from.
    layers : sequence of Laid
    findings : sequence of Finding
    whole : Built
        What the build takes.
    cut_later : sequence of mapping
        Features that are printed full; the key is absent if there are none.
    stock : mapping of int to (float, float)
        Least and greatest stock left, mm, by row of the face.
    heights : mapping
        Cusp, layers and time of heights that follow the part; the key is absent if they do not.
    """
    rows: list[dict[str, Any]] = []
    budgets: list[Budget] = []
    nudged: list[dict[str, Any]] = []
    along: dict[int, list[float]] = {}
    fallbacks = 0
    # One pass: layers of a tall part come from the disk.
    for laid in layers:
        rows.append({**_layer(laid), **layer_told(laid.build, whole)})
        budgets.append(laid.text.budget)
        nudged += _nudged(laid)
        fallbacks += laid.work.fallbacks
        for face, run in laid.work.face_lengths().items():
            along.setdefault(face, []).append(run)
    return {
        "format": FORMAT,
        "version": __version__,
        "input": describe_input(model),
        "placement": matrix.tolist(),
        "settings": resolved.as_dict(),
        "layers": rows,
        "totals": {**_totals(rows), **totals_told(whole)},
        "bounds_mm": bounds_of(worst(budgets), max((b.total for b in budgets), default=0.0)),
        "fallbacks": fallbacks,
        "nudged_planes": nudged,
        **build_told(whole),
        "faces": _faces(model, along, stock),
        **({"heights": dict(heights)} if heights else {}),
        **sides_told(resolved.settings, [row["height_mm"] for row in rows]),
        **({"cut_later": list(cut_later)} if cut_later else {}),
        "findings": [finding.as_dict() for finding in findings],
    }


def _nudged(laid: Laid) -> list[dict[str, Any]]:
    return [
        {
            "layer": laid.text.index,
            "asked_mm": plane.asked,
            "taken_mm": plane.taken,
            "why": plane.why,
        }
        for plane in laid.work.taken
        if plane.why
    ]


def _layer(laid: Laid) -> dict[str, Any]:
    layer, text = laid.work.layer, laid.text
    return {
        "index": text.index,
        "z0_mm": layer.plan.z0,
        "z_mm": layer.plan.z,
        "height_mm": layer.plan.height,
        "section_z_mm": list(layer.section_z),
        "area_mm2": layer.area,
        "perimeter_mm": layer.perimeter,
        "loops": layer.n_loops,
        "holes": layer.n_holes,
        "beads": text.n_beads,
        "length_mm": text.length,
        "moves": {"line": text.n_lines, "arc": text.n_arcs},
        "bounds_mm": bounds_of(text.budget, text.budget.total),
        **({"rounded_corners": laid.work.rounded} if laid.work.rounded else {}),
        **({"rule_gap_mm": layer.gap} if layer.gap is not None and math.isfinite(layer.gap) else {}),
        "lost": [
            {
                "at_mm": [round(spot[0], PLACES), round(spot[1], PLACES), layer.plan.z],
                "length_mm": round(place.length / len(place.along or (place.at,)), PLACES),
                "width_mm": round(place.width, WIDTH_PLACES),
                "why": place.kind,
            }
            for place in laid.work.lost
            for spot in place.along or (place.at,)
        ]
        + _led(laid),
        "near_tangent": laid.work.near_tangent,
        "chords": laid.work.chords,
        "hidden_mm": laid.work.hidden,
        "grey": laid.work.grey,
        **({} if laid.ground is None else laid.ground.as_dict(text.off_map)),
        **({} if laid.risen is None else laid.risen.as_dict()),
        **_lean(laid.work),
        **_joined(laid),
        **_run_ins(laid),
        **({} if laid.work.coverage is None else {"coverage": laid.work.coverage.as_dict()}),
    }


def _run_ins(laid: Laid) -> dict[str, Any]:
    """Run-ins before beads: how many, and how long in all."""
    runs = [length(lead) for lead in laid.build.leads if lead is not None]
    return {"run_ins": {"beads": len(runs), "length_mm": math.fsum(runs)}} if runs else {}


def _led(laid: Laid) -> list[dict[str, Any]]:
    """Places where a reader of the words alone misses a contour bead.

    It is laid by what flows after the stop, or an earlier program laid it.
    """
    found = []
    for bead, after in zip(laid.work.beads, laid.build.passes, strict=True):
        if bead.role == "contour" and after is not None and after.stop > 0:
            _, tail = cut_at(bead.path, length(bead.path) - after.stop)
            found += _missed(laid, tail, LED_PITCH, bead.width, "stop-lead")
    for path in laid.before:
        found += _missed(laid, path, LED_PITCH, 0.0, "laid-before")
    return found


def for_readers(document: Mapping[str, Any], laid: Kept[Laid]) -> Mapping[str, Any]:
    """The document as plan.json holds it: with the places of level beads for which climbing ones stand.

    A reader of the words alone demands them every few millimetres, so they are made, layer by layer, when they are
    written: a tall wall has a million.
    """
    if not any(risen is not None for risen in laid.each("risen")):
        return document
    rows = document["layers"]

    def row(at: int) -> Mapping[str, Any]:
        own = laid[at]
        if own.risen is None:
            return dict(rows[at])
        # Demanded as near as half the pitch; the bead climbs, and follows another section at each place.
        missed = _missed(own, own.risen.level, RISEN_PITCH, own.risen.bead.width, "rising")
        return {**rows[at], "lost": [*rows[at]["lost"], *missed]}

    return {**document, "layers": View(lambda: len(rows), row)}


def _missed(laid: Laid, path: ArcPath, pitch: float, width: float, why: str) -> list[dict[str, Any]]:
    """Places along a path."""
    spots = samples([path], pitch)
    each = round(length(path) / len(spots), PLACES)
    z = laid.work.layer.plan.z
    return [
        {
            "at_mm": [round(float(x), PLACES), round(float(y), PLACES), z],
            "length_mm": each,
            "width_mm": round(width, WIDTH_PLACES),
            "why": why,
        }
        for x, y in spots
    ]


def stops_told(made: Sequence[tuple[int, PlannedStop]], laid: Sequence[Laid], purge: float) -> dict[str, Any]:
    """What plan.json says of planned stops, under `stops`; nothing where there is none.

    Parameters
    ----------
    made : sequence of (layer, PlannedStop)
    laid : sequence of Laid
    purge : float
        Mass of a purge, kg.
    """
    rows, time = [], 0.0
    for each in laid if made else ():
        index = each.work.layer.plan.index
        why = [stop.why for layer, stop in made if layer == index]
        if why:
            row: dict[str, Any] = {"layer": index, "why": why, "at_s": time}
            if each.build.purges:
                row["purge_kg"] = purge
            if each.work.beads:
                bead = each.work.beads[0]
                row["restart"] = {
                    "at_mm": [*bead.start, each.work.layer.plan.z],
                    "role": bead.role,
                    "rank": bead.rank,
                }
            rows.append(row)
        time += each.build.times.total
    return {"stops": rows} if rows else {}


def _lean(work: LayerWork) -> dict[str, float]:
    """Area that hangs over the layer below, where that is known."""
    if work.hanging is None:
        return {}
    return {"lean_mm2": math.fsum(piece.area for piece in work.hanging)}


def _joined(laid: Laid) -> dict[str, Any]:
    """How many lines, ribs and rings lie inside the contour beads, how many beads they became; what is not as asked."""
    if not laid.work.joined:
        return {}
    beads = sum(bead.role in {"fill", "rib", "deck"} for bead in laid.work.beads)
    told: dict[str, Any] = {"joined": {"before": laid.work.joined, "after": beads}}
    if laid.work.refilled:
        told["refilled"] = asdict(laid.work.refilled)
    return told


def _totals(rows: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Sums over the layers; of `hidden_mm` the worst."""
    summed: dict[str, Any] = {"layers": len(rows)}
    for name in ("area_mm2", "perimeter_mm", "length_mm"):
        summed[name] = math.fsum(row[name] for row in rows)
    for name in ("loops", "holes", "beads", "near_tangent", "chords", "grey"):
        summed[name] = sum(row[name] for row in rows)
    summed["moves"] = {kind: sum(row["moves"][kind] for row in rows) for kind in ("line", "arc")}
    covered = [row["coverage"] for row in rows if "coverage" in row]
    if covered and len(covered) == len(rows):
        summed["coverage"] = {key: math.fsum(each[key] for each in covered) for key in covered[0]}
    joined = [row["joined"] for row in rows if "joined" in row]
    if joined:
        summed["joined"] = {key: sum(each[key] for each in joined) for key in ("before", "after")}
    refilled = [row["refilled"] for row in rows if "refilled" in row]
    if refilled:
        summed["refilled"] = {key: sum(each[key] for each in refilled) for key in refilled[0]}
    summed["hidden_mm"] = max((row["hidden_mm"] for row in rows), default=0.0)
    return summed


def _faces(
    model: Model, along: Mapping[int, Sequence[float]], stock: Mapping[int, tuple[float, float]]
) -> list[dict[str, Any]]:
    return [
        {
            "id": face.id,
            "name": face.name,
            "colour": face.colour,
            "kind": face.kind,
            "area_mm2": face.area,
            "centroid_mm": face.centroid.tolist(),
            "radius_mm": face.radius,
            "contour_mm": math.fsum(along.get(face.id, ())),
            **(
                {"stock_mm": dict(zip(("least", "greatest"), stock[row], strict=True))}
                if row in stock
                else {}
            ),
        }
        for row, face in enumerate(model.faces)
    ]


def run_document(
    stages: Stages,
    *,
    workers: int,
    peak_memory: float,
    lost: Sequence[str],
    when: dt.datetime,
    part: Any = None,
    folder: Path | None = None,
    finished: Path | None = None,
) -> dict[str, Any]:
    """What run.json holds: all that differs from run to run.

    ``seconds`` are those of this process by stage, but for the stages of the layers (load, section, fit,
    region, beads, compile), which are summed over all processes; ``total`` is the time of the wall clock.
    `folder` is where the job file stands, from which names of further parts count; `finished` the file of the
    finished part.
    """
    seconds = {name: round(value, 4) for name, value in stages.seconds().items()}
    seconds.setdefault("compile", 0.0)
    document: dict[str, Any] = {
        "format": "beadwright run 1",
        "when": when.isoformat(timespec="seconds"),
        "seconds": {"total": round(stages.total(), 4), **seconds},
        "versions": {
            "beadwright": __version__,
            "python": platform.python_version(),
            **{name: importlib.metadata.version(name) for name in PACKAGES},
        },
        "system": platform.platform(),
        "workers": workers,
        "peak_memory_mb": {"main": peak_memory_mb(), **({"worker": peak_memory} if workers > 1 else {})},
    }
    if isinstance(part, (str, Path)):
        document["part"] = str(Path(part).resolve())
    if folder is not None:
        document["job_folder"] = str(folder.resolve())
    if finished is not None:
        document["finished"] = str(finished.resolve())
    if lost:
        document["lost_workers"] = list(lost)
    return document
