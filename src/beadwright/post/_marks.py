"""Structured comments that open a layer and a bead."""

from __future__ import annotations

import math

from beadwright.numeric import Budget
from beadwright.post._comments import number, structured
from beadwright.program import BeadBegin, LayerBegin


def layer_line(begin: LayerBegin) -> str:
    """The structured comment that opens a layer."""
    return structured(
        "layer",
        (
            ("index", str(begin.index)),
            ("z0", number(begin.z0)),
            ("z", number(begin.z)),
            ("height", number(begin.height)),
            ("section_z", "+".join(number(z) for z in begin.section_z)),
            # who knows no rules by face reads what holds of any: the region lies in the union of these sections
            *((("rule", "outer"), ("by", "faces")) if begin.rule == "faces" else (("rule", begin.rule),)),
            ("stock", number(begin.stock) if math.isfinite(begin.stock) else "faces"),
            ("area", number(begin.area)),
            ("perimeter", number(begin.perimeter)),
            ("loops", str(begin.loops)),
            *((("map", "1"),) if begin.mapped else ()),
            *((("resumed", "1"),) if begin.resumed else ()),
            *((("carried", "1"),) if begin.carried else ()),
        ),
    )


def bound_line(budget: Budget, chord: float, off_map: float | None) -> str:
    """The structured comment with the layer's bounds, mm; that of chords is part of the rounding.

    That of heights that follow a measured platform stands for itself: it is along Z.
    """
    names = ["model", "section", "fit", "region", "rounding", *(["corner"] if budget.corner else []), "total"]
    own = [("chord", number(chord))] if chord else []
    if off_map is not None:
        own.append(("map", number(off_map)))
    return structured("bound", [*((name, number(getattr(budget, name))) for name in names), *own])


def bead_line(begin: BeadBegin) -> str:
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
            *((("start_lead", number(begin.start_lead)),) if begin.start_lead else ()),
            *((("purge", "1"),) if begin.purge else ()),
            *((("laid", "1"),) if begin.laid else ()),
            *((("middle", "1"),) if begin.middle else ()),
        ),
    )
