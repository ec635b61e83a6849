"""The main job for any settings: one program, or several in a folder each."""

from __future__ import annotations

from concurrent.futures import Executor
from pathlib import Path
from typing import Any, Unpack

from beadwright.pipeline._in_turn import plan_in_turn
from beadwright.pipeline._pieces import Pieces
from beadwright.pipeline._plan import Progress, plan_part
from beadwright.pipeline._result import PlanResult
from beadwright.pipeline._segments import plan_segments
from beadwright.pipeline._set_up import in_turn
from beadwright.settings import PlanOptions, Resolved, resolve


def plan_pieces(
    part: Any,
    out: str | Path | None = None,
    *,
    job: str | Path | None = None,
    machine: str | Path | None = None,
    material: str | Path | None = None,
    progress: Progress | None = None,
    executor: Executor | None = None,
    **options: Unpack[PlanOptions],
) -> PlanResult | Pieces:
    """`plan` for any job: also for one that makes several programs.

    Parameters
    ----------
    part, out, job, machine, material, progress, executor, **options
        As of `plan`.

    Returns
    -------
    PlanResult or Pieces
        `Pieces` where the job cuts the part into segments, or prints several parts one after another.

    Examples
    --------
    >>> import beadwright
    >>> made = beadwright.plan_pieces("tall.step", "out", cut=[{"z": 1200.0}])  # doctest: +SKIP
    >>> [name for name, result in made.results]  # doctest: +SKIP
    ['segment_1', 'segment_2']
    """
    resolved = resolve(options, job=job, machine=machine, material=material)
    return plan_any(part, out, resolved=resolved, progress=progress, executor=executor)


def plan_any(
    part: Any,
    out: str | Path | None,
    *,
    resolved: Resolved,
    progress: Progress | None = None,
    executor: Executor | None = None,
) -> PlanResult | Pieces:
    """`plan_pieces` with settings that are resolved already."""
    settings = resolved.settings
    plan = plan_segments if settings.cut else plan_in_turn if in_turn(settings) else plan_part
    return plan(part, out, resolved=resolved, progress=progress, executor=executor)
