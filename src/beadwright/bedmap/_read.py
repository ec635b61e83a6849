"""A file of measured heights to a map, whole or not at all."""

from __future__ import annotations

import hashlib
import math
import re
from pathlib import Path

import numpy as np

from beadwright.bedmap._map import BedMap
from beadwright.errors import InputError

# A map is stored whole in the head of the program; a probe measures some hundred places.
MAX_BYTES = 1_000_000
MAX_PLACES = 10_000
HEADER = ("x", "y", "z")
# So many faults of a file are told one by one.
TOLD = 10
# No platform is narrower than a bead, mm: a map of this size in both directions is one in metres.
NARROW = 10.0
# What a probe can tell apart, mm (common practice: a hundredth). Heights that stay below it all over, but are not 0,
# are metres: they are tenths of a millimetre to millimetres on any real platform.
PROBED = 0.01


def read_map(path: Path) -> BedMap:
    """Read a map.

    Raises
    ------
    InputError
        It cannot be read, or holds no rectangular grid of heights; the message names file and line.
    """
    try:
        if path.stat().st_size > MAX_BYTES:
            raise InputError(f"{path.name}: more than {MAX_BYTES:,} bytes; that is no map of a platform")
        data = path.read_bytes()
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(f"{path.name}: byte {error.start} is not UTF-8 text") from error
    except OSError as error:
        raise InputError(
            f"bed_map: {path} cannot be read: {error.strerror or error}; name a CSV file with rows x,y,z in mm"
        ) from error
    return parse_map(text, name=path.name, sha256=hashlib.sha256(data).hexdigest())


def parse_map(text: str, *, name: str, sha256: str = "") -> BedMap:
    r"""A map from its text: rows ``x,y,z`` in any order, mm; a header and lines that begin with # are passed over.

    Parameters
    ----------
    text : str
    name : str
        Of the file, for messages.
    sha256 : str

    Raises
    ------
    InputError
        Rows are no three numbers or tell a place again, the places make no full rectangular grid, or the numbers can
        be no mm; all faulty rows are told together.

    Examples
    --------
    >>> parse_map("x,y,z\n0,0,0\n10,0,1\n0,10,0\n10,10,1\n", name="bed_map.csv").z.tolist()
    [[0.0, 1.0], [0.0, 1.0]]
    """
    found: dict[tuple[float, float], tuple[float, int]] = {}
    faults: list[str] = []
    rows = 0
    for number, raw in enumerate(text.splitlines(), 1):
        line = raw.strip()
        if not line or line.startswith("#"):
            continue
        words = [word.strip() for word in re.split(r"[,;\t]", line)]
        if not rows and tuple(re.sub(r"[ _(\[]*mm[)\]]?$", "", word.lower()) for word in words) == HEADER:
            continue
        rows += 1
        values = _numbers(words)
        if values is None:
            faults.append(
                f"{name}:{number}: expected three numbers x,y,z in mm with a decimal point, got"
                f" {','.join(words)[:60]!r}"
            )
            continue
        x, y, z = values
        if (x, y) in found:
            faults.append(
                f"{name}:{number}: the place X {x:g} Y {y:g} stands in line {found[x, y][1]} already; keep one row for"
                " each place"
            )
            continue
        found[x, y] = z, number
        if len(found) > MAX_PLACES:
            raise InputError(f"{name}: more than {MAX_PLACES:,} places; take a coarser grid")
    if faults:
        more = len(faults) - TOLD
        raise InputError(
            "\n  ".join([*faults[:TOLD], *([f"and {more} more rows of {name}"] if more > 0 else [])])
        )
    made = _grid(found, name, sha256)
    _check_unit(made)
    return made


def _check_unit(bed: BedMap) -> None:
    """Refuse what can be no mm."""
    (x0, y0), (x1, y1) = bed.box
    low, high = float(bed.z.min()), float(bed.z.max())
    if max(x1 - x0, y1 - y0) < NARROW:
        raise InputError(
            f"{bed.file}: X {x0:g} to {x1:g} and Y {y0:g} to {y1:g} mm is no platform; that looks like metres: write"
            " x, y and z in mm"
        )
    if 0 < max(-low, high) < PROBED:
        raise InputError(
            f"{bed.file}: heights of {low:g} to {high:g} mm are finer than any probe tells apart; that looks like"
            f" metres ({1000 * low:g} to {1000 * high:g} mm): write z in mm, or 0 all over where the platform is level"
        )


def _numbers(words: list[str]) -> list[float] | None:
    """The three numbers of a row; None if they are not that."""
    try:
        values = [float(word) for word in words]
    except ValueError:
        values = []
    return values if len(values) == 3 and all(math.isfinite(v) and abs(v) <= 1e5 for v in values) else None


def _grid(found: dict[tuple[float, float], tuple[float, int]], name: str, sha256: str) -> BedMap:
    """The rectangular grid that the places make."""
    x, y = sorted({place[0] for place in found}), sorted({place[1] for place in found})
    if len(x) < 2 or len(y) < 2:
        raise InputError(
            f"{name}: a map needs at least two values of x and two of y; this one has {len(x)} and {len(y)}"
        )
    missing = len(x) * len(y) - len(found)
    if missing:
        at = next((u, v) for v in y for u in x if (u, v) not in found)
        raise InputError(
            f"{name}: the places make no full rectangular grid: {len(x)} values of x and {len(y)} of y have"
            f" {len(x) * len(y)} crossings, {missing} of them without a height, the first at X {at[0]:g} Y {at[1]:g};"
            " measure there, or write the same x down each column and the same y along each row"
        )
    return BedMap(
        file=name,
        sha256=sha256,
        x=np.array(x),
        y=np.array(y),
        z=np.array([[found[u, v][0] for u in x] for v in y]),
    )
