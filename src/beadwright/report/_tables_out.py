"""Tables for other tools: moves and faces as CSV, a plan's summary as Markdown."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from beadwright.report._sheet_data import CAD, FITTED, SheetData, SheetLayer

MOVE_COLUMNS = (
    "layer",
    "line",
    "bead",
    "role",
    "rank",
    "kind",
    "from_x_mm",
    "from_y_mm",
    "to_x_mm",
    "to_y_mm",
    "z_mm",
    "centre_x_mm",
    "centre_y_mm",
    "radius_mm",
    "sweep_rad",
    "length_mm",
    "width_mm",
    "feed_mm_s",
    "face",
    "curve",
)
_CURVES = {CAD: "cad", FITTED: "fitted"}


def moves_csv(layers: Sequence[SheetLayer]) -> str:
    """Every move of some layers, a row each; what is not known is empty."""
    return _csv(MOVE_COLUMNS, (row for layer in layers for row in _moves(layer)))


def _moves(layer: SheetLayer) -> Iterable[list[object]]:
    moves = layer.moves
    starts, count = moves.starts, len(moves.x)
    ends = [run.first for run in moves.runs[1:]] + [count]
    for run, end in zip(moves.runs, ends, strict=False):
        laid = run.bead >= 0
        for k in range(run.first, end):
            x0, y0 = (float(v) for v in starts[k])
            x1, y1, bulge = float(moves.x[k]), float(moves.y[k]), float(moves.bulge[k])
            chord = math.hypot(x1 - x0, y1 - y0)
            arc: list[object] = ["", "", "", ""]
            length = chord
            if bulge:
                shift, sweep = (1 - bulge) * (1 + bulge) / (4 * bulge), 4 * math.atan(bulge)
                radius = chord * (1 + bulge * bulge) / (4 * abs(bulge))
                cx, cy = (x0 + x1) / 2 - (y1 - y0) * shift, (y0 + y1) / 2 + (x1 - x0) * shift
                arc = [f"{cx:.5f}", f"{cy:.5f}", f"{radius:.5f}", f"{sweep:.9f}"]
                length = radius * abs(sweep)
            yield [
                layer.row["index"],
                int(moves.line[k]),
                run.bead if laid else "",
                run.role,
                run.rank if laid else "",
                ("arc" if bulge else "line") if laid else "traverse",
                *(f"{v:.5f}" for v in (x0, y0, x1, y1, float(moves.z[k]))),
                *arc,
                f"{length:.5f}",
                f"{run.width:g}" if laid and math.isfinite(run.width) else "",
                f"{run.feed:g}" if laid and math.isfinite(run.feed) else "",
                int(layer.face[k]) if len(layer.face) and layer.face[k] >= 0 else "",
                _CURVES.get(int(layer.source[k]), "") if laid and len(layer.source) else "",
            ]


def stock_csv(faces: Sequence[Mapping[str, Any]]) -> str:
    """Stock by face: what is least and most left on each, mm; faces without stock have empty fields."""
    columns = ("face", "name", "kind", "area_mm2", "stock_least_mm", "stock_greatest_mm")
    rows = (
        [
            face["id"],
            face.get("name", ""),
            face.get("kind", ""),
            f"{face['area_mm2']:.4f}" if "area_mm2" in face else "",
            *(f"{face['stock_mm'][key]:.6f}" if "stock_mm" in face else "" for key in ("least", "greatest")),
        ]
        for face in faces
    )
    return _csv(columns, rows)


def _csv(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    return stream.getvalue()


def summary_markdown(sheet: SheetData) -> str:
    """A plan in a page of Markdown: what it is, its bound, its figures, its findings, what was not computed."""
    head = sheet.head
    totals, bounds = head["totals"], head.get("bounds_mm", {})
    part = head["input"]
    lines = [
        f"# {part['file']}",
        "",
        f"Written by beadwright {head['version']}; program sha256 `{head['program']['sha256']}`,"
        f" part sha256 `{part.get('sha256', '')}`.",
        "",
        "| quantity | value |",
        "| --- | --- |",
    ]
    pairs = [
        ("layers", totals.get("layers")),
        ("beads", totals.get("beads")),
        ("moves with the extruder on", head["program"]["moves"]),
        ("bead length", _of(totals, "length_mm", lambda v: f"{v / 1000:.4g} m")),
        ("bound of all beads", _of(bounds, "total", lambda v: f"{v:.4g} mm")),
        *((f"of it {name}", _of(bounds, name, lambda v: f"{v:.3g} mm")) for name in _PARTS),
        *((("of it corners rounded", f"{bounds['corner']:.3g} mm"),) if "corner" in bounds else ()),
        ("the file's own gaps", _of(bounds, "model", lambda v: f"{v:.3g} mm")),
        ("worst deviation", _of(head.get("profile", {}), "greatest_mm", lambda v: f"{v:.4g} mm")),
        ("build time", _of(totals, "time_s", lambda v: f"{v / 3600:.3g} h")),
        ("mass", _of(totals, "mass_kg", lambda v: f"{v:.4g} kg ({v / 0.45359237:.4g} lb)")),
    ]
    spread = head.get("estimate", {}).get("low_high", {})
    for name, key, scale, unit in (
        ("build time, least to greatest", "time_s", 3600.0, "h"),
        ("mass, least to greatest", "part_kg", 1.0, "kg"),
        ("cost, least to greatest", "cost", 1.0, "in the currency of the rates"),
    ):
        if key in spread:
            low, high = (value / scale for value in spread[key])
            pairs.append((name, f"{low:.4g} to {high:.4g} {unit}"))
    lines += [f"| {name} | {'not computed' if value is None else value} |" for name, value in pairs]
    lines += ["", f"## Findings ({head['findings_in_all']})", ""]
    lines += [_finding(finding) for finding in head["findings"]] or ["none"]
    if head["findings_in_all"] > len(head["findings"]):
        lines.append(f"- and {head['findings_in_all'] - len(head['findings'])} more, in plan.json")
    given = [row for row in head["settings"] if row.get("from") != "default"]
    lines += ["", "## Settings that are not defaults", ""]
    lines += [
        f"- {row['label']}: {row['value']} {row.get('unit', '')} ({row['from']})".rstrip() for row in given
    ]
    lines += [] if given else ["none"]
    return "\n".join([*lines, ""])


_PARTS = ("section", "fit", "region", "rounding")


def _of(table: Mapping[str, Any], key: str, text: Any) -> str | None:
    return text(table[key]) if key in table else None


def _finding(finding: Mapping[str, Any]) -> str:
    where = [f"layer {finding['layer']}"] if "layer" in finding else []
    where += ["at " + ", ".join(f"{v:.2f}" for v in finding["at_mm"])] if "at_mm" in finding else []
    measured = (
        f"; measured {finding['measured']:.4g} {finding.get('unit', '')}".rstrip()
        if "measured" in finding
        else ""
    )
    place = f" ({', '.join(where)})" if where else ""
    return (
        f"- **{finding['number']}** {finding['level']}, {finding['code']}: {finding['text']}{place}{measured}"
    )
