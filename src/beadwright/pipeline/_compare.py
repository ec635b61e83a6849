"""Two plans or programs of one part, or of two revisions of it: what changed, by layer and by face."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from beadwright.brep import match_faces
from beadwright.curves import ArcPath, distances, samples
from beadwright.errors import InputError
from beadwright.pipeline._chosen import told_marks
from beadwright.settings import ROUNDING_UNITS

if TYPE_CHECKING:
    from beadwright.verify import Reading

Floats = npt.NDArray[np.float64]
Progress = Callable[[str, int, int], None]

STEP = 2.0
"""Greatest distance of samples along beads, mm."""
SAME_HEIGHT = 1e-3
"""Layers whose tops differ by no more are the same layer, mm."""
UNMOVED = 1e-6
"""Centroids and lengths (mm), areas and other measures (share) that differ by less are the same: what two exports of
one part leave."""
MEASURES = ("length_mm", "beads", "moves", "feed_s", "time_s", "mass_kg", "area_mm2", "bound_mm")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Side:
    """One of the two: a plan's folder, or a program alone.

    Attributes
    ----------
    name : str
    plan : mapping or None
        What plan.json holds, if there is one.
    layers : tuple of mapping
        By layer: ``z_mm`` and whatever of `MEASURES` is known.
    paths : tuple of tuple of ArcPath
        Of each layer, the moves with the extruder on.
    digit : float
        Last digit of its coordinates as its head tells it, mm; 0 where it does not.
    sha256 : str
        Of plan.json; "" for a program alone.
    """

    name: str
    plan: Mapping[str, Any] | None
    layers: tuple[dict[str, float], ...]
    paths: tuple[tuple[ArcPath, ...], ...]
    digit: float = 0.0
    sha256: str = ""

    def rest_of(self, other: Side) -> int | None:
        """Layer from which on this is the rest of another plan; None where it is not."""
        join = (self.plan or {}).get("join", {})
        if not other.sha256 or join.get("old_plan_sha256") != other.sha256:
            return None
        return int(join["layer"])

    def total(self) -> dict[str, float]:
        """Sums over the layers; of bounds the worst."""
        told: dict[str, float] = {"layers": float(len(self.layers))}
        for key in MEASURES:
            values = [layer[key] for layer in self.layers if key in layer]
            if len(values) == len(self.layers) and values:
                told[key] = max(values) if key == "bound_mm" else math.fsum(values)
        return told


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Comparison:
    """What changed from A to B; measures of both sides, absent where a side does not tell them.

    Attributes
    ----------
    a, b : str
        Names.
    same : bool
        Nothing changed: settings, faces, layers, and no bead by more than the digits printed.
    totals : mapping of str to (a, b)
    settings : mapping of str to (a, b)
        Those that differ; None where a side has none.
    layers : tuple of mapping
        Those that changed: ``z_mm``, ``index`` of either, measures as pairs, ``moved_mm``, the greatest
        distance between a point of one's beads and the other's nearest bead.
    only_a, only_b : tuple of float
        Tops of layers that the other has not, mm.
    faces : tuple of mapping
        Faces that changed: moved, of another area, gone or new.
    rest : mapping or None
        Which side is the ``rest`` of the other (``a`` or ``b``), and from which ``layer`` on; None where neither is.
        Its range of layers is then no setting that differs.
    """

    a: str
    b: str
    same: bool
    totals: dict[str, tuple[float, float]]
    settings: dict[str, tuple[Any, Any]]
    layers: tuple[dict[str, Any], ...]
    only_a: tuple[float, ...]
    only_b: tuple[float, ...]
    faces: tuple[dict[str, Any], ...]
    rest: dict[str, Any] | None = None

    def as_dict(self) -> dict[str, Any]:
        """As JSON has it."""
        return {
            "format": "beadwright compare 1",
            "a": self.a,
            "b": self.b,
            "same": self.same,
            "totals": {key: list(pair) for key, pair in self.totals.items()},
            "settings": {key: list(pair) for key, pair in self.settings.items()},
            "layers": list(self.layers),
            "only_a_z_mm": list(self.only_a),
            "only_b_z_mm": list(self.only_b),
            "faces": list(self.faces),
            **({} if self.rest is None else {"rest": self.rest}),
        }


def compare(a: str | Path, b: str | Path, progress: Progress | None = None) -> Comparison:
    """Compare two plans (their folders) or programs (their files).

    Parameters
    ----------
    a, b : str or Path
        A folder that `plan` wrote, or RS274/NGC text of whatever origin.
    progress : callable, optional
        Called as ``progress(stage, done, total)``.

    Raises
    ------
    InputError
        One cannot be read, or holds no motion with the extruder on.
    """
    tell = progress or (lambda *_: None)
    tell("reading", 0, 2)
    first = read_side(Path(a))
    tell("reading", 1, 2)
    second = read_side(Path(b))
    pairs, only_a, only_b = _paired(first, second)
    changed = []
    for done, (i, j) in enumerate(pairs):
        tell("layers", done, len(pairs))
        row = _layer(first, i, second, j)
        if row is not None:
            changed.append(row)
    settings, rest = _settings(first, second), _rest(first, second)
    if rest is not None:
        settings.pop("layers", None)
    faces = _faces(first, second)
    one, two = first.total(), second.total()
    return Comparison(
        a=first.name,
        b=second.name,
        same=not (settings or faces or changed or only_a or only_b),
        totals={key: (one[key], two[key]) for key in one if key in two},
        settings=settings,
        layers=tuple(changed),
        only_a=only_a,
        only_b=only_b,
        faces=faces,
        rest=rest,
    )


def _rest(a: Side, b: Side) -> dict[str, Any] | None:
    """Which side is the rest of the other, as its join tells."""
    for name, layer in (("a", a.rest_of(b)), ("b", b.rest_of(a))):
        if layer is not None:
            return {"rest": name, "layer": layer}
    return None


def read_side(path: Path) -> Side:
    """A plan's folder or a program's file.

    Raises
    ------
    InputError
        It cannot be read.
    """
    from beadwright.verify import read  # loads the CAD kernel, which no worker needs

    plan: dict[str, Any] | None = None
    program, sha256 = path, ""
    if path.is_dir():
        program = path / "program.nc"
        try:
            held = (path / "plan.json").read_bytes()
            plan, sha256 = json.loads(held), hashlib.sha256(held).hexdigest()
        except (OSError, ValueError) as reason:
            raise InputError(
                f"{path}: is no folder that `plan` wrote: its plan.json cannot be read"
            ) from reason
    try:
        text = program.read_bytes().decode("ascii", errors="replace")
    except OSError as reason:
        raise InputError(f"{program}: cannot be read: {reason.strerror}") from reason
    reading = read(text)
    if not reading.moves.flow.any():
        raise InputError(
            f"{program}: no motion has the extruder on; if it is switched by other words than M3 and M5, or by an"
            " axis, compare folders that `plan` wrote"
        )
    rows, paths = _by_layer(reading)
    if plan is not None and len(plan["layers"]) >= len(rows):
        told = {round(layer["z_mm"], 4): layer for layer in plan["layers"]}
        rows = [_of_plan(told.get(round(row["z_mm"], 4)), row) for row in rows]
    return Side(
        name=str(path),
        plan=plan,
        layers=tuple(rows),
        paths=tuple(paths),
        digit=_digit(reading),
        sha256=sha256,
    )


def _digit(reading: Reading) -> float:
    """Last digit of a program's coordinates, mm; 0 where its head does not tell it."""
    told = reading.told.header.get("decimals", "")
    return float(10.0 ** -int(told)) * max(reading.units, default=1.0) if told.isdecimal() else 0.0


