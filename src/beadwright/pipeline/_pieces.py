"""Several programs from one job, a folder each: what all of them give."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from beadwright import __version__
from beadwright.errors import GeometryError, SettingsError
from beadwright.pipeline._json import as_text
from beadwright.pipeline._output import SEVERAL, Output
from beadwright.pipeline._result import PlanResult

FORMAT = "beadwright pieces 1"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pieces:
    """What a job gives that makes several programs.

    Attributes
    ----------
    document : mapping
        What pieces.json holds: see the schema ``pieces.schema.json`` in the package.
    results : tuple of (str, PlanResult)
        Name of the folder, and its plan.
    out : Path or None
        The folder of all.
    """

    document: Mapping[str, Any]
    results: tuple[tuple[str, PlanResult], ...]
    out: Path | None

    @property
    def has_errors(self) -> bool:
        """Whether there is a finding of level error in any of them."""
        return any(result.has_errors for _, result in self.results)


@contextmanager
def named(name: str) -> Iterator[None]:
    """Say in which piece an error of ours was met."""
    try:
        yield
    except (SettingsError, GeometryError) as error:
        raise type(error)(f"{name}: {error}") from error


def told_of(result: PlanResult) -> dict[str, Any]:
    """What pieces.json says of every piece: placement, layers, time and mass as far as known, findings by level."""
    return {
        "placement": result.document["placement"],
        "layers": result.document["totals"]["layers"],
        **_taken(result),
        "findings": dict(sorted(Counter(finding.level for finding in result.findings).items())),
    }


def _taken(result: PlanResult) -> dict[str, float]:
    """Time and mass, as far as they are known."""
    totals = result.document["totals"]
    return {key: totals[key] for key in ("time_s", "mass_kg") if key in totals}


def finished(
    kind: str,
    given: Mapping[str, Any],
    rows: Sequence[Mapping[str, Any]],
    results: Sequence[tuple[str, PlanResult]],
    *,
    output: Output | None,
    out: str | Path | None,
) -> Pieces:
    """All pieces with their document, which is written into the folder of all if there is one."""
    document = {
        "format": FORMAT,
        "version": __version__,
        "kind": kind,
        **given,
        "pieces": rows,
        "totals": totals_of([result for _, result in results]),
    }
    if output is not None:
        output.write(SEVERAL, as_text(document))
    return Pieces(document=document, results=tuple(results), out=None if out is None else Path(out))


def totals_of(results: Sequence[PlanResult]) -> dict[str, float]:
    """Sums of what is known of all."""
    rows = [_taken(result) for result in results]
    return {key: math.fsum(row[key] for row in rows) for key in rows[0] if all(key in row for row in rows)}
