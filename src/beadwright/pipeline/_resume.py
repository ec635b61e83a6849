"""A print that stopped within a layer: which bead it stopped in, and what of the layer is left."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from beadwright.beads import Bead
from beadwright.curves import ArcPath, cut_at, length, lengths
from beadwright.errors import SettingsError
from beadwright.layers import LayerPlan
from beadwright.numeric import Finding
from beadwright.pipeline._axis_left import axis_left, axis_notes
from beadwright.pipeline._build import LayerBuild

# A rest of a bead shorter than this is nothing that a gantry can lay, and as much of its start is not cut off, mm.
LEAST = 0.1
# The old program's bead begins where the new one has it within this, mm: far above the rounding of any program.
SAME = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Resume:
    """Where a print is taken up within a layer; its heights stay as planned.

    Attributes
    ----------
    layer : int
        Layer in which the old program stopped.
    bead : int
        Bead of the old program that is taken up.
    after : float
        So much of it is laid, mm.
    at : (float, float, float)
        Where that is, mm.
    start : (float, float)
        Where the bead begins, mm.
    old_line : int
        Last line of the old program that belongs to what is printed.
    height : float
        Top of the layers below, as planned, mm.
    layers_before : int
        Layers that the old plan still had, this one among them.
    old_sha256 : str
        Of the old plan.json.
    axis : float or None
        Where the old program left the extruder axis there, in its unit; None without one.
    """

    layer: int
    bead: int
    after: float
    at: tuple[float, float, float]
    start: tuple[float, float]
    old_line: int
    height: float
    layers_before: int
    old_sha256: str
    axis: float | None = None

    def left(
        self, beads: Sequence[Bead], build: LayerBuild, first: int
    ) -> tuple[tuple[Bead, ...], int, tuple[ArcPath, ...]]:
        """What of the layer is left, the index of its first bead, and contour beads that are laid already.

        Parameters
        ----------
        beads : sequence of Bead
            Of the whole layer in their order.
        build : LayerBuild
            What the whole layer takes.
        first : int
            Index of its first mark in the old program.

        Raises
        ------
        SettingsError
            The bead is not where the old program has it.
        """
        leads = [lead is not None for lead in build.leads]
        marks = [1 + lead + (after is not None) for lead, after in zip(leads, build.passes, strict=True)]
        begins = np.cumsum([first + build.purges, *marks])[: len(beads)]
        indices = (begins + leads).tolist()
        if self.bead not in indices:
            raise SettingsError(
                f"from-bead: bead {self.bead} is none that can be taken up in layer {self.layer}"
            )
        row = indices.index(self.bead)
        bead = beads[row]
        if np.hypot(bead.start[0] - self.start[0], bead.start[1] - self.start[1]) > SAME:
            raise SettingsError(
                f"from-bead: planned anew, bead {self.bead} begins at X {bead.start[0]:.3f} Y {bead.start[1]:.3f}"
                f" mm, in the old program at X {self.start[0]:.3f} Y {self.start[1]:.3f}: the plan and its program are"
                " not of one run; take up the print at a layer instead, with --from-layer and --height"
            )
        begin = int(begins[row])
        done: list[ArcPath] = [each.path for each in beads[:row] if each.role == "contour"]
        whole = length(bead.path)
        if whole - self.after < LEAST:
            return tuple(beads[row + 1 :]), self.bead + 1, (*done, *self._contour(bead, bead.path))
        if self.after < LEAST:
            return tuple(beads[row:]), begin, tuple(done)
        laid, rest = cut_at(bead.path, self.after)
        return (
            (_part_of(bead, rest), *beads[row + 1 :]),
            begin,
            (*done, *self._contour(bead, laid)),
        )

    @staticmethod
    def _contour(bead: Bead, path: ArcPath) -> tuple[ArcPath, ...]:
        return (path,) if bead.role == "contour" else ()

    def notes(self) -> tuple[str, ...]:
        """What stands at the top of the program."""
        x, y, z = self.at
        return (
            f"REST OF A PRINT: takes up layer {self.layer} in bead {self.bead}, {self.after:.3f} mm after its start, at"
            f" X {x:.3f} Y {y:.3f} Z {z:.3f} mm. Look that the old bead ends there and that nothing stands higher.",
            *axis_notes(self.axis),
        )

    def findings(self) -> tuple[Finding, ...]:
        """What a reader should know of the join."""
        return (
            Finding(
                code="cold-joint",
                level="note",
                layer=self.layer,
                at_mm=self.at,
                text="from here on this layer is laid beside and upon beads that have cooled down, so the joint is weak"
                " whatever is done: record the place, warm it if you can, purge and wipe before the start",
            ),
        )

    def as_dict(self, plans: Sequence[LayerPlan]) -> dict[str, Any]:
        """The join as plan.json tells it."""
        return {
            "layer": self.layer,
            "planned_mm": self.height,
            "measured_mm": self.height,
            "drift_mm": 0.0,
            "layers_before": self.layers_before,
            "layers_now": len(plans),
            "beads_laid": self.bead,
            "bead": self.bead,
            "after_mm": self.after,
            "at_mm": list(self.at),
            "old_plan_sha256": self.old_sha256,
            "old_program_line": self.old_line,
            **({} if self.axis is None else {"axis_at": self.axis}),
        }


def _part_of(bead: Bead, path: ArcPath) -> Bead:
    """A bead along a part of its path; of one whose width varies with the mean of what is left."""
    width = bead.width
    if bead.widths:
        width = float(np.average(np.take(bead.widths, path.support), weights=lengths(path)))
    return replace(bead, path=path, width=width)


def find_place(
    folder: Path,
    document: Mapping[str, Any],
    *,
    bead: int | None,
    after: float,
    line: int | None,
    old_sha256: str,
) -> Resume:
    """The place in an old program where a print stopped.

    Parameters
    ----------
    folder : Path
        Output of the earlier plan.
    document : mapping
        Its plan.json.
    bead : int or None
        Bead that is taken up; or
    line : int or None
        first line of program.nc that was not carried out.
    after : float
        So much of the bead is laid, mm.
    old_sha256 : str
        Of plan.json.

    Raises
    ------
    SettingsError
        There is no such place.
    """
    path = folder / "program.nc"
    try:
        text = path.read_text(encoding="ascii")
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(f"{path} cannot be read: {error}") from error
    from beadwright.verify import FlowWords, read  # loads the CAD kernel, which no worker needs

    head = read(text[: text.find("(layer ")]).told.header
    found = read(text, FlowWords(axis=head.get("axis", "")))
    moves, told = found.moves, found.told
    numbers = [int(each.keys.get("index", "-1")) for each in told.beads]
    laid = [row for row, each in enumerate(told.beads) if (moves.flow & (moves.bead == row)).any()]
    laid = [row for row in laid if told.beads[row].role not in {"approach", "lap"}]
    if line is not None:
        _check_line(path, text, line, moves, laid)
        own = np.flatnonzero(moves.flow & (moves.line >= line) & np.isin(moves.bead, laid))
        if not len(own):
            raise SettingsError(f"at-line: after line {line} of {path} nothing is laid any more")
        row = int(moves.bead[own[0]])
        after = float(moves.length[(moves.bead == row) & moves.flow & (moves.line < line)].sum())
    else:
        if bead not in numbers or numbers.index(bead) not in laid:
            allowed = f"allowed {numbers[laid[0]]} to {numbers[laid[-1]]}"
            raise SettingsError(
                f"from-bead: {path} lays no bead {bead}; {allowed}, run-ins, passes and purges between them left out"
            )
        row = numbers.index(bead)
    own = np.flatnonzero((moves.bead == row) & moves.flow)
    whole = float(moves.length[own].sum())
    if not 0 <= after <= whole:
        raise SettingsError(
            f"after: bead {numbers[row]} is {whole:.3f} mm long, so {after:g} mm of it cannot be laid"
        )
    way = np.cumsum(moves.length[own])
    at = min(int(np.searchsorted(way, after, side="right")), len(own) - 1)
    layer = int(told.layers[told.beads[row].layer].keys["index"])
    rows = {each["index"]: each for each in document["layers"]}
    run = after - float(way[at] - moves.length[own[at]])
    x, y = _place(moves, int(own[at]), run)
    before = int(moves.line[own[at]]) - 1
    return Resume(
        layer=layer,
        bead=numbers[row],
        after=after,
        at=(x, y, float(moves.start[own[at], 2])),
        start=(float(moves.start[own[0], 0]), float(moves.start[own[0], 1])),
        old_line=before,
        height=float(rows[layer]["z0_mm"]),
        layers_before=sum(index >= layer for index in rows),
        old_sha256=old_sha256,
        axis=axis_left(text, before, run / float(moves.length[own[at]])),
    )


def _check_line(path: Path, text: str, line: int, moves: Any, laid: list[int]) -> None:
    """Refuse a line before the first bead: nothing is laid yet, and the program as it is begins there."""
    last = text.count("\n") + (not text.endswith("\n"))
    first = int(moves.line[np.isin(moves.bead, laid) & moves.flow].min(initial=last))
    if line < 1 or line > last:
        raise SettingsError(f"at-line: {path} has the lines 1 to {last}, not {line}")
    if line < first:
        told = text.split("\n")[line - 1].strip()[:60]
        raise SettingsError(
            f"at-line: line {line} of {path}, {told!r}, is before the first bead, whose moves begin in line {first}:"
            " nothing is laid yet; run the program from its start, or name the line at which the machine stopped"
        )


def _place(moves: Any, row: int, run: float) -> tuple[float, float]:
    """Where a move is after a part of its length, mm."""
    share = run / float(moves.length[row])
    start, end, sweep = moves.start[row, :2], moves.end[row, :2], float(moves.sweep[row])
    if sweep == 0.0:
        x, y = start + share * (end - start)
    else:
        centre, turned = moves.centre[row], complex(np.cos(share * sweep), np.sin(share * sweep))
        arm = complex(*(start - centre)) * turned
        x, y = centre[0] + arm.real, centre[1] + arm.imag
    return float(x), float(y)
