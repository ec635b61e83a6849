"""A section as STEP, through the kernel's own writer."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from beadwright.curves import CurveKind, CurveLoops
from beadwright.report._exported import Exported
from beadwright.report._whole import write_whole


def write_step(path: str | Path, loops: CurveLoops, height: float, /, *, name: str = "section") -> Exported:
    """Write a section as STEP (AP214, mm): one wire a chain, at ``z = height``.

    Lines and circles are written as such, every other curve as its B-spline, rational where it is.

    Parameters
    ----------
    path : str or Path
    loops : CurveLoops
    height : float
        mm.
    name : str
        Of the product in the file.

    Returns
    -------
    Exported

    Raises
    ------
    OutputError
        The file cannot be written, or the kernel refuses a curve.
    """
    from beadwright.kernel import section_step

    written = write_whole(path, section_step(loops, float(height), name))
    kinds = Counter(loops.kind.tolist())
    entities = {CurveKind(kind).name.lower(): count for kind, count in sorted(kinds.items())}
    return Exported(path=written, entities=entities, bound=float(loops.bound.max(initial=0.0)))
