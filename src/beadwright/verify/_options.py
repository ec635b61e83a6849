"""What a verification is asked to do."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from beadwright.brep import Model
from beadwright.verify._reading import FlowWords


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class VerifyOptions:
    """Choices of a verification; what is None comes from the program's own comments, or is not judged.

    Attributes
    ----------
    layers : int
        How many layers to measure, evenly spread; the first and the last with beads are always among them.
    every : bool
        Measure all layers.
    only : (int, int or None) or None
        Measure all layers with an index from the first to below the second, and no others; None as the second:
        to the top.
    tolerance : float or None
        Greatest deviation of a contour bead, mm, whatever bound the program states. A program without
        comments is held to `FOREIGN_TOLERANCE` if none is given.
    width, height : float or None
        Of the beads of a program without comments, mm.
    bead_section : {"flat", "round"} or None
        What a bead's area and covering width are; None: as the program says, else flat.
    density : float or None
        g/cm3; without it no mass is given.
    matrix : (3, 4) float or None
        From the part as read to the machine, instead of the program's own placement.
    envelope : (2, 3) float or None
        Least and greatest x, y, z that the machine may take, mm.
    greatest_feed : float or None
        mm/s.
    traverse : float or None
        Speed of traverses, mm/s; without it their time is not given.
    standstill_mm3 : float
        What may flow out while the axes stand, each time, mm3.
    flow : FlowWords
        Words that switch the extruder.
    stock : mapping of int to float
        Amount by face id, mm: what the program was asked to add to the part.
    rules : mapping of int to str
        Rule by face id, ``outer`` or ``inner``: what the program was asked to cover there. Others are neutral.
    stretched : Model or None
        The part as it stands in the machine, where it is contracted by other factors along other axes: distances from
        its faces are no multiples of those from the part's.
    least_cover : float or None
        Percent of a layer's section that beads must cover, what is hollow on purpose included; None: not judged.
    most_overfill : float or None
        Percent of a layer's section that may be laid beyond it or more than once; None: not judged.
    outlines : bool
        Whether the outlines of section and stock are kept, for a picture.
    bed_map : (str, str) or None
        Text and name of a file with measured heights of the platform, which the first layers must follow; None: the
        program's own.
    step : float
        Greatest distance of samples along beads and section, mm.
    """

    layers: int = 10
    every: bool = False
    only: tuple[int, int | None] | None = None
    tolerance: float | None = None
    width: float | None = None
    height: float | None = None
    bead_section: str | None = None
    density: float | None = None
    matrix: npt.NDArray[np.float64] | None = None
    envelope: npt.NDArray[np.float64] | None = None
    greatest_feed: float | None = None
    traverse: float | None = None
    standstill_mm3: float = 0.0
    flow: FlowWords = field(default_factory=FlowWords)
    stock: Mapping[int, float] = field(default_factory=dict)
    rules: Mapping[int, str] = field(default_factory=dict)
    stretched: Model | None = None
    least_cover: float | None = None
    most_overfill: float | None = None
    outlines: bool = False
    bed_map: tuple[str, str] | None = None
    step: float = 3.0


FOREIGN_TOLERANCE = 0.1
"""mm: what a contour of a program that states no bound of its own is held to, if nothing else is asked for."""
