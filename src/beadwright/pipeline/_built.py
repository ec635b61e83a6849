"""What a build takes as a whole: interlayer temperatures, estimate, findings, and how plan.json tells them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from beadwright.numeric import Finding, counted
from beadwright.pipeline._build import LayerBuild
from beadwright.pipeline._cards import Cards
from beadwright.pipeline._proposal import LEAST_WAIT, advice, proposal
from beadwright.process import (
    Estimate,
    Spread,
    clock_text,
    estimate,
    heat_findings,
    lag_findings,
    layer_estimate,
    run_wall,
    spread,
    time_findings,
)

Floats = npt.NDArray[np.float64]

# Layers below the first planned one that the wall model adds where only a part of a plan is made.
BEFORE = 20

UNCERTAIN = (
    "times follow the machine card's limits of speed and acceleration; jerk and the controller's own look-ahead"
    " are not in them",
    "masses are the cold bead section times the length of bead times the density of the material card",
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Built:
    """What a build takes.

    Attributes
    ----------
    layers : sequence of LayerBuild
    bands : dict of int to (float, float)
        Interlayer temperature by layer, least and greatest, degC.
    estimate : Estimate
    spread : Spread
        Least and greatest of it.
    proposal : dict
        Layer time, feed and beads that would meet the window, at the layer that misses it most; or nothing.
    findings : tuple of Finding
    cards : Cards
    """

    layers: Sequence[LayerBuild]
    bands: dict[int, tuple[float, float]]
    estimate: Estimate
    spread: Spread
    proposal: dict[str, float]
    findings: tuple[Finding, ...]
    cards: Cards

    def notes(self) -> tuple[str, ...]:
        """What stands at the top of the program."""
        lag = self.cards.lag
        if lag is None or not lag.calibrated:
            return (
                "LAG NOT CALIBRATED: the extruder starts and stops late by an unknown time, so beads start thin and"
                " run on at their end.",
            )
        return ()


def built(
    cards: Cards,
    layers: Sequence[LayerBuild],
    *,
    finished_volume: float | None,
    stops: int = 0,
    told: Sequence[Finding] = (),
) -> Built:
    """Sum a build up.

    Parameters
    ----------
    cards : Cards
    layers : sequence of LayerBuild
        From the platform up.
    finished_volume : float or None
        Of the part when machined, mm3, if it is.
    stops : int
        Planned stops, each of which ends with a purge.
    told : sequence of Finding
        Of the cards.
    """
    every, layers = layers, [each.summed() for each in layers]
    bands = _bands(cards, layers)
    waits = [each.pace.dwell for each in layers]
    purges = sum(each.purges for each in layers)
    idle = sum(wait > cards.idle_limit for wait in waits)
    summed = estimate(
        masses=[each.mass for each in layers],
        times=[each.times for each in layers],
        first=layers[0].index,
        purge=cards.purge * (_by_hand(idle, stops) if cards.purge_place is None else purges),
        hopper=cards.hopper,
        prices=cards.prices,
        finished=None if finished_volume is None else finished_volume * cards.density,
    )
    proposals = {each.index: each for each in layers}
    window = cards.window
    found: list[Finding] = [
        *lag_findings(cards.lag, speed=cards.feed, level=cards.machine_level, shifted=cards.leads_inside),
        *told,
    ]
    best: dict[str, float] = {}
    if window is None or cards.wall is None:
        found.append(_not_calculated(cards))
    else:
        wall = cards.wall
        found += heat_findings(
            [(index, *band) for index, band in bands.items()],
            window,
            level=cards.level,
            advice=lambda index: advice(proposal(cards, wall, window, proposals[index])),
        )
        missed = next((f.layer for f in found if f.code in {"too-hot", "too-cold"}), None)
        if missed is not None:
            best = proposal(cards, wall, window, proposals[missed])
    found += time_findings(
        [(each.index, each.times.total) for each in layers if each.length and each.returns],
        least=cards.least_time or 0.0,
        greatest=math.inf if cards.greatest_time is None else cards.greatest_time,
    )
    found += _lead_findings(layers)
    found += _closure_findings(layers)
    if idle:
        found.append(_idle(cards, max(layers, key=lambda each: each.pace.dwell), idle))
    return Built(
        layers=every,
        bands=bands,
        estimate=summed,
        spread=spread(
            summed,
            cards.doubts,
            hourly=cards.prices.machine + cards.prices.labour * cards.prices.attendance,
        ),
        proposal=best,
        findings=tuple(found),
        cards=cards,
    )


def _by_hand(idle: int, stops: int) -> int:
    """Purges by hand: at the start, after each stop and after each wait that is too long."""
    return 1 + idle + stops


def _idle(cards: Cards, worst: LayerBuild, count: int) -> Finding:
    """Waits that are longer than melt may stand, and what is done about it."""
    purged = cards.purge_place is not None
    return Finding(
        code="idle-purged" if purged else "idle-too-long",
        level="note" if purged else "warning",
        layer=worst.index,
        measured=worst.pace.dwell,
        allowed=cards.idle_limit,
        unit="s",
        text=f"before {counted(count, 'layer')} the nozzle waits for longer than melt may stand, so the program purges"
        f" {cards.purge:g} kg at its place in between, here {counted(worst.purges, 'time')}; the wait counts them"
        if purged
        else f"before {counted(count, 'layer')} the melt stands longer than it may: purge {cards.purge:g} kg off the"
        " part before going on; the estimate counts it",
    )


def _bands(cards: Cards, layers: Sequence[LayerBuild]) -> dict[int, tuple[float, float]]:
    """Least and greatest temperature of the layer below each layer, just before it comes, degC."""
    laid = [each for each in layers if each.length > 0]
    if cards.wall is None or len(laid) < 2:
        return {}
    height = np.array([each.height for each in laid])
    thickness = np.array([each.thickness for each in laid])
    results = []
    for name in ("least", "greatest"):
        # From a layer until the one above it: the return time of that one; the topmost waits for nothing.
        wait = np.array(
            [each.times.total if each.returns is None else getattr(each.returns, name) for each in laid[1:]]
        )
        wait = np.maximum(np.append(wait, wait[-1]), LEAST_WAIT)
        if cards.cold:
            body = replace(cards.wall, platform=cards.wall.air)
            results.append(run_wall(body, height=height, thickness=thickness, wait=wait).before)
        elif laid[0].index:
            # Only a part of the plan is made: below it a wall laid like its first layer.
            before = [np.concatenate([np.full(BEFORE, v[0]), v]) for v in (height, thickness, wait)]
            run = run_wall(cards.wall, height=before[0], thickness=before[1], wait=before[2])
            results.append(run.before[BEFORE:])
        else:
            results.append(run_wall(cards.wall, height=height, thickness=thickness, wait=wait).before)
    warm, cold = results
    return {
        each.index: (float(low) - cards.band, float(high) + cards.band)
        for each, low, high in zip(laid[1:], cold, warm, strict=False)
    }


def _not_calculated(cards: Cards) -> Finding:
    names = cards.lacking or ("interlayer_least", "interlayer_greatest")
    return Finding(
        code="heat-not-calculated",
        level="note",
        text="interlayer temperatures are not judged: the material card does not hold " + ", ".join(names),
    )


def _lead_findings(layers: Sequence[LayerBuild]) -> list[Finding]:
    short = [each for each in layers if each.short]
    if not short:
        return []
    most = max(short, key=lambda each: each.short)
    return [
        Finding(
            code="bead-shorter-than-leads",
            level="warning",
            layer=most.index,
            measured=float(sum(each.short for each in short)),
            allowed=0.0,
            text="beads end before the extruder's start and stop leads have had their time, so their section is"
            " not under control",
        )
    ]


def _closure_findings(layers: Sequence[LayerBuild]) -> list[Finding]:
    short = [
        (each.closures.short, each) for each in layers if each.closures is not None and each.closures.short
    ]
    if not short:
        return []
    count, most = max(short, key=lambda row: row[0])
    assert most.closures is not None
    return [
        Finding(
            code="lap-too-long",
            level="note",
            layer=most.index,
            measured=float(sum(each for each, _ in short)),
            allowed=0.0,
            text=f"closed beads shorter than two laps of {most.closures.length:g} mm end where they start, here"
            f" {count}; a shorter sequence.lap_length would lap them too",
        )
    ]


def layer_told(made: LayerBuild, built: Built) -> dict[str, Any]:
    """What plan.json says of a layer's process."""
    told: dict[str, Any] = {"time_s": made.times.total, "mass_kg": made.mass}
    told |= layer_estimate(made.mass, made.times, built.cards.prices)
    if made.length:
        told["feed_mm_s"] = made.pace.feed
    if made.pace.dwell:
        told["dwell_s"] = made.pace.dwell
    if made.returns is not None:
        told["return_s"] = {
            "least": made.returns.least,
            "median": made.returns.median,
            "greatest": made.returns.greatest,
            "lies_on": made.returns.lies_on,
        }
    if made.closures is not None:
        told["closures"] = made.closures.as_dict()
    if made.index in built.bands:
        told["interlayer_c"] = list(built.bands[made.index])
    return told


