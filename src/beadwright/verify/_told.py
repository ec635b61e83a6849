"""What a program says of itself in structured comments: told, not believed."""

from __future__ import annotations

import math
import urllib.parse
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

LAID = frozenset({"contour", "wall", "fill", "rib", "deck", "medial", "base", "fin"})
"""Roles in which every feed move extrudes."""
PASSING = frozenset({"approach", "departure", "lap", "wiping"})
"""Roles that may rise above the layer."""
INSIDE = frozenset({"contour", "fill", "rib", "deck", "medial"})
"""Roles whose centreline stays inside the layer's region."""
HEADS = frozenset(
    {
        "program",
        "placement",
        "contraction",
        "layer",
        "bound",
        "bead",
        "setting",
        "cut_later",
        "bed_map",
        "copy",
        "width",
        "flow",
    }
)


def number(value: str | None) -> float:
    """A float; nan if there is none."""
    try:
        return float(value or "")
    except ValueError:
        return math.nan


def matrix_of(rows: dict[str, list[float]]) -> npt.NDArray[np.float64] | None:
    """Three rows of four finite numbers as a matrix; None if they are not."""
    found = [rows.get(r, []) for r in "012"]
    if any(len(r) != 4 or not np.isfinite(r).all() for r in found):
        return None
    return np.array(found)


@dataclass(slots=True, eq=False)
class ToldBead:
    """A (bead line, and its (width and (flow lines: line, and mm or share of the full flow from there on."""

    line: int
    layer: int
    keys: dict[str, str]
    widths: list[tuple[int, float]] = field(default_factory=list)
    shares: list[tuple[int, float]] = field(default_factory=list)

    @property
    def role(self) -> str:
        """Role, "" if not told."""
        return self.keys.get("role", "")

    def value(self, key: str) -> float:
        """A number of the line, nan if not told."""
        return number(self.keys.get(key))


@dataclass(slots=True, eq=False)
class ToldLayer:
    """A (layer line, its bound and its beads (rows of `Told.beads`)."""

    line: int
    keys: dict[str, str]
    bound: dict[str, str] = field(default_factory=dict)
    beads: list[int] = field(default_factory=list)

    def value(self, key: str) -> float:
        """A number of the line, nan if not told."""
        return number(self.keys.get(key))

    @property
    def cuts(self) -> tuple[float, ...]:
        """Heights of the section planes, mm."""
        return tuple(number(v) for v in self.keys.get("section_z", "").split("+"))


@dataclass(slots=True, eq=False)
class ToldCopy:
    """The (copy lines of one index: its file, and from there to the machine, row by row."""

    part: str = ""
    sha256: str = ""
    rows: dict[str, list[float]] = field(default_factory=dict)


