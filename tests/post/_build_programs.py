"""Programs for tests, made by hand from rings and polygons."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from beadwright.beads import Bead
from beadwright.curves import ArcPath, ArcRegion
from beadwright.layers import LayerRegion, plan_layers
from beadwright.numeric import Budget
from beadwright.post import Words, layer_text, program_text
from beadwright.program import Head, layer_program


def path(points, bulge, *, closed=True):
    n = len(bulge)
    return ArcPath(
        points=np.array(points, float),
        bulge=np.array(bulge, float),
        face=np.full(n, -1, np.int32),
        support=np.full(n, -1, np.int32),
        closed=closed,
    )


def circle(x, y, r, turn=1, phase=0.0):
    a = np.array([math.cos(phase), math.sin(phase)])
    return path(np.array([x, y]) + r * np.array([a, -a]), [turn, turn])


def bead(line, **other):
    given = {
        "role": "contour",
        "rank": 1,
        "loop": 0,
        "hole": False,
        "offset": 4.2,
        "width": 8.4,
        "height": 4.0,
    }
    return Bead(path=line, **(given | other))


def layer(plan, **other):
    empty = ArcRegion(loops=(), supports=np.zeros((0, 4)))
    given = {
        "region": empty,
        "area": 1.0,
        "perimeter": 1.0,
        "n_loops": 1,
        "n_holes": 0,
        "budget": Budget(fit=0.01),
    }
    return LayerRegion(plan=plan, section_z=plan.section_z, **(given | other))


def program(
    beads_by_layer,
    *,
    words=None,
    clearance=20.0,
    feed=100.0,
    dialect=None,
    axis=None,
    rpm=None,
    modes=None,
    **head,
):
    """Text of a program, the texts and the events of its layers."""
    words = words or Words()
    events, texts, first = [], [], 0
    for plan, beads in zip(plan_layers(0.0, 4.0 * len(beads_by_layer), 4.0), beads_by_layer, strict=True):
        events.append(
            layer_program(layer(plan), beads, first_bead=first, clearance=clearance, feed=feed, rpm=rpm)
        )
        if axis is not None and texts:
            axis = replace(axis, start=texts[-1].advance)
        texts.append(layer_text(events[-1], words=words, dialect=dialect, axis=axis))
        first += len(beads)
    given = {"part": "part.step", "part_sha256": "0" * 64, "contours": 1}
    text = program_text(Head(**(given | head)), texts, words=words, dialect=dialect, **(modes or {}))
    return text.whole(), texts, events