def totals_told(built: Built) -> dict[str, Any]:
    """What plan.json says of the whole build's process, under `totals`."""
    told: dict[str, Any] = {"time_s": built.estimate.times.total, "mass_kg": built.estimate.part}
    if built.bands:
        told["interlayer_c"] = [
            min(low for low, _ in built.bands.values()),
            max(high for _, high in built.bands.values()),
        ]
    return told


def build_told(built: Built) -> dict[str, Any]:
    """What plan.json says of the build: motion, estimate, heat."""
    limits = built.cards.limits
    motion: dict[str, Any] = (
        {"path_mode": "exact", "bound": "unknown, the controller's"}
        if limits.path_tolerance is None
        else {"path_mode": "continuous", "bound": "the path tolerance", "tolerance_mm": limits.path_tolerance}
    )
    doubts = list(UNCERTAIN)
    if built.bands:
        doubts.append(
            f"interlayer temperatures are those of a thin wall in still air, {built.cards.band:g} K either way"
        )
    told: dict[str, Any] = {
        "motion": motion,
        "estimate": {**built.estimate.as_dict(), "low_high": built.spread.as_dict(), "uncertain": doubts},
    }
    if built.proposal:
        told["proposal"] = {**built.proposal, "layer": int(built.proposal["layer"])}
    return told


