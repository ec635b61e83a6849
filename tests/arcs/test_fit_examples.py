"""Arcs of the example parts' sections beside the best arc spline's, by the CAD kernel's own surfaces."""

from __future__ import annotations

from math import sqrt
from pathlib import Path

import numpy as np
import pytest

from beadwright.arcs import fit
from beadwright.brep import placed, placement
from beadwright.curves import CurveKind
from beadwright.kernel import read_step
from beadwright.section import cut, prepare, take_plane
from tests.arcs import _fit_oracles as oracles
from tests.arcs import _level_curves as level

EXAMPLES = Path(__file__).parents[2] / "step_examples"

# Part, how it is turned, shares of its height, runs of free-form curves that there are at least.
SECTIONS = {
    "mould": ("hatch_cover_mould", (0, 0, 0), (0.9294, 0.948, 0.955, 0.97, 0.9775), 6),
    "hull": ("tender_hull", (0, 0, 0), (0.1, 0.45, 0.9), 10),
    "hull tilted": ("tender_hull", (12, 7, 0), (0.4,), 2),
    "bollard lying": ("turned_bollard", (90, 0, 0), (0.3, 0.62), 4),
    "bollard leaning": ("turned_bollard", (35, 0, 0), (0.5,), 1),
    "mast": ("mast_plug", (0, 0, 0), (0.6, 0.9), 2),
}


@pytest.mark.parametrize("name", SECTIONS)
def test_sections_of_the_examples_take_hardly_more_arcs_than_the_best_arc_spline(name):
    """From corner to corner: at most max(1.15 n, n + 2), n the integral of (|kappa'| / (72 sqrt 3 eps))^(1/3) ds.

    Where no bend is tighter than 20 tolerances: the formula knows curves that change little over an arc. Runs over
    joints of faces, which have a knot and a tangent held at each, keep to it like all others.
    """
    part, turn, shares, least = SECTIONS[name]
    model = read_step(EXAMPLES / f"{part}.step")
    matrix = placement(model, rotate_deg=turn)
    surfaces = level.surfaces(model)
    cutter = prepare(placed(model, matrix))
    low, high = cutter.z_range
    heights = [take_plane(cutter, low + share * (high - low), "below").taken for share in shares]
    seen = 0
    over = []
    for z, section in zip(heights, cut(cutter, heights), strict=True):
        loops = section.loops
        plain = [(run, closed) for chain in range(loops.n_chains) for run, closed in level.runs(loops, chain)]
        seen += len(plain)
        sums, bends = [], []
        for run, _ in plain:
            total, bend = 0.0, np.inf
            for c in run:
                rows = [
                    loops.control[loops.first_control[q] : loops.first_control[q + 1]]
                    for q in range(loops.first_piece[c], loops.first_piece[c + 1])
                ]
                bend = min(bend, oracles.least_radius(rows))
                if loops.kind[c] == CurveKind.LEVEL:
                    surface = surfaces[model.faces[loops.face[c]].id]
                    total += level.best_of_curve(loops, c, z, surface, matrix)
                else:
                    total += oracles.best_count_of_pieces(rows, 1.0) * (72 * sqrt(3)) ** (1 / 3)
            sums.append(total)
            bends.append(bend)
        for tolerance in (0.1, 0.01, 0.001):
            counts = np.bincount(fit(loops, tolerance=tolerance).curve, minlength=len(loops.kind))
            for (run, closed), total, bend in zip(plain, sums, bends, strict=True):
                best = total / (72 * sqrt(3) * tolerance) ** (1 / 3)
                count = int(counts[run].sum())
                # No closed chain of tangent arcs but a circle has fewer than four (the four-vertex theorem).
                most = max(1.15 * best, best + 2, 4.0 if closed else 0.0)
                if bend > 20 * tolerance and count > most:
                    over.append((z, tolerance, run, count, best, [int(counts[c]) for c in run]))

    assert seen >= least
    assert over == []