@dataclass(slots=True, eq=False)
class Told:
    """All structured comments, and which of them stand at a wrong place.

    `origins` holds where the program says that each of its `settings` came from, and the standing of a figure.
    """

    header: dict[str, str] = field(default_factory=dict)
    header_line: int | None = None
    rows: dict[str, list[float]] = field(default_factory=dict)
    contraction: dict[str, str] = field(default_factory=dict)
    settings: dict[str, str] = field(default_factory=dict)
    origins: dict[str, tuple[str, str]] = field(default_factory=dict)
    later: dict[str, set[int]] = field(default_factory=dict)
    copies: dict[int, ToldCopy] = field(default_factory=dict)
    bed: list[dict[str, str]] = field(default_factory=list)
    layers: list[ToldLayer] = field(default_factory=list)
    beads: list[ToldBead] = field(default_factory=list)
    misplaced: list[tuple[int, str]] = field(default_factory=list)
    closed: bool = False
    layer: int = -1
    bead: int = -1

    def comment(self, text: str, line: int) -> None:
        """Take in one comment; any that is not structured is left alone."""
        head, *rest = text.split() or [""]
        if head == "end" and rest in (["bead"], ["layer"], ["program"]):
            self._end(rest[0], line)
            return
        if head not in HEADS:
            return
        keys = {k: urllib.parse.unquote(v) for k, _, v in (word.partition("=") for word in rest) if v}
        if not keys:
            return
        if head in {"width", "flow"}:
            if self.bead < 0:
                self.misplaced.append((line, f"({head} stands at a wrong place"))
            elif head == "width":
                self.beads[self.bead].widths.append((line, number(keys.get("mm"))))
            else:
                self.beads[self.bead].shares.append((line, number(keys.get("share"))))
            return
        if self.bead >= 0 or (self.layer < 0) == (head in {"bound", "bead"}):
            self.misplaced.append((line, f"({head} stands at a wrong place"))
        match head:
            case "program":
                self.header, self.header_line = keys, line
            case "placement":
                self.rows[keys.get("row", "")] = [number(v) for v in keys.get("m", "").split(",")]
            case "contraction":
                self.contraction = keys
            case "setting":
                name, value = keys.get("name", ""), keys.get("value", "")
                more = keys.get("part", "0") != "0"
                self.settings[name] = self.settings.get(name, "") + value if more else value
                self.origins[name] = keys.get("from", ""), keys.get("standing", "")
            case "cut_later":
                faces = {int(f) for f in keys.get("faces", "").split(",") if f.isdecimal()}
                self.later.setdefault(keys.get("feature", ""), set()).update(faces)
            case "bed_map":
                self.bed.append(keys)
            case "copy":
                self._copy(keys)
            case "layer":
                self.layers.append(ToldLayer(line, keys))
                self.layer, self.bead = len(self.layers) - 1, -1
            case "bound" if self.layer >= 0:
                self.layers[self.layer].bound = keys
            case "bead" if self.layer >= 0:
                self.beads.append(ToldBead(line, self.layer, keys))
                self.bead = len(self.beads) - 1
                self.layers[self.layer].beads.append(self.bead)
            case _:
                pass

    def _copy(self, keys: dict[str, str]) -> None:
        label = keys.get("index", "")
        copy = self.copies.setdefault(int(label) if label.isdecimal() else -1, ToldCopy())
        if "m" in keys:
            copy.rows[keys.get("row", "")] = [number(v) for v in keys["m"].split(",")]
        else:
            copy.part, copy.sha256 = keys.get("part", ""), keys.get("part_sha256", "")

    def _end(self, what: str, line: int) -> None:
        """An (end ...) closes what it names; nothing else may be open inside."""
        wrong = {
            "bead": self.bead < 0,
            "layer": self.bead >= 0 or self.layer < 0,
            "program": self.layer >= 0,
        }
        if wrong[what]:
            self.misplaced.append((line, f"(end {what}) stands at a wrong place"))
        self.bead = -1
        if what != "bead":
            self.layer = -1
        self.closed = self.closed or what == "program"

    def similarity(self) -> npt.NDArray[np.float64] | None:
        """The placement without the contraction, (3, 4); None if not told in full."""
        matrix = matrix_of(self.rows)
        return np.eye(3, 4) if self.copies and matrix is not None else matrix

    def stretch(self) -> tuple[tuple[float, float, float], tuple[float, float, float]] | None:
        """Factors of the contraction along X, Y, Z and the point that stays, mm; None if they are none."""
        x, y, z = (number(self.contraction.get(axis, "1")) for axis in "xyz")
        at = [number(v) for v in self.contraction.get("at", "0,0,0").split(",")]
        if len(at) != 3 or not np.isfinite([x, y, z, *at]).all() or min(x, y, z) <= 0:
            return None
        return (x, y, z), (at[0], at[1], at[2])

    def placement(self) -> npt.NDArray[np.float64] | None:
        """From the model to the machine, (3, 4), contraction included; None if not told in full.

        The model is the part as read; of several copies all of them where they stand, so that only the contraction
        is left.
        """
        matrix, stretch = self.similarity(), self.stretch()
        if matrix is None or stretch is None:
            return None
        factors, at = np.array(stretch[0]), np.array(stretch[1])
        matrix[:, 3] = at + factors * (matrix[:, 3] - at)
        matrix[:, :3] *= factors[:, None]
        return matrix


def told_head(text: str) -> Told:
    """What stands in a program's structured comments before its first layer."""
    told = Told()
    for place, line in enumerate(text.splitlines(), 1):
        if line.startswith("(layer "):
            break
        if line.startswith("(") and line.endswith(")"):
            told.comment(line[1:-1], place)
    return told
