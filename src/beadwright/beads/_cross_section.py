"""The cross-section of a bead: its area, and the spacing at which beads fill the layer."""

from __future__ import annotations

import math
from typing import Literal

from beadwright.errors import SettingsError

CrossSection = Literal["flat", "round"]


def cross_section_area(width: float, height: float, section: CrossSection) -> float:
    """Area of a bead's cross-section, mm2.

    ``flat`` is a tamped bead, a rectangle w h. ``round`` is an untamped one with half-round sides of radius
    h / 2: h (w - h) + pi h^2 / 4.

    Parameters
    ----------
    width, height : float
        Of the bead, mm, above 0; a round bead is at least as wide as high.
    section : {"flat", "round"}
        Which of the two.

    Raises
    ------
    SettingsError
        If a measure is not above 0, or a round bead is narrower than high.

    Examples
    --------
    >>> cross_section_area(8.4, 4.0, "flat")
    33.6
    >>> round(cross_section_area(8.4, 4.0, "round"), 5)
    30.16637
    """
    if not (math.isfinite(width) and math.isfinite(height) and width > 0 and height > 0):
        msg = f"a bead must be wider and higher than 0 mm, not {width} x {height}"
        raise SettingsError(msg)
    if section == "flat":
        return width * height
    if width < height:
        msg = f"a round bead is at least as wide as high, not {width} x {height} mm"
        raise SettingsError(msg)
    return height * (width - height) + math.pi * height**2 / 4


def filling_spacing(width: float, height: float, section: CrossSection) -> float:
    """Distance of neighbouring centrelines at which beads just fill the layer: area / height, mm.

    Examples
    --------
    >>> filling_spacing(8.4, 4.0, "flat"), round(filling_spacing(8.4, 4.0, "round"), 6)
    (8.4, 7.541593)
    """
    return width if section == "flat" else cross_section_area(width, height, section) / height
