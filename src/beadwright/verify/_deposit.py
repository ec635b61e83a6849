"""The beads of a program, layer by layer: by its structured comments, or by what the moves show."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.verify._moves import Moves, MovesOfBeads
from beadwright.verify._reading import Reading
from beadwright.verify._told import PASSING, ToldBead, number

Rows = npt.NDArray[np.int64]

# Levels of z nearer to each other are one layer, mm; more than the last printed digit of any program.
LEVEL = 0.01


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bead:
    """One deposited strip.

    Attributes
    ----------
    index, line : int
        Its number and the line where it begins.
    role : str
        "" where the program does not say.
    rank : str
        Of a contour bead, as told; "" for none.
    offset : float
        Told distance of the centreline from the region's boundary, mm; nan where it is not told.
    width, height : float
        mm; nan where not known yet. The width of one whose width varies is the mean along it.
    closed : bool
        Whether it ends where it starts.
    reverse : bool
        Whether the material lies to its right.
    rows : (k,) int64
        Its moves, rows of `Moves`, in their order; those after its stop lead included, extruder off.
    start_lead : float
        Told length of the run-in before it, mm.
    stop_lead : float
        Told length of its end that is laid after the extruder was stopped, mm.
    purge : bool
        Whether it is thrown away, as told.
    widths : (k,) float or None
        Width of each move, mm, where it varies.
    middle : bool
        Whether it runs along the middle of a thin wall, as told.
    """

    index: int
    line: int
    role: str
    rank: str
    offset: float
    width: float
    height: float
    closed: bool
    reverse: bool
    rows: Rows
    start_lead: float = 0.0
    stop_lead: float = 0.0
    purge: bool = False
    widths: npt.NDArray[np.float64] | None = None
    middle: bool = False

    def own_widths(self) -> npt.NDArray[np.float64]:
        """Width of each move, mm."""
        return np.full(len(self.rows), self.width) if self.widths is None else self.widths


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DepositLayer:
    """The beads of one layer.

    Attributes
    ----------
    index, line : int
        As told, or counted from 0; the line of its first word.
    z0, z : float
        Least and greatest height, mm.
    cuts : tuple of float
        Heights of the planes that its region comes from, mm.
    rule : str
    stock : float
        mm; nan where it differs from face to face.
    allowed : float
        What the program says its contour beads may be off by: total + model, mm; nan where it does not.
    model : float
        The share of it that is the file's own, mm.
    corner : float
        The share of it by which rounded corners lie too far in, mm.
    beads : tuple of Bead
    resumed : bool
        Whether an earlier program laid a part of it, as told.
    carried : bool
        Whether its bead goes on from the layer below with the extruder on, as told.
    """

    index: int
    line: int
    z0: float
    z: float
    cuts: tuple[float, ...]
    rule: str
    stock: float
    allowed: float
    model: float
    beads: tuple[Bead, ...]
    resumed: bool = False
    corner: float = 0.0
    carried: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Deposit:
    """All layers, in the order of the program.

    Attributes
    ----------
    layers : tuple of DepositLayer
    told : bool
        Whether the program's own comments gave layers and beads.
    stray : (k,) int64
        Feed moves with flow that stand in no bead.
    """

    layers: tuple[DepositLayer, ...]
    told: bool
    stray: Rows

    @property
    def beads(self) -> tuple[Bead, ...]:
        """All beads."""
        return tuple(bead for layer in self.layers for bead in layer.beads)


def rebuild(reading: Reading, *, width: float | None = None, height: float | None = None) -> Deposit:
    """The deposit of a program.

    Parameters
    ----------
    reading : Reading
    width, height : float or None
        Of beads whose measures the program does not tell, mm. Without a height, layers are as high as their
        distance.
    """
    if reading.told.layers:
        return _from_comments(reading)
    return _from_moves(reading.moves, width, height)


def _from_comments(reading: Reading) -> Deposit:
    told, moves = reading.told, reading.moves
    of_bead = MovesOfBeads(moves)
    quiet = np.flatnonzero(~moves.flow & (moves.kind > 0) & (moves.bead >= 0))
    layers = []
    for place, layer in enumerate(told.layers):
        beads = []
        for index in layer.beads:
            bead = told.beads[index]
            own = of_bead[index]
            lead = bead.value("stop_lead")
            next_role = told.beads[index + 1].role if index + 1 < len(told.beads) else ""
            purge = bead.keys.get("purge") == "1" and bead.role in PASSING
            start = bead.value("start_lead")
            laid = bead.keys.get("laid") == "1"
            if (bead.role == "lap" and not laid) or (bead.role == "approach" and not purge):
                # What a lap or a run-in extrudes makes up for the late or rising start of its bead.
                own = own[:0]
            elif lead > 0:
                own = np.concatenate([own, _led(moves, quiet, index + 1, lead)])
            label = bead.keys.get("index", "")
            beads.append(
                Bead(
                    index=int(label) if label.isdecimal() else index,
                    line=bead.line,
                    role=bead.role,
                    rank=bead.keys.get("rank", ""),
                    offset=bead.value("offset"),
                    width=bead.value("width"),
                    height=bead.value("height"),
                    closed=bead.keys.get("closed") == "1" or (lead > 0 and next_role == "lap"),
                    reverse=bead.keys.get("reverse") == "1",
                    rows=own,
                    start_lead=start if start > 0 else 0.0,
                    stop_lead=lead if lead > 0 else 0.0,
                    purge=purge,
                    middle=bead.keys.get("middle") == "1",
                    widths=own_widths(bead, moves.line[own]),
                )
            )
        label = layer.keys.get("index", "")
        model = number(layer.bound.get("model", "0"))
        layers.append(
            DepositLayer(
                index=int(label) if label.isdecimal() else place,
                line=layer.line,
                z0=layer.value("z0"),
                z=layer.value("z"),
                cuts=layer.cuts,
                rule="faces" if layer.keys.get("by") == "faces" else layer.keys.get("rule", "neutral"),
                stock=number(layer.keys.get("stock", "0")),
                allowed=number(layer.bound.get("total")) + model,
                model=model,
                beads=tuple(beads),
                resumed=layer.keys.get("resumed") == "1",
                corner=max(0.0, number(layer.bound.get("corner", "0"))),
                carried=layer.keys.get("carried") == "1",
            )
        )
    return Deposit(layers=tuple(layers), told=True, stray=of_bead[-1])


def own_widths(bead: ToldBead, lines: Rows) -> npt.NDArray[np.float64] | None:
    """Widths of a bead's moves by the comments before them; None where there are none."""
    if not bead.widths:
        return None
    at = np.array([line for line, _ in bead.widths])
    told = np.array([bead.value("width"), *(mm for _, mm in bead.widths)])
    return np.asarray(told[np.searchsorted(at, lines)])


