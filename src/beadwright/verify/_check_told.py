"""The program's structured comments against its moves and against each other, all layers."""

from __future__ import annotations

import functools
from collections.abc import Mapping

import numpy as np

from beadwright.brep import Model
from beadwright.kernel import height_range
from beadwright.numeric import Finding
from beadwright.verify._check_start import check_run_ins
from beadwright.verify._deposit import Bead, Deposit, DepositLayer
from beadwright.verify._moves import Moves
from beadwright.verify._reading import Reading
from beadwright.verify._result import Notes
from beadwright.verify._standard import INCH
from beadwright.verify._told import LAID, PASSING, ToldLayer, number

# Heights agree within this, mm: far below a printed digit.
SAME = 1e-6
# Layers reach the part's ends within this, mm.
REACH = 0.01
# A stop lead is as long as told within this, mm: chords are shorter than their arcs, and digits are rounded.
LED = 0.05
# A plane of the neutral rule lies within this of the middle: planes are moved off flat faces by no more, mm.
MOVED = 0.021


def check_told(reading: Reading, deposit: Deposit, model: Model, notes: Notes) -> None:
    """Head, placement, order of layers, heights, bounds, and every bead's moves.

    Parameters
    ----------
    reading : Reading
    deposit : Deposit
        By its comments.
    model : Model
        For its SHA-256 and its gap.
    notes : Notes
        Findings are added here.
    """
    told = reading.told
    head, line = told.header, told.header_line
    for at, text in told.misplaced:
        notes.add(Finding(code="comment-place", level="error", text=text), at)
    if head.get("contract") != "1":
        notes.add(Finding(code="head", level="error", text="no (program line with contract=1"), line)
    if not told.closed or told.layer >= 0:
        text = "(end program) is missing, or a layer is still open at the end"
        notes.add(Finding(code="end", level="error", text=text), reading.lines)
    if head.get("part_sha256", "").lower() != model.sha256.lower():
        text = "the program was made from another file: the SHA-256 of the part differs"
        notes.add(Finding(code="part-sha256", level="error", text=text), line)
    for name, count in (("layers", len(deposit.layers)), ("beads", len(deposit.beads))):
        if number(head.get(name)) != count:
            text = f"the head says {name}={head.get(name)}, the program has {count}"
            finding = Finding(
                code="counts",
                level="error",
                text=text,
                measured=float(count),
                allowed=_known(number(head.get(name))),
            )
            notes.add(finding, line)
    _units(reading, notes)
    _placement(reading, notes)
    first = number(head.get("first", "0"))
    start = int(first) if np.isfinite(first) else 0
    previous: DepositLayer | None = None
    for place, (layer, block) in enumerate(zip(deposit.layers, told.layers, strict=True)):
        _layer(layer, block, start + place, previous, notes)
        previous = layer
    _beads(reading, deposit, notes)
    check_run_ins(reading, notes)


def _known(value: float) -> float | None:
    return value if np.isfinite(value) else None


def _units(reading: Reading, notes: Notes) -> None:
    """The unit of the words against the one that the head names."""
    told = INCH if reading.told.header.get("units", "mm") == "inch" else 1.0
    wrong = [unit for unit in reading.units if unit != told]
    if wrong:
        text = (
            f"the words are in units of {wrong[0]} mm, the head says units={reading.told.header.get('units')}"
        )
        finding = Finding(code="units", level="error", text=text, measured=wrong[0], allowed=told, unit="mm")
        notes.add(finding, reading.unit_line)


def _placement(reading: Reading, notes: Notes) -> None:
    """Three rows of a similarity that does not mirror."""
    told = reading.told
    matrix = told.placement()
    rows = (
        np.array([told.rows.get(r, [np.nan] * 4)[:3] for r in "012"], dtype=float)
        if matrix is not None
        else None
    )
    if rows is None or not np.linalg.det(rows) > 0:
        text = "the placement is not told in full, or it mirrors"
        notes.add(Finding(code="placement", level="error", text=text), told.header_line)
        return
    square = rows @ rows.T
    off = float(np.abs(square / (np.trace(square) / 3) - np.eye(3)).max())
    if off > 1e-12:
        text = "the placement is more than a rotation, a scale and a shift"
        finding = Finding(code="placement", level="error", text=text, measured=off, allowed=1e-12)
        notes.add(finding, told.header_line)


