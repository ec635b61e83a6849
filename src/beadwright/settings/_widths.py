"""Widths of beads by what they are for, with ranges."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Literal

from pydantic import Field

from beadwright.settings._base import Section
from beadwright.settings._quantity import Quantity

# Greatest width of a bead in bores of its nozzle.
WIDEST = 1.5
Width = Annotated[float, Quantity("length", 0.5, 100.0)]
WidthRole = Literal["outer", "inner", "fill", "rib", "base"]
WIDTH_ROLES: tuple[WidthRole, ...] = ("outer", "inner", "fill", "rib", "base")


class Widths(Section):
    """Widths of beads that differ from `width`; a role that is not named has that.

    Neighbours of different widths lie half the sum of their own spacings apart, so that they overlap as two alike do.
    """

    outer: Width | None = Field(None, description="of the outermost contour bead, mm")
    inner: Width | None = Field(None, description="of the other contour beads, mm")
    fill: Width | None = Field(None, description="of fill and decks, mm")
    rib: Width | None = Field(None, description="of ribs, mm")
    base: Width | None = Field(None, description="of base beads and pads, mm")


WIDTHS = Widths.model_validate({})
"""All as `width` says."""


def width_faults(
    widths: Mapping[str, float],
    *,
    heights: Mapping[str, float],
    spacing: float | None,
    bore: float | None,
    taken: float,
) -> list[tuple[str, str]]:
    """Faults of widths against heights, spacing and bore: (key, what is wrong).

    Parameters
    ----------
    widths : mapping of str to float
        Those that beads have, mm, by the key that sets them; ``width`` is that of every other role.
    heights : mapping of str to float
        Of beads and layers, mm, likewise.
    spacing, bore : float or None
        As set, mm.
    taken : float
        The bore if none is set, mm.
    """
    found = []
    least = min(widths, key=lambda name: widths[name])
    told = "the width" if least == "width" else least
    for key, height in heights.items():
        if not height < widths[least]:
            found.append((key, f"{height:g} mm is not below {told}, {widths[least]:g} mm"))
    if spacing is not None and spacing > 2 * widths["width"]:
        found.append(("spacing", f"{spacing:g} mm is more than twice the width, {widths['width']:g} mm"))
    for name, width in widths.items():
        overlap = 0.0 if spacing is None else widths["width"] - spacing
        if overlap >= width:
            found.append(
                (name, f"{width:g} mm is no more than the overlap that the spacing sets, {overlap:g} mm")
            )
        if bore is not None and not width / WIDEST <= bore <= width:
            text = f"{bore:g} mm cannot lay a bead {width:g} mm wide, which is 1 to {WIDEST} bores"
            found.append(("bore", text))
            break
        if bore is None and width > WIDEST * taken:
            text = f"{width:g} mm beside {told}, {widths[least]:g} mm, is more than one nozzle lays: beads are 1 to"
            found.append((name, f"{text} {WIDEST} bores wide, and the bore for {told} is {taken:g} mm"))
    return found
