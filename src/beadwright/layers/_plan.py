"""Where the layers lie and at which heights the solid is cut for each."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

from beadwright.errors import SettingsError

Rule = Literal["neutral", "outer", "inner", "faces"]

# Share of a layer height by which the topmost layer may be missed. Heights such as 2.4 / 0.8 come out a few
# 1e-16 above a whole number; without it they would cost an empty layer. Larger would drop real material.
HEIGHT_SLACK = 1e-6

# How far inside the slab the planes of the rules outer and inner lie, mm: the slab is open, so a flat face on
# its border is not met.
OPEN = 1e-8

# A plan of more layers than this is a slip in a unit, not a job (a 6 m part in layers of 0.06 mm).
MAX_LAYERS = 100_000


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerPlan:
    """One slab of the build.

    Attributes
    ----------
    index : int
        Counts from 0, from the platform up.
    z0, z : float
        Bottom and top in machine coordinates, mm; the nozzle moves at ``z``. ``z0`` is, bit for bit, the
        ``z`` of the layer below.
    height : float
        Bead height, mm (``z - z0`` but for rounding).
    section_z : tuple of float
        Heights of the section planes *asked for*, mm; the plane really used may be moved off a flat face.
    rule : {"neutral", "outer", "inner", "faces"}
        How the layer's region follows from the solid inside the slab; ``faces``: by a rule of each face.
    """

    index: int
    z0: float
    z: float
    height: float
    section_z: tuple[float, ...]
    rule: Rule = "neutral"


def plan_layers(
    z_low: float, z_high: float, height: float, *, rule: Rule = "neutral", platform_z: float = 0.0
) -> tuple[LayerPlan, ...]:
    """Uniform layers from the platform to the part's highest point.

    The number of layers is ``ceil((H - eps) / h)``, H measured from the platform, eps = 1e-6 h. The top
    layer keeps its full height, so the last ``z`` lies at most one height above `z_high`. Under the neutral
    rule the solid is cut at mid height, which has the least mean absolute error and a volume error of
    order h squared.

    Parameters
    ----------
    z_low, z_high : float
        Lowest and highest point of the placed part, mm.
    height : float
        Layer height, mm, above 0.
    rule : {"neutral", "outer", "inner"}
        Outer and inner take two planes, just inside the bottom and the top of each slab.
    platform_z : float
        Where layer 0 begins, mm: at or below `z_low`.

    Returns
    -------
    tuple of LayerPlan
        At least one.

    Raises
    ------
    SettingsError
        Height not above 0, part not above the platform, or more than `MAX_LAYERS` layers.

    Examples
    --------
    >>> len(plan_layers(0.0, 2.4, 0.8))
    3
    >>> plan_layers(0.0, 9.0, 4.0)[-1]
    LayerPlan(index=2, z0=8.0, z=12.0, height=4.0, section_z=(10.0,), rule='neutral')
    """
    _refuse(z_low, z_high, height, platform_z)
    count = math.ceil((z_high - platform_z) / height - HEIGHT_SLACK)
    if count > MAX_LAYERS:
        msg = (
            f"a part up to {z_high:.6g} mm in layers of {height:.6g} mm needs {count} layers, more than"
            f" {MAX_LAYERS}: check the layer height and the units"
        )
        raise SettingsError(msg)
    edges = [platform_z + i * height for i in range(max(count, 1) + 1)]
    return tuple(
        LayerPlan(index=i, z0=low, z=high, height=height, section_z=_planes(low, high, rule), rule=rule)
        for i, (low, high) in enumerate(pairwise(edges))
    )


def layers_between(edges: Sequence[float], *, rule: Rule = "neutral") -> tuple[LayerPlan, ...]:
    """Layers between given heights, ascending, from the platform up.

    Raises
    ------
    SettingsError
        More than `MAX_LAYERS` layers.
    """
    if len(edges) - 1 > MAX_LAYERS:
        msg = f"{len(edges) - 1} layers are more than {MAX_LAYERS}: check the layer heights and the units"
        raise SettingsError(msg)
    return tuple(
        LayerPlan(index=i, z0=low, z=high, height=high - low, section_z=_planes(low, high, rule), rule=rule)
        for i, (low, high) in enumerate(pairwise(edges))
    )


def rest_of_layers(
    z_high: float, height: float, *, first: int, z0: float, rule: Rule = "neutral"
) -> tuple[LayerPlan, ...]:
    """Layers that are still missing when the print has reached a measured height.

    A built height drifts from layers times height, so the planes are laid anew from the height that is there:
    ``ceil((z_high - z0 - eps) / h)`` layers.

    Parameters
    ----------
    z_high : float
        Highest point of the placed part, mm.
    height : float
        Layer height, mm, above 0.
    first : int
        Index of the first of them.
    z0 : float
        Measured top of what is printed, machine coordinates, mm.
    rule : {"neutral", "outer", "inner"}

    Raises
    ------
    SettingsError
        Nothing is missing, or as of `plan_layers`.

    Examples
    --------
    >>> layers = rest_of_layers(1600.0, 4.0, first=100, z0=396.0)
    >>> len(layers), layers[0].index, layers[0].z0, layers[-1].z
    (301, 100, 396.0, 1600.0)
    """
    if z0 >= z_high - HEIGHT_SLACK * height:
        msg = f"nothing is missing: the print is {z0:.6g} mm high, the part {z_high:.6g} mm"
        raise SettingsError(msg)
    return tuple(
        replace(plan, index=first + plan.index)
        for plan in plan_layers(z0, z_high, height, rule=rule, platform_z=z0)
    )


def _planes(low: float, high: float, rule: Rule) -> tuple[float, ...]:
    """Where a slab is cut."""
    return ((low + high) / 2,) if rule == "neutral" else (low + OPEN, high - OPEN)


def _refuse(z_low: float, z_high: float, height: float, platform_z: float) -> None:
    """Raise for what cannot be planned."""
    if not (math.isfinite(height) and height > 0):
        msg = f"layer height must be above 0 mm, not {height}"
        raise SettingsError(msg)
    if not (math.isfinite(z_low) and math.isfinite(z_high) and z_high > z_low):
        msg = f"the part reaches from z {z_low} to {z_high} mm: it has no height to lay beads in"
        raise SettingsError(msg)
    if platform_z > z_low + HEIGHT_SLACK * height:
        msg = f"the part's lowest point, z {z_low} mm, is below the platform at {platform_z} mm"
        raise SettingsError(msg)
