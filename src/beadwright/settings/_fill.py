"""What is laid inside the contour beads, with defaults and ranges."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from beadwright.settings._base import Section

Share = Annotated[float, Field(ge=0.0, le=1.0)]


class Fill(Section):
    """Settings of what fills a layer; each default stands here and nowhere else."""

    underfill_limit: Share = Field(
        0.005, description="share of what whole beads could cover that may stay open before it is told"
    )
    overfill_limit: Share = Field(
        0.015, description="share of the area covered that may be laid beyond it before it is told"
    )


FILL = Fill.model_validate({})
"""As it is where nothing is asked for."""