def _layer(
    layer: DepositLayer,
    block: ToldLayer,
    due: int,
    below: DepositLayer | None,
    notes: Notes,
) -> None:
    """Order, heights, planes and bound of a layer line."""
    tell = functools.partial(notes.fault, layer)
    z0, z = layer.z0, layer.z
    if layer.index != due and (below is None or layer.index != below.index + 1):
        tell(
            "missing-layer", f"layer {layer.index} stands where {due} is due", float(layer.index), float(due)
        )
    if not (z > z0 and abs(block.value("height") - (z - z0)) < SAME):
        tell("layer-heights", f"height={block.keys.get('height')} between z0={z0} and z={z}")
    if below is not None and not abs(z0 - below.z) < SAME:
        tell("missing-layer", f"the layer begins at {z0}, the one below ends at {below.z}", z0, below.z, "mm")
    known = layer.rule in {"neutral", "outer", "inner"} or (layer.rule == "faces" and len(layer.cuts) == 3)
    inside = bool(layer.cuts) and all(z0 < cut < z for cut in layer.cuts)
    away = abs(layer.cuts[0] - (z0 + z) / 2) if len(layer.cuts) == 1 else np.inf
    if not (known and inside and (layer.rule != "neutral" or away <= MOVED)):
        tell("section-z", f"planes at {block.keys.get('section_z')}, rule {layer.rule}, between {z0} and {z}")
    offsets = [abs(b.offset) for b in layer.beads if b.role == "contour" and np.isfinite(b.offset)]
    if offsets:
        parts = [number(block.bound.get(key)) for key in ("section", "fit", "region", "rounding")]
        parts.append(number(block.bound.get("corner", "0")))
        total = number(block.bound.get("total"))
        if not max([0.0, *parts]) <= total <= min(offsets):
            tell(
                "bound",
                f"total={block.bound.get('total')} is missing, less than a part of it, or above an offset",
            )


def _beads(reading: Reading, deposit: Deposit, notes: Notes) -> None:
    """Heights, wholeness and closing of every bead; flow where none is due, none where it is."""
    moves, told = reading.moves, reading.told
    unit = reading.units[0] if reading.units else 1.0
    digit = 0.51 * 10 ** -max(0.0, number(told.header.get("decimals", "3"))) * unit + 1e-9
    index_before = -1
    for layer, block in zip(deposit.layers, told.layers, strict=True):
        mapped = block.keys.get("map") == "1"
        for bead in layer.beads:
            _bead(moves, layer, bead, digit, mapped, notes)
            if bead.stop_lead > 0:
                _stop_lead(moves, layer, bead, told.settings, notes)
            if bead.index != index_before + 1 and index_before >= 0:
                text = f"bead {bead.index} follows bead {index_before}"
                finding = Finding(code="missing-bead", level="error", text=text, layer=layer.index)
                notes.add(finding, bead.line)
            index_before = bead.index
    laid = np.array([bead.role in LAID for bead in told.beads], bool)
    if len(laid):
        silent = (moves.bead >= 0) & (moves.kind > 0) & ~moves.flow & (moves.length > SAME)
        for row in np.flatnonzero(silent & laid[np.maximum(moves.bead, 0)]):
            text = "a feed move of a bead with the extruder off"
            _at_move(moves, int(row), "flow-missing", text, notes)
    for row in deposit.stray:
        _at_move(moves, int(row), "flow-outside", "a feed move with the extruder on outside any bead", notes)


