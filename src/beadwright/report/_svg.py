"""A section as SVG: a drawing on paper, in mm, true arcs."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from beadwright.curves import CurveLoops, chain_measures
from beadwright.report._box import loops_box
from beadwright.report._exported import Exported
from beadwright.report._page import INK, Page, brief, number
from beadwright.report._svg_path import PathText
from beadwright.report._whole import write_whole

CUBIC_BOUND = 1e-6
"""What a cubic may add where SVG has no exact form (hyperbola, rational spline, high degree), mm."""
TINT, HATCH = "#ece4d4", "#b9a78a"


def write_svg(path: str | Path, loops: CurveLoops, height: float, /, *, title: str = "") -> Exported:
    """Draw a section: hatched where there is material, with a scale bar, its height and its area.

    Circles and ellipses are written as arc commands, lines, parabolas and polynomial splines up to degree
    3 as what they are; all else as cubic Bézier curves within `CUBIC_BOUND`. Numbers are rounded to 1e-9 mm.
    Material is where the loops wind around a point, so loops that overlap shade their union.

    Parameters
    ----------
    path : str or Path
    loops : CurveLoops
    height : float
        mm, for the caption.
    title : str
        Over the drawing; the file's or solid's name, say.

    Returns
    -------
    Exported

    Raises
    ------
    OutputError
        The file cannot be written.
    BoundError
        A curve could not be brought within `CUBIC_BOUND`.
    """
    drawn, counted, bound = section_svg(loops, height, title=title)
    written = write_whole(path, drawn.encode())
    return Exported(path=written, entities=counted, bound=bound)


def section_svg(loops: CurveLoops, height: float, /, *, title: str = "") -> tuple[str, dict[str, int], float]:
    """`write_svg` as text: the drawing, its commands by letter, and its bound, mm."""
    text = PathText(CUBIC_BOUND)
    closed = [text.chain(loops, i) for i in range(loops.n_chains) if loops.closed[i]]
    open_ = [text.chain(loops, i) for i in range(loops.n_chains) if not loops.closed[i]]
    area, length = chain_measures(loops)
    page = Page.around(loops_box(loops), captions=2)
    bound = float(loops.bound.max(initial=0.0)) + text.added
    holes = int(np.sum(area < 0))
    said = f"area {brief(float(area.sum()))} mm², contours {brief(float(length.sum()))} mm long"
    counted = [_count(len(closed) - holes, "outer contour"), _count(holes, "hole")]
    counted.append(_count(len(open_), "open contour"))
    captions = [f"z = {number(height)} mm, {said}", ", ".join(c for c in counted if c) or "empty section"]
    lines = page.head(
        title or f"Section at z = {number(height)} mm",
        f"Plane section at z = {number(height)} mm, in mm, y up (drawn as -y). "
        f"Every curve is within {bound:.3g} mm of the true one.",
    )
    look = f'stroke="{INK}" stroke-width="{number(0.07 * page.size)}" stroke-linejoin="round"'
    if closed:
        data = "".join(closed)
        lines += [
            f'<clipPath id="material"><path d="{data}" clip-rule="nonzero"/></clipPath>',
            f'<path d="{data}" fill="{TINT}" fill-rule="nonzero"/>',
            f'<path d="{_hatch(page)}" clip-path="url(#material)" fill="none" stroke="{HATCH}"'
            f' stroke-width="{number(0.05 * page.size)}"/>',
            f'<path id="section" d="{data}" fill="none" {look}/>',
        ]
    if open_:
        lines.append(f'<path id="open" d="{"".join(open_)}" fill="none" stroke-linecap="round" {look}/>')
    lines += [*page.foot(captions), "</svg>", ""]
    return "\n".join(lines), dict(sorted(text.count.items())), bound


def _hatch(page: Page) -> str:
    """Lines at 45 degrees over the whole drawing."""
    gap, rise = 1.6 * page.size, page.height
    count = int((page.width + rise) / gap) + 1
    low = page.y + page.height
    starts = (page.x - rise + (k + 0.5) * gap for k in range(count))
    return "".join(f"M{number(x)} {number(low)}l{number(rise)} {number(-rise)}" for x in starts)


def _count(n: int, noun: str) -> str:
    return "" if n <= 0 else f"{n} {noun}{'s' if n > 1 else ''}"
