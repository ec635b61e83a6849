"""The text of one layer."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from beadwright.errors import InternalError
from beadwright.numeric import Budget
from beadwright.post._comments import number, structured
from beadwright.post._dialect import RS274NGC, Dialect, Words
from beadwright.post._lint import check_text
from beadwright.post._motion import motion_lines
from beadwright.post._rounding import print_path
from beadwright.program import (
    Approach,
    BeadBegin,
    BeadEnd,
    BeadMoves,
    Departure,
    Dwell,
    LayerBegin,
    LayerEnd,
    LayerProgram,
    StartFlow,
    StopFlow,
    Traverse,
)

MILLIMETRES = Words()


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


def layer_text(layer: LayerProgram, *, words: Words = MILLIMETRES, dialect: Dialect = RS274NGC) -> LayerText:
    """Write one layer's events as RS274/NGC text.

    A pure function of the layer: texts of layers can be made in any order, in any process.

    Parameters
    ----------
    layer : LayerProgram
        Events in their legal order.
    words : Words
        Unit and decimals of the words.
    dialect : Dialect
        Words of the controller.

    Returns
    -------
    LayerText
        ``budget.rounding`` is computed move by move from the printed digits, for the worst reading of an arc.

    Raises
    ------
    InternalError
        If a bead vanishes in rounding, an arc cannot be printed within the standard's arc rule, or the
        text breaks any other rule of the standard (`lint`).
    """
    parts: list[str] = []
    feed = ""
    height: float | None = None
    rounding = 0.0
    n_lines = n_arcs = n_flat = n_dropped = 0
    for event in layer.events:
        match event:
            case LayerBegin() | LayerEnd():
                pass
            case BeadBegin():
                parts.append(_bead_line(event))
            case BeadEnd():
                parts.append("(end bead)\n")
            case StartFlow():
                parts.append(f"{dialect.on}\n")
            case StopFlow():
                parts.append(f"{dialect.off}\n")
            case Traverse():
                if height != event.z:
                    parts.append(f"G0 Z{words.coordinate(event.z)}\n")
                height = event.z
                parts.append(f"G0 X{words.coordinate(event.x)} Y{words.coordinate(event.y)}\n")
            case Dwell():
                parts.append(f"G4 P{event.time:.3f}\n")
            case Approach() | Departure():
                feed = _append_feed(parts, feed, words.feed(event.feed))
                parts.append(f"G1 Z{words.coordinate(event.z)}\n")
                height = event.z
            case BeadMoves():
                feed = _append_feed(parts, feed, words.feed(event.feed))
                moves = print_path(event.path, words)
                if not len(moves.turn):
                    msg = (
                        f"layer {layer.begin.index}: a bead at {event.path.points[0]} mm vanishes in rounding"
                    )
                    raise InternalError(msg)
                parts.append(motion_lines(moves, words))
                rounding = max(rounding, moves.bound * words.place)
                arcs = int((moves.turn != 0).sum())
                n_arcs += arcs
                n_lines += len(moves.turn) - arcs
                n_flat += moves.n_flat
                n_dropped += moves.n_dropped
    budget = replace(layer.begin.budget, rounding=rounding)
    text = "".join([_layer_line(layer.begin), _bound_line(budget), *parts, "(end layer)\n"])
    check_text(f"{words.unit_word}\n{text}M2\n")
    return LayerText(
        index=layer.begin.index,
        text=text,
        budget=budget,
        n_beads=layer.n_beads,
        n_lines=n_lines,
        n_arcs=n_arcs,
        n_flat=n_flat,
        n_dropped=n_dropped,
        length=layer.length,
        top=layer.top,
    )


def _append_feed(parts: list[str], present: str, wanted: str) -> str:
    """Write an F word, on a line of its own, where the feed changes; -> the feed from now on."""
    if wanted != present:
        parts.append(f"F{wanted}\n")
    return wanted


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
        ),
    )


def _bound_line(budget: Budget) -> str:
    """The structured comment with the layer's bounds, mm."""
    return structured(
        "bound",
        (
            (name, number(getattr(budget, name)))
            for name in ("model", "section", "fit", "region", "rounding", "total")
        ),
    )


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
            ("closed", str(int(begin.closed))),
        ),
    )