def _of_plan(layer: Mapping[str, Any] | None, row: dict[str, float]) -> dict[str, float]:
    """What the plan says of a layer, over what its moves say."""
    if layer is None:
        return row
    told = {key: float(layer[key]) for key in ("time_s", "mass_kg", "area_mm2") if key in layer}
    return row | told | {"bound_mm": float(layer["bounds_mm"]["total"])}


def _by_layer(reading: Reading) -> tuple[list[dict[str, float]], list[tuple[ArcPath, ...]]]:
    """Moves with the extruder on by the height at which they end."""
    moves = reading.moves
    on = np.flatnonzero(moves.flow & (moves.length > 0))
    tops = np.round(moves.end[on, 2], 4)
    if reading.told.layers:
        # a climbing wall belongs to its layer, whatever height it is at
        own = {row: layer.value("z") for row, layer in enumerate(reading.told.layers)}
        tops = np.array(
            [own.get(int(row), z) for row, z in zip(moves.layer[on], tops, strict=True)], dtype=float
        )
    rows, paths = [], []
    for top in np.unique(tops):
        mine = on[tops == top]
        breaks = np.flatnonzero(np.diff(mine) > 1) + 1
        strands = np.split(mine, breaks)
        rows.append(
            {
                "z_mm": float(top),
                "beads": float(len(strands)),
                "moves": float(len(mine)),
                "length_mm": float(moves.length[mine].sum()),
                "feed_s": float(np.nansum(moves.seconds[mine])),
            }
        )
        paths.append(tuple(_path(reading, strand) for strand in strands))
    return rows, paths


