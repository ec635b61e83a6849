"""A measured platform: whether the map is told whole, and whether the moves of the first layers follow it.

The surface is evaluated here by the weights of the four heights around a place, and the moves by samples of their own.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.errors import InputError
from beadwright.numeric import Finding
from beadwright.verify._cover import bead_area
from beadwright.verify._deposit import Bead, Deposit, DepositLayer
from beadwright.verify._moves import Moves, at_parameter
from beadwright.verify._reading import Reading
from beadwright.verify._result import Notes, OnMap
from beadwright.verify._told import Told, ToldLayer, number

Floats = npt.NDArray[np.float64]

SAMPLES = 33
"""Places looked at on each move, both ends among them."""
HAIR = 1e-6
"""What heights of our own may be wrong by, mm: doubles of some metres."""
EVEN = 0.02
"""What the flow along a bead may differ by from the local thickness, as a share: half of what a screw is known to."""
TOLD = 10
"""So many faults of a file are told one by one."""
SHORT = 5.0
"""A move shorter than this tells no flow, mm: its digits are too few."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Grid:
    """Heights on a rectangular grid, mm, and how many layers share them."""

    x: Floats
    y: Floats
    z: Floats
    layers: int

    def height(self, points: Floats) -> Floats:
        """Height at places (k, 2); nan beyond the grid."""
        out = np.full(len(points), np.nan)
        inside = (
            (points[:, 0] >= self.x[0] - HAIR)
            & (points[:, 0] <= self.x[-1] + HAIR)
            & (points[:, 1] >= self.y[0] - HAIR)
            & (points[:, 1] <= self.y[-1] + HAIR)
        )
        px, py = points[inside].T
        i = np.minimum(np.maximum(np.searchsorted(self.x, px) - 1, 0), len(self.x) - 2)
        j = np.minimum(np.maximum(np.searchsorted(self.y, py) - 1, 0), len(self.y) - 2)
        right = (px - self.x[i]) / (self.x[i + 1] - self.x[i])
        up = (py - self.y[j]) / (self.y[j + 1] - self.y[j])
        z = self.z
        out[inside] = (1 - up) * ((1 - right) * z[j, i] + right * z[j, i + 1]) + up * (
            (1 - right) * z[j + 1, i] + right * z[j + 1, i + 1]
        )
        return out

    def rise(self, index: int) -> float:
        """Share of the height by which the top of a layer is off its nominal one."""
        return 1.0 - (index + 1) / self.layers


def told_grid(told: Told) -> Grid | None:
    """The map as the head tells it; None where a part of it is missing."""
    head = next((keys for keys in told.bed if "columns" in keys), {})
    columns, rows, layers = (number(head.get(key)) for key in ("columns", "rows", "layers"))
    if not (2 <= columns <= 1e6 and 2 <= rows <= 1e6 and 1 <= layers <= 1e6):
        return None
    x, y = np.full(int(columns), np.nan), np.full(int(rows), np.nan)
    z = np.full((int(rows), int(columns)), np.nan)
    for keys in told.bed:
        values = np.array([number(v) for v in keys.get("mm", "").split(",")])
        row, column = number(keys.get("row")), number(keys.get("column"))
        line = z[int(row)] if 0 <= row < len(z) else None
        for first, where in ((number(keys.get("x")), x), (number(keys.get("y")), y), (column, line)):
            if where is not None and first >= 0 and first + len(values) <= len(where):
                where[int(first) : int(first) + len(values)] = values
    whole = np.isfinite(z).all() and (np.diff(x) > 0).all() and (np.diff(y) > 0).all()
    return Grid(x=x, y=y, z=z, layers=int(layers)) if whole else None


