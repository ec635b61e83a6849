"""What a verification found: numbers, and numbered findings."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from beadwright.numeric import Finding
from beadwright.verify._deposit import Deposit, DepositLayer
from beadwright.verify._reading import Reading

KEEP = 20
"""Findings kept of one code; all are counted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Noted:
    """A finding with its number and its line of the program (counted from 1; None where no line is at fault)."""

    number: int
    line: int | None
    finding: Finding

    def as_dict(self) -> dict[str, Any]:
        """As JSON has it."""
        told: dict[str, Any] = {"number": self.number}
        if self.line is not None:
            told["line"] = self.line
        return {**told, **self.finding.as_dict()}


@dataclass(slots=True)
class Notes:
    """Findings while they come in."""

    rows: list[tuple[int | None, Finding]] = field(default_factory=list)
    counts: Counter[str] = field(default_factory=Counter)

    def add(self, finding: Finding, line: int | None) -> None:
        """Count a finding, and keep it if there are not many of its code yet."""
        self.counts[finding.code] += 1
        if self.counts[finding.code] <= KEEP:
            self.rows.append((line, finding))

    def fault(
        self,
        layer: DepositLayer,
        code: str,
        text: str,
        measured: float | None = None,
        allowed: float | None = None,
        unit: str = "",
        *,
        at: tuple[float, float, float] | None = None,
        face: int | None = None,
        line: int | None = None,
    ) -> None:
        """Add an error in a layer; told at the layer's own line if no line is given."""
        finding = Finding(
            code=code,
            level="error",
            text=text,
            layer=layer.index,
            at_mm=at,
            face=face,
            measured=measured,
            allowed=allowed,
            unit=unit,
        )
        self.add(finding, layer.line if line is None else line)

    def take(self, other: Notes) -> None:
        """All of another collection."""
        for line, finding in other.rows:
            if sum(f.code == finding.code for _, f in self.rows) < KEEP:
                self.rows.append((line, finding))
        self.counts.update(other.counts)

    @property
    def errors(self) -> int:
        """Findings of level error among those kept."""
        return sum(f.level == "error" for _, f in self.rows)

    def numbered(self) -> tuple[Noted, ...]:
        """In the order of the program's lines, those without a line first, numbered from 1."""
        rows = sorted(self.rows, key=lambda row: row[0] or 0)
        return tuple(Noted(number=k, line=line, finding=f) for k, (line, f) in enumerate(rows, 1))


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Signed deviations along some length of boundary.

    Attributes
    ----------
    greatest : float
        The one of greatest size, with its sign: positive where the deposit stands out of the section, mm.
    mean : float
        Weighed by length, with sign, mm.
    p95 : float
        95 % of the length deviates by no more, without sign, mm.
    length : float
        Of the centrelines it was measured on, mm.
    """

    greatest: float
    mean: float
    p95: float
    length: float

    def as_dict(self) -> dict[str, float]:
        """As JSON has it."""
        return {
            "greatest_mm": self.greatest,
            "mean_mm": self.mean,
            "p95_mm": self.p95,
            "length_mm": self.length,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerResult:
    """One measured layer.

    Attributes
    ----------
    index, line : int
    section_z : tuple of float
        Heights of the referee's planes, mm.
    profile : Spread or None
        Profile of a line (ISO 1101) of the contour beads; None without contour beads or without a region.
    allowed : float or None
        Its limit, mm, the referee's accuracy included.
    accuracy : float
        Of the referee's section, mm.
    region_mm2, covered_mm2, underfilled_mm2 : float or None
        Area of the section, of the deposit, and of the section that no bead covers.
    outside_mm2, doubled_mm2 : float or None
        Deposit beyond the section, and covered more than once.
    unsupported_mm2, unsupported_mm : float or None
        Deposit, and length of centreline, with no deposit of the layer below under it.
    """

    index: int
    line: int
    section_z: tuple[float, ...]
    profile: Spread | None = None
    allowed: float | None = None
    accuracy: float = 0.0
    region_mm2: float | None = None
    covered_mm2: float | None = None
    underfilled_mm2: float | None = None
    outside_mm2: float | None = None
    doubled_mm2: float | None = None
    unsupported_mm2: float | None = None
    unsupported_mm: float | None = None

    def as_dict(self) -> dict[str, Any]:
        """As JSON has it, without what was not measured."""
        told = {
            "index": self.index,
            "line": self.line,
            "section_z_mm": list(self.section_z),
            "profile": None if self.profile is None else self.profile.as_dict(),
            "allowed_mm": self.allowed,
            "accuracy_mm": self.accuracy,
            "region_mm2": self.region_mm2,
            "covered_mm2": self.covered_mm2,
            "underfilled_mm2": self.underfilled_mm2,
            "outside_mm2": self.outside_mm2,
            "doubled_mm2": self.doubled_mm2,
            "unsupported_mm2": self.unsupported_mm2,
            "unsupported_mm": self.unsupported_mm,
        }
        return {key: value for key, value in told.items() if value is not None}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outline:
    """Outlines of a measured layer, for a picture: closed rings, material on their left.

    Attributes
    ----------
    section : tuple of (k, 3) float
        Of the referee's section: x, y, and tan(sweep / 4) of the way to the next point, 0 for a chord.
    stock : tuple of (k, 3) float
        Of section and stock together; empty without stock.
    told : str
        What they are, in words.
    """

    section: tuple[npt.NDArray[np.float64], ...]
    stock: tuple[npt.NDArray[np.float64], ...]
    told: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OnMap:
    """Layers that follow a measured platform: how many, and how far their moves are off it and may be, mm."""

    layers: int
    greatest: float
    allowed: float

    def as_dict(self) -> dict[str, Any]:
        """As JSON has it."""
        return {"layers": self.layers, "greatest_mm": self.greatest, "allowed_mm": self.allowed}


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """What the program takes: time, lengths, material.

    Attributes
    ----------
    feed_s, dwell_s : float
        Length by feed, and waits, s; acceleration is not in it.
    traverse_s : float or None
        Of traverses at the speed given.
    bead_mm, feed_mm, traverse_mm : float
        Lengths of moves with flow, of all feed moves, of traverses, mm.
    volume_mm3 : float or None
        Of the beads by their section and length.
    purge_mm3 : float or None
        Of what is purged, likewise; None where nothing is.
    mass_g : float or None
        At the density given.
    lines, arcs : int
        Straight moves and traverses; arcs.
    """

    feed_s: float
    dwell_s: float
    bead_mm: float
    feed_mm: float
    traverse_mm: float
    lines: int
    arcs: int
    traverse_s: float | None = None
    volume_mm3: float | None = None
    purge_mm3: float | None = None
    mass_g: float | None = None

    def as_dict(self) -> dict[str, Any]:
        """As JSON has it, without what is not known."""
        told = {
            "feed_s": self.feed_s,
            "dwell_s": self.dwell_s,
            "traverse_s": self.traverse_s,
            "bead_mm": self.bead_mm,
            "feed_mm": self.feed_mm,
            "traverse_mm": self.traverse_mm,
            "volume_mm3": self.volume_mm3,
            "purge_mm3": self.purge_mm3,
            "mass_g": self.mass_g,
            "moves": {"line": self.lines, "arc": self.arcs},
        }
        return {key: value for key, value in told.items() if value is not None}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Verification:
    """All that a verification found.

    Attributes
    ----------
    part, part_sha256 : str
    told : bool
        Whether layers and beads came from the program's own comments.
    placement_from : str
        ``program``, ``option`` or ``file`` (as the file has it).
    layers, beads : int
        In the program.
    checked : tuple of LayerResult
        Layers that were measured.
    without_answer : tuple of int
        Layers of which the kernel gave no section that closes: not checked.
    one_sided : tuple of int
        Layers whose region is no section (rules outer and inner, stock on leaning walls): judged on the side that the
        rule guarantees, their beads never too far in (outer, stock) or too far out (inner).
    not_judged : tuple of int
        Layers whose contour beads were not judged: they lie beside the part, or the kernel had no section of the slab.
    profile : Spread or None
        Over all measured layers.
    faces : dict of int to Spread
        The same by CAD face.
    width : float or None
        Of the beads of a program without comments, given or inferred.
    run : Run
    on_map : OnMap or None
        Layers that follow a measured platform.
    findings : tuple of Noted
    counts : dict
        Findings by code, also those not kept.
    reading : Reading
        The program as it was read.
    deposit : Deposit
        Its layers and beads.
    outlines : dict of int to Outline
        By layer, of those measured, where they were asked for.
    deviation, deviation_row : (k,) float, (k,) int64
        Samples behind the profile, mm, and the move of each (row of ``reading.moves``; -1: not told).
    """

    part: str
    part_sha256: str
    told: bool
    placement_from: str
    layers: int
    beads: int
    checked: tuple[LayerResult, ...]
    without_answer: tuple[int, ...]
    one_sided: tuple[int, ...]
    not_judged: tuple[int, ...]
    profile: Spread | None
    faces: dict[int, Spread]
    width: float | None
    run: Run
    findings: tuple[Noted, ...]
    counts: dict[str, int]
    reading: Reading
    deposit: Deposit
    outlines: dict[int, Outline]
    deviation: npt.NDArray[np.float64]
    deviation_row: npt.NDArray[np.int64]
    on_map: OnMap | None = None

    @property
    def ok(self) -> bool:
        """Whether all holds: no finding of level error."""
        return not any(noted.finding.level == "error" for noted in self.findings)

    def as_dict(self) -> dict[str, Any]:
        """As JSON has it, without what is not known."""
        told = {
            "format": "beadwright verification 1",
            "ok": self.ok,
            "part": self.part,
            "part_sha256": self.part_sha256,
            "beads_from": "comments" if self.told else "moves",
            "placement_from": self.placement_from,
            "width_mm": self.width,
            "layers": self.layers,
            "beads": self.beads,
            "layers_checked": len(self.checked),
            "layers_without_answer": list(self.without_answer),
            "layers_one_sided": list(self.one_sided),
            "layers_not_judged": list(self.not_judged),
            "profile": None if self.profile is None else self.profile.as_dict(),
            "faces": [{"id": face, **spread.as_dict()} for face, spread in sorted(self.faces.items())],
            "run": self.run.as_dict(),
            "map": None if self.on_map is None else self.on_map.as_dict(),
            "checked": [layer.as_dict() for layer in self.checked],
            "counts": self.counts,
            "findings": [noted.as_dict() for noted in self.findings],
        }
        return {key: value for key, value in told.items() if value is not None}
