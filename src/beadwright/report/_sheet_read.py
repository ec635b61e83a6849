"""A sheet that was written, read back: what pictures and exports are made from."""

from __future__ import annotations

import base64
import json
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from beadwright.brep import Triangles
from beadwright.curves import ArcPath
from beadwright.errors import InputError
from beadwright.report._program_moves import LayerMoves, Run
from beadwright.report._sheet_data import FORMAT, LAYOUT, NO_FACE, QUANTUM, SheetData, SheetLayer, unpacked

Floats = npt.NDArray[np.float64]

_HEAD = re.compile(r'<script type="application/json" id="data">(.*?)</script>', flags=re.DOTALL)
_BLOCK = re.compile(r'<script type="text/plain" id="([\w-]+)">([A-Za-z0-9+/=]*)</script>')


def read_sheet(path: str | Path) -> SheetData:
    """Read ``report.html``.

    Parameters
    ----------
    path : str or Path
        The file, or the output folder that it stands in.

    Returns
    -------
    SheetData
        Coordinates are those of the program within half of `QUANTUM`; bulges have 24 bits.

    Raises
    ------
    InputError
        There is no sheet, or it is not one of this version.
    """
    file = Path(path) / "report.html" if Path(path).is_dir() else Path(path)
    try:
        text = file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        why = error.strerror if isinstance(error, OSError) else "it is no text"
        raise InputError(
            f"{file}: cannot be read ({why}); give an output folder of `plan`, or a sheet of `plan` or `verify`"
        ) from error
    found = _HEAD.search(text)
    blocks = dict(_BLOCK.findall(text))
    try:
        head = json.loads(found[1]) if found else {}
        if head.get("format") != FORMAT or head["layout"] != [list(row) for row in LAYOUT]:
            raise InputError(f"{file}: is no sheet of this version of beadwright; plan the part again")
        layers = tuple(_layer(head, row, blocks[f"layer-{k}"]) for k, row in enumerate(head["layers"]))
        edges, triangles = _part(head, blocks.get("part-data"))
    except (KeyError, ValueError) as error:
        raise InputError(f"{file}: is damaged ({error}); plan the part again") from error
    return SheetData(head=head, layers=layers, edges=edges, triangles=triangles)


def _layer(head: Mapping[str, Any], row: Mapping[str, Any], text: str) -> SheetLayer:
    arrays = unpacked(row["counts"], text)
    count = row["counts"]["moves"]
    run_first = arrays["run_first"].astype(np.int64)
    runs = tuple(_run(head["roles"], arrays, k) for k in range(len(run_first)))
    line = arrays["jump"].astype(np.int64)
    # within a run lines are counted on from the run's own
    total = np.cumsum(line)
    last = np.append(run_first[1:], count)[: len(run_first)]
    for first, end, own in zip(run_first, last, arrays["run_line"].tolist(), strict=True):
        line[first:end] = total[first:end] - (total[first - 1] if first else 0) + own
    z = _lengths(arrays["z"]) if len(arrays["z"]) else np.full(count, float(row["z_mm"]))
    moves = LayerMoves(
        told={},
        x=_lengths(arrays["x"]),
        y=_lengths(arrays["y"]),
        z=z,
        bulge=arrays["bulge"].astype(float),
        line=line,
        runs=runs,
    )
    face = arrays["face"].astype(np.int64)
    return SheetLayer(
        row={key: value for key, value in row.items() if key != "counts"},
        moves=moves,
        loops=_loops(arrays, 0),
        part=_loops(arrays, 1),
        face=np.where(face == NO_FACE, -1, face),
        source=arrays["source"].astype(np.int64),
        lost=np.column_stack(
            [
                _lengths(arrays["lost_x"]),
                _lengths(arrays["lost_y"]),
                arrays["lost_length"].astype(float),
                arrays["lost_width"].astype(float),
            ]
        ),
        deviation=arrays["deviation"].astype(float),
    )


def _run(roles: list[str], arrays: Mapping[str, npt.NDArray[Any]], k: int) -> Run:
    return Run(
        first=int(arrays["run_first"][k]),
        line=int(arrays["run_line"][k]),
        x=int(arrays["run_x"][k]) * QUANTUM,
        y=int(arrays["run_y"][k]) * QUANTUM,
        bead=int(arrays["run_bead"][k]),
        role=roles[arrays["run_role"][k]],
        rank=int(arrays["run_rank"][k]),
        hole=bool(arrays["run_hole"][k]),
        width=float(arrays["run_width"][k]),
        height=float(arrays["run_height"][k]),
        offset=float(arrays["run_offset"][k]),
        feed=float(arrays["run_feed"][k]),
    )


def _loops(arrays: Mapping[str, npt.NDArray[Any]], kind: int) -> tuple[ArcPath, ...]:
    """Boundaries of the region (kind 0), or of the part alone (1)."""
    points = np.column_stack([_lengths(arrays["loop_x"]), _lengths(arrays["loop_y"])])
    bulge = arrays["loop_bulge"].astype(float)
    ends = [*arrays["loop_first"][1:].tolist(), len(points)]
    loops = []
    for first, end, own in zip(arrays["loop_first"].tolist(), ends, arrays["loop_part"], strict=False):
        if own != kind:
            continue
        none = np.full(end - first, -1, np.int32)
        loops.append(ArcPath(points=points[first:end], bulge=bulge[first:end], face=none, support=none))
    return tuple(loops)


def _lengths(whole: npt.NDArray[Any]) -> Floats:
    return np.asarray(whole * QUANTUM, dtype=float)


def _part(head: Mapping[str, Any], text: str | None) -> tuple[tuple[Floats, ...], Triangles | None]:
    if text is None:
        return (), None
    told, data, place = head["part"], base64.b64decode(text), 0

    def take(kind: str, count: int) -> npt.NDArray[Any]:
        nonlocal place
        array = np.frombuffer(data, dtype=kind, count=count, offset=place)
        place += array.nbytes
        return array

    points = take("<f4", 3 * told["edges"]["points"]).reshape(-1, 3).astype(float)
    first = take("<u4", told["edges"]["chains"]).astype(np.int64)
    edges = tuple(np.split(points, first[1:])) if len(first) else ()
    shape = told.get("triangles")
    if shape is None:
        return edges, None
    corners = take("<f4", 3 * shape["points"]).reshape(-1, 3).astype(float)
    triangles = Triangles(
        points=corners,
        corners=take("<u4", 3 * shape["count"]).reshape(-1, 3).astype(np.int32),
        face=take("<u4", shape["count"]).astype(np.int32),
        chord=float(shape["chord_mm"]),
    )
    return edges, triangles
