"""Short tables for the terminal, on standard error."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from beadwright.numeric import Finding, counted
from beadwright.pipeline._built import rows_told
from beadwright.pipeline._document import BOUNDS
from beadwright.pipeline._rest import join_told

if TYPE_CHECKING:
    from beadwright.pipeline._advice import Advice
    from beadwright.pipeline._examine import Examination
    from beadwright.pipeline._result import PlanResult
    from beadwright.pipeline._section import PlaneSection
    from beadwright.report import Exported

# More rows than this make a table that nobody reads; the rest is in the JSON.
MAX_ROWS = 40
# Kinds of wording of one code that are told one by one.
MAX_WORDINGS = 5
# A number in a sentence is taken for the measured one if it is off by no more than this share.
ROUNDED = 0.05
NUMBER = re.compile(r"\d+(?:\.\d+)?(?:e[+-]?\d+)?")
INDEX = re.compile(r"\b(?:layer|face|bead|line|tool)s? \d+(?:(?:,| to| and) \d+)*")
STYLE = {"note": "dim", "warning": "yellow", "error": "red"}


def show_examination(found: Examination) -> None:
    """Print what is in a part: size, faces, findings, printable or not."""
    console, model = Console(stderr=True), found.model
    size = model.box[1] - model.box[0]
    volume = [("volume", f"{model.volume / 1e6:.6g} dm³")] if model.solids else []
    _pairs(
        console,
        [
            ("part", f"{model.file} ({model.schema or 'a shape'}, in {model.unit})"),
            ("solids", ", ".join(f"{s.name or 'without a name'}" for s in model.solids) or "none"),
            ("size", " × ".join(f"{v:.2f}" for v in size) + " mm"),
            *volume,
            ("area", f"{model.area / 1e6:.6g} m²"),
            ("surfaces", ", ".join(f"{count} {kind}" for kind, count in found.kinds().items())),
            ("gaps of the model", f"{model.gap:.3g} mm"),
            ("printable", "yes" if found.printable else "no"),
        ],
    )
    named = [f for f in model.faces if f.name or f.colour]
    rows = named if len(named) > 0 and len(model.faces) > MAX_ROWS else list(model.faces)
    table = Table(box=None, pad_edge=False)
    for title, right in (
        ("face", True),
        ("kind", False),
        ("area mm²", True),
        ("name", False),
        ("colour", False),
    ):
        table.add_column(title, justify="right" if right else "left")
    for face in rows[:MAX_ROWS]:
        table.add_row(str(face.id), face.kind, f"{face.area:.1f}", escape(face.name), face.colour)
    console.print(table)
    if len(rows) < len(model.faces) or len(rows) > MAX_ROWS:
        console.print(f"({len(model.faces)} faces in all; --json lists them)", style="dim")
    _findings(console, found.findings)
    if found.pose is not None:
        _pose(console, found.pose)
    for text in found.advice:
        console.print(f"advice: {text}", markup=False, highlight=False, soft_wrap=True)


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


def _standing(margin: float) -> str:
    """Where the centre of mass lies against what the part stands on."""
    if math.isinf(margin):
        return "over no area to stand on"
    return f"{abs(margin):.1f} mm {'inside' if margin >= 0.0 else 'outside'} the base's hull"


def _pose(console: Console, pose: Advice) -> None:
    """Walls by thickness, and poses side by side."""
    rows = pose.as_dict()["thickness_in_widths"]
    told = ", ".join(
        f"{row['from']:.3g} to {row['to']:.3g}: {row['share']:.1%}"
        if "to" in row
        else f"above: {row['share']:.1%}"
        for row in rows
    )
    x, y, z = pose.centre
    _pairs(
        console,
        [
            ("walls in bead widths", told),
            ("flat base", f"{pose.base_area:.0f} mm²"),
            ("centre of mass", f"{x:.1f}, {y:.1f}, {z:.1f}, {_standing(pose.margin)}"),
        ],
    )
    table = Table(box=None, pad_edge=False)
    for title in ("pose: rotate", "layers", "height mm", "base mm²", "leaning mm²"):
        table.add_column(title, justify="right")
    for each in pose.poses:
        angles = ",".join(f"{angle:g}" for angle in each.rotate)
        table.add_row(
            angles, str(each.layers), f"{each.height:.1f}", f"{each.base_area:.0f}", f"{each.lean_area:.0f}"
        )
    console.print(table)


def show_section(cut: PlaneSection, written: Exported | None) -> None:
    """Print the measures of a section."""
    console = Console(stderr=True)
    pairs = [
        ("part", cut.part),
        ("plane", cut.where()),
        ("loops", f"{cut.loops.n_chains}"),
        ("area", f"{cut.area:.6f} mm²"),
        ("length", f"{cut.length:.6f} mm"),
        ("curves", ", ".join(f"{count} {kind}" for kind, count in cut.kinds().items()) or "none"),
    ]
    if cut.missed is not None:
        low, high = cut.missed
        pairs.append(("the part", f"lies {low:+.3f} to {high:+.3f} mm from the plane"))
    if written is not None:
        pairs.append(("written", f"{written.path}, within {written.bound:.2g} mm"))
    _pairs(console, pairs)


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
    _pairs(console, pairs)
    _findings(console, result.findings)


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


def _pairs(console: Console, pairs: Iterable[tuple[str, str]]) -> None:
    table = Table(box=None, show_header=False, pad_edge=False)
    table.add_column(style="bold")
    table.add_column(overflow="fold")
    for name, text in pairs:
        table.add_row(name, escape(text))
    console.print(table, highlight=False)


def _findings(console: Console, findings: Iterable[Finding]) -> None:
    """One line for each kind of finding and wording, with the first place and the number that it rests on."""
    times_of: Counter[tuple[str, str, str]] = Counter()
    first: dict[tuple[str, str, str], Finding] = {}
    for finding in findings:
        # sentences that differ in their numbers alone are one wording; another wording is told too
        key: tuple[str, str, str] = (finding.level, finding.code, NUMBER.sub("0", finding.text))
        times_of[key] += 1
        first.setdefault(key, finding)
    lines: Counter[tuple[str, str]] = Counter()
    untold: Counter[tuple[str, str]] = Counter()
    order = ("error", "warning", "note")
    for key in sorted(times_of, key=lambda k: order.index(k[0])):
        kind = key[:2]
        lines[kind] += 1
        if lines[kind] > MAX_WORDINGS:
            untold[kind] += times_of[key]
            continue
        _line(console, key[0], f"{first[key].text}{_number(first[key])}", first[key], times_of[key])
    for (level, code), times in untold.items():
        _print(console, level, f"{level} {code}: {times} more in other words; --json lists them")


def _line(console: Console, level: str, text: str, finding: Finding, times: int) -> None:
    """A finding, how often it was found and where first."""
    where = [] if finding.layer is None else [f"layer {finding.layer}"]
    if finding.face is not None:
        where.append(f"face {finding.face}")
    if finding.at_mm is not None and all(map(math.isfinite, finding.at_mm)):
        where.append("at " + ", ".join(f"{v:.2f}" for v in finding.at_mm))
    told = [", ".join(where)] if where else []
    if times > 1:
        told = [f"{times} times", *(f"first {place}" for place in told)]
    tail = f" ({', '.join(told)})" if told else ""
    _print(console, level, f"{level} {finding.code}: {text}{tail}")


def _print(console: Console, level: str, text: str) -> None:
    console.print(text, style=STYLE[level], markup=False, highlight=False, soft_wrap=True)


def _number(finding: Finding) -> str:
    """What was measured, and what is allowed, where the sentence does not hold the numbers itself."""
    pairs = (("measured", finding.measured), ("allowed", finding.allowed))
    finite = [(name, value) for name, value in pairs if value is not None and math.isfinite(value)]
    untold = [(name, value) for name, value in finite if not _holds(finding.text, value)]
    if not untold or untold == [("allowed", 0.0)]:  # that none of it is wanted goes without saying
        return ""
    told = ", ".join(f"{name} {value:{'.4g' if abs(value) < 1e4 else '.0f'}}" for name, value in untold)
    return f"; {told} {finding.unit}".rstrip()


def _holds(text: str, value: float) -> bool:
    """Whether a sentence tells a number to three digits or as many decimals as it shows; an index is no measure."""
    for shown in NUMBER.findall(INDEX.sub("", text)):
        decimals = len(shown.partition(".")[2])
        off = abs(float(shown) - abs(value))
        if off <= 0.5 * 10.0**-decimals * (1.0 + math.ulp(1.0)) and off <= ROUNDED * abs(value):
            return True
    return False
