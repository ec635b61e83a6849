"""What is laid inside the contour beads, with defaults and ranges."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BeforeValidator, Field

from beadwright.settings._base import Section
from beadwright.settings._quantity import Quantity

Share = Annotated[float, Field(ge=0.0, le=1.0)]
Angle = Annotated[float, Field(ge=-360.0, le=360.0)]


def _listed(value: object) -> object:
    """Accept ``"0,90"`` beside a list of numbers."""
    return value.split(",") if isinstance(value, str) else value


class Fill(Section):
    """Settings of what fills a layer; each default stands here and nowhere else."""

    kind: Literal["none", "lines", "contour", "ribs"] = Field(
        "none",
        description="none: open; lines: parallel lines side by side; contour: contour beads until the layer is"
        " full; ribs: lines apart, at the same places in every layer",
    )
    angles: Annotated[tuple[Angle, ...], BeforeValidator(_listed), Field(min_length=1, max_length=12)] = (
        Field(
            (0.0, 90.0),
            description="degrees against X: of lines one a layer in turn, of ribs all in every layer",
            json_schema_extra={"allowed": "one to twelve angles of -360 to 360 degrees, for example 0,90"},
        )
    )
    joined: bool = Field(True, description="lines are joined along the contour into few beads")
    adapt: bool = Field(
        True,
        description="where lines as asked pass the limits of underfill or overfill: give up turns, turn the"
        " lines, or lay contour-parallel beads, and tell so",
    )
    overlap: Annotated[float, Field(ge=0.0, le=0.5)] = Field(
        0.05, description="share of the width by which ends overlap the beads that they meet"
    )
    rib_spacing: Annotated[float, Quantity("length", 1.0, 10000.0)] = Field(
        100.0, description="distance of neighbouring ribs, mm"
    )
    rib_crossings: Literal["turned", "broken"] = Field(
        "turned",
        description="where ribs cross: turned: beads turn from one rib to the other, so that they are few and none"
        " crosses; broken: one rib runs on, the other ends at it",
    )
    decks_top: int = Field(
        0, ge=0, le=100, description="closed layers under every place that is open above; 0: none"
    )
    decks_base: int = Field(
        0, ge=0, le=100, description="closed layers over every place that is open below, and on the platform"
    )
    deck_reach: Annotated[float, Quantity("length", 0.0, 1000.0)] | None = Field(
        None, description="how far a deck goes on round an open place, mm; default one bead width"
    )
    underfill_limit: Share = Field(
        0.005, description="share of what whole beads could cover that may stay open before it is told"
    )
    overfill_limit: Share = Field(
        0.015, description="share of the area covered that may be laid beyond it before it is told"
    )

    def decks(self) -> int:
        """Layers above and below one on which its decks depend."""
        return max(self.decks_top, self.decks_base)


FILL = Fill.model_validate({})
"""As it is where nothing is asked for."""
