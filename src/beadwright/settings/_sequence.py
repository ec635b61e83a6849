"""In which order beads are laid and where closed ones start, with defaults and ranges."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from beadwright.settings._base import Section
from beadwright.settings._faces import Faces
from beadwright.settings._quantity import Quantity

# Length of a lap in bead widths (common practice).
LAP_WIDTHS = 3.0


class Sequence(Section):
    """Settings of order and start points; each default stands here and nowhere else."""

    contour_order: Literal["inward", "outward"] = Field(
        "inward",
        description="inward: the outermost contour bead first, for the better face; outward: last, so that a"
        " leaning one rests on the others",
    )
    parts: Literal["together", "in-turn"] = Field(
        "together",
        description="several parts: together: layer by layer, so that a layer lasts longer; in-turn: one whole part"
        " after another, each by a program of its own",
    )
    sites: Literal["corner", "spread", "line"] = Field(
        "corner",
        description="start points of closed beads: corner: at an inside corner, staggered; spread: as far as may"
        " be from those of the two layers below; line: above each other",
    )
    start_on: Faces | None = Field(
        None, description="closed beads start along these faces, where they run along them"
    )
    keep_off: Faces | None = Field(
        None, description="closed beads do not start along these faces, where they run along others too"
    )
    closure: Literal["butt", "lap", "tapered"] = Field(
        "butt",
        description="where a closed bead meets itself: butt: it ends where it starts; lap: it goes on over its own"
        " start at full flow; tapered: the flow rises along its start and falls along the lap, so that both make one"
        " full bead, which takes an extruder axis",
    )
    lap_length: Annotated[float, Quantity("length", 1.0, 1000.0)] | None = Field(
        None,
        description="how far a lap goes on over a bead's start, mm; default three bead widths (common practice)",
    )
    traverses: Literal["straight", "inside", "around"] = Field(
        "straight",
        description="between the beads of a layer: straight: the shortest; inside: above the layer's own region,"
        " where a way there is short enough, so that nothing drips beside it or on an open top face; around: round the"
        " open top faces of the layers below, also beside the part",
    )
    detour: Annotated[float, Field(ge=1.0, le=100.0)] = Field(
        4.0, description="such a way is taken if it is at most this many times as long as the straight one"
    )
    stagger: Annotated[float, Field(ge=0.0, le=100.0)] = Field(
        3.0, description="start points keep this many bead widths from those of the layers below"
    )

    def lap(self, width: float) -> float:
        """How far a lap goes on over the start of a bead of a width, mm: as set, else three widths."""
        return LAP_WIDTHS * width if self.lap_length is None else self.lap_length


SEQUENCE = Sequence.model_validate({})
"""As it is where nothing is asked for."""
