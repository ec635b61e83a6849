"""`coupon`: programs of test pieces, each with the sheet into which its measurements are written."""

from __future__ import annotations

import csv
import hashlib
import io
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from beadwright.beads import Bead
from beadwright.curves import ArcPath, ArcRegion, length
from beadwright.errors import SettingsError
from beadwright.layers import LayerPlan, LayerRegion
from beadwright.pipeline._cards import Cards, cards
from beadwright.pipeline._output import SHEET_OF_A_PIECE, output_folder
from beadwright.pipeline._writing import settle
from beadwright.process import profiles
from beadwright.program import Head, Pass, layer_program
from beadwright.settings import Resolved

Row = tuple[str | float, ...]

# Feeds of a test piece, of the job's feed: wide enough to show a trend, still what a job would use.
FEEDS = (0.5, 0.75, 1.0, 1.25)
FLOWS = (0.8, 0.9, 1.1, 1.2)  # of what the bead's section asks
LENGTH = 300.0  # mm, of straight beads
# Seconds after the extruder's command at which the width is measured: dense where a lag of up to a second bends.
TIMES = (0.15, 0.25, 0.35, 0.5, 0.7, 0.95, 1.3, 1.8)
SPACINGS = (0.80, 0.84, 0.88, 0.92, 0.96, 1.0)  # of the width
LEANS = (10.0, 20.0, 30.0, 40.0, 50.0)  # degrees from the vertical
DIAMETERS = (100.0, 200.0, 400.0)  # mm, outer
LAYERS = 3
LEAN_LAYERS = 10


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Laid:
    """A bead of a test piece, in its layer, at its feed, with what follows it."""

    layer: int
    bead: Bead
    feed: float
    after: Pass | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Piece:
    """A test piece: its beads about the origin, the columns and rows of its sheet, and what to measure."""

    laid: tuple[Laid, ...]
    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    measure: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Coupon:
    """What was written.

    Attributes
    ----------
    kind : str
    files : tuple of Path
    measure : str
        What to measure.
    beads : int
    mass : float
        kg.
    seconds : float
        Along beads at their feed, s.
    """

    kind: str
    files: tuple[Path, ...]
    measure: str
    beads: int
    mass: float
    seconds: float

    def as_dict(self) -> dict[str, object]:
        """By key with unit."""
        return {
            "kind": self.kind,
            "files": [str(file) for file in self.files],
            "measure": self.measure,
            "beads": self.beads,
            "mass_kg": self.mass,
            "along_beads_s": self.seconds,
        }


def coupon(kind: str, out: str | Path, *, resolved: Resolved) -> Coupon:
    """Write the program of a test piece and the sheet for its measurements.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    out : str or Path
        New folder: program.nc and measured.csv; `screw` has no program, its purges are made by hand.
    resolved : Resolved
        Width, height, feed, place and machine.

    Raises
    ------
    SettingsError
        There is no such kind.
    OutputError
        The folder is there and not empty, or cannot be written.
    """
    if kind not in KINDS:
        raise SettingsError(f"{kind}: there is no such test piece; allowed {', '.join(KINDS)}")
    resolved, writing = settle(resolved)
    card = cards(resolved)
    piece = KINDS[kind](card, resolved)
    sheet = io.StringIO()
    table = csv.writer(sheet, lineterminator="\n")
    table.writerow(("coupon", *piece.columns))
    table.writerows((kind, *row) for row in piece.rows)
    files = {SHEET_OF_A_PIECE: sheet.getvalue()}
    if piece.laid:
        regions = [_region(resolved, index) for index in range(1 + max(each.layer for each in piece.laid))]
        texts, beads, advance = [], 0, 0.0
        for region in regions:
            own = [each for each in piece.laid if each.layer == region.plan.index]
            program = layer_program(
                region,
                [each.bead for each in own],
                first_bead=beads,
                clearance=card.clearance,
                feed=card.feed,
                passes=[each.after for each in own],
                feeds=[each.feed for each in own],
                rpm=writing.rpm([each.feed for each in own], [_area(card, each) for each in own]),
            )
            text = writing.layer(program, advance)
            advance = text.advance
            beads += program.n_beads
            texts.append(text)
        told = f"beadwright coupon {kind} {resolved.as_dict()}"
        head = Head(
            part=f"coupon-{kind}",
            part_sha256=hashlib.sha256(told.encode()).hexdigest(),
            contours=0,
            notes=(f"TEST PIECE {kind}. {piece.measure}",),
        )
        files["program.nc"] = writing.program(head, texts).whole()
    with output_folder(out, overwrite=False) as output:
        for name, content in files.items():
            output.write(name, content)
    lengths = [length(each.bead.path) for each in piece.laid]
    return Coupon(
        kind=kind,
        files=tuple(Path(out) / name for name in sorted(files)),
        measure=piece.measure,
        beads=len(piece.laid),
        mass=card.density
        * math.fsum(_area(card, each) * run for run, each in zip(lengths, piece.laid, strict=True)),
        seconds=math.fsum(run / each.feed for run, each in zip(lengths, piece.laid, strict=True)),
    )


