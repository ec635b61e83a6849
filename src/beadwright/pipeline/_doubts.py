"""What is not known exactly of a job's inputs, and by how much: from the standing of each number of the cards."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from beadwright.process import BeadSection, Doubt, Doubts, ScrewCurve
from beadwright.settings import Figure, Resolved, Standing

# Share by which a number may be off whose card tells no range of its own, by its standing (common practice).
SHARE: Mapping[Standing, float] = MappingProxyType(
    {"measured": 0.005, "source": 0.01, "common practice": 0.03, "from memory": 0.03, "not stated": 0.05}
)


def doubts(resolved: Resolved, screw: ScrewCurve | None, density: float) -> Doubts:
    """Ranges of what the estimate is made from.

    Parameters
    ----------
    resolved : Resolved
    screw : ScrewCurve or None
        None where the screw is not calibrated: then the bead may be as round, or as flat, as there is.
    density : float
        kg/mm3.
    """
    settings, material = resolved.settings, resolved.material
    width, height = settings.width, settings.height
    areas = {kind: BeadSection(kind=kind, width=width, height=height).area for kind in ("flat", "round")}
    own = areas[settings.bead_section]
    if screw is None:
        section = Doubt(
            name="bead section",
            why="not calibrated: from a round section to a flat one",
            low=min(areas.values()) / own,
            high=max(areas.values()) / own,
        )
    else:
        share = 2 * screw.spread / (own * settings.feed * density)
        section = Doubt(
            name="screw calibration",
            why="twice the standard deviation of its residuals",
            low=max(1 - share, 0.0),
            high=1 + share,
        )
    low, high = resolved.machine.speeds.override
    return Doubts(
        mass=(_figure("density", material.density), section),
        speed=(Doubt(name="feed override", why="machine card, speeds.override", low=low, high=high),),
        price=() if material.price is None else (_figure("price of the material", material.price),),
    )


def _figure(name: str, figure: Figure) -> Doubt:
    """A number of a card with its own range, else with the one that its standing gives it."""
    share = SHARE[figure.standing]
    if figure.low is None and figure.high is None:
        return Doubt(
            name=name,
            why=f"standing: {figure.standing}, {share:.1%} either way by common practice",
            low=1 - share,
            high=1 + share,
        )
    value = figure.value or 1.0
    return Doubt(
        name=name,
        why="range of the card",
        low=(figure.value if figure.low is None else figure.low) / value,
        high=(figure.value if figure.high is None else figure.high) / value,
    )
