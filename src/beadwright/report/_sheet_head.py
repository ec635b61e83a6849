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
    box = _box(layers)
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
        "knows": {
            "face": any((layer.face >= 0).any() for layer in layers),
            "source": any((layer.source != NOT_TOLD).any() for layer in layers),
            "deviation": any(np.isfinite(layer.deviation).any() for layer in layers),
        },
        "greatest": _greatest(layers),
        "part_missing": part_missing,
    }
    for key in ("bounds_mm", "fallbacks", "profile", "volume_mm", "estimate", "finished"):
        if key in document:
            head[key] = document[key]
    return head


def _greatest(layers: Sequence[SheetLayer]) -> dict[str, float]:
    """Ends of the scales of colour."""
    runs = [run for layer in layers for run in layer.moves.runs if run.bead >= 0]
    deviations = [np.abs(layer.deviation[np.isfinite(layer.deviation)]) for layer in layers]
    return {
        "feed": max((run.feed for run in runs if math.isfinite(run.feed)), default=0.0),
        "width": max((run.width for run in runs if math.isfinite(run.width)), default=0.0),
        "deviation": float(max((d.max(initial=0.0) for d in deviations), default=0.0)),
    }


def _box(layers: Sequence[SheetLayer]) -> list[list[float]]:
    """Box of all layers: what their regions or beads cover, from the lowest z0 to the highest z, mm."""
    spans = [
        (row["front"], row["side"], row["z0_mm"], row["z_mm"])
        for row in (layer.row for layer in layers)
        if row["front"] and row["side"]
    ]
    if not spans:
        return [[0.0, 0.0, 0.0], [1.0, 1.0, 1.0]]
    return [
        [min(s[0][0][0] for s in spans), min(s[1][0][0] for s in spans), min(s[2] for s in spans)],
        [max(s[0][-1][1] for s in spans), max(s[1][-1][1] for s in spans), max(s[3] for s in spans)],
    ]