def _area(card: Cards, laid: Laid) -> float:
    """Of a bead's section, mm2."""
    return card.section(laid.bead.width, laid.bead.height).area


def _region(resolved: Resolved, index: int) -> LayerRegion:
    """An empty region for a layer of a test piece, which has no solid."""
    h = resolved.settings.height
    plan = LayerPlan(
        index=index, z0=index * h, z=(index + 1) * h, height=h, section_z=((index + 0.5) * h,), rule="neutral"
    )
    return LayerRegion(
        plan=plan,
        section_z=plan.section_z,
        region=ArcRegion(loops=(), supports=np.zeros((0, 4))),
        area=0.0,
        perimeter=0.0,
        n_loops=0,
        n_holes=0,
    )


def _path(points: list[tuple[float, float]], *, bulge: float = 0.0, closed: bool = False) -> ArcPath:
    moves = len(points) if closed else len(points) - 1
    none = np.full(moves, -1, np.int32)
    return ArcPath(
        points=np.array(points, float), bulge=np.full(moves, bulge), face=none, support=none, closed=closed
    )


def _bead(resolved: Resolved, path: ArcPath, number: int) -> Bead:
    """A bead of the job's section, moved to the job's place."""
    settings = resolved.settings
    moved = ArcPath(
        points=path.points + np.array(settings.at),
        bulge=path.bulge,
        face=path.face,
        support=path.support,
        closed=path.closed,
    )
    return Bead(
        path=moved,
        role="wall",
        rank=1,
        loop=number,
        hole=False,
        offset=0.0,
        width=settings.width,
        height=settings.height,
    )


def _line(resolved: Resolved, number: int, y: float, run: float = LENGTH) -> Bead:
    return _bead(resolved, _path([(-run / 2, y), (run / 2, y)]), number)


def _rows_of_beads(count: int, pitch: float) -> list[float]:
    """Places of `count` parallel beads about 0."""
    return [(i - (count - 1) / 2) * pitch for i in range(count)]


def _width(card: Cards, resolved: Resolved) -> Piece:
    """Straight beads: each feed at the flow that the bead asks, then one feed at other flows, if they are commanded."""
    settings = resolved.settings
    places = _rows_of_beads(len(FEEDS) + len(FLOWS), 5 * settings.width)
    # So much wider is a bead that gets its own flow twice: its area over its height, for either section.
    twice = card.section(settings.width, settings.height).area / settings.height
    widths = [settings.width] * len(places)
    feeds = [card.feed * share for share in FEEDS] * 2
    measure = "Measure the width of each bead at its middle, mm."
    if resolved.machine.extruder.flow_control == "speed-tied":
        measure += (
            " For more screw speeds set the drive's ratio by hand, lay the piece again and add its rows; flow is that"
            " ratio to the usual one."
        )
    else:
        feeds[len(FEEDS) :] = [card.feed] * len(FLOWS)
        # No bead is narrower than it is high.
        widths[len(FEEDS) :] = [max(settings.width + (flow - 1) * twice, settings.height) for flow in FLOWS]
        measure += " flow is the share of a whole bead's flow that the program commands."
    return Piece(
        laid=tuple(
            Laid(layer=0, bead=replace(_line(resolved, i, y), width=width), feed=feed)
            for i, (y, feed, width) in enumerate(zip(places, feeds, widths, strict=True))
        ),
        columns=("bead", "feed_mm_s", "flow", "width_mm"),
        rows=tuple(
            (i, feed, round(1 + (width - settings.width) / twice, 4), "")
            for i, (feed, width) in enumerate(zip(feeds, widths, strict=True))
        ),
        measure=measure,
    )


def _lag(card: Cards, resolved: Resolved) -> Piece:
    """Straight beads with a run-off straight on: how they fill up and how they run out."""
    places = _rows_of_beads(len(FEEDS), 5 * resolved.settings.width)
    laid, rows = [], []
    for i, (y, share) in enumerate(zip(places, FEEDS, strict=True)):
        feed = card.feed * share
        run = feed * (max(TIMES) + 2.0)
        bead = _line(resolved, i, y, run)
        x, level = bead.end
        on = _path([(x, level), (x + run, level)])
        laid.append(Laid(layer=0, bead=bead, feed=feed, after=Pass(role="departure", path=on)))
        (motion,) = profiles([on], [feed], card.limits)
        for command in ("start", "stop"):
            for time in TIMES:
                # Where the nozzle is so long after it began to move: on the ramp the bead is too full to tell.
                distance = round(float(motion.place(time)[0]), 1)
                if distance > 1.5 * feed * feed / (2 * card.limits.acceleration):
                    rows.append((i, command, feed, distance, time, "", ""))
    return Piece(
        laid=tuple(laid),
        columns=("bead", "command", "feed_mm_s", "distance_mm", "time_s", "width_mm", "full_width_mm"),
        rows=tuple(rows),
        measure="At each distance from where the nozzle began to move, and from the end point for stop, measure the"
        " width, 0 where nothing lies, and the full width of that bead at its middle, mm. If the axes stand for the"
        " extruder's words, add that time to time_s.",
    )


