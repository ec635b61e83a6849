"""Moves of a program's text for pictures and tables, layer by layer: quick, and trusting where `verify` is not.

It reads the words that `post` writes. What a program is worth is for `verify` to say.
"""

from __future__ import annotations

import math
import re
import urllib.parse
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

TRAVERSE = "traverse"
"""Role of all moves that stand in no bead."""
INCH = 25.4
PIECE = 1 << 20
"""Characters of a text that are cut into lines at once."""

_MOVE = re.compile(
    r"G([0-3])(?: X(\S+))?(?: Y(\S+))?(?: Z(\S+))?(?: I(\S+) J(\S+))?(?: [ABC]\S+)?(?: F(\S+))?"
).fullmatch
_WORD = re.compile(r"([A-Z])([-+]?[\d.]+)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """Moves one after another that belong together: those of a bead at one feed, or of the way between beads.

    Attributes
    ----------
    first : int
        Row of its first move.
    line : int
        Line of the text where it opens, counted from 1.
    bead : int
        Index of the bead, -1 for a traverse.
    role : str
    rank : int
    hole : bool
    width, height, offset : float
        mm; nan where they are not told.
    feed : float
        mm/s; nan for a traverse.
    x, y : float
        Where it begins, mm.
    """

    first: int
    line: int
    x: float
    y: float
    bead: int = -1
    role: str = TRAVERSE
    rank: int = 0
    hole: bool = False
    width: float = math.nan
    height: float = math.nan
    offset: float = math.nan
    feed: float = math.nan


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LayerMoves:
    """All moves of one layer that go somewhere in x and y, or climb within a bead.

    Attributes
    ----------
    told : dict
        Words of its opening comment.
    x, y, z : (n,) float
        Ends, mm.
    bulge : (n,) float
        tan(sweep / 4), 0 for a straight move.
    line : (n,) int64
        Of the text, counted from 1.
    runs : tuple of Run
    """

    told: dict[str, str]
    x: Floats
    y: Floats
    z: Floats
    bulge: Floats
    line: Ints
    runs: tuple[Run, ...]

    @property
    def starts(self) -> Floats:
        """Where each move begins, (n, 2), mm."""
        ends = np.column_stack([self.x, self.y])
        starts = np.vstack([ends[:1], ends[:-1]])
        for run in self.runs:
            if run.first < len(starts):
                starts[run.first] = run.x, run.y
        return starts


@dataclass(slots=True, eq=False)
class _Layer:
    """A layer while it is read."""

    told: dict[str, str] = field(default_factory=dict)
    rows: list[tuple[float, float, float, float, float, float, int]] = field(default_factory=list)
    runs: list[Run] = field(default_factory=list)

    def freeze(self) -> LayerMoves:
        table = np.array(self.rows, dtype=float).reshape(-1, 7)
        x, y, z, code, i, j, line = (np.ascontiguousarray(column) for column in table.T)
        bare = LayerMoves(
            told=self.told,
            x=x,
            y=y,
            z=z,
            bulge=np.zeros(len(x)),
            line=line.astype(np.int64),
            runs=tuple(self.runs),
        )
        arc = code >= 2
        bulge = np.zeros(len(x))
        bulge[arc] = _bulges(
            bare.starts[arc], np.column_stack([x, y])[arc], np.column_stack([i, j])[arc], code[arc]
        )
        return LayerMoves(told=bare.told, x=x, y=y, z=z, bulge=bulge, line=bare.line, runs=bare.runs)


def _bulges(start: Floats, end: Floats, centre: Floats, code: Floats) -> Floats:
    """tan(sweep / 4) of arcs whose centre is told from their start, or their radius, beside nan."""
    centre = centre.copy()
    for row in np.flatnonzero(np.isnan(centre[:, 1])):
        # a radius below 0 means more than half a turn (NISTIR 6556, 3.5.3.1): the centre on the other side
        chord, radius = end[row] - start[row], centre[row, 0]
        half = float(np.hypot(*chord)) / 2
        rise = math.sqrt(max(radius * radius - half * half, 0.0)) / (2 * half) if half else 0.0
        side = 1.0 if (code[row] == 3) == (radius > 0) else -1.0
        centre[row] = chord / 2 + side * rise * np.array([-chord[1], chord[0]])
    first, last = -centre, end - start - centre
    turn = np.arctan2(first[:, 0] * last[:, 1] - first[:, 1] * last[:, 0], (first * last).sum(axis=1))
    ccw = code == 3
    sweep = np.where(ccw, np.mod(turn, 2 * np.pi), -np.mod(-turn, 2 * np.pi))
    return np.asarray(np.tan(sweep / 4))


class ProgramReader:
    """Reads a program in pieces, each a whole number of lines; its layers come out one by one.

    Attributes
    ----------
    head : dict
        Words of the ``(program`` line.
    placement : dict
        Rows of the ``(placement`` lines and the words of ``(contraction``.
    line : int
        Lines read so far.
    moves : int
        Moves with the extruder on, read so far.
    """

    def __init__(self) -> None:
        self.head: dict[str, str] = {}
        self.placement: dict[str, dict[str, str]] = {}
        self.line = 0
        self.moves = 0
        self._unit = 1.0
        self._relative = False
        self._at = [math.nan, math.nan, math.nan]
        self._feed = math.nan
        self._code = 1
        self._layer: _Layer | None = None
        self._bead: dict[str, str] | None = None
        self._bead_line = 0
        self._fresh = True

    def read(self, text: str) -> Iterator[LayerMoves]:
        """Layers that end in this piece."""
        for line in _lines(text):
            self.line += 1
            found = _MOVE(line)
            if found is not None:
                self._move(found.groups())
            elif line.startswith("("):
                done = self._comment(line)
                if done is not None:
                    yield done
            else:
                self._words(line)

    def _move(self, words: tuple[str | None, ...], radius: float = 0.0) -> None:
        code, x, y, z, i, j, feed = words
        at, unit = self._at, self._unit
        self._code = int(code or 1)
        if feed is not None:
            self._set_feed(float(feed))
        if x is None and y is None and (z is None or self._bead is None):
            if z is not None:
                at[2] = float(z) * unit + self._base(2)
            return
        start = at[0], at[1]
        if x is not None:
            at[0] = float(x) * unit + self._base(0)
        if y is not None:
            at[1] = float(y) * unit + self._base(1)
        if z is not None:
            at[2] = float(z) * unit + self._base(2)
        layer = self._layer
        if layer is None:
            return
        if self._fresh:
            layer.runs.append(self._run(len(layer.rows), start))
            self._fresh = False
        self.moves += self._bead is not None
        centre = (0.0, 0.0)
        if radius:
            centre = radius * unit, math.nan
        elif i is not None or j is not None:
            centre = float(i or 0) * unit, float(j or 0) * unit
        if centre != (0.0, 0.0) and start == (at[0], at[1]):
            # a whole turn: two halves, since one arc of that kind has no bulge
            layer.rows.append(
                (start[0] + 2 * centre[0], start[1] + 2 * centre[1], at[2], self._code, *centre, self.line)
            )
            centre = -centre[0], -centre[1]
        layer.rows.append((at[0], at[1], at[2], self._code, *centre, self.line))

    def _base(self, axis: int) -> float:
        """What an axis word counts from, mm."""
        return self._at[axis] if self._relative and math.isfinite(self._at[axis]) else 0.0

    def _run(self, first: int, start: tuple[float, float]) -> Run:
        """A run that begins where the machine stands."""
        # the program's first move comes from an unknown place: it is shown from its own end
        x, y = self._at[:2] if any(map(math.isnan, start)) else start
        told = self._bead
        if told is None:
            return Run(first=first, line=self.line, x=x, y=y)
        width, height, offset = (float(told.get(name, "nan")) for name in ("width", "height", "offset"))
        return Run(
            first=first,
            line=self._bead_line,
            x=x,
            y=y,
            bead=int(told.get("index", -1)),
            role=told.get("role", "contour"),
            rank=int(told.get("rank", 0)),
            hole=told.get("hole") == "1",
            width=width,
            height=height,
            offset=offset,
            feed=self._feed,
        )

    def _set_feed(self, value: float) -> None:
        feed = value * self._unit / 60
        if feed != self._feed:
            self._fresh = True
        self._feed = feed

    def _comment(self, line: str) -> LayerMoves | None:
        name, _, rest = line[1:-1].partition(" ")
        if name == "bead":
            self._bead, self._bead_line = _told(rest), self.line
            self._fresh = True
        elif name == "width" and self._bead is not None:
            self._bead = {**self._bead, "width": _told(rest).get("mm", "nan")}
            self._fresh = True
        elif line == "(end bead)":
            self._bead = None
            self._fresh = True
        elif name == "layer":
            self._layer, self._fresh = _Layer(told=_told(rest)), True
        elif line == "(end layer)" and self._layer is not None:
            layer, self._layer = self._layer, None
            return layer.freeze()
        elif name == "program":
            self.head = _told(rest)
        elif name in {"placement", "contraction"}:
            told = _told(rest)
            self.placement[told.get("row", name)] = told
        return None

    def _words(self, line: str) -> None:
        """A line that is no plain move."""
        if "(" in line:
            line = re.sub(r"\([^)]*\)", "", line)
        motion: dict[str, str] = {}
        for letter, number in _WORD.findall(line):
            if letter == "F":
                self._set_feed(float(number))
            elif letter == "G" and number in {"20", "21"}:
                self._unit = INCH if number == "20" else 1.0
            elif letter == "G" and number in {"90", "91"}:
                self._relative = number == "91"
            elif letter == "G" and number.lstrip("0") in {"", "1", "2", "3"}:
                self._code = int(number)
            elif letter in "XYZIJR":
                motion[letter] = number
        if motion:
            self._move(
                (str(self._code), *(motion.get(letter) for letter in "XYZIJ"), None),
                float(motion.get("R", "0")),
            )

    def matrix(self) -> Floats | None:
        """From the part as read to the machine, contraction included, (3, 4); None if it is not told."""
        rows = [self.placement.get(r, {}).get("m", "").split(",") for r in "012"]
        if any(len(row) != 4 for row in rows):
            return None
        matrix = np.array(rows, dtype=float)
        told = self.placement.get("contraction", {})
        factors = np.array([float(told.get(axis, "1")) for axis in "xyz"])
        at = np.array([float(v) for v in told.get("at", "0,0,0").split(",")])
        matrix[:, 3] = at + factors * (matrix[:, 3] - at)
        matrix[:, :3] *= factors[:, None]
        return matrix


def _told(words: str) -> dict[str, str]:
    """Keys and values of a structured comment."""
    pairs = (word.partition("=") for word in words.split())
    return {key: urllib.parse.unquote(value) for key, sign, value in pairs if sign}


def _lines(text: str) -> Iterator[str]:
    """Lines of a text without their ends, some at a time: all of a tall part's would take four times its room."""
    first = 0
    while first < len(text):
        last = text.find("\n", first + PIECE) + 1 or len(text)
        yield from text[first:last].removesuffix("\n").split("\n")
        first = last


def read_moves(pieces: Sequence[str]) -> tuple[ProgramReader, tuple[LayerMoves, ...]]:
    r"""All layers of a program.

    Parameters
    ----------
    pieces : sequence of str
        Its text, cut at ends of lines.

    Examples
    --------
    >>> bead = "(bead index=0 role=wall)\nF600\nG1 X30 Y0\n(end bead)\n"
    >>> reader, (layer,) = read_moves(["G21\n(layer index=0 z=4.0)\nG0 X0 Y0\n", bead, "(end layer)\n"])
    >>> [(run.role, run.feed) for run in layer.runs], layer.x.tolist()
    ([('traverse', nan), ('wall', 10.0)], [0.0, 30.0])
    """
    reader = ProgramReader()
    return reader, tuple(layer for piece in pieces for layer in reader.read(piece))
