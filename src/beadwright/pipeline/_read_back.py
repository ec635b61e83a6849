"""Files read back from a controller, held against the list that was released."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from beadwright.errors import InputError
from beadwright.numeric import Finding

if TYPE_CHECKING:
    from beadwright.verify import Verification


def read_back(release: Path, folder: Path) -> tuple[tuple[int | None, Finding], ...]:
    """Hold every file of a release that goes to the machine against its copy in a folder.

    Parameters
    ----------
    release : Path
        release.json. Where the files released still stand beside it, whole, they tell the line that differs.
    folder : Path
        Where the files read back from the controller lie, under their own names.

    Returns
    -------
    tuple of (line or None, Finding)
        Empty if all are there, byte for byte.

    Raises
    ------
    InputError
        The list cannot be read.
    """
    try:
        document = json.loads(release.read_text(encoding="utf-8"))
        rows = [row for row in document["files"] if row["for"] == "machine"]
        wanted = {row["name"]: (int(row["bytes"]), str(row["sha256"]), row) for row in rows}
    except OSError as reason:
        raise InputError(f"{release}: cannot be read: {reason.strerror}") from reason
    except (ValueError, KeyError, TypeError) as reason:
        raise InputError(f"{release}: is no release.json of ours") from reason
    found: list[tuple[int | None, Finding]] = []
    for name, (size, digest, row) in wanted.items():
        try:
            data = (folder / name).read_bytes()
        except OSError:
            found.append((None, _error("not-read-back", f"{name} was released and is not in {folder}")))
            continue
        if hashlib.sha256(data).hexdigest() == digest:
            continue
        line, text = _difference(data, release.parent / name, digest, row)
        found.append((line, _error("not-as-released", f"{name} {text}", len(data), size)))
    return tuple(found)


def _error(code: str, text: str, measured: int | None = None, allowed: int | None = None) -> Finding:
    unit = "" if measured is None else "bytes"
    return Finding(code=code, level="error", text=text, measured=measured, allowed=allowed, unit=unit)


def _difference(data: bytes, original: Path, digest: str, row: Mapping[str, Any]) -> tuple[int | None, str]:
    """Where a file differs from what was released, as well as that can be known."""
    try:
        whole = original.read_bytes()
    except OSError:
        whole = b""
    if hashlib.sha256(whole).hexdigest() == digest:
        mine, theirs = data.split(b"\n"), whole.split(b"\n")
        for line, (one, other) in enumerate(zip(mine, theirs, strict=False), 1):
            if one.rstrip(b"\r") != other.rstrip(b"\r"):
                return line, f"differs from what was released: {_shown(one)} where {_shown(other)} stood"
        if len(mine) != len(theirs):
            return min(len(mine), len(theirs)), "ends elsewhere than what was released"
        return None, "has other line ends than what was released"
    blocks = [line for line in data.decode("ascii", errors="replace").splitlines() if line and line[0] != "("]
    if not blocks or blocks[0] != row.get("first_block"):
        return None, f"does not begin with the block released, {row.get('first_block')}"
    if blocks[-1] != row.get("last_block"):
        return None, f"does not end with the block released, {row.get('last_block')}: it was cut off"
    return None, "differs from what was released by its hash"


def _shown(line: bytes) -> str:
    return repr(line.decode("ascii", errors="replace").strip())


def with_read_back(found: Verification, release: Path, folder: Path) -> Verification:
    """A verification with the findings of `read_back` at its head.

    Raises
    ------
    InputError
        The list cannot be read.
    """
    return with_more(found, read_back(release, folder))


def with_more(found: Verification, more: Sequence[tuple[int | None, Finding]]) -> Verification:
    """A verification with more findings, each with its line or None, at its head."""
    from beadwright.verify import Noted

    rows = [*more, *((noted.line, noted.finding) for noted in found.findings)]
    counts = dict(found.counts)
    for _, finding in more:
        counts[finding.code] = counts.get(finding.code, 0) + 1
    noted = tuple(Noted(number=k, line=line, finding=finding) for k, (line, finding) in enumerate(rows, 1))
    return replace(found, findings=noted, counts=counts)