def grid_of(text: str, name: str, layers: int) -> Grid:
    """The map of a file: rows x,y,z, with a header or without, and lines that begin with #.

    Raises
    ------
    InputError
        A row is no three numbers, or they make no full grid.
    """
    rows: list[list[float]] = []
    faults: list[str] = []
    for at, line in enumerate(text.splitlines(), 1):
        words = [word.strip() for word in re.split("[,;\t]", line)]
        header = not rows and not faults and [word[:1].lower() for word in words] == ["x", "y", "z"]
        if header or not line.strip() or words[0].startswith("#"):
            continue
        values = [number(word) for word in words]
        # A row passed over would leave a coarser map to judge by.
        if len(values) != 3 or not np.isfinite(values).all():
            faults.append(f"{name}:{at}: expected three numbers x,y,z in mm, got {line.strip()[:60]!r}")
        rows.append(values)
    if faults:
        more = [f"and {len(faults) - TOLD} more rows of {name}"] if len(faults) > TOLD else []
        raise InputError("\n  ".join([*faults[:TOLD], *more]))
    table = np.array(rows, dtype=float).reshape(-1, 3)
    x, y = np.unique(table[:, 0]), np.unique(table[:, 1])
    if len(x) < 2 or len(y) < 2 or len(table) != len(x) * len(y):
        raise InputError(f"{name}: expected rows x,y,z that make a full rectangular grid")
    z = np.full((len(y), len(x)), np.nan)
    z[np.searchsorted(y, table[:, 1]), np.searchsorted(x, table[:, 0])] = table[:, 2]
    if np.isnan(z).any():
        raise InputError(f"{name}: a place stands in it twice, and another is missing")
    return Grid(x=x, y=y, z=z, layers=layers)


def check_heights(text: str, name: str) -> None:
    """Refuse a file of heights that is no map, before any program is looked at.

    Raises
    ------
    InputError
        Likewise.
    """
    grid_of(text, name, 1)


def the_grid(told: Told, given: tuple[str, str] | None, notes: Notes) -> Grid | None:
    """The map that the moves are held to: that of the file given, else the program's own.

    Findings where the program follows a map and does not tell it whole, or tells another than the file.
    """
    mapped = any(block.keys.get("map") == "1" for block in told.layers)
    own = told_grid(told)
    if own is None and (mapped or told.bed):
        text = "the map that the first layers follow is not told in full"
        notes.add(Finding(code="map", level="error", text=text), told.header_line)
    if given is None:
        return own
    wanted = grid_of(*given, layers=1 if own is None else own.layers)
    if own is None:
        text = f"{given[1]} was given, but the program follows no map that it tells"
        notes.add(Finding(code="map", level="error", text=text), told.header_line)
        return None
    same = own.z.shape == wanted.z.shape and all(
        np.allclose(a, b, rtol=0, atol=HAIR)
        for a, b in ((own.x, wanted.x), (own.y, wanted.y), (own.z, wanted.z))
    )
    if not same:
        text = (
            f"the program follows another map of the platform than {given[1]}: do not run it on this platform"
        )
        notes.add(Finding(code="map-differs", level="error", text=text), told.header_line)
    return wanted


def check_bed(reading: Reading, deposit: Deposit, grid: Grid | None, notes: Notes) -> OnMap | None:
    """Heights and flow of the layers that follow the map; None where none does."""
    if grid is None or not deposit.told:
        return None
    unit = reading.units[0] if reading.units else 1.0
    digit = 0.51 * 10 ** -max(0.0, number(reading.told.header.get("decimals", "3"))) * unit + HAIR
    worst, allowed, count = 0.0, 0.0, 0
    for place, (layer, block) in enumerate(zip(deposit.layers, reading.told.layers, strict=True)):
        says = block.keys.get("map") == "1"
        if says != (layer.index < grid.layers):
            text = "it follows the map" if says else "it does not follow the map"
            text += f", which the layers below {grid.layers} share"
            notes.add(Finding(code="map", level="error", layer=layer.index, text=text), layer.line)
            continue
        if says:
            limit = _limit(layer, block, digit, notes)
            worst = max(worst, _heights(reading.moves, place, layer, grid, limit, notes))
            allowed, count = max(allowed, limit), count + 1
            _flow(reading, layer, grid, notes)
    return OnMap(layers=count, greatest=worst, allowed=allowed)


def _limit(layer: DepositLayer, block: ToldLayer, digit: float, notes: Notes) -> float:
    """What the heights of a layer may be off by, mm: as it says, at most half of the layer."""
    told = number(block.bound.get("map"))
    if not 0 <= told <= (layer.z - layer.z0) / 2:
        text = "it follows the map, but says no bound of its heights, or one above half of its own"
        notes.add(Finding(code="bound", level="error", layer=layer.index, text=text), layer.line)
        return digit
    return told + digit


def _samples(moves: Moves, rows: npt.NDArray[np.int64]) -> tuple[Floats, Floats, npt.NDArray[np.int64]]:
    """Places on some moves: x and y (k, 2), heights (k,), and the row of each."""
    t = np.tile(np.linspace(0.0, 1.0, SAMPLES), len(rows))
    row = np.repeat(rows, SAMPLES)
    z = moves.start[row, 2] + t * (moves.end[row, 2] - moves.start[row, 2])
    return at_parameter(moves, row, t), z, row


