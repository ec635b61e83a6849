"""Pictures by matplotlib: a layer and the build column as PNG or PDF. It is loaded when one is asked for."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from beadwright.curves import ArcPath, ArcRegion
from beadwright.errors import InputError
from beadwright.report._box import paths_box
from beadwright.report._layer_picture import INKS, OTHER_INK, REGION, BeadStroke
from beadwright.report._page import FAINT, INK, PAPER

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.path import Path as Outline

Floats = npt.NDArray[np.float64]

INCHES = 9.0
"""Longer side of a picture."""
DOTS = 160
# Arcs are cut at this angle before each piece becomes a cubic: a quarter turn by one cubic is off by 2.7e-4 of its
# radius (Dokken et al., CAGD 7 (1990) 33-41), an eighth by 4e-6: less than a dot.
PIECE = np.pi / 4


def new_figure(width: float, height: float) -> Figure:
    """An empty figure, in inches.

    Raises
    ------
    InputError
        matplotlib is not there; the message names the extra that brings it.
    """
    try:
        from matplotlib.figure import Figure
    except ImportError as error:
        raise InputError(
            "pictures as PNG or PDF, and plots, need matplotlib: pip install beadwright[pictures]; SVG pictures of"
            " layers and of the part need nothing"
        ) from error
    return Figure(figsize=(width, height), dpi=DOTS, facecolor=PAPER)


def figure_bytes(figure: Figure, kind: str) -> bytes:
    """The picture as a file's bytes, without a date."""
    stream = io.BytesIO()
    dates = {"pdf": {"CreationDate": None}, "svg": {"Date": None}, "png": {"Software": None}}
    figure.savefig(stream, format=kind, metadata=dates[kind])
    return stream.getvalue()


def arc_outline(paths: Sequence[ArcPath]) -> Outline:
    """Lines and arcs as one path of matplotlib's; arcs as cubics, good for a picture."""
    from matplotlib.path import Path as Outline

    vertices: list[Floats] = [np.zeros((0, 2))]
    codes: list[int] = []
    for path in paths:
        vertices.append(path.points[:1])
        codes.append(int(Outline.MOVETO))
        ends = np.roll(path.points, -1, axis=0) if path.closed else path.points[1:]
        for start, end, bulge in zip(path.points, ends, path.bulge, strict=False):
            if bulge == 0:
                vertices.append(end[None])
                codes.append(int(Outline.LINETO))
                continue
            cubics = _cubics(start, end, float(bulge))
            vertices.append(cubics)
            codes += [int(Outline.CURVE4)] * len(cubics)
        if path.closed:
            vertices.append(path.points[:1])
            codes.append(int(Outline.CLOSEPOLY))
    return Outline(np.concatenate(vertices), codes)


def _cubics(start: Floats, end: Floats, bulge: float) -> Floats:
    """Control points of an arc after its start."""
    chord = end - start
    centre = (start + end) / 2 + (1 - bulge * bulge) / (4 * bulge) * np.array([-chord[1], chord[0]])
    first, sweep = start - centre, 4 * np.arctan(bulge)
    count = max(1, int(np.ceil(abs(sweep) / PIECE)))
    step = sweep / count
    pull = 4 / 3 * np.tan(step / 4)
    angle = np.arange(count + 1) * step
    c, s = np.cos(angle), np.sin(angle)
    radius = np.column_stack([c * first[0] - s * first[1], s * first[0] + c * first[1]])
    across = np.column_stack([-radius[:, 1], radius[:, 0]])
    out = np.empty((count, 3, 2))
    out[:, 0] = radius[:-1] + pull * across[:-1]
    out[:, 1] = radius[1:] - pull * across[1:]
    out[:, 2] = radius[1:]
    out = out.reshape(-1, 2) + centre
    out[-1] = end
    return np.asarray(out)


def layer_plot(
    region: ArcRegion, beads: Sequence[BeadStroke], /, *, title: str, caption: str, kind: str
) -> bytes:
    """One layer as PNG or PDF: the section, its beads in true width.

    Parameters
    ----------
    region : ArcRegion
    beads : sequence of BeadStroke
    title, caption : str
    kind : {"png", "pdf"}

    Raises
    ------
    InputError
        matplotlib is not installed.
    """
    widest = max((bead.width for bead in beads), default=0.0)
    x0, y0, x1, y1 = paths_box([*region.loops, *(bead.path for bead in beads)])
    x0, y0, x1, y1 = x0 - widest, y0 - widest, x1 + widest, y1 + widest
    size = max(x1 - x0, y1 - y0, 1.0)
    wide, tall = INCHES * max((x1 - x0) / size, 0.35), INCHES * max((y1 - y0) / size, 0.2)
    figure = new_figure(wide, tall + 0.8)
    axes = figure.add_axes((0.0, 0.4 / (tall + 0.8), 1.0, tall / (tall + 0.8)))
    axes.set_axis_off()
    axes.set_aspect("equal")
    axes.set_xlim(x0, x1)
    axes.set_ylim(y0, y1)
    points = 72 * min(wide / (x1 - x0), tall / (y1 - y0))
    _draw_layer(axes, region, beads, points)
    figure.text(0.01, 0.985, title, va="top", color=INK, fontsize=12)
    roles = sorted({bead.role for bead in beads})
    figure.text(0.01, 0.012, f"{caption}; {', '.join(roles)}", va="bottom", color=INK, fontsize=8)
    return figure_bytes(figure, kind)


