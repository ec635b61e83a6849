"""The text of one layer."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from beadwright.curves import ArcPath
from beadwright.errors import SettingsError
from beadwright.numeric import Budget
from beadwright.post._climb import carried_on, climb_along, even_runs, printed_rise
from beadwright.post._comments import number, structured
from beadwright.post._dialect import Dialect
from beadwright.post._lint import check_text
from beadwright.post._load import standard
from beadwright.post._marks import bead_line, bound_line, layer_line
from beadwright.post._motion import motion_lines, move_formats
from beadwright.post._printed import Printed, printed
from beadwright.post._rounding import PrintedMoves
from beadwright.post._words import Words
from beadwright.process import BeadSection, mean_areas
from beadwright.program import (
    Approach,
    BeadBegin,
    BeadEnd,
    BeadMoves,
    Climb,
    Departure,
    Dwell,
    Event,
    LayerBegin,
    LayerEnd,
    LayerProgram,
    PassMoves,
    StartFlow,
    Stop,
    StopFlow,
    Switch,
    Traverse,
)

MILLIMETRES = Words()
# Decimals of the screw speed; no drive follows finer steps.
RPM_DECIMALS = 3

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class AxisFeed:
    """How an extruder axis counts.

    Attributes
    ----------
    scale : float
        Volume per unit of the axis, mm3.
    kind : {"flat", "round"}
        Cross-section of beads.
    start : float
        Where the axis stands before the layer, in its unit.
    """

    scale: float
    kind: Literal["flat", "round"]
    start: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerText:
    """One layer as text, and what printing it did.

    Attributes
    ----------
    index : int
        Of the layer.
    text : str
        From ``(layer`` to ``(end layer)``, each line with its end.
    budget : Budget
        All bounds of the layer, rounding included, mm.
    n_beads, n_lines, n_arcs : int
        Beads; lines and arcs printed with the extruder on.
    n_flat, n_dropped : int
        Arcs printed as lines and moves that vanished; both are inside the rounding bound.
    length : float
        Of the bead centrelines, mm.
    top : float
        Greatest height reached, mm.
    chord : float
        Greatest distance of a chord from the arc it stands for, mm; it is part of ``budget.rounding``.
    off_map : float or None
        Greatest distance of a printed move's height from the surface that it follows, mm; None for a level layer.
    advance : float
        Where the extruder axis stands after the layer, in its unit.
    seconds : float
        Of its feed moves at their feed, without acceleration.
    start : (3,) float or None
        Where its first bead starts, and the height of the traverse to it, mm; None without a bead, or where that goes
        on from the layer below.
    carried, goes_on : bool
        Whether its bead goes on from the layer below, and into the one above, extruder on.
    """

    index: int
    text: str
    budget: Budget
    n_beads: int
    n_lines: int
    n_arcs: int
    n_flat: int
    n_dropped: int
    length: float
    top: float
    chord: float = 0.0
    off_map: float | None = None
    advance: float = 0.0
    seconds: float = 0.0
    start: tuple[float, float, float] | None = None
    carried: bool = False
    goes_on: bool = False


def layer_text(
    layer: LayerProgram,
    *,
    words: Words = MILLIMETRES,
    dialect: Dialect | None = None,
    axis: AxisFeed | None = None,
) -> LayerText:
    """Write one layer's events as RS274/NGC text.

    A pure function of the layer (and, with an extruder axis, of where it stands): texts of layers can be made
    in any order, in any process.

    Parameters
    ----------
    layer : LayerProgram
        Events in their legal order.
    words : Words
        Unit and decimals of the words.
    dialect : Dialect, optional
        Words of the controller; default those of the standard.
    axis : AxisFeed, optional
        Needed where the dialect drives the extruder as an axis.

    Returns
    -------
    LayerText
        ``budget.rounding`` is computed move by move from the printed digits, for the worst reading of an arc;
        where arcs are told as chords, their distance is in it.

    Raises
    ------
    SettingsError
        If the dialect wants a screw speed or an axis that nobody gave.
    InternalError
        If a bead vanishes in rounding, an arc cannot be printed within the standard's arc rule, or the
        text breaks any other rule of the standard (`lint`).
    """
    own = dialect or standard()
    writer = _Writer(words, own, axis, layer.begin.index, flowing=layer.begin.carried)
    writer.printed = iter(printed(layer.events, words, own, layer.begin.index))
    for event in layer.events:
        writer.write(event)
    budget = replace(layer.begin.budget, rounding=writer.rounding)
    text = "".join(
        [
            layer_line(layer.begin),
            bound_line(budget, writer.chord, writer.off_map if layer.begin.mapped else None),
            *writer.parts,
            "(end layer)\n",
        ]
    )
    check_text(f"{words.unit_word}\n{carried_on(layer, words, own)}{text}M2\n", beyond=own.beyond)
    return LayerText(
        index=layer.begin.index,
        text=text,
        budget=budget,
        n_beads=layer.n_beads,
        n_lines=writer.n_lines,
        n_arcs=writer.n_arcs,
        n_flat=writer.n_flat,
        n_dropped=writer.n_dropped,
        length=layer.length,
        top=layer.top,
        chord=writer.chord,
        off_map=writer.off_map if layer.begin.mapped else None,
        advance=writer.advance,
        seconds=writer.seconds,
        start=writer.start,
        carried=layer.begin.carried,
        goes_on=layer.goes_on,
    )


class _Writer:
    """State local to one writing."""

    def __init__(
        self, words: Words, dialect: Dialect, axis: AxisFeed | None, layer: int, *, flowing: bool
    ) -> None:
        self.words, self.dialect, self.axis, self.layer = words, dialect, axis, layer
        self.parts: list[str] = []
        self.printed: Iterator[Printed] = iter(())
        self.formats = move_formats(dialect, words.decimals)
        self.climbing = move_formats(dialect, words.decimals, climbing=True)
        self.feed = ""
        self.height: float | None = None
        self.rounding = self.chord = self.seconds = self.off_map = 0.0
        self.advance = 0.0 if axis is None else axis.start
        self.width = self.thick = 0.0
        self.share = 1.0
        self.flowing = flowing
        self.start: tuple[float, float, float] | None = None
        self.n_lines = self.n_arcs = self.n_flat = self.n_dropped = 0
        if dialect.flow == "axis" and axis is None:
            raise SettingsError(f"dialect {dialect.name} drives an extruder axis, of which nothing is told")

    def write(self, event: Event) -> None:
        """Lines of one event."""
        words, dialect = self.words, self.dialect
        match event:
            case LayerBegin() | LayerEnd():
                pass
            case BeadBegin():
                self.width, self.thick = event.width, event.height
                self.parts.append(bead_line(event))
            case BeadEnd():
                self.parts.append("(end bead)\n")
            case StartFlow():
                self.flowing, self.share = True, 1.0
                self.parts.append(dialect.write("flow_start", on=dialect.on or "", rpm=self._rpm(event)))
            case StopFlow():
                self.flowing = False
                self.parts.append(dialect.write("flow_stop", off=dialect.off or ""))
            case Traverse():
                if self.height != event.z:
                    self.parts.append(dialect.write("rise", z=words.coordinate(event.z)))
                self.height = event.z
                self.start = self.start or (event.x, event.y, event.z)
                self.parts.append(
                    dialect.write("traverse", x=words.coordinate(event.x), y=words.coordinate(event.y))
                )
            case Dwell():
                self.parts.append(dialect.write("dwell", seconds=f"{event.time:.3f}"))
                self.seconds += event.time
            case Switch():
                self.parts += [f"{line}\n" for line in event.lines]
            case Stop():
                self.parts += [dialect.write("message", text=text) for text in event.texts]
                self.parts.append(dialect.write("stop"))
            case Approach() | Departure():
                self.parts.append(self._feed_line(event.feed))
                name = "lower" if isinstance(event, Approach) else "lift"
                self.parts.append(dialect.write(name, z=words.coordinate(event.z)))
                if self.height is not None:
                    self.seconds += abs(event.z - self.height) / event.feed
                self.height = event.z
            case BeadMoves() | PassMoves():
                self._moves(event)

    def _rpm(self, event: StartFlow) -> str:
        if self.dialect.flow != "s-word":
            return ""
        return self._speed(event.rpm)

    def _speed(self, rpm: float | None) -> str:
        """Digits of a screw speed."""
        if rpm is None:
            raise SettingsError(
                f"dialect {self.dialect.name} commands the screw speed, which needs the machine's"
                " extruder.calibration: weighed purges at three or more speeds"
            )
        return np.format_float_positional(round(rpm, RPM_DECIMALS), trim="0")

    def _feed_line(self, speed: float) -> str:
        """An F word, on a line of its own, where the feed changes."""
        wanted = self.words.feed(speed)
        same, self.feed = wanted == self.feed, wanted
        return "" if same else self.dialect.write("feed", feed=wanted)

    def _moves(self, event: BeadMoves | PassMoves) -> None:
        """The moves of a bead, or of a pass beside it, which are not counted."""
        words, (path, chord, count, moves, lengths) = self.words, next(self.printed)
        climb = event.climb
        if climb is not None:
            climb = climb_along(climb, count)
        # A bead's own words set and end incremental distance with the flow; a pass has no flow.
        beside = isinstance(event, PassMoves) and self.dialect.distance == "incremental"
        rise = None
        if climb is not None:
            rise, off = printed_rise(climb, moves, words.place, moves.bound * words.place + chord)
            self.off_map = max(self.off_map, off)
        own_feeds = event.feeds if isinstance(event, BeadMoves) else ()
        if (climb is None or climb.feeds is None) and not own_feeds:
            self.parts.append(self._feed_line(event.feed))
        if isinstance(event, BeadMoves) and (event.widths or event.shares):
            shares = np.repeat(np.array(event.shares or [1.0] * len(count)), count)
            lines = self._varied(event, path, shares[moves.source], moves, lengths, climb, rise)
        else:
            lines = self._lines(moves, lengths, climb, rise)
        self.parts.append(f"G91\n{lines}G90\n" if beside else lines)
        self.rounding = max(self.rounding, moves.bound * words.place + chord)
        self.chord = max(self.chord, chord)
        if climb is not None and rise is not None:
            run = np.hypot(lengths, np.diff(rise) * words.place)
            self.seconds += float(
                (run / (event.feed if climb.feeds is None else climb.feeds[moves.source])).sum()
            )
            self.height = float(rise[-1]) * words.place
        elif own_feeds:
            self.seconds += float((lengths / np.array(own_feeds)[path.support[moves.source]]).sum())
        else:
            self.seconds += float(lengths.sum()) / event.feed
        if isinstance(event, PassMoves):
            return
        arcs = int((moves.turn != 0).sum())
        self.n_arcs += arcs
        self.n_lines += len(moves.turn) - arcs
        self.n_flat += moves.n_flat
        self.n_dropped += moves.n_dropped

    def _varied(
        self,
        event: BeadMoves,
        path: ArcPath,
        shares: Floats,
        moves: PrintedMoves,
        lengths: Floats,
        climb: Climb | None,
        rise: Floats | None,
    ) -> str:
        """Moves of a bead whose width or flow varies: before each change what it is, and the word for its flow."""
        row = path.support[moves.source] if event.widths else np.zeros(len(moves.turn), np.int32)
        cuts = [0, *(np.flatnonzero((np.diff(row) != 0) | (np.diff(shares) != 0)) + 1).tolist(), len(row)]
        parts = []
        for first, end in itertools.pairwise(cuts):
            if event.widths and (not first or row[first] != row[first - 1]):
                width = event.widths[row[first]]
                parts.append(structured("width", (("mm", number(width)),)))
                if event.feeds:
                    parts.append(self._feed_line(event.feeds[row[first]]))
                if event.rpms and first:
                    parts.append(self.dialect.write("flow_change", rpm=self._speed(event.rpms[row[first]])))
                self.width = width
            if shares[first] != self.share:
                self.share = float(shares[first])
                parts.append(structured("flow", (("share", number(self.share)),)))
            own = None if rise is None else rise[first : end + 1]
            parts.append(self._lines(moves.part(first, end), lengths[first:end], climb, own))
        return "".join(parts)

    def _lines(self, moves: PrintedMoves, lengths: Floats, climb: Climb | None, rise: Floats | None) -> str:
        """Lines of some moves: where they climb with their heights, and an F word wherever their feed changes."""
        advance, before = None, self.advance
        if self.axis is not None:
            area = self.share * self._areas(climb, moves, self.axis.kind) if self.flowing else 0.0
            volume = lengths * area
            advance = before + np.cumsum(volume) / self.axis.scale
            self.advance = float(advance[-1])
        climbs = rise is not None and bool((rise != rise[0]).any())
        formats = self.climbing if climbs else self.formats
        parts = []
        for rows, feed in even_runs(climb, moves, self.words):
            if feed is not None:
                parts.append(self._feed_line(feed))
            text = motion_lines(
                moves.part(rows.start, rows.stop),
                self.words,
                formats,
                advance=None if advance is None else advance[rows],
                before=before if advance is None or not rows.start else float(advance[rows.start - 1]),
                heights=None if rise is None else rise[rows.start : rows.stop + 1],
            )
            parts.append(text)
        return "".join(parts)

    def _areas(
        self, climb: Climb | None, moves: PrintedMoves, kind: Literal["flat", "round"]
    ) -> float | Floats:
        """Area of the bead's section, on average along each move, mm2."""
        if climb is None:
            return BeadSection(kind=kind, width=self.width, height=self.thick).area
        return mean_areas(kind, self.width, climb.thickness)[moves.source]
