"""Heights at which the section of a face changes its kind inside the face, for quadrature over heights."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from beadwright.section._cutter import Cutter
from beadwright.section._kernels import codes

Array = npt.NDArray[np.float64]


def face_events(cutter: Cutter) -> Array:
    """Critical heights of spheres and tori, whether they lie inside the face or not: (n,) mm.

    Cylinders, cones and planes have none beside their edges; those of spline faces are not listed.
    """
    out: list[float] = []
    for kind, f in zip(cutter.faces.kind, cutter.faces.par, strict=True):
        if kind == codes.SPHERE:
            out += [f[2] - f[3], f[2] + f[3]]
        elif kind == codes.TURNED_CIRCLE:
            tilt = float(np.hypot(f[3], f[4]))
            middle = f[2] + f[11] * f[5]
            for side in (-1.0, 1.0):
                for turn in (-1.0, 1.0):
                    out.append(middle + side * f[9] * tilt + turn * f[10])
        elif kind == codes.TURNED_LINE and f[11] != 0.0:
            # the apex
            out.append(f[2] + (f[10] - f[9] / f[11] * f[12]) * f[5])
    return np.array(out)
