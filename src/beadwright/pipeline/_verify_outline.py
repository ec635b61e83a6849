"""Outlines of measured layers in arcs, for the sheet: made where the layer is measured."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from beadwright.arcs import fit_polygon

if TYPE_CHECKING:
    from beadwright.verify import Measured, Outline

# Outlines are drawn this near to chords that stay within 0.004 of the referee's, mm: within 0.01 in all.
DRAWN = 0.006


def drawn(measured: Measured | None) -> Measured | None:
    """A measured layer whose outlines, if it has any, are lines and arcs; for the eye, nothing is judged by them."""
    if measured is None or measured.outline is None:
        return measured
    return replace(measured, outline=_in_arcs(measured.outline))


def _in_arcs(outline: Outline) -> Outline:
    rings = []
    for chords in (outline.section, outline.stock):
        fits = [fit_polygon(r[:, :2], np.full(len(r), -1, np.int32), tolerance=DRAWN)[0] for r in chords]
        rings.append(tuple(np.column_stack([path.points, path.bulge]) for path in fits))
    return replace(outline, section=rings[0], stock=rings[1])
