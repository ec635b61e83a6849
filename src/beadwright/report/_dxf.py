"""A section as DXF: LINE, ARC, CIRCLE, ELLIPSE and SPLINE, no chords."""

from __future__ import annotations

import io
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from beadwright.curves import CurveKind, CurveLoops
from beadwright.report._ellipse import EllipseArc, ellipse_arc
from beadwright.report._exported import Exported
from beadwright.report._splines import joined
from beadwright.report._whole import write_whole

if TYPE_CHECKING:
    from ezdxf.entities.dxfgfx import DXFGraphic
    from ezdxf.layouts.layout import Modelspace

MILLIMETRES = 4
"""The value of $INSUNITS for mm (DXF reference, header variables)."""
GAP_LAYER = "gap"


def write_dxf(
    path: str | Path, loops: CurveLoops, height: float, /, *, face_names: Sequence[str] = ()
) -> Exported:
    """Write a section as DXF (AC1024), in mm, at ``z = height``.

    Lines, circles and ellipses are written as such. Parabolas, hyperbolas and splines are written as
    B-splines, rational where they are, which is exact; level curves likewise, within ``loops.bound``.
    The entities stand in the order of the loops, one GROUP a loop, on one DXF layer a face. An ARC or
    ELLIPSE runs counter-clockwise whatever the direction of its loop: the format knows no other.

    Parameters
    ----------
    path : str or Path
    loops : CurveLoops
    height : float
        mm.
    face_names : sequence of str
        Name of each face by its id, "" where it has none: part of the layer's name.

    Returns
    -------
    Exported

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    from ezdxf.filemanagement import new

    with fixed_marks():
        document = new("R2010", setup=False)
        document.header["$INSUNITS"] = MILLIMETRES
        document.header["$MEASUREMENT"] = 1
        document.header.custom_vars.append("height_mm", repr(float(height)))
        space = document.modelspace()
        count: Counter[str] = Counter()
        worst = 0.0
        for chain in range(loops.n_chains):
            entities = []
            for curve in range(int(loops.first_curve[chain]), int(loops.first_curve[chain + 1])):
                layer = _layer(int(loops.face[curve]), face_names)
                if layer not in document.layers:
                    document.layers.add(layer)
                entity, added = _add(space, loops, curve, float(height), {"layer": layer})
                entities.append(entity)
                count[entity.dxftype()] += 1
                worst = max(worst, float(loops.bound[curve]) + added)
            kind = "loop" if loops.closed[chain] else "chain"
            document.groups.new(f"{kind}_{chain + 1}").extend(entities)
        stream = io.StringIO()
        document.write(stream)
        data = document.encode(stream.getvalue())
    return Exported(path=write_whole(path, data), entities=dict(sorted(count.items())), bound=worst)


@contextmanager
def fixed_marks() -> Iterator[None]:
    """No clock and no random marks in the file: same input, same bytes."""
    from ezdxf import options  # type: ignore[attr-defined]  # exported at run time only

    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        options.write_fixed_meta_data_for_testing = before


def _layer(face: int, names: Sequence[str]) -> str:
    if face < 0:
        return GAP_LAYER
    name = names[face] if face < len(names) else ""
    # the characters that the format forbids in names
    clean = re.sub(r"[<>/\\\":;?*|=`,\x00-\x1f]", "_", name).strip()
    return f"face_{face} {clean}".strip()


def _add(
    space: Modelspace, loops: CurveLoops, curve: int, z: float, attributes: dict[str, Any]
) -> tuple[DXFGraphic, float]:
    """Add one curve; returns its entity and what this form adds to its bound, mm."""
    x0, y0, x1, y1 = (float(v) for v in loops.ends[curve])
    kind = CurveKind(int(loops.kind[curve]))
    if kind in (CurveKind.LINE, CurveKind.CONNECTOR):
        return space.add_line((x0, y0, z), (x1, y1, z), dxfattribs=attributes), 0.0
    if kind == CurveKind.CIRCLE:
        cx, cy, radius, sweep = (float(v) for v in loops.circle[curve])
        centre = (cx, cy, z)
        if abs(sweep) >= 2 * np.pi:
            return space.add_circle(centre, radius, dxfattribs=attributes), 0.0
        start = np.degrees(np.arctan2(y0 - cy, x0 - cx))
        end = np.degrees(np.arctan2(y1 - cy, x1 - cx))
        if sweep < 0:
            start, end = end, start
        return space.add_arc(centre, radius, float(start), float(end), dxfattribs=attributes), 0.0
    if kind == CurveKind.ELLIPSE:
        arc = ellipse_arc(loops, curve)
        if arc is not None:
            return _add_ellipse(space, arc, z, attributes), arc.residual
    form = joined(loops, curve)
    points = [(float(x), float(y), z) for x, y in form.points]
    weights = form.weights.tolist() if form.rational else None
    spline = space.add_spline(degree=form.degree, dxfattribs=attributes)
    spline.control_points = points
    spline.knots = form.knots.tolist()
    if weights is not None:
        spline.weights = weights
        spline.dxf.flags = spline.dxf.flags | spline.RATIONAL
    return spline, 0.0


def _add_ellipse(space: Modelspace, arc: EllipseArc, z: float, attributes: dict[str, Any]) -> DXFGraphic:
    start, end = arc.start, arc.start + arc.sweep
    if arc.sweep < 0:
        start, end = end, start
    if arc.full:
        start, end = 0.0, 2 * np.pi
    ratio = float(np.hypot(*arc.minor) / np.hypot(*arc.major))
    centre, major = ((float(v[0]), float(v[1])) for v in (arc.centre, arc.major))
    return space.add_ellipse(
        (*centre, z), (*major, 0.0), ratio, float(start), float(end), dxfattribs=attributes
    )
