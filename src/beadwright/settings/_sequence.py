"""In which order beads are laid and where closed ones start, with defaults and ranges."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from beadwright.settings._base import Section
from beadwright.settings._faces import Faces


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
    traverses: Literal["straight", "inside"] = Field(
        "straight",
        description="between the beads of a layer: straight: the shortest; inside: above the layer's own region,"
        " where a way there is short enough, so that nothing drips beside it or on an open top face",
    )
    detour: Annotated[float, Field(ge=1.0, le=100.0)] = Field(
        4.0, description="a way inside is taken if it is at most this many times as long as the straight one"
    )
    stagger: Annotated[float, Field(ge=0.0, le=100.0)] = Field(
        3.0, description="start points keep this many bead widths from those of the layers below"
    )


SEQUENCE = Sequence.model_validate({})
"""As it is where nothing is asked for."""
