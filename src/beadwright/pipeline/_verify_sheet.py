"""The sheet of a verification: the program as it was read, its deviations in colour."""

from __future__ import annotations

import hashlib
import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from beadwright import __version__
from beadwright.brep import Model, Triangles
from beadwright.curves import ArcPath
from beadwright.pipeline._part import describe_input
from beadwright.pipeline._sheet import NO_PICTURE, edge_chains, moved
from beadwright.report import LayerMoves, Run, SheetData, SheetLayer, layer_spans, sheet_head, sheet_page
from beadwright.settings import told_row

if TYPE_CHECKING:
    from beadwright.verify import DepositLayer, Moves, Noted, Verification

Floats = npt.NDArray[np.float64]
Rows = npt.NDArray[np.int64]

# A sweep from here on is told in two halves: the tangent of its quarter grows without bound towards a whole turn.
HALVED = 1.9 * math.pi


def verification_sheet(text: str, model: Model, triangles: Triangles | None, found: Verification) -> str:
    """The page of a verification.

    Parameters
    ----------
    text : str
        The program.
    model : Model
        As read.
    triangles : Triangles or None
    found : Verification
    """
    moves = found.reading.moves
    worst = _worst(found, len(moves))
    measured = {one.index: one for one in found.checked}
    layers = []
    loops: tuple[ArcPath, ...]
    part: tuple[ArcPath, ...]
    laid = 0
    for layer in found.deposit.layers:
        own, rows = layer_moves(moves, layer)
        laid += sum(len(bead.rows) for bead in layer.beads)
        row: dict[str, Any] = {
            "index": layer.index,
            "z0_mm": _finite(layer.z0, layer.z),
            "z_mm": _finite(layer.z, 0.0),
            "height_mm": max(_finite(layer.z - layer.z0, 0.0), 0.0),
            "beads": len(layer.beads),
            "length_mm": float(sum(moves.length[bead.rows].sum() for bead in layer.beads)),
        }
        one = measured.get(layer.index)
        if one is not None:
            if one.profile is not None:
                row["deviation_mm"] = abs(one.profile.greatest)
            if one.region_mm2 is not None and one.covered_mm2 is not None:
                outside = one.outside_mm2 or 0.0
                row |= {"area_mm2": one.region_mm2, "coverage": {"covered_mm2": one.covered_mm2 - outside}}
        shown = found.outlines.get(layer.index)
        loops, part = (), ()
        if shown is not None:
            section, stock = _paths(shown.section), _paths(shown.stock)
            loops, part = (stock, section) if stock else (section, ())
            row |= {"loops": len(loops), "outline": shown.told}
        made = SheetLayer(row=row, moves=own, deviation=worst[rows], loops=loops, part=part)
        front, side = layer_spans(made)
        layers.append(replace(made, row={**row, "front": front, "side": side}))
    placed = found.reading.told.placement()
    matrix = np.eye(3, 4) if placed is None else placed
    head = sheet_head(
        _document(model, found),
        layers,
        kind="verification",
        settings=_settings(found),
        program={"sha256": hashlib.sha256(text.encode()).hexdigest(), "moves": laid},
        part_missing="" if triangles is not None else NO_PICTURE,
    )
    return sheet_page(
        SheetData(
            head=head,
            layers=tuple(layers),
            edges=edge_chains(model, matrix),
            triangles=moved(triangles, matrix),
        )
    )


def _paths(rings: tuple[Floats, ...]) -> tuple[ArcPath, ...]:
    """Rings of an outline as paths that follow no face."""
    return tuple(
        ArcPath(
            points=ring[:, :2],
            bulge=ring[:, 2],
            face=np.full(len(ring), -1, np.int32),
            support=np.full(len(ring), -1, np.int32),
        )
        for ring in rings
    )


def _finite(value: float, other: float) -> float:
    return float(value) if math.isfinite(value) else float(other)


def _worst(found: Verification, count: int) -> Floats:
    """Deviation of greatest size of each move, signed; nan where none was measured."""
    known = found.deviation_row >= 0
    row, value = found.deviation_row[known], found.deviation[known]
    order = np.argsort(np.abs(value), kind="stable")
    worst = np.full(count, np.nan)
    worst[row[order]] = value[order]
    return worst


