"""The part as a small shaded picture in SVG: triangles from back to front. For the eye only."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from beadwright.brep import Triangles
from beadwright.report._page import INK, PAPER

TURN, TIP = -0.6, 0.5
"""Turned about z and tipped towards the reader, rad."""
LIGHT = np.array([-0.45, 0.55, 0.75])
SIZE = 480
"""Longer side, units of the drawing."""
TINT = np.array([232, 224, 204])
# More triangles than this are drawn as the largest so many: a picture of a few hundred dots shows no more.
MAX_TRIANGLES = 20_000


def part_svg(triangles: Triangles, /, *, title: str = "") -> str:
    """Draw triangles, those behind first.

    Parameters
    ----------
    triangles : Triangles
        In machine coordinates.
    title : str

    Returns
    -------
    str
        An SVG drawing.
    """
    c, s, ct, st = np.cos(TURN), np.sin(TURN), np.cos(TIP), np.sin(TIP)
    across = np.array([c, s, 0.0])
    up = np.array([-s * st, c * st, ct])
    towards = np.array([s * ct, -c * ct, st])
    points = triangles.points @ np.column_stack([across, up, towards])
    corners = points[triangles.corners]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area = np.linalg.norm(normal, axis=1)
    front = (normal[:, 2] > 0) & (area > 0)
    rows = np.flatnonzero(front)
    if len(rows) > MAX_TRIANGLES:
        rows = rows[np.argsort(-area[rows], kind="stable")[:MAX_TRIANGLES]]
    rows = rows[np.argsort(corners[rows, :, 2].mean(axis=1), kind="stable")]
    low, high = (points.min(axis=0), points.max(axis=0)) if len(points) else (np.zeros(3), np.ones(3))
    scale = SIZE / max(float((high - low)[:2].max()), 1e-9)
    width, height = (high - low)[:2] * scale + 20
    flat = (corners[rows, :, :2] - low[:2]) * scale + 10
    flat[:, :, 1] = height - flat[:, :, 1]
    shade = 0.55 + 0.45 * np.abs((normal[rows] / area[rows, None]) @ (LIGHT / np.linalg.norm(LIGHT)))
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.0f}" height="{height:.0f}"'
        f' viewBox="0 0 {width:.1f} {height:.1f}" style="background:{PAPER}">',
        f"<title>{_escaped(title)}</title>",
        '<g stroke-width="0.6" stroke-linejoin="round">',
    ]
    lines += [_triangle(at, light) for at, light in zip(flat, shade.tolist(), strict=True)]
    caption = "for the eye only"
    lines += [
        "</g>",
        f'<text x="6" y="{height - 4:.1f}" font-size="8" fill="{INK}">{caption}</text>',
        "</svg>",
        "",
    ]
    return "\n".join(lines)


def _triangle(at: npt.NDArray[np.float64], light: float) -> str:
    colour = "#%02x%02x%02x" % tuple(np.minimum(255, TINT * light).astype(int).tolist())  # noqa: UP031  shortest
    places = " ".join(f"{x:.1f},{y:.1f}" for x, y in at.tolist())
    return f'<polygon points="{places}" fill="{colour}" stroke="{colour}"/>'


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;")
