"""A verification on the terminal."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from beadwright.numeric import counted
from beadwright.pipeline._tables import number_told
from beadwright.process import clock_text

if TYPE_CHECKING:
    from beadwright.verify import Noted, Verification

STYLE = {"note": "dim", "warning": "yellow", "error": "red"}


def show_verification(found: Verification, sheet: Path | None = None) -> None:
    """Print what a verification found, on standard error."""
    console = Console(stderr=True)
    table = Table(box=None, show_header=False, pad_edge=False)
    table.add_column(style="dim")
    table.add_column()
    for name, value in [*_rows(found), *([("sheet", str(sheet))] if sheet else [])]:
        table.add_row(name, value)
    console.print(table)
    for noted in found.findings:
        console.print(escape(_sentence(noted)), style=STYLE[noted.finding.level], soft_wrap=True)
    more = sum(found.counts.values()) - len(found.findings)
    if more > 0:
        console.print(f"and {more} more of the same kinds", style="dim")
    console.print("all holds" if found.ok else "does not hold", style="green" if found.ok else "red")


def _signed(value: float, digits: int) -> str:
    """A number with its sign, and no sign where the digits shown are all 0."""
    shown = round(value, digits)
    return f"{shown:+.{digits}f}" if shown else f"{0.0:.{digits}f}"


def _rows(found: Verification) -> list[tuple[str, str]]:
    run, profile = found.run, found.profile
    rows = [
        ("part", f"{found.part}, placed as the {found.placement_from} says"),
        ("layers", f"{len(found.checked)} of {found.layers} measured against the CAD kernel's section"),
        ("beads", f"{found.beads}, {run.bead_mm / 1000:.3f} m, from {'comments' if found.told else 'moves'}"),
    ]
    if found.one_sided:
        rows.append(("", f"{len(found.one_sided)} of them on the side that their rule guarantees"))
    if found.on_map is not None:
        off = f"moves within {found.on_map.greatest:.4f} mm of the map, {found.on_map.allowed:.4f} allowed"
        rows.append(("on the platform", f"{counted(found.on_map.layers, 'layer')}, {off}"))
    if found.width is not None:
        rows.append(("bead width", f"{found.width:.4g} mm"))
    if profile is not None:
        accuracy = max(layer.accuracy for layer in found.checked)
        text = f"greatest {_signed(profile.greatest, 4)}, mean {_signed(profile.mean, 5)}"
        text += f", 95 % within {profile.p95:.4f} mm"
        rows.append(("profile of a line", f"{text} (section good to {accuracy:.1g})"))
    regions = [layer for layer in found.checked if layer.region_mm2]
    total = sum(layer.region_mm2 or 0.0 for layer in regions)
    if total:
        for name, value in (
            ("not covered", sum(layer.underfilled_mm2 or 0.0 for layer in regions)),
            ("covered twice", sum(layer.doubled_mm2 or 0.0 for layer in regions)),
            ("without support", sum(layer.unsupported_mm2 or 0.0 for layer in regions)),
        ):
            why = _unfilled(found) if name == "not covered" and value else ""
            rows.append((name, f"{100 * value / total:.2f} % of the sections measured{why}"))
    waits = f", {clock_text(run.dwell_s)} of it waits" if run.dwell_s else ""
    time = f"{clock_text(run.feed_s + run.dwell_s + (run.traverse_s or 0.0))} by length and feed{waits}"
    rows.append(("time", time + ("" if run.traverse_s is not None else ", without traverses")))
    if run.volume_mm3 is not None:
        mass = "" if run.mass_g is None else f", {run.mass_g / 1000:.4g} kg"
        purge = "" if run.purge_mm3 is None else f"; {run.purge_mm3 / 1e6:.5g} dm³ purged"
        rows.append(("material", f"{run.volume_mm3 / 1e6:.5g} dm³{mass}{purge}"))
    return rows


def _unfilled(found: Verification) -> str:
    """What to say of an area that is open because the program's own settings asked for contour beads alone."""
    return " (no fill was asked)" if found.reading.told.settings.get("fill.kind") == "none" else ""


def _sentence(noted: Noted) -> str:
    """One finding as a line of text."""
    finding = noted.finding
    line = f"line {noted.line}: " if noted.line is not None else ""
    layer = f"layer {finding.layer}, " if finding.layer is not None else ""
    text = f"{noted.number}. {line}{layer}{finding.text}"
    if finding.at_mm is not None:
        text += " at " + ", ".join(f"{v:.3f}" for v in finding.at_mm)
    if finding.measured is not None and finding.allowed:
        # a sentence rounds; against a limit all digits count
        return (
            f"{text}; measured {finding.measured:.6g}, allowed {finding.allowed:.6g} {finding.unit}".rstrip()
        )
    return text + number_told(finding, lambda value: f"{value:.6g}")
