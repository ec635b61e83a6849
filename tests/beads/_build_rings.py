"""Rings of many sides."""

from __future__ import annotations

import numpy as np

from beadwright.curves import ArcRegion
from tests.post._build_programs import path


def ring(sides: int, *, arcs: bool, radius: float = 100.0) -> ArcRegion:
    """A wall about 12 mm thick around a middle, of sides at random distances, straight or bent either way."""
    rng = np.random.default_rng(sides)
    angle = np.linspace(0, 2 * np.pi, sides, endpoint=False)
    unit = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    far = radius + rng.uniform(-1, 1, sides)
    bulge = rng.uniform(-1, 1, sides) * min(0.3, 2 / sides) if arcs else np.zeros(sides)
    outer = path(np.array([700.0, 300.0]) + far[:, None] * unit, bulge)
    inner = path(np.array([700.0, 300.0]) + (far - 12)[::-1, None] * unit[::-1], -np.roll(bulge[::-1], -1))
    return ArcRegion(loops=(outer, inner), supports=np.zeros((0, 4)))
