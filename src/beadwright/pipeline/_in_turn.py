"""Several parts one after another, each by a program of its own, where the head passes those that stand already."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np

from beadwright.errors import SettingsError
from beadwright.pipeline._layout import meets
from beadwright.pipeline._output import Output, output_folder
from beadwright.pipeline._pieces import Pieces, finished, named, told_of
from beadwright.pipeline._plan import Progress, plan_part
from beadwright.pipeline._result import PlanResult
from beadwright.pipeline._set_up import StandingPart, beyond, set_up
from beadwright.settings import Machine, PlanSettings, Resolved


def plan_in_turn(
    part: Any,
    out: str | Path | None,
    *,
    resolved: Resolved,
    progress: Progress | None = None,
    executor: Executor | None = None,
) -> Pieces:
    """Plan each of several parts in a folder of its own, in the order in which the job names them.

    A layer then lasts only as long as its own part takes, and so does the time until the next bead comes.

    Parameters
    ----------
    part, out, progress, executor
        As of `plan`.
    resolved : Resolved
        With several parts or copies.

    Raises
    ------
    SettingsError
        The machine file does not tell its head, or the head would strike a part that stands already; the message
        names the two.
    """
    settings = resolved.settings
    source = set_up(part, resolved, picture=False)
    faults = strikes(source.copies, resolved.machine, settings)
    if faults:
        raise SettingsError(
            "sequence.parts: parts cannot be printed one after another so:\n  " + "\n  ".join(faults)
        )
    results: list[tuple[str, PlanResult]] = []
    rows: list[dict[str, Any]] = []
    standing = 0.0
    with ExitStack() as stack:
        output: Output | None = None
        if out is not None:
            output = stack.enter_context(output_folder(out, overwrite=settings.overwrite))
        for copy in source.copies:
            name = f"part_{copy.index + 1}"
            over = standing + settings.clearance if standing else 0.0
            own = _own(resolved, copy)
            with named(name):
                result = plan_part(
                    copy.source,
                    None if output is None else output.folder / name,
                    resolved=own,
                    progress=progress,
                    executor=executor,
                    over=over,
                )
            standing = max(standing, *(row["z_mm"] for row in result.document["layers"]))
            told = result.document["input"]
            rows.append(
                {
                    "name": name,
                    **{key: told[key] for key in ("file", "sha256", "solids", "volume_mm3", "box_mm")},
                    "rotate_deg": list(own.settings.rotate),
                    **({"passes_over_mm": over} if over else {}),
                    **told_of(result),
                }
            )
            results.append((name, result if out is None else replace(result, out=Path(out) / name)))
        model = source.model
        given = {"input": {"file": model.file, "sha256": model.sha256, "volume_mm3": model.volume}}
        return finished("parts", given, rows, results, output=output, out=out)


def _own(resolved: Resolved, copy: StandingPart) -> Resolved:
    """Settings of one part alone, where it stands."""
    x, y, z = resolved.settings.rotate
    change: dict[str, Any] = {
        "copies": 1,
        "place": (),
        "beside": (),
        "sequence": resolved.settings.sequence.model_copy(update={"parts": "together"}),
        "at": copy.middle(),
        "rotate": (x, y, z + copy.turn),
    }
    source = {**resolved.source, "at": "place", "rotate": "place" if copy.turn else resolved.source["rotate"]}
    settings = resolved.settings.model_copy(update=change)
    return replace(resolved, settings=settings, source=MappingProxyType(source))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Above:
    """What moves with the nozzle: its name, half its size along X and Y, and its lowest point above the tip, mm."""

    name: str
    half: tuple[float, float]
    above: float


def strikes(copies: Sequence[StandingPart], machine: Machine, settings: PlanSettings) -> list[str]:
    """Pairs of parts of which the earlier stands in the way of what moves with the nozzle; none if all passes.

    The nozzle is never lower than the first layer's top; a part is taken to be a layer higher than drawn, since its
    last layer may be.

    Raises
    ------
    SettingsError
        The machine file does not tell what moves with the nozzle.
    """
    head = machine.head
    if head is None:
        raise SettingsError(
            "sequence.parts: parts one after another need the machine's head: write [head] with size, above_tip,"
            " beam_depth and beam_above_tip in the machine file, measured at your machine, and give it with --machine"
        )
    moving = [
        _Above(name="the head", half=(head.size[0] / 2, head.size[1] / 2), above=head.above_tip),
        _Above(name="the beam", half=(np.inf, head.beam_depth / 2), above=head.beam_above_tip),
    ]
    if machine.tamper is not None:
        width, depth = machine.tamper.size
        moving.append(_Above(name="the tamper", half=(width / 2, depth / 2), above=machine.tamper.lowest))
    grown = beyond(settings)
    stock = max((rule.amount for rule in settings.stock), default=0.0)
    least, most = (
        (settings.height, settings.height)
        if settings.heights is None
        else (settings.heights.least, settings.heights.greatest)
    )
    faults = []
    for number, later in enumerate(copies):
        box = later.box[:, :2] + np.array([[-grown], [grown]])
        for earlier in copies[:number]:
            other = earlier.box[:, :2] + np.array([[-grown], [grown]])
            if meets(box, other[None])[0]:
                faults.append(f"{earlier} stands in the way of {later}: their boxes overlap; set them apart")
                continue
            top = float(earlier.box[1, 2]) + most + 2 * stock
            for each in moving:
                around = other + np.array([[-1.0], [1.0]]) * np.array(each.half)
                room = least + each.above
                if meets(box, around[None])[0] and top > room:
                    faults.append(
                        f"{each.name} would strike {earlier} while {later} is printed: it stands up to {top:.1f} mm,"
                        f" and {room:.1f} mm are free; set them farther apart, the lower one first, or print layer by"
                        " layer"
                    )
    return faults