def _range(low: str, high: str) -> str:
    return f"{low} to {high}"


def rows_told(built: Built) -> list[tuple[str, str]]:
    """Rows of the terminal's table."""
    e = built.estimate
    parts = f"beads {clock_text(e.times.extruding)}, traverses {clock_text(e.times.traverse)}"
    if e.times.purge:
        parts += f", purging {clock_text(e.times.purge)}"
    if e.times.dwell:
        parts += f", waiting {clock_text(e.times.dwell)}"
    masses = e.as_dict()["mass_lb"]
    assert isinstance(masses, dict)
    rows = [("extruder lag", "NOT CALIBRATED")] if built.notes() else []
    rows += [
        (
            "build time",
            f"about {clock_text(e.times.total)} ({_range(*map(clock_text, built.spread.time))}): {parts}",
        ),
        (
            "mass",
            f"{e.part:.4g} kg, {masses['part']:.4g} lb ({_range(*(f'{v:.4g}' for v in built.spread.part))} kg);"
            f" dry {e.feedstock:.4g} kg, {e.purge:.3g} kg of it to purge",
        ),
    ]
    if e.refills:
        first = e.refills[0]
        rows.append(
            (
                "hopper",
                f"{counted(len(e.refills), 'refill')}, the first after {clock_text(first.at)} in layer {first.layer}",
            )
        )
    if e.costs:
        low, high = built.spread.cost or (e.cost, e.cost)
        between = _range(f"{low:,.2f}", f"{high:,.2f}")
        rows.append(("cost", f"about {e.cost:,.2f} {e.currency} ({between})"))
    if built.bands:
        low, high = (totals_told(built)["interlayer_c"][i] for i in (0, 1))
        rows.append(("layer below, when the next comes", f"{low:.0f} to {high:.0f} degC"))
    bound = build_told(built)["motion"]
    told = f"{bound['tolerance_mm']:g} mm, the path tolerance" if "tolerance_mm" in bound else bound["bound"]
    rows.append(("motion may stray by", told))
    return rows
