"""Short tables for the terminal, on standard error."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from beadwright.numeric import Finding

if TYPE_CHECKING:
    from beadwright.pipeline._advice import Advice
    from beadwright.pipeline._examine import Examination
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
    show_pairs(
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
    show_findings(console, found.findings)
    if found.pose is not None:
        _pose(console, found.pose)
    for text in found.advice:
        console.print(f"advice: {text}", markup=False, highlight=False, soft_wrap=True)


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
    show_pairs(
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
    show_pairs(console, pairs)


def show_pairs(console: Console, pairs: Iterable[tuple[str, str]]) -> None:
    """Print names and what they are."""
    table = Table(box=None, show_header=False, pad_edge=False)
    table.add_column(style="bold")
    table.add_column(overflow="fold")
    for name, text in pairs:
        table.add_row(name, escape(text))
    console.print(table, highlight=False)


def show_findings(console: Console, findings: Iterable[Finding]) -> None:
    """One line for each kind of finding and wording: the worst of them, its number and place, and the first place."""
    alike: dict[tuple[str, str, str], list[Finding]] = {}
    for finding in findings:
        # sentences that differ in their numbers alone are one wording; another wording is told too
        key: tuple[str, str, str] = (finding.level, finding.code, NUMBER.sub("0", finding.text))
        alike.setdefault(key, []).append(finding)
    lines: Counter[tuple[str, str]] = Counter()
    untold: Counter[tuple[str, str]] = Counter()
    order = ("error", "warning", "note")
    for key in sorted(alike, key=lambda k: order.index(k[0])):
        kind = key[:2]
        lines[kind] += 1
        if lines[kind] > MAX_WORDINGS:
            untold[kind] += len(alike[key])
            continue
        _line(console, alike[key])
    for (level, code), times in untold.items():
        _print(console, level, f"{level} {code}: {times} more in other words; --json lists them")


def _line(console: Console, alike: list[Finding]) -> None:
    """The worst of findings of one wording, how many there are, and where it and the first are."""
    first, worst = alike[0], max(alike, key=_badness)  # of equals the first
    named = [("first" if len(alike) > 1 else "", first)]
    if _badness(worst) > _badness(first):
        named.insert(0, ("worst", worst))
    places = [f"{word} {place}".strip() for word, each in named if (place := _place(each))]
    if not places and worst is not first:
        places = ["this is the worst"]
    told = ("; " if len(places) > 1 else ", ").join([f"{len(alike)} times"] * (len(alike) > 1) + places)
    tail = f" ({told})" if told else ""
    _print(console, worst.level, f"{worst.level} {worst.code}: {worst.text}{number_told(worst)}{tail}")


def _badness(finding: Finding) -> float:
    """How far what was measured is from what is allowed; one without a number is no worse than any other."""
    if finding.measured is None or math.isnan(finding.measured):
        return 0.0
    return abs(finding.measured - (finding.allowed or 0.0))


def _place(finding: Finding) -> str:
    """Where a finding is."""
    where = [] if finding.layer is None else [f"layer {finding.layer}"]
    if finding.face is not None:
        where.append(f"face {finding.face}")
    if finding.at_mm is not None and all(map(math.isfinite, finding.at_mm)):
        where.append("at " + ", ".join(f"{v:.2f}" for v in finding.at_mm))
    return ", ".join(where)


def _print(console: Console, level: str, text: str) -> None:
    console.print(text, style=STYLE[level], markup=False, highlight=False, soft_wrap=True)


def _short(value: float) -> str:
    return f"{value:{'.4g' if abs(value) < 1e4 else '.0f'}}"


def number_told(finding: Finding, number: Callable[[float], str] = _short) -> str:
    """What was measured, and what is allowed, where the sentence does not hold the numbers itself.

    Of what should not be there at all it says in words that none is wanted.
    """
    pairs = (("measured", finding.measured), ("allowed", finding.allowed))
    finite = [(name, value) for name, value in pairs if value is not None and math.isfinite(value)]
    untold = [(name, value) for name, value in finite if not _holds(finding.text, value)]
    if not untold or untold == [("allowed", 0.0)]:  # that none of it is wanted goes without saying
        return ""
    none = finding.allowed == 0.0 and finding.measured is not None and finding.measured > 0.0
    shown = ", ".join(
        f"{name} {number(value)}" for name, value in untold if (name, value) != ("allowed", 0.0)
    )
    return f"; {shown} {finding.unit}".rstrip() + (", where none is wanted" if none else "")


def _holds(text: str, value: float) -> bool:
    """Whether a sentence tells a number to three digits or as many decimals as it shows; an index is no measure."""
    for shown in NUMBER.findall(INDEX.sub("", text)):
        decimals = len(shown.partition(".")[2])
        off = abs(float(shown) - abs(value))
        if off <= 0.5 * 10.0**-decimals * (1.0 + math.ulp(1.0)) and off <= ROUNDED * abs(value):
            return True
    return False
