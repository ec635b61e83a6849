"""The head of the sheet: what is not by layer and not by move."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from beadwright.report._sheet_data import FORMAT, NOT_TOLD, QUANTUM, SheetLayer

MAX_FINDINGS = 1000
"""Findings that the sheet lists; it says how many there are in all."""
_ORDER = {"error": 0, "warning": 1, "note": 2}


def sheet_head(
    document: Mapping[str, Any],
    layers: Sequence[SheetLayer],
    *,
    kind: str,
    settings: Sequence[Mapping[str, Any]],
    program: Mapping[str, Any],
    part_missing: str = "",
) -> dict[str, Any]:
    """Everything but the layers, as the page reads it.

    Parameters
    ----------
    document : mapping
        As plan.json holds it; what it does not have stays away.
    layers : sequence of SheetLayer
        Gone over once, since those of a tall part come from the disk.
    kind : {"plan", "verification"}
    settings : sequence of mapping
        Rows ``key``, ``label``, ``value``, ``from``, and ``unit``, ``allowed``, ``standing``, ``text`` where known.
    program : mapping
        ``sha256`` and ``moves``.
    part_missing : str
        Why there is no shaded picture, if there is none.
    """
    found = [
        {**finding, "number": finding.get("number", place)}
        for place, finding in enumerate(document["findings"], 1)
    ]
    found.sort(key=lambda finding: (_ORDER[finding["level"]], finding["number"]))
    scales = _Scales()
    for layer in layers:
        scales.add(layer)
    box = scales.box()
    size = np.ptp(np.array(box), axis=0)
    head: dict[str, Any] = {
        "format": FORMAT,
        "kind": kind,
        "quantum_mm": QUANTUM,
        "version": document["version"],
        "input": dict(document["input"]),
        "settings": list(settings),
        "totals": dict(document.get("totals", {})),
        "faces": list(document.get("faces", ())),
        "findings": found[:MAX_FINDINGS],
        "findings_in_all": len(found),
        "levels": dict(Counter(finding["level"] for finding in found)),
        "program": dict(program),
        "box_mm": box,
        "look_along_x": bool(size[0] > 1.5 * size[1]),
        "knows": scales.knows,
        "greatest": scales.greatest,
        "part_missing": part_missing,
    }
    for key in ("bounds_mm", "fallbacks", "profile", "volume_mm", "estimate", "finished"):
        if key in document:
            head[key] = document[key]
    return head


class _Scales:
    """What layers show: ends of the scales of colour, what is known of moves, and the box of all."""

    def __init__(self) -> None:
        self.greatest = {"feed": 0.0, "width": 0.0, "deviation": 0.0}
        self.knows = {"face": False, "source": False, "deviation": False}
        self._low, self._high = np.full(3, np.inf), np.full(3, -np.inf)

    def add(self, layer: SheetLayer) -> None:
        known = layer.deviation[np.isfinite(layer.deviation)]
        beads = [run for run in layer.moves.runs if run.bead >= 0]
        for name, values in (
            ("feed", [run.feed for run in beads if math.isfinite(run.feed)]),
            ("width", [run.width for run in beads if math.isfinite(run.width)]),
            ("deviation", np.abs(known).tolist()),
        ):
            self.greatest[name] = max(self.greatest[name], *values, 0.0)
        self.knows["face"] |= bool((layer.face >= 0).any())
        self.knows["source"] |= bool((layer.source != NOT_TOLD).any())
        self.knows["deviation"] |= len(known) > 0
        front, side = layer.row["front"], layer.row["side"]
        if front and side:
            low, high = (
                (front[0][0], side[0][0], layer.row["z0_mm"]),
                (front[-1][1], side[-1][1], layer.row["z_mm"]),
            )
            self._low, self._high = np.minimum(self._low, low), np.maximum(self._high, high)

    def box(self) -> list[list[float]]:
        """What regions or beads cover, from the lowest z0 to the highest z, mm."""
        if self._low[0] > self._high[0]:
            return [[0.0, 0.0, 0.0], [1.0, 1.0, 1.0]]
        return [self._low.tolist(), self._high.tolist()]
