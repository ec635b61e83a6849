"""Medial beads of a region, and the turns between moves of a line."""

from __future__ import annotations

import math

import numpy as np

from beadwright.beads import contour_beads, wall_range
from beadwright.curves import ArcRegion, chords
from beadwright.layers import plan_layers
from tests.post._build_programs import layer

W, H, BORE = 8.4, 4.0, 7.62


def medial(*loops, vary=True, spacing=W, tolerance=0.01):
    beads = contour_beads(
        layer(plan_layers(0.0, 4.0, 4.0)[0], region=ArcRegion(loops=loops, supports=np.zeros((0, 4)))),
        width=W,
        height=H,
        spacing=spacing,
        contours=2,
        walls=wall_range(width=W, spacing=spacing, bore=BORE),
        tolerance=tolerance,
        vary=vary,
    ).beads
    return [bead for bead in beads if bead.role == "medial"]


def turns(line):
    """Between each move and the next, rad, and the place of the joint."""
    chord = chords(line)
    heading, half = np.arctan2(chord[:, 1], chord[:, 0]), 2 * np.arctan(line.bulge)
    start, end = heading - half, heading + half
    after, at = np.roll(start, -1), np.roll(line.points, -1, axis=0)
    last = len(end) if line.closed else len(end) - 1
    at = at if line.closed else line.points[1:]
    return np.abs([math.remainder(a, 2 * math.pi) for a in (after - end)[:last]]), at[:last]
