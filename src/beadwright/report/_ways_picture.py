"""Error against moves, both ways, as a plot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from beadwright.report._plots import figure_bytes, new_figure

# mm: an error below this is drawn here, since the axis is logarithmic.
FLOOR = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class WayPoint:
    """One way: its name, moves and greatest error, mm."""

    name: str
    moves: int
    error: float


def ways_picture(
    meshes: Sequence[WayPoint], exact: WayPoint, *, bound: float, title: str, kind: str = "svg"
) -> bytes:
    """Draw the error of every way over its moves, both logarithmic.

    Parameters
    ----------
    meshes : sequence of WayPoint
    exact : WayPoint
    bound : float
        Proven for the exact way, mm: a line.
    title : str
    kind : {"svg", "png", "pdf"}

    Returns
    -------
    bytes
        The same for the same numbers.
    """
    figure = new_figure(7.0, 4.6)
    import matplotlib as mpl  # after the figure, whose error names what to install

    # a salt of its own, else the picture's ids change from run to run
    with mpl.rc_context({"svg.hashsalt": "beadwright", "font.size": 9.0}):
        figure.set_layout_engine("constrained")
        axes = figure.add_subplot()
        rows = sorted(meshes, key=lambda way: way.moves)
        x, y = [way.moves for way in rows], [max(FLOOR, way.error) for way in rows]
        axes.loglog(x, y, "s-", color="#8a5a00", label="triangles, straight moves")
        axes.loglog([exact.moves], [max(FLOOR, exact.error)], "o", color="#00508f", markersize=9)
        for way in (*rows, exact):
            axes.annotate(
                way.name,
                (way.moves, max(FLOOR, way.error)),
                xytext=(6, 5),
                textcoords="offset points",
                fontsize=8,
            )
        axes.axhline(bound, color="#00508f", linestyle="--", linewidth=1, label="proven for the solid itself")
        axes.set_xlabel("moves")
        axes.set_ylabel("greatest distance from the exact bead, mm")
        axes.set_title(title, fontsize=9)
        axes.grid(visible=True, which="both", color="0.9", linewidth=0.6)
        axes.margins(x=0.15, y=0.15)
        axes.legend(fontsize=8)
        return figure_bytes(figure, kind)
