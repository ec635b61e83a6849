"""Keywords of `plan`, for those who call it."""

from __future__ import annotations

from typing import Any, Literal, TypedDict

Wall = Literal["centre", "left", "right"]


class PlanOptions(TypedDict, total=False):
    """Keywords of `beadwright.plan`, each as in `PlanSettings`."""

    tolerance: float
    width: float
    height: float
    bead_section: Literal["flat", "round"]
    spacing: float | None
    widths: dict[str, float]
    contours: int | Literal["full"]
    corner_radius: float | None
    bore: float | None
    medial: bool
    rule: Literal["neutral", "outer", "inner"]
    face_rule: Any
    decimals: int
    clearance: float
    feed: float
    scale: float
    rotate: tuple[float, float, float]
    at: tuple[float, float]
    copies: int
    gap: float
    place: Any
    beside: Any
    base_beads: int
    base_layers: int
    pad: Any
    cut: Any
    cut_down: bool
    contraction: float | tuple[float, float, float]
    layers: tuple[int, int | None]
    fit_arcs: float | None
    wall: Wall | None
    rising: bool
    rising_planes: int
    fill: dict[str, Any]
    sequence: dict[str, Any]
    bed_map: Any
    heights: dict[str, float] | None
    lean_limit: float | None
    stock: Any
    cut_later: Any
    earlier: str | None
    finished: str | None
    layer_time: dict[str, Any]
    stop: Any
    override: Any
    release: Any
    dialect: str | None
    workers: int | None
    overwrite: bool
    strict: bool
