"""One layer as a picture: the section, and the beads in their true width."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from beadwright.curves import ArcPath, ArcRegion, length
from beadwright.report._box import Box, paths_box
from beadwright.report._page import FAINT, INK, PAPER, Page, brief, number
from beadwright.report._svg_path import arc_path_text
from beadwright.report._whole import write_whole

REGION = "#efe9dc"
INKS = {
    "contour": "#a8482f",
    "wall": "#2f6f73",
    "fill": "#8a7a2a",
    "rib": "#7a4a6d",
    "deck": "#3f5f95",
    "medial": "#4d7a3c",
    "base": "#6f6a63",
    "fin": "#b07a2c",
}
OTHER_INK = "#5b6870"
CORE = 0.84
"""Share of the width that is drawn darker, so that beads side by side stay apart to the eye."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BeadStroke:
    """A bead as a picture needs it: centreline, width (mm) and role; or a part of one whose width varies.

    ``part`` counts the parts of such a bead from 1; 0 is a whole bead.
    """

    path: ArcPath
    width: float
    role: str = "contour"
    part: int = 0


def layer_picture(
    path: str | Path,
    region: ArcRegion,
    beads: Sequence[BeadStroke],
    /,
    *,
    title: str,
    caption: str = "",
    window: Box | None = None,
) -> Path:
    """`layer_svg` as a file.

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    text = layer_svg(region, beads, title=title, caption=caption, window=window)
    return write_whole(path, text.encode())


def layer_svg(
    region: ArcRegion,
    beads: Sequence[BeadStroke],
    /,
    *,
    title: str,
    caption: str = "",
    window: Box | None = None,
) -> str:
    """Draw one layer as SVG: the section as an outline, each bead as a translucent band with its centreline.

    Parameters
    ----------
    region : ArcRegion
        The layer's region.
    beads : sequence of BeadStroke
        In their order.
    title, caption : str
        Over and under the drawing.
    window : (float, float, float, float), optional
        Least x, least y, greatest x, greatest y of the part to show, mm; all of it by default.

    Returns
    -------
    str
        True arcs, numbers to 1e-9 mm.
    """
    widest = max((bead.width for bead in beads), default=0.0)
    x0, y0, x1, y1 = paths_box([*region.loops, *(bead.path for bead in beads)])
    whole = (x0 - widest, y0 - widest, x1 + widest, y1 + widest)
    window = whole if window is None else window
    roles = sorted({bead.role for bead in beads}, key=lambda role: [*INKS, role].index(role))
    captions = [caption] if caption else []
    page = Page.around(window, captions=len(captions) + len(roles))
    size = page.size
    lines = page.head(title, "One layer, in mm, y up (drawn as -y): the section and its beads in true width.")
    lines.append(
        f'<clipPath id="window"><rect x="{number(page.x)}" y="{number(page.y)}" width="{number(page.width)}"'
        f' height="{number(page.height)}"/></clipPath>'
    )
    lines.append('<g clip-path="url(#window)" stroke-linejoin="round">')
    outline = "".join(arc_path_text(loop) for loop in region.loops)
    if outline:
        lines.append(f'<path d="{outline}" fill="{REGION}" fill-rule="nonzero"/>')
    fine = min(0.07 * size, 0.12 * widest) if widest else 0.07 * size
    for bead in beads:
        ink, data = INKS.get(bead.role, OTHER_INK), arc_path_text(bead.path)
        band = f'<path d="{data}" fill="none" stroke="{ink}" stroke-opacity="0.24"'
        # Round ends would lie on one another where a bead is drawn in parts.
        cap = f' stroke-linecap="{"butt" if bead.part else "round"}"'
        lines += [f'{band}{cap} stroke-width="{number(share * bead.width)}"/>' for share in (1.0, CORE)]
    for bead in beads:
        ink = INKS.get(bead.role, OTHER_INK)
        lines.append(
            f'<path d="{arc_path_text(bead.path)}" fill="none" stroke="{ink}" stroke-width="{number(fine)}"/>'
        )
        if bead.part > 1:
            continue
        x, y = bead.path.points[0]
        lines.append(
            f'<circle cx="{number(x)}" cy="{number(-y)}" r="{number(2.2 * fine)}" fill="{PAPER}"'
            f' stroke="{ink}" stroke-width="{number(fine)}"/>'
        )
    if outline:
        lines.append(f'<path d="{outline}" fill="none" stroke="{INK}" stroke-width="{number(fine)}"/>')
    lines.append("</g>")
    if window is not whole:
        lines.append(
            f'<rect x="{number(page.x)}" y="{number(page.y)}" width="{number(page.width)}"'
            f' height="{number(page.height)}" fill="none" stroke="{FAINT}" stroke-width="{number(fine)}"/>'
        )
    lines += page.foot(captions)
    lines += _legend(page, beads, roles, len(captions))
    lines += ["</svg>", ""]
    return "\n".join(lines)


def _legend(page: Page, beads: Sequence[BeadStroke], roles: Sequence[str], first: int) -> list[str]:
    """A line a role: its band, how many beads, how long."""
    size, left = page.size, page.left
    lines = []
    for index, role in enumerate(roles):
        own = [bead for bead in beads if bead.role == role]
        total = sum(length(bead.path) for bead in own) / 1000
        count = sum(bead.part <= 1 for bead in own)
        noun = "bead" if count == 1 else "beads"
        y = page.row(first + index)
        words = f"{count} {role} {noun}, {brief(total)} m"
        ink = INKS.get(role, OTHER_INK)
        band = f"M{number(left)} {number(y - 0.3 * size)}h{number(3 * size)}"
        lines += [
            f'<path d="{band}" stroke="{ink}" stroke-opacity="0.42" stroke-width="{number(0.8 * size)}"/>',
            f'<path d="{band}" stroke="{ink}" stroke-width="{number(0.07 * size)}"/>',
            page.text(left + 3.8 * size, y, words),
        ]
    return lines
