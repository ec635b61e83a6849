"""Points that a section must pass: where edges of the part go from below its plane to above.

The kernel's generic section may lose a whole curve and still look closed. Every edge whose ends lie on both sides of
the plane crosses it, so there the section has a point; a section that misses one is no answer.
"""

from __future__ import annotations

import numpy as np

from beadwright.brep import Model, curve_points
from beadwright.verify._cut import Cut, Floats

# A section passes its witnesses within this and the file's own gaps, mm.
NEAR = 1e-3
ROUNDS = 60


def witnesses(model: Model, matrix: Floats, z: float) -> Floats:
    """Crossings of edges with the plane at a height of the machine, in its x and y: (k, 2)."""
    found = []
    for edge in model.edges:
        if edge.curve is None:
            continue
        low, high = edge.start, edge.end
        ends = curve_points(edge.curve, np.array([low, high])) @ matrix[2, :3] + matrix[2, 3] - z
        if not ends[0] * ends[1] < 0:
            continue
        rising = bool(ends[1] > 0)
        for _ in range(ROUNDS):
            middle = 0.5 * (low + high)
            height = float(
                (curve_points(edge.curve, np.array([middle])) @ matrix[2, :3])[0] + matrix[2, 3] - z
            )
            if (height > 0) == rising:
                high = middle
            else:
                low = middle
        point = curve_points(edge.curve, np.array([low]))[0]
        found.append(matrix[:2, :3] @ point + matrix[:2, 3])
    return np.array(found).reshape(-1, 2)


def passes(found: Cut, model: Model, matrix: Floats, cuts: tuple[float, ...]) -> bool:
    """Whether the kernel's curves pass every witness of their planes."""
    places = np.concatenate([witnesses(model, matrix, z) for z in cuts])
    if not len(places):
        return True
    size = float(np.cbrt(abs(np.linalg.det(matrix[:, :3]))))
    return bool(found.curves.nearest(places)[1].max() <= NEAR + model.gap * size)