def _led(moves: Moves, quiet: Rows, bead: int, lead: float) -> Rows:
    """First moves of the pass after a bead, as far as they end its centreline: to the joint nearest to its lead.

    ``quiet`` are the feed moves of beads with the extruder off; beads are counted as they follow one another.
    """
    first, last = np.searchsorted(moves.bead[quiet], [bead, bead + 1])
    rows = quiet[first:last]
    if not len(rows):
        return rows
    way = np.cumsum(moves.length[rows])
    return rows[: 1 + int(np.abs(way - lead).argmin())]


def _from_moves(moves: Moves, width: float | None, height: float | None) -> Deposit:
    """Beads are runs of moves with flow; layers are their levels of z."""
    flowing = moves.flow & (moves.kind > 0) & (np.hypot(*(moves.end - moves.start)[:, :2].T) > 0)
    flowing |= moves.flow & (moves.sweep != 0)
    rows = np.flatnonzero(flowing)
    if not len(rows):
        return Deposit(layers=(), told=False, stray=rows)
    level = moves.end[rows, 2]
    same = (np.diff(rows) == 1) & (np.abs(np.diff(level)) < LEVEL)
    runs = np.split(rows, np.flatnonzero(~same) + 1)
    heights = np.array([float(np.median(moves.end[run, 2])) for run in runs])
    levels = np.unique(heights)
    levels = levels[np.concatenate([[True], np.diff(levels) > LEVEL])]
    layers = []
    for index, z in enumerate(levels):
        below = float(levels[index - 1]) if index else 0.0
        z0 = float(z) - height if height else below
        own = [(k, run) for k, run in enumerate(runs) if 0 <= heights[k] - z <= LEVEL]
        beads = tuple(
            Bead(
                index=k,
                line=int(moves.line[run[0]]),
                role="",
                rank="",
                offset=np.nan if width is None else width / 2,
                width=np.nan if width is None else width,
                height=float(z) - z0,
                closed=bool(
                    np.hypot(*(moves.start[run[0]] - moves.end[run[-1]])[:2]) < 0.01 and len(run) > 1
                ),
                reverse=False,
                rows=run,
            )
            for k, run in own
        )
        layers.append(
            DepositLayer(
                index=index,
                line=min(b.line for b in beads),
                z0=z0,
                z=float(z),
                cuts=((z0 + float(z)) / 2,),
                rule="neutral",
                stock=0.0,
                allowed=np.nan,
                model=0.0,
                beads=beads,
            )
        )
    return Deposit(layers=tuple(layers), told=False, stray=np.zeros(0, np.int64))