def layer_moves(moves: Moves, layer: DepositLayer) -> tuple[LayerMoves, Rows]:
    """The moves of a layer's beads and the ways between them, as the sheet takes them, and the row of each."""
    beads = [bead for bead in layer.beads if len(bead.rows)]
    rows: list[Rows] = []
    runs: list[Run] = []
    count, last = 0, -1
    for bead in sorted(beads, key=lambda one: int(one.rows[0])):
        first = int(bead.rows[0])
        between = np.arange(max(last + 1, first - 3), first) if last >= 0 else np.arange(0)
        across = np.hypot(*(moves.end[between] - moves.start[between])[:, :2].T) > 0
        for own, laid in ((between[across], False), (bead.rows, True)):
            if not len(own):
                continue
            x, y = (float(v) for v in moves.start[own[0], :2])
            run = Run(first=count, line=int(moves.line[own[0]]), x=x, y=y)
            if laid:
                rank = int(bead.rank) if bead.rank.isdecimal() else 0
                feed = float(np.nan_to_num(np.median(moves.feed[own]), nan=0.0))
                run = replace(
                    run,
                    bead=bead.index,
                    role=bead.role or "bead",
                    rank=rank,
                    width=bead.width,
                    height=bead.height,
                    offset=bead.offset,
                    feed=feed,
                )
            runs.append(run)
            rows.append(own)
            count += len(own)
        last = int(bead.rows[-1])
    every = np.concatenate([np.zeros(0, np.int64), *rows])
    return _as_layer(moves, every, tuple(runs))


def _as_layer(moves: Moves, rows: Rows, runs: tuple[Run, ...]) -> tuple[LayerMoves, Rows]:
    """Moves by their rows; arcs of nearly a whole turn in two halves."""
    flat = moves.plane[rows] == 170
    sweep = np.where(flat, moves.sweep[rows], 0.0)
    twice = np.abs(sweep) > HALVED
    number = np.repeat(np.arange(len(rows)), np.where(twice, 2, 1))
    first_half = (
        np.concatenate([np.zeros(0, bool), (number[1:] == number[:-1])]) if len(number) else np.zeros(0, bool)
    )
    first_half = np.append(first_half, False)[: len(number)]
    own = rows[number]
    end = moves.end[own].copy()
    turned = sweep[number] / np.where(twice[number], 2, 1)
    if first_half.any():
        halved = own[first_half]
        centre = moves.centre[halved]
        from_start = moves.start[halved, :2] - centre
        c, s = np.cos(turned[first_half]), np.sin(turned[first_half])
        end[first_half, 0] = centre[:, 0] + c * from_start[:, 0] - s * from_start[:, 1]
        end[first_half, 1] = centre[:, 1] + s * from_start[:, 0] + c * from_start[:, 1]
    # the runs begin where their first move now stands
    shift = np.concatenate([[0], np.cumsum(twice)]).astype(np.int64)
    made = LayerMoves(
        told={},
        x=end[:, 0],
        y=end[:, 1],
        z=end[:, 2],
        bulge=np.tan(turned / 4),
        line=moves.line[own],
        runs=tuple(replace(run, first=run.first + int(shift[run.first])) for run in runs),
    )
    return made, own


def _document(model: Model, found: Verification) -> dict[str, Any]:
    run = found.run
    totals: dict[str, Any] = {"layers": found.layers, "beads": found.beads, "length_mm": run.bead_mm}
    if run.traverse_s is None:
        totals["feed_s"] = run.feed_s + run.dwell_s
    else:
        totals["time_s"] = run.feed_s + run.dwell_s + run.traverse_s
    if run.mass_g is not None:
        totals["mass_kg"] = run.mass_g / 1000
    faces = [
        {
            "id": face.id,
            "name": face.name,
            "colour": face.colour,
            "kind": face.kind,
            "area_mm2": face.area,
            **({"deviation_mm": found.faces[face.id].greatest} if face.id in found.faces else {}),
        }
        for face in model.faces
    ]
    document: dict[str, Any] = {
        "version": __version__,
        "input": describe_input(model),
        "totals": totals,
        "faces": faces,
        "findings": [_placed(noted, found) for noted in found.findings],
    }
    if found.profile is not None:
        document["profile"] = found.profile.as_dict()
    return document


def _placed(noted: Noted, found: Verification) -> dict[str, Any]:
    """A finding as the sheet lists it; where only its line is known, at the next move from there on."""
    told = noted.as_dict()
    moves = found.reading.moves
    if noted.line is None or "at_mm" in told:
        return told
    row = int(np.searchsorted(moves.line, noted.line))
    if row < len(moves):
        told["at_mm"] = moves.start[row].tolist()
        if found.told and "layer" not in told and moves.layer[row] >= 0:
            told["layer"] = found.deposit.layers[int(moves.layer[row])].index
    return told


def _settings(found: Verification) -> list[dict[str, Any]]:
    """What the program says of its settings, with the ranges that this version allows."""
    told = found.reading.told
    rows = []
    for name, text in told.settings.items():
        origin, standing = told.origins[name]
        rows.append(told_row(name, text, origin=origin or "program", standing=standing).as_dict())
    return rows
