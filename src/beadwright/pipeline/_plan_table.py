"""What a plan prints on a terminal."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

from rich.console import Console

from beadwright.numeric import counted
from beadwright.pipeline._built import rows_told
from beadwright.pipeline._document import BOUNDS
from beadwright.pipeline._rest import join_told
from beadwright.pipeline._tables import MAX_ROWS, show_findings, show_pairs

if TYPE_CHECKING:
    from beadwright.pipeline._result import PlanResult


def show_plan(result: PlanResult) -> None:
    """Print what was planned, its bound and its findings."""
    console, document = Console(stderr=True), result.document
    totals, bounds = document["totals"], document["bounds_mm"]
    parts = " + ".join(f"{name} {bounds[name]:.2g}" for name in BOUNDS[1:-1] if name in bounds)
    moves = totals["moves"]
    pairs = [
        ("part", document["input"]["file"]),
        ("layers", f"{totals['layers']}, beads {totals['beads']}, {totals['length_mm'] / 1000:.3f} m"),
        ("moves", f"{counted(moves['line'], 'line')}, {counted(moves['arc'], 'arc')}"),
        (
            f"off the {'mesh' if any(f.code == 'from-mesh' for f in result.findings) else 'solid'} by at most",
            f"{bounds['total']:.4g} mm = {parts}; the file's own gaps {bounds['model']:.2g}",
        ),
    ]
    pairs += _copies(document)
    if "joined" in totals:
        joined = totals["joined"]
        pairs.append(
            ("lines, ribs and rings", f"{joined['before']}, laid as {counted(joined['after'], 'bead')}")
        )
    if "continuity" in document:
        pairs += _rising(document["continuity"])
    pairs += _left_for_machining(document)
    if document["nudged_planes"]:
        pairs.append(("planes moved off faces", f"{len(document['nudged_planes'])}"))
    if document["fallbacks"]:
        pairs.append(("fallbacks to the CAD kernel", f"{document['fallbacks']}"))
    pairs += rows_told(result.build)
    if "join" in document:
        pairs.append(("takes up", join_told(document["join"])))
    seconds = result.run["seconds"]
    pairs.append(
        ("planned in", f"{seconds['total']:.1f} s, of it compiling {seconds.get('compile', 0.0):.1f} s")
    )
    if result.out is not None:
        pairs.append(("written", str(result.out)))
    show_pairs(console, pairs)
    show_findings(console, result.findings)


def _rising(told: dict[str, Any]) -> list[tuple[str, str]]:
    """How many beads there are without rising walls, and with them."""
    beads = told["beads"]
    which = ", ".join(f"layers {row['from_layer']} to {row['to_layer']}" for row in told["rising"])
    return [
        (
            "steadily rising",
            f"{which or 'nothing'}: {counted(beads['before'], 'bead')} of all layers laid as {beads['after']}",
        )
    ]


def _from_to(stock: Mapping[str, float]) -> str:
    """Least and greatest stock; one that rounds to nothing has no sign."""
    return f"{stock['least']:z.2f} to {stock['greatest']:z.2f} mm"


def _finished(document: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Stock beyond the finished part, face by face, and what machining takes off."""
    if "finished" not in document:
        return []
    row = document["finished"]
    pairs = [("finished part", f"{row['file']}, stock known to {row['bound_mm']:.2f} mm in the plane")]
    for face in row["faces"][:MAX_ROWS]:
        name = f" {face['name']}" if face["name"] else ""
        stock = _from_to(face["stock_mm"])
        pairs.append((f"on its face {face['id']}{name}", f"{stock}, measured in the plane of the layer"))
    if len(row["faces"]) > MAX_ROWS:
        pairs.append(("on more of its faces", f"{len(row['faces']) - MAX_ROWS}; plan.json lists them"))
    if "machined_mm3" in row:
        pairs.append(
            ("to machine", f"{row['machined_mm3'] / 1000:.1f} cm3 of {row['print_mm3'] / 1000:.1f} printed")
        )
    return pairs


def _left_for_machining(document: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Stock by face, features cut later, layer heights that follow the part, and the platform's map."""
    pairs = []
    stocked = [face for face in document["faces"] if "stock_mm" in face]
    for face in stocked[:MAX_ROWS]:
        name = f" {face['name']}" if face["name"] else ""
        stock = _from_to(face["stock_mm"])
        pairs.append((f"stock on face {face['id']}{name}", f"{stock}, square to the face"))
    if len(stocked) > MAX_ROWS:
        pairs.append(("stock on more faces", f"{len(stocked) - MAX_ROWS}; plan.json lists them"))
    pairs += _finished(document)
    later = document.get("cut_later", ())
    for row in later[:MAX_ROWS]:
        size = f"diameter {row['diameter_mm']:.2f}" if "diameter_mm" in row else _size(row["size_mm"])
        faces = ", ".join(map(str, row["faces"]))
        chips = f"chips {row['chip_kg']:.3f} kg" if row["chip_volume_mm3"] else "printed as drawn"
        pairs.append((f"cut later, face {faces}", f"{size} mm, {chips}"))
    heights = document.get("heights", {})
    for name in ("chosen", "greatest", "nominal"):
        if name in heights:
            row = heights[name]
            time = f", {row['time_s'] / 3600:.2f} h" if "time_s" in row else ""
            pairs.append(
                (
                    f"heights, {name}",
                    f"{row['layers']} layers, cusp to {row['greatest_cusp_mm']:.2f} mm (Ra"
                    f" {row['greatest_ra_mm']:.2f} mm){time}",
                )
            )
    if "sides" in document:
        sides = document["sides"]
        pairs.append(
            ("upright walls", f"valleys {sides['valley_mm']:.2f} mm deep, Ra {sides['ra_mm']:.2f} mm")
        )
    mapped = [row["map"] for row in document["layers"] if "map" in row]
    if mapped:
        off = max(row["off_mm"] for row in mapped)
        thin, thick = (
            min(row["thickness_mm"][0] for row in mapped),
            max(row["thickness_mm"][1] for row in mapped),
        )
        told = f"{counted(len(mapped), 'layer')} of {thin:.2f} to {thick:.2f} mm follow {document['bed_map']['file']}"
        pairs.append(("platform", f"{told} within {off:.4f} mm"))
    return pairs


def _copies(document: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Where copies stand."""
    rows = document.get("copies", ())
    pairs = [
        (
            f"copy {row['index']}",
            f"{row['file']} at {row['at_mm'][0]:.3f}, {row['at_mm'][1]:.3f}"
            + (f", turned {row['turn_deg']:g} degrees" if row["turn_deg"] else ""),
        )
        for row in rows[:MAX_ROWS]
    ]
    if len(rows) > MAX_ROWS:
        pairs.append(("more copies", f"{len(rows) - MAX_ROWS}; plan.json lists them"))
    return pairs


def _size(size: Iterable[float]) -> str:
    return " × ".join(f"{v:.1f}" for v in size)
