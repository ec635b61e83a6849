"""A section as JSON: every curve with its kind, its exact parameters and its bound."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from beadwright.curves import CurveKind, CurveLoops, chain_measures
from beadwright.report._ellipse import ellipse_arc
from beadwright.report._exported import Exported
from beadwright.report._splines import joined
from beadwright.report._whole import write_whole

FORMAT = "beadwright section 1"
_NOT_EXACT = (CurveKind.LEVEL, CurveKind.CONNECTOR)


def section_record(
    loops: CurveLoops,
    /,
    *,
    asked: float,
    taken: float,
    face_names: Sequence[str] = (),
    part: str = "",
    to_model: npt.NDArray[np.float64] | None = None,
) -> dict[str, Any]:
    """A section as plain values, ready for JSON.

    Parameters
    ----------
    loops : CurveLoops
    asked, taken : float
        Height that was asked for and that of the plane really used, mm.
    face_names : sequence of str
        Name of each face by its id, "" where it has none.
    part : str
        Name of the file.
    to_model : (3, 4) float, optional
        Rows that take ``(x, y, height, 1)`` back to the model, mm, where the plane is not horizontal
        or the model was placed.

    Returns
    -------
    dict
        Lengths in mm, areas in mm2, angles in rad, counter-clockwise positive. ``exact`` says whether
        the parameters are the curve itself (up to the rounding of doubles, then ``bound_mm``) or stay
        within ``bound_mm`` of it. ``area_mm2`` of the whole is the sum over the loops, holes negative.
    """
    area, length = chain_measures(loops)
    chains = []
    for chain in range(loops.n_chains):
        curves = [
            _curve(loops, curve, face_names)
            for curve in range(int(loops.first_curve[chain]), int(loops.first_curve[chain + 1]))
        ]
        record: dict[str, Any] = {"closed": bool(loops.closed[chain])}
        if loops.closed[chain]:
            record |= {"hole": bool(area[chain] < 0), "area_mm2": float(area[chain])}
        chains.append(record | {"length_mm": float(length[chain]), "curves": curves})
    whole: dict[str, Any] = {"format": FORMAT}
    if part:
        whole["part"] = part
    if to_model is not None:
        whole["to_model"] = np.asarray(to_model, dtype=float).tolist()
    connectors = loops.kind == CurveKind.CONNECTOR
    gaps = np.hypot(*(loops.ends[connectors, 2:] - loops.ends[connectors, :2]).T)
    return whole | {
        "height_mm": {"asked": float(asked), "taken": float(taken)},
        "area_mm2": float(area.sum()),
        "length_mm": float(length.sum()),
        "bounds_mm": {
            "model": float(gaps.max(initial=0.0)),
            "section": float(loops.bound.max(initial=0.0)),
        },
        "kinds": {CurveKind(k).name.lower(): int(n) for k, n in sorted(Counter(loops.kind.tolist()).items())},
        "loops": chains,
    }


def write_section_json(
    path: str | Path,
    loops: CurveLoops,
    /,
    *,
    asked: float,
    taken: float,
    face_names: Sequence[str] = (),
    part: str = "",
    to_model: npt.NDArray[np.float64] | None = None,
) -> Exported:
    """Write `section_record` as a file; numbers read back to the same doubles.

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    record = section_record(
        loops, asked=asked, taken=taken, face_names=face_names, part=part, to_model=to_model
    )
    data = (json.dumps(record, indent=1, allow_nan=False) + "\n").encode()
    bound = float(loops.bound.max(initial=0.0))
    return Exported(path=write_whole(path, data), entities=record["kinds"], bound=bound)


def _curve(loops: CurveLoops, curve: int, face_names: Sequence[str]) -> dict[str, Any]:
    kind = CurveKind(int(loops.kind[curve]))
    face = int(loops.face[curve])
    record: dict[str, Any] = {
        "kind": kind.name.lower(),
        "exact": kind not in _NOT_EXACT,
        "bound_mm": float(loops.bound[curve]),
    }
    if face >= 0:
        record["face"] = face
        if face < len(face_names) and face_names[face]:
            record["face_name"] = face_names[face]
    start, end = loops.ends[curve, :2], loops.ends[curve, 2:]
    record |= {"from_mm": start.tolist(), "to_mm": end.tolist()}
    if kind == CurveKind.CONNECTOR:
        record["gap_mm"] = float(np.hypot(*(end - start)))
    elif kind == CurveKind.CIRCLE:
        cx, cy, radius, sweep = (float(v) for v in loops.circle[curve])
        angle = float(np.arctan2(start[1] - cy, start[0] - cx))
        record |= {"centre_mm": [cx, cy], "radius_mm": radius, "start_rad": angle, "sweep_rad": sweep}
    elif kind != CurveKind.LINE:
        if kind == CurveKind.ELLIPSE:
            record |= _axes(loops, curve)
        form = joined(loops, curve)
        spline: dict[str, Any] = {"degree": form.degree, "knots": form.knots.tolist()}
        if form.rational:
            spline["weights"] = form.weights.tolist()
        record["spline"] = spline | {"points_mm": form.points.tolist()}
    return record


def _axes(loops: CurveLoops, curve: int) -> dict[str, Any]:
    arc = ellipse_arc(loops, curve)
    if arc is None:
        return {}
    return {
        "centre_mm": arc.centre.tolist(),
        "major_mm": arc.major.tolist(),
        "minor_mm": arc.minor.tolist(),
        "start_rad": arc.start,
        "sweep_rad": arc.sweep,
    }
