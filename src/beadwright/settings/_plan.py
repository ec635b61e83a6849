"""What `plan` can be told, with defaults and ranges."""

from __future__ import annotations

import math
from typing import Annotated, ClassVar, Literal

from pydantic import BeforeValidator, Field, JsonValue

from beadwright.settings._base import Section, suffixed
from beadwright.settings._base_beads import MOST_LAYERS, Pad
from beadwright.settings._bed_map import BedMap
from beadwright.settings._cut import Cut
from beadwright.settings._face_rule import FaceRules
from beadwright.settings._fill import FILL, Fill
from beadwright.settings._heights import Heights
from beadwright.settings._layer_time import LAYER_TIME, LayerTime
from beadwright.settings._options import Wall
from beadwright.settings._parts import MOST_COPIES, Copy, PartFile
from beadwright.settings._plan_rules import PLAN_RULES
from beadwright.settings._quantity import AlsoText, Quantity
from beadwright.settings._release import Release
from beadwright.settings._sequence import SEQUENCE, Sequence
from beadwright.settings._stock import Later, Stock
from beadwright.settings._stop import PlannedStop
from beadwright.settings._widths import WIDTH_ROLES, WIDTHS, WidthRole, Widths

# Contour beads side by side: more than fit into any part of some metres.
MOST_RANKS = 1000


def _numbers(count: int) -> BeforeValidator:
    """Accept ``"1,2,3"`` beside a sequence of numbers."""

    def split(value: object) -> object:
        if not isinstance(value, str):
            return value
        parts = value.split(",")
        if len(parts) != count:
            raise ValueError(f"expected {count} numbers with commas between them")
        return tuple(parts)

    return BeforeValidator(split)


def _span(value: object) -> object:
    """Accept ``"A:B"``, ``"A:"`` and ``":B"`` beside a pair."""
    if not isinstance(value, str):
        return value
    first, colon, last = value.partition(":")
    if not colon:
        raise ValueError("expected A:B, the first layer and the one after the last")
    return (first.strip() or "0", last.strip() or None)


def _count(value: object) -> object:
    """Accept ``"full"`` for as many as fit."""
    return MOST_RANKS if value == "full" else value


def _names(value: object) -> object:
    """Accept ``"a,b"`` beside a sequence of names."""
    return tuple(part.strip() for part in value.split(",")) if isinstance(value, str) else value


SafetyRule = Literal["volume", "keep-out", "speed", "traverse", "temperature", "tamper", "purge"]


def _factors(value: object) -> object:
    """Accept one number for all axes, and ``"1.001,1.002,1.003"``."""
    if isinstance(value, str) and "," in value:
        return tuple(value.split(","))
    return (value,) * 3 if isinstance(value, (str, int, float)) and not isinstance(value, bool) else value


Factor = Annotated[float, Field(ge=0.9, le=1.1)]
Index = Annotated[int, Field(ge=0)]
Angle = Annotated[float, Quantity("angle", -360.0, 360.0)]
Place = Annotated[float, Quantity("length", -100_000.0, 100_000.0)]


def _allowed(text: str) -> dict[str, JsonValue]:
    """What messages say is allowed, where the schema does not say it well."""
    return {"allowed": text}