def _path(reading: Reading, rows: npt.NDArray[np.int64]) -> ArcPath:
    moves, none = reading.moves, np.full(len(rows), -1, np.int32)
    sweep = np.where(moves.plane[rows] == 170, moves.sweep[rows], 0.0)
    return ArcPath(
        points=np.vstack([moves.start[rows[:1], :2], moves.end[rows, :2]]),
        bulge=np.tan(sweep / 4),
        face=none,
        support=none,
        closed=False,
    )


def _paired(a: Side, b: Side) -> tuple[list[tuple[int, int]], tuple[float, ...], tuple[float, ...]]:
    """Layers with the same top, and the tops that one side alone has."""
    tops_a = np.array([layer["z_mm"] for layer in a.layers])
    tops_b = np.array([layer["z_mm"] for layer in b.layers])
    gap = np.abs(tops_a[:, None] - tops_b)
    pairs = [(i, int(row.argmin())) for i, row in enumerate(gap) if row.min() <= SAME_HEIGHT]
    left, right = {i for i, _ in pairs}, {j for _, j in pairs}
    return (
        pairs,
        tuple(float(z) for i, z in enumerate(tops_a) if i not in left),
        tuple(float(z) for j, z in enumerate(tops_b) if j not in right),
    )


def _layer(a: Side, i: int, b: Side, j: int) -> dict[str, Any] | None:
    """What changed in a layer; None if nothing did."""
    one, two = a.layers[i], b.layers[j]
    moved = 0.0
    if not _identical(a.paths[i], b.paths[j]):
        there = distances(b.paths[j], samples(a.paths[i], STEP))
        back = distances(a.paths[i], samples(b.paths[j], STEP))
        moved = float(max(there.max(), back.max()))
    row: dict[str, Any] = {"z_mm": one["z_mm"], "index": [i, j]}
    for key in MEASURES:
        if key in one and key in two and _differ(key, one[key], two[key]):
            row[key] = [one[key], two[key]]
    if moved > ROUNDING_UNITS * (a.digit + b.digit):
        row["moved_mm"] = moved
    return row if len(row) > 2 else None


def _differ(key: str, one: float, two: float) -> bool:
    """Whether a measure of a layer changed: a count at all, another by more than rounding leaves."""
    share = 0.0 if key in {"beads", "moves"} else UNMOVED
    return not math.isclose(one, two, rel_tol=share, abs_tol=share)


def _identical(one: Sequence[ArcPath], two: Sequence[ArcPath]) -> bool:
    return len(one) == len(two) and all(
        p.points.shape == q.points.shape
        and bool((p.points == q.points).all())
        and bool((p.bulge == q.bulge).all())
        for p, q in zip(one, two, strict=True)
    )


def _settings(a: Side, b: Side) -> dict[str, tuple[Any, Any]]:
    if a.plan is None or b.plan is None:
        return {}
    one, two = a.plan["settings"], b.plan["settings"]
    found = {}
    for key in dict.fromkeys([*one, *two]):
        pair = tuple(side[key]["value"] if key in side else None for side in (one, two))
        if pair[0] != pair[1]:
            found[key] = (pair[0], pair[1])
    return found


def _faces(a: Side, b: Side) -> tuple[dict[str, Any], ...]:
    """Faces found again by name, then by signature; those that moved or changed, went or came."""
    if a.plan is None or b.plan is None:
        return ()
    left = {face["id"]: face for face in a.plan["faces"]}
    right = list(b.plan["faces"])
    matched = match_faces(told_marks(list(left.values())), told_marks(right))
    found = []
    for key, row in matched.row.items():
        face, other = left[key], right[row]
        laid = face.get("contour_mm", 0.0), other.get("contour_mm", 0.0)
        away = math.dist(face["centroid_mm"], other["centroid_mm"])
        grown = abs(other["area_mm2"] - face["area_mm2"])
        if away > UNMOVED or grown > UNMOVED * face["area_mm2"] or abs(laid[1] - laid[0]) > UNMOVED:
            told = _named(face) | {"id_b": other["id"], "moved_mm": away}
            told["area_mm2"] = [face["area_mm2"], other["area_mm2"]]
            told["contour_mm"] = list(laid)
            found.append({"change": "changed", **told})
    found += [{"change": "gone", **_named(left[key])} for key in matched.missing]
    kept = set(matched.row.values())
    found += [{"change": "new", **_named(face)} for row, face in enumerate(right) if row not in kept]
    return tuple(found)


def _named(face: Mapping[str, Any]) -> dict[str, Any]:
    return {"id": face["id"], "name": face["name"], "kind": face["kind"]}