def _heights(moves: Moves, place: int, layer: DepositLayer, grid: Grid, limit: float, notes: Notes) -> float:
    """Greatest distance of a layer's moves from the surface that they follow, mm; a finding if it is too great."""
    rows = np.flatnonzero((moves.layer == place) & (moves.bead >= 0) & (moves.kind > 0))
    # what is purged beside the part follows nothing
    rows = np.setdiff1d(rows, np.concatenate([rows[:0], *(bead.rows for bead in layer.beads if bead.purge)]))
    if not len(rows):
        return 0.0
    points, z, row = _samples(moves, rows)
    off = z - (layer.z + grid.rise(layer.index) * grid.height(points))
    # beside the beads, extruder off, the nozzle may rise
    off = np.abs(np.where(moves.flow[row], off, np.minimum(off, 0.0)))
    beyond = np.isnan(off)
    worst = int(np.where(beyond, np.inf, off).argmax())
    if beyond[worst] or off[worst] > limit:
        text = (
            "the map does not reach here"
            if beyond[worst]
            else "a move leaves the surface that the map puts it on"
        )
        x, y = points[worst].tolist()
        finding = Finding(
            code="map-height",
            level="error",
            layer=layer.index,
            at_mm=(x, y, float(z[worst])),
            measured=None if beyond[worst] else float(off[worst]),
            allowed=None if beyond[worst] else limit,
            unit="" if beyond[worst] else "mm",
            text=text,
        )
        notes.add(finding, int(moves.line[row[worst]]))
    return float(off[~beyond].max(initial=0.0))


def _areas(moves: Moves, layer: DepositLayer, bead: Bead, grid: Grid, section: str) -> Floats:
    """Mean area of a bead's section by the local thickness along each of its moves, mm2; nan beyond the map."""
    points, _, _ = _samples(moves, bead.rows)
    thick = (layer.z - layer.z0) - grid.height(points) / grid.layers
    wide = np.maximum(np.repeat(bead.own_widths(), SAMPLES), thick)
    area = np.array([bead_area(w, t, section) for w, t in zip(wide.tolist(), thick.tolist(), strict=True)])
    return np.asarray(area.reshape(len(bead.rows), SAMPLES).mean(axis=1))


def mapped_volume(moves: Moves, layer: DepositLayer, bead: Bead, grid: Grid, section: str) -> float:
    """Volume of a bead by the local thickness, mm3: on the way in the plane."""
    way = np.sqrt(
        np.maximum(moves.length[bead.rows] ** 2 - (moves.end - moves.start)[bead.rows, 2] ** 2, 0.0)
    )
    return float(_areas(moves, layer, bead, grid, section) @ way)


def _flow(reading: Reading, layer: DepositLayer, grid: Grid, notes: Notes) -> None:
    """Whether what a bead gets on its way follows the local thickness, where the program can make it so.

    By an extruder's axis its advance; with a screw that turns evenly the feed, where a program varies it along a bead.
    """
    moves = reading.moves
    section = reading.told.settings.get("bead_section", "flat")
    for bead in layer.beads:
        rows = bead.rows[moves.length[bead.rows] >= SHORT]
        if len(rows) < 2 or not bead.width > 0 or bead.purge:
            continue
        if reading.told.header.get("axis"):
            given = moves.advance[rows] / moves.length[rows]
        elif np.ptp(moves.feed[rows]) > 0 and bead.widths is None:
            given = 1.0 / moves.feed[rows]
        else:
            continue
        long = np.isin(bead.rows, rows)
        share = given / _areas(moves, layer, bead, grid, section)[long]
        uneven = float(share.max() / share.min()) - 1.0
        if uneven > EVEN:
            worst = int(np.abs(share / np.median(share) - 1).argmax())
            x, y, z = moves.end[rows[worst]].tolist()
            finding = Finding(
                code="map-flow",
                level="error",
                layer=layer.index,
                at_mm=(x, y, z),
                measured=100 * uneven,
                allowed=100 * EVEN,
                unit="%",
                text=f"the flow along bead {bead.index} does not follow the local thickness",
            )
            notes.add(finding, int(moves.line[rows[worst]]))
