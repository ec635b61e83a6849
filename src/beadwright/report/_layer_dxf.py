"""Layers as DXF: light polylines with bulges, which are true arcs, at their heights."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from beadwright.curves import ArcPath
from beadwright.report._dxf import MILLIMETRES, fixed_marks


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Flat:
    """A path at a height.

    Attributes
    ----------
    path : ArcPath
    z : float
        mm.
    layer : str
        Layer of the DXF file: a role, say.
    width : float
        Drawn width, mm; 0 for a plain line.
    """

    path: ArcPath
    z: float
    layer: str
    width: float = 0.0


def layers_dxf(flats: Sequence[Flat], /) -> bytes:
    """Paths as DXF (AC1024), in mm: one LWPOLYLINE each, with its bulges, its height and its width.

    A bulge of the format is tan(sweep / 4), as in `ArcPath`, so nothing is approximated.
    """
    from ezdxf.filemanagement import new

    with fixed_marks():
        document = new("R2010", setup=False)
        document.header["$INSUNITS"] = MILLIMETRES
        document.header["$MEASUREMENT"] = 1
        space = document.modelspace()
        for flat in flats:
            if flat.layer not in document.layers:
                document.layers.add(flat.layer)
            path = flat.path
            bulge = path.bulge if path.closed else np.append(path.bulge, 0.0)
            rows = [(float(x), float(y), float(b)) for (x, y), b in zip(path.points, bulge, strict=True)]
            attributes = {"layer": flat.layer, "elevation": flat.z, "const_width": flat.width}
            space.add_lwpolyline(rows, format="xyb", close=path.closed, dxfattribs=attributes)
        stream = io.StringIO()
        document.write(stream)
        return bytes(document.encode(stream.getvalue()))