def _overlap(card: Cards, resolved: Resolved) -> Piece:
    """Blocks of five parallel beads, each block with its own spacing."""
    w, h = resolved.settings.width, resolved.settings.height
    laid, number = [], 0
    centres = _rows_of_beads(len(SPACINGS), 8 * w)
    for layer in range(LAYERS):
        for centre, share in zip(centres, SPACINGS, strict=True):
            for y in _rows_of_beads(5, share * w):
                laid.append(
                    Laid(layer=layer, bead=_line(resolved, number, centre + y, LENGTH / 2), feed=card.feed)
                )
                number += 1
    return Piece(
        laid=tuple(laid),
        columns=("block", "spacing_mm", "layers", "layer_height_mm", "height_mm"),
        rows=tuple((i, round(share * w, 6), LAYERS, h, "") for i, share in enumerate(SPACINGS)),
        measure="Measure the height of each block at its middle, mm; saw one through to see the voids.",
    )


def _corner(card: Cards, resolved: Resolved) -> Piece:
    """Squares, each at its own feed."""
    side = 120.0
    centres = _rows_of_beads(len(FEEDS), side + 40)
    laid, rows = [], []
    for i, (x, share) in enumerate(zip(centres, FEEDS, strict=True)):
        feed, s = card.feed * share, side / 2
        square = _path([(x, -s), (x + s, -s), (x + s, s), (x - s, s), (x - s, -s)], closed=True)
        laid += [Laid(layer=n, bead=_bead(resolved, square, i), feed=feed) for n in range(LAYERS)]
        rows += [(i, corner, feed, "") for corner in range(1, 5)]
    return Piece(
        laid=tuple(laid),
        columns=("square", "corner", "feed_mm_s", "cut_mm"),
        rows=tuple(rows),
        measure="At each corner measure by how much the bead's centreline misses the drawn corner, mm.",
    )


def _lean(card: Cards, resolved: Resolved) -> Piece:
    """Straight walls of one bead, each leaning by its own angle."""
    h, w = resolved.settings.height, resolved.settings.width
    reach = LEAN_LAYERS * h * math.tan(math.radians(LEANS[-1])) + 4 * w
    places = _rows_of_beads(len(LEANS), reach)
    laid = [
        Laid(
            layer=layer,
            bead=_line(resolved, i, y + layer * h * math.tan(math.radians(lean)), LENGTH / 2),
            feed=card.feed,
        )
        for layer in range(LEAN_LAYERS)
        for i, (y, lean) in enumerate(zip(places, LEANS, strict=True))
    ]
    return Piece(
        laid=tuple(laid),
        columns=("wall", "lean_deg", "good"),
        rows=tuple((i, lean, "") for i, lean in enumerate(LEANS)),
        measure="Judge each wall: good is 1 where no bead slid or sagged, else 0.",
    )


def _circle(card: Cards, resolved: Resolved) -> Piece:
    """Concentric rings of one bead, three layers high."""
    w = resolved.settings.width
    laid = []
    for layer in range(LAYERS):
        for i, outer in enumerate(DIAMETERS):
            r = (outer - w) / 2
            if r <= w / 2:
                raise SettingsError(f"circle: a bead {w:g} mm wide is too wide for a ring of {outer:g} mm")
            ring = _path([(r, 0.0), (-r, 0.0)], bulge=1.0, closed=True)
            laid.append(Laid(layer=layer, bead=_bead(resolved, ring, i), feed=card.feed))
    return Piece(
        laid=tuple(laid),
        columns=("ring", "axis", "drawn_mm", "measured_mm"),
        rows=tuple((i, axis, outer, "") for i, outer in enumerate(DIAMETERS) for axis in "XY"),
        measure="When cold, measure the outer diameter of each ring along X and along Y, mm.",
    )


def _screw(_card: Cards, resolved: Resolved) -> Piece:
    """A sheet for weighed purges."""
    low, high = resolved.machine.extruder.least_rpm, resolved.machine.extruder.greatest_rpm
    speeds = np.linspace(low + 0.15 * (high - low), low + 0.85 * (high - low), 4)
    return Piece(
        laid=(),
        columns=("rpm", "seconds", "mass_g"),
        rows=tuple((round(float(rpm)), "", "") for rpm in np.repeat(speeds, 2)),
        measure="At temperature, with the working nozzle, purge for about a minute at each screw speed off the part and"
        " weigh what came out when it is cold: seconds and g. Purge is hot and may spit: shield, gloves, distance.",
    )


KINDS: dict[str, Callable[[Cards, Resolved], Piece]] = {
    "screw": _screw,
    "width": _width,
    "lag": _lag,
    "overlap": _overlap,
    "corner": _corner,
    "lean": _lean,
    "circle": _circle,
}
"""Test pieces by name."""