class PlanSettings(Section):
    """Every setting of `plan`; each default stands here and nowhere else.

    A frozen value. Build it with `resolve`, which tells all faults together.
    """

    tolerance: Annotated[float, Quantity("length", 0.0005, 1.0)] = Field(
        0.010, description="greatest distance of arcs from the curves they stand for, mm"
    )
    width: Annotated[float, Quantity("length", 0.5, 100.0)] = Field(8.4, description="bead width, mm")
    height: Annotated[float, Quantity("length", 0.05, 50.0)] = Field(
        4.0, description="bead and layer height, mm"
    )
    bead_section: Literal["flat", "round"] = Field(
        "flat", description="flat: tamped, spacing = width; round: spacing = area / height"
    )
    spacing: Annotated[float, Quantity("length", 0.1, 100.0)] | None = Field(
        None, description="distance of neighbouring beads, mm; default by the bead section"
    )
    widths: Widths = Field(
        WIDTHS,
        description="widths of beads by role, where they differ from `width`; where contour beads differ among"
        " themselves or from fill, a bead along a wall keeps one width",
    )
    contours: Annotated[int, BeforeValidator(_count)] = Field(
        2,
        ge=1,
        le=MOST_RANKS,
        description="contour beads of each loop, from the outside in; full: all that fit",
        json_schema_extra=_allowed("1 to 1000, or full: all that fit"),
    )
    corner_radius: Annotated[float, Quantity("length", 0.1, 100.0)] | None = Field(
        None,
        description="radius of arcs that round the sharp corners of contour beads, mm; none: they stay sharp",
    )
    bore: Annotated[float, Quantity("length", 0.2, 100.0)] | None = Field(
        None,
        description="bore of the nozzle, mm; default 7.62 for a bead of 8.4, in proportion",
    )
    medial: bool = Field(True, description="walls that one bead can make get one bead along their middle")
    rule: Literal["neutral", "outer", "inner"] = Field(
        "neutral",
        description="what a layer covers; neutral: the section at mid height; outer: all that the part covers"
        " anywhere in the layer; inner: what it covers everywhere in it",
    )
    face_rule: FaceRules = Field(
        (),
        max_length=100,
        description="rules of single faces, the last one of a face wins; faces with stock keep it everywhere in the"
        " layer, whatever their rule",
    )
    decimals: int = Field(4, ge=3, le=8, description="decimals of the coordinates in the program")
    clearance: Annotated[float, Quantity("length", 0.1, 1000.0)] = Field(
        20.0, description="height of traverses above the layer, mm"
    )
    feed: Annotated[float, Quantity("speed", 0.1, 2000.0)] = Field(
        100.0, description="speed along beads, mm/s"
    )
    scale: float = Field(1.0, ge=1e-4, le=1e4, description="factor applied to the part")
    rotate: Annotated[tuple[Angle, Angle, Angle], _numbers(3), AlsoText()] = Field(
        (0.0, 0.0, 0.0),
        description="degrees about X, then Y, then Z",
        json_schema_extra=_allowed("three angles RX,RY,RZ of -360 to 360 degrees"),
    )
    at: Annotated[tuple[Place, Place], _numbers(2), AlsoText()] = Field(
        (0.0, 0.0),
        description="where the middle of the part's box stands on the platform, X,Y, mm",
        json_schema_extra=_allowed("X,Y of -100000 to 100000 mm"),
    )
    copies: int = Field(
        1,
        ge=1,
        le=MOST_COPIES,
        description="how many of the part are printed together, set in rows about `at`",
    )
    gap: Annotated[float, Quantity("length", 0.0, 10_000.0)] = Field(
        50.0, description="least distance of parts that are set in rows, mm"
    )
    contraction: Annotated[tuple[Factor, Factor, Factor], BeforeValidator(_factors)] = Field(
        (1.0, 1.0, 1.0),
        description="factors X,Y,Z that make up for contraction, only as measured; one for all, or three",
        json_schema_extra=_allowed("one factor or three, X,Y,Z, of 0.9 to 1.1"),
    )
    layers: Annotated[tuple[Index, Index | None], BeforeValidator(_span), AlsoText()] = Field(
        (0, None),
        description="A:B, only these layers of the whole plan: A up to B - 1",
        json_schema_extra=_allowed("A:B with whole numbers from 0, for example 10:20"),
    )
    fit_arcs: Annotated[float, Quantity("length", 0.001, 5.0)] | None = Field(
        None,
        description="meshes only: sections are followed by lines and arcs this near to their chords, mm, tangent where"
        " the chords turn by less than 35 degrees; none: by the chords themselves",
    )
    wall: Wall | None = Field(
        None, description="print open surfaces as walls: bead on the surface, or half a width to its side"
    )
    rising: bool = Field(
        False,
        description="wherever layers that follow each other hold one closed bead alone, they become one bead that"
        " climbs steadily, a layer height a turn, without a start or a closure between; where the flow follows nothing"
        " but the path speed, it begins upon a flat layer, half a layer thick, and ends so",
    )
    rising_planes: int = Field(
        24,
        ge=1,
        le=400,
        description="planes a turn that a leaning rising wall is cut by at most, to follow the section at each height",
    )
    fill: Fill = Field(FILL, description="what is laid inside the contour beads")
    sequence: Sequence = Field(SEQUENCE, description="order of beads, and where closed ones start")
    stock: Stock = Field(
        (), description="material left on faces for machining; an amount alone: on all faces, mm"
    )
    bed_map: Annotated[BedMap, AlsoText()] = Field(
        None,
        description="measured heights of the platform, which the first layers even out; a file's name alone: the"
        " first three",
        examples=["bed_map.csv"],
    )
    heights: Heights | None = Field(
        None,
        description="layer heights that follow the part by a limit of the cusp; `height` stays the bead's",
    )
    lean_limit: Annotated[float, Quantity("angle", 1.0, 85.0)] | None = Field(
        None, description="greatest lean from the vertical, degrees; default 45 flat, 30 round"
    )
    cut_later: Later = Field((), description="holes and pockets that are printed full and cut later")
    earlier: str | None = Field(
        None, description="plan.json of an earlier state of the part, whose face numbers are meant"
    )
    finished: str | None = Field(
        None,
        min_length=1,
        max_length=1000,
        description="STEP file of the finished part, in the coordinates of the printed one: stock is judged against it",
    )
    layer_time: LayerTime = Field(LAYER_TIME, description="how long a layer may take")
    stop: tuple[PlannedStop, ...] = Field(
        (), max_length=1000, description="planned stops, each before the first layer at or after a place"
    )
    place: tuple[Copy, ...] = Field(
        (), max_length=MOST_COPIES, description="places of the part's copies; without it they stand in rows"
    )
    beside: tuple[PartFile, ...] = Field(
        (), max_length=MOST_COPIES, description="further parts printed in the same program"
    )
    base_beads: int = Field(
        0, ge=0, le=100, description="beads laid round the part at its foot, so that it holds on the platform"
    )
    base_layers: int = Field(1, ge=1, le=MOST_LAYERS, description="how many layers have base beads")
    pad: tuple[Pad, ...] = Field(
        (), max_length=500, description="rectangles laid beside the part's foot, to hold it down by"
    )
    cut: tuple[Cut, ...] = Field(
        (),
        max_length=50,
        description="planes that cut the part into segments, each with a program of its own",
    )
    cut_down: bool = Field(
        False, description="turn each segment so that the largest face made by a cut lies on the platform"
    )
    override: Annotated[tuple[SafetyRule, ...], BeforeValidator(_names), AlsoText()] = Field(
        (),
        max_length=10,
        description="rules of safety that are broken on purpose; the program says so at its top",
    )
    release: Release | None = Field(
        None,
        description="trial programs, list of files with hashes, and job record; none: they are not written",
    )
    dialect: str | None = Field(
        None,
        max_length=1000,
        description="words of the controller: name of a shipped dialect or a dialect file; default the machine's",
    )
    workers: int | None = Field(None, ge=1, le=1024, description="processes; default all cores")
    overwrite: bool = Field(False, description="replace an earlier output of ours")
    strict: bool = Field(False, description="warnings become errors")

    RULES: ClassVar = PLAN_RULES

    def widths_used(self) -> list[tuple[str, float]]:
        """Widths that beads have, mm, each by the key that sets it."""
        own = [(f"widths.{role}", getattr(self.widths, role)) for role in WIDTH_ROLES]
        return [("width", self.width), *((name, width) for name, width in own if width is not None)]

    def width_of(self, role: WidthRole) -> float:
        """Width of the beads of a role, mm."""
        own: float | None = getattr(self.widths, role)
        return self.width if own is None else own

    def spacing_of(self, role: WidthRole) -> float:
        """Distance of neighbouring beads of a role, mm: all neighbours overlap by as much."""
        return self.width_of(role) - (self.width - self.bead_spacing())

    def narrowest(self) -> float:
        """Least width of any whole bead, mm."""
        return min(width for _, width in self.widths_used())

    def widest(self) -> float:
        """Greatest width of any bead, mm."""
        return max(width for _, width in self.widths_used())

    def ranks(self) -> int:
        """Contour beads of each loop at most."""
        return MOST_RANKS if self.fill.kind == "contour" else self.contours

    def bead_area(self, width: float | None = None) -> float:
        """Area of one bead's cross-section, mm2: a rectangle if flat, else one between two half discs."""
        w, h = self.width if width is None else width, self.height
        return w * h if self.bead_section == "flat" else h * (w - h) + math.pi * h * h / 4

    def greatest_lean(self) -> float:
        """Greatest lean from the vertical, degrees: as set, else what half a bead's width bears (common practice)."""
        if self.lean_limit is not None:
            return self.lean_limit
        return 45.0 if self.bead_section == "flat" else 30.0

    def edge_depth(self) -> float:
        """How far a bead's side lies inside its width at the borders of its layer, mm."""
        return 0.0 if self.bead_section == "flat" else self.height / 2

    def nozzle_bore(self) -> float:
        """Bore of the nozzle, mm: as set, else in the proportion of a bead of 8.4 from a bore of 7.62.

        The narrowest bead counts: one narrower than the bore does not hold.
        """
        if self.bore is not None:
            return self.bore
        return round(self.narrowest() * 7.62 / 8.4, 6)

    def bead_spacing(self) -> float:
        """Distance of neighbouring beads, mm: as set, else that at which their areas leave no void."""
        if self.spacing is not None:
            return self.spacing
        return self.width if self.bead_section == "flat" else self.bead_area() / self.height


OF_THE_RUN = frozenset({"workers", "overwrite"})
"""Settings that do not change the result, so they are told in run.json only."""


def key_of(name: str) -> str:
    """A setting's key in files: its name with its unit.

    Examples
    --------
    >>> key_of("width"), key_of("contours")
    ('width_mm', 'contours')
    """
    return suffixed(name, PlanSettings.model_fields[name])