def _draw_layer(axes: Axes, region: ArcRegion, beads: Sequence[BeadStroke], points: float) -> None:
    from matplotlib.patches import PathPatch

    if region.loops:
        axes.add_patch(PathPatch(arc_outline(region.loops), facecolor=REGION, edgecolor="none"))
    for (role, width), own in _alike(beads).items():
        ink = INKS.get(role, OTHER_INK)
        for bead in own:
            outline = arc_outline([bead.path])
            cap = "butt" if bead.part else "round"
            band = {"fill": False, "edgecolor": ink, "capstyle": cap, "joinstyle": "round"}
            axes.add_patch(PathPatch(outline, alpha=0.3, linewidth=0.9 * width * points, **band))
            axes.add_patch(PathPatch(outline, linewidth=0.5, **band))
    if region.loops:
        axes.add_patch(PathPatch(arc_outline(region.loops), fill=False, edgecolor=INK, linewidth=0.7))


def _alike(beads: Sequence[BeadStroke]) -> dict[tuple[str, float], list[BeadStroke]]:
    """Beads by role and width."""
    found: dict[tuple[str, float], list[BeadStroke]] = {}
    for bead in beads:
        found.setdefault((bead.role, bead.width), []).append(bead)
    return found


def column_plot(rows: Sequence[Mapping[str, Any]], /, *, title: str, kind: str) -> bytes:
    """What is known of each layer over its height, as a plot: time, temperature, bound, coverage, length.

    Parameters
    ----------
    rows : sequence of mapping
        Layers as in plan.json.
    title : str
    kind : {"png", "pdf", "svg"}

    Raises
    ------
    InputError
        matplotlib is not installed.
    """
    lanes = [lane for lane in _lanes(rows) if np.isfinite(lane[1]).any()]
    figure = new_figure(2.0 * max(len(lanes), 1) + 0.6, 7.0)
    z = np.array([row["z_mm"] for row in rows], dtype=float)
    axes_of = figure.subplots(1, max(len(lanes), 1), sharey=True, squeeze=False)[0]
    for axes, (name, values) in zip(axes_of, lanes, strict=False):
        axes.set_facecolor(PAPER)
        if values.shape[1] == 2:
            axes.fill_betweenx(z, values[:, 0], values[:, 1], color="#4d51a8", alpha=0.6, linewidth=0)
        else:
            axes.plot(values[:, 0], z, color="#4d51a8", linewidth=1.2)
            low, high = min(0.0, float(np.nanmin(values))), float(np.nanmax(values))
            # Room of its own: that of nearly equal values alone would leave their line under the frame.
            axes.set_xlim(low, high + 0.05 * (high - low) if high > low else low + 1.0)
        axes.set_xlabel(name, fontsize=8)
        axes.tick_params(labelsize=7)
        axes.locator_params(axis="x", nbins=4)
        axes.grid(color=FAINT, linewidth=0.3)
    axes_of[0].set_ylabel("z, mm", fontsize=8)
    figure.suptitle(title, fontsize=10)
    figure.tight_layout()
    return figure_bytes(figure, kind)


def _lanes(rows: Sequence[Mapping[str, Any]]) -> list[tuple[str, Floats]]:
    """Name and values (n, 1) or (n, 2) of each lane, nan where not known."""

    def column(of: Any) -> Floats:
        return np.array([[np.nan if (v := of(row)) is None else v] for row in rows], dtype=float).reshape(
            -1, 1
        )

    def share(row: Mapping[str, Any]) -> float | None:
        covered = row.get("coverage", {}).get("covered_mm2")
        area = row.get("area_mm2")
        return None if covered is None or not area else 100 * covered / area

    band = np.array([row.get("interlayer_c") or (np.nan, np.nan) for row in rows], dtype=float)
    return [
        ("layer time, s", column(lambda row: row.get("time_s"))),
        ("interlayer temperature, °C", band.reshape(-1, 2)),
        ("bound, µm", column(lambda row: 1000 * row["bounds_mm"]["total"] if "bounds_mm" in row else None)),
        ("coverage, %", column(share)),
        ("bead length, m", column(lambda row: row["length_mm"] / 1000 if "length_mm" in row else None)),
    ]
