"""The text of one layer."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from beadwright.curves import ArcPath
from beadwright.errors import InternalError, SettingsError
from beadwright.numeric import Budget
from beadwright.post._comments import number, structured
from beadwright.post._dialect import Dialect
from beadwright.post._lint import check_text
from beadwright.post._load import standard
from beadwright.post._motion import motion_lines, move_formats, printed_lengths
from beadwright.post._pieces import chords, pieces
from beadwright.post._rounding import PrintedMoves, print_path
from beadwright.post._words import Words
from beadwright.process import BeadSection
from beadwright.program import (
    Approach,
    BeadBegin,
    BeadEnd,
    BeadMoves,
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
    advance : float
        Where the extruder axis stands after the layer, in its unit.
    seconds : float
        Of its feed moves at their feed, without acceleration.
    start : (3,) float or None
        Where its first bead starts, and the height of the traverse to it, mm; None without a bead.
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
    advance: float = 0.0
    seconds: float = 0.0
    start: tuple[float, float, float] | None = None


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
    writer = _Writer(words, own, axis, layer.begin.index)
    for event in layer.events:
        writer.write(event)
    budget = replace(layer.begin.budget, rounding=writer.rounding)
    text = "".join(
        [_layer_line(layer.begin), _bound_line(budget, writer.chord), *writer.parts, "(end layer)\n"]
    )
    check_text(f"{words.unit_word}\n{text}M2\n", beyond=own.beyond)
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
        advance=writer.advance,
        seconds=writer.seconds,
        start=writer.start,
    )


class _Writer:
    """State local to one writing."""

    def __init__(self, words: Words, dialect: Dialect, axis: AxisFeed | None, layer: int) -> None:
        self.words, self.dialect, self.axis, self.layer = words, dialect, axis, layer
        self.parts: list[str] = []
        self.formats = move_formats(dialect, words.decimals)
        self.feed = ""
        self.height: float | None = None
        self.rounding = self.chord = self.seconds = 0.0
        self.advance = 0.0 if axis is None else axis.start
        self.area = self.bead_height = 0.0
        self.flowing = False
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
                self.bead_height = event.height
                if self.axis is not None:
                    self.area = BeadSection(kind=self.axis.kind, width=event.width, height=event.height).area
                self.parts.append(_bead_line(event))
            case BeadEnd():
                self.parts.append("(end bead)\n")
            case StartFlow():
                self.flowing = True
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
                self._set_feed(event.feed)
                name = "lower" if isinstance(event, Approach) else "lift"
                self.parts.append(dialect.write(name, z=words.coordinate(event.z)))
                if self.height is not None:
                    self.seconds += abs(event.z - self.height) / event.feed
                self.height = event.z
            case BeadMoves() | PassMoves():
                self._set_feed(event.feed)
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

    def _set_feed(self, speed: float) -> None:
        """Write an F word, on a line of its own, where the feed changes."""
        wanted = self.words.feed(speed)
        if wanted != self.feed:
            self.parts.append(self.dialect.write("feed", feed=wanted))
        self.feed = wanted

    def _moves(self, event: BeadMoves | PassMoves) -> None:
        """The moves of a bead, or of a pass beside it, which are not counted."""
        words, chord = self.words, 0.0
        path: ArcPath = event.path
        if self.dialect.arcs == "lines":
            assert self.dialect.chord is not None
            path, chord = chords(path, self.dialect.chord)
        elif self.dialect.arcs == "radius":
            path = pieces(path)
        moves = print_path(path, words, by_radius=self.dialect.arcs == "radius")
        if not len(moves.turn):
            msg = f"layer {self.layer}: a bead at {event.path.points[0]} mm vanishes in rounding"
            raise InternalError(msg)
        lengths = printed_lengths(moves, words)
        # A bead's own words set and end incremental distance with the flow; a pass has no flow.
        beside = isinstance(event, PassMoves) and self.dialect.distance == "incremental"
        if isinstance(event, BeadMoves) and event.widths:
            lines = self._varied(event, path, moves, lengths)
        else:
            lines = self._lines(moves, lengths)
        self.parts.append(f"G91\n{lines}G90\n" if beside else lines)
        self.rounding = max(self.rounding, moves.bound * words.place + chord)
        self.chord = max(self.chord, chord)
        self.seconds += float(lengths.sum()) / event.feed
        if isinstance(event, PassMoves):
            return
        arcs = int((moves.turn != 0).sum())
        self.n_arcs += arcs
        self.n_lines += len(moves.turn) - arcs
        self.n_flat += moves.n_flat
        self.n_dropped += moves.n_dropped

    def _varied(self, event: BeadMoves, path: ArcPath, moves: PrintedMoves, lengths: Floats) -> str:
        """Moves of a bead whose width varies: before each change its width, and the word for its flow."""
        row = path.support[moves.source]
        cuts = [0, *(np.flatnonzero(np.diff(row)) + 1).tolist(), len(row)]
        parts = []
        for first, end in itertools.pairwise(cuts):
            width = event.widths[row[first]]
            parts.append(structured("width", (("mm", number(width)),)))
            if event.rpms and first:
                parts.append(self.dialect.write("flow_change", rpm=self._speed(event.rpms[row[first]])))
            if self.axis is not None:
                self.area = BeadSection(kind=self.axis.kind, width=width, height=self.bead_height).area
            parts.append(self._lines(moves.part(first, end), lengths[first:end]))
        return "".join(parts)

    def _lines(self, moves: PrintedMoves, lengths: Floats) -> str:
        if self.axis is None:
            return motion_lines(moves, self.words, self.formats)
        volume = lengths * (self.area if self.flowing else 0.0)
        advance = self.advance + np.cumsum(volume) / self.axis.scale
        text = motion_lines(moves, self.words, self.formats, advance=advance, before=self.advance)
        self.advance = float(advance[-1])
        return text


def _layer_line(begin: LayerBegin) -> str:
    """The structured comment that opens a layer."""
    return structured(
        "layer",
        (
            ("index", str(begin.index)),
            ("z0", number(begin.z0)),
            ("z", number(begin.z)),
            ("height", number(begin.height)),
            ("section_z", "+".join(number(z) for z in begin.section_z)),
            ("rule", begin.rule),
            ("stock", number(begin.stock) if math.isfinite(begin.stock) else "faces"),
            ("area", number(begin.area)),
            ("perimeter", number(begin.perimeter)),
            ("loops", str(begin.loops)),
            *((("resumed", "1"),) if begin.resumed else ()),
        ),
    )


def _bound_line(budget: Budget, chord: float) -> str:
    """The structured comment with the layer's bounds, mm; that of chords is part of the rounding."""
    names = ("model", "section", "fit", "region", "rounding", "total")
    own = [("chord", number(chord))] if chord else []
    return structured("bound", [*((name, number(getattr(budget, name))) for name in names), *own])


def _bead_line(begin: BeadBegin) -> str:
    """The structured comment that opens a bead."""
    return structured(
        "bead",
        (
            ("index", str(begin.index)),
            ("role", begin.role),
            ("rank", str(begin.rank)),
            ("loop", str(begin.loop)),
            ("hole", str(int(begin.hole))),
            ("offset", number(begin.offset)),
            ("width", number(begin.width)),
            ("height", number(begin.height)),
            # what is laid with the extruder on does not close where it stops before the end
            ("closed", str(int(begin.closed and not begin.stop_lead))),
            *((("stop_lead", number(begin.stop_lead)),) if begin.stop_lead else ()),
            *((("purge", "1"),) if begin.purge else ()),
        ),
    )