def _bead(moves: Moves, layer: DepositLayer, bead: Bead, digit: float, mapped: bool, notes: Notes) -> None:
    """Height of a bead's moves, in one piece, closed if it says so."""
    rows = bead.rows
    if not len(rows):
        if bead.role in LAID:
            text = f"{bead.role} bead {bead.index} has no move with the extruder on"
            notes.fault(layer, "missing-bead", text, line=bead.line)
        return
    low = layer.z0 if bead.role == "wall" or bead.role in PASSING else layer.z
    high = np.inf if bead.role in PASSING else layer.z
    room = digit + ((layer.z - layer.z0) / 2 if mapped else 0.0)
    heights = np.stack([moves.start[rows, 2], moves.end[rows, 2]])
    wrong = np.flatnonzero(((heights < low - room) | (heights > high + room)).any(axis=0))
    if len(wrong):
        row = rows[wrong[0]]
        height = float(heights[np.abs(heights[:, wrong[0]] - layer.z).argmax(), wrong[0]])
        finding = Finding(
            code="height",
            level="error",
            text=f"bead {bead.index} leaves the height of its layer",
            layer=layer.index,
            at_mm=_triple(moves, int(row)),
            measured=height,
            allowed=layer.z,
            unit="mm",
        )
        notes.add(finding, int(moves.line[row]))
    gaps = np.linalg.norm(moves.start[rows[1:]] - moves.end[rows[:-1]], axis=1)
    if len(gaps) and gaps.max() > 1e-9:
        row = int(rows[1 + int(gaps.argmax())])
        text = f"bead {bead.index} is in pieces"
        _at_move(moves, row, "bead-path", text, notes, layer.index, float(gaps.max()))
    open_by = float(np.hypot(*(moves.start[rows[0]] - moves.end[rows[-1]])[:2]))
    if bead.closed and open_by > 4 * digit:
        text = f"bead {bead.index} says closed=1 but does not end where it starts"
        _at_move(moves, int(rows[-1]), "bead-path", text, notes, layer.index, open_by)
    if bead.role == "contour" and bead.rank == "1" and not bead.offset <= bead.width:
        text = f"rank 1, but an offset of {bead.offset} leaves the boundary out of reach of a width of {bead.width}"
        notes.fault(layer, "offset", text, line=bead.line)


def _stop_lead(
    moves: Moves, layer: DepositLayer, bead: Bead, settings: Mapping[str, str], notes: Notes
) -> None:
    """What is laid after a bead's stop is as long as told, and no longer than the lag that is told accounts for."""
    dead_up, tau_up, dead, tau = (
        number(settings.get(f"machine.extruder.lag.{name}_s"))
        for name in ("dead_up", "tau_up", "dead_down", "tau_down")
    )
    prime = number(settings.get("machine.extruder.lag.prime_s", "0"))
    rows = bead.rows[~moves.flow[bead.rows]]
    found = float(moves.length[rows].sum())
    feed = float(np.nanmax(moves.feed[bead.rows], initial=0.0))
    seconds = dead + tau - dead_up - tau_up + prime if bead.closed else dead + tau
    allowed = feed * seconds + LED
    if abs(found - bead.stop_lead) <= LED and found <= allowed:
        return
    text = f"bead {bead.index} is laid with the extruder off over its end, longer than its lag accounts for"
    if abs(found - bead.stop_lead) > LED:
        text, allowed = f"bead {bead.index} does not go on to its end after its stop", bead.stop_lead
    limit = allowed if np.isfinite(allowed) else 0.0
    notes.fault(layer, "stop-lead", text, found, limit, "mm", line=bead.line)


def _triple(moves: Moves, row: int) -> tuple[float, float, float]:
    x, y, z = moves.end[row].tolist()
    return x, y, z


def _at_move(
    moves: Moves,
    row: int,
    code: str,
    text: str,
    notes: Notes,
    layer: int | None = None,
    measured: float | None = None,
) -> None:
    finding = Finding(
        code=code,
        level="error",
        text=text,
        layer=layer,
        at_mm=_triple(moves, row),
        measured=measured,
        unit="" if measured is None else "mm",
    )
    notes.add(finding, int(moves.line[row]))


def check_reach(reading: Reading, deposit: Deposit, model: Model, matrix: np.ndarray, notes: Notes) -> None:
    """Check that the layers reach from the part's lowest to its highest point, and no contour bead beyond."""
    size = float(np.linalg.norm(matrix[2, :3]))
    low, high = height_range(model, matrix)
    first, last = deposit.layers[0], deposit.layers[-1]
    room = model.gap * size + REACH
    whole = "first" not in reading.told.header
    if whole and not first.z0 <= low + room:
        text = f"the first layer begins at {first.z0:.4f}, the part at {low:.4f}"
        notes.fault(first, "missing-layer", text, first.z0, low, "mm")
    if whole and not last.z >= high - (last.z - last.z0) - room:
        text = f"the last layer ends at {last.z:.4f}, the part at {high:.4f}"
        notes.fault(last, "missing-layer", text, last.z, high, "mm")
    for layer in deposit.layers:
        # stock closes the part above and below
        room = layer.stock if np.isfinite(layer.stock) else np.inf
        if layer.beads and not any(low - room - SAME <= cut <= high + room + SAME for cut in layer.cuts):
            text = "beads where the part has no section"
            notes.fault(layer, "section-z", text)
