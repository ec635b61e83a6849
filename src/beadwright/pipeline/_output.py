"""The output folder: written whole or not at all."""

from __future__ import annotations

import contextlib
import errno
import json
import os
import re
import secrets
import shutil
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from beadwright.errors import OutputError

FORMAT = "beadwright plan 1"
"""What `plan.json` says of itself."""

RELEASE = frozenset({"dry_run.nc", "trace.nc", "release.json", "job_record.json", "job_record.txt"})
"""Files of a release."""

FILES = RELEASE | frozenset({"program.nc", "plan.json", "run.json", "report.html"})
"""All files that an output folder of ours may hold."""

SHEET_OF_A_PIECE = "measured.csv"
"""What is measured on a test piece is written into it, so no command replaces it."""

PARTS = re.compile(r"program-\d{3,5}\.nc|program(-\d{3,5})?_verify\.html")
"""Names of the files into which a dialect cuts a program, and of the sheets of their verification."""

SEVERAL = "pieces.json"
"""What stands at the top of an output that holds a folder for each piece."""

PIECE = re.compile(r"(segment|part)_\d{1,3}")
"""Names of such folders; a segment's holds its own STEP file, which has the same name."""

_ENDINGS = {"lf": "\n", "crlf": "\r\n"}
PART = 1 << 20
"""Characters of a text that are written at once."""

_WHY = {
    errno.ENOSPC: "the disk is full; free some space or choose another folder",
    errno.EDQUOT: "the disk quota is used up; free some space or choose another folder",
    errno.EFBIG: "the file would be larger than allowed here; choose another folder",
    errno.EROFS: "the file system is read-only; choose another folder",
    errno.EACCES: "there is no permission to write there; choose another folder",
    errno.EPERM: "there is no permission to write there; choose another folder",
    errno.ENOTDIR: "a part of its path is a file; choose another folder",
    errno.ENAMETOOLONG: "the name is too long; choose a shorter one",
}


@dataclass(frozen=True, slots=True)
class Output:
    """A folder that is being made under a name of its own, beside where it will stand."""

    folder: Path

    def write_bytes(self, name: str, data: bytes) -> Path:
        """Write a file of bytes; where it stands until the folder takes its name.

        Raises
        ------
        OutputError
            It cannot be written.
        """
        path = self.folder / name
        with told(f"cannot write {name}"):
            path.write_bytes(data)
        return path

    def write(self, name: str, text: str | Iterable[str], *, ending: Literal["lf", "crlf"] = "lf") -> None:
        """Write one file and have it on the disk before going on.

        Parameters
        ----------
        name : str
        text : str or iterable of str
            With plain line ends; parts are written as they come, so that no whole of them is needed.
        ending : {"lf", "crlf"}
            What they become.

        Raises
        ------
        OutputError
            It cannot be written.
        """
        path = self.folder / name
        with told(f"cannot write {name}"), path.open("w", encoding="utf-8", newline=_ENDINGS[ending]) as file:
            # A text is encoded part by part: whole, it would stand in memory once more.
            parts = (text[i : i + PART] for i in range(0, len(text), PART)) if isinstance(text, str) else text
            file.writelines(parts)
            file.flush()
            os.fsync(file.fileno())


@contextlib.contextmanager
def output_folder(
    out: str | Path, *, overwrite: bool, check: Callable[[Path, bool], None] | None = None
) -> Iterator[Output]:
    """Make a folder that takes its name only when all in it is written.

    Inside the block files are written to a temporary folder beside `out`. At its end that folder is renamed
    to `out`. If the block raises, whatever it is, the temporary folder is removed and `out` is as it was. An
    earlier output stays until the new one is whole.

    Parameters
    ----------
    out : str or Path
        Must not exist, be empty, or, with `overwrite`, be an earlier output of ours.
    overwrite : bool
        Whether an earlier output may be replaced.
    check : callable, optional
        Refuses a place, given that and `overwrite`; by default any but that of an earlier plan.

    Raises
    ------
    OutputError
        Refused, or the disk cannot take it.
    """
    path = Path(os.path.realpath(out))
    check = check or _check_plan
    check(path, overwrite)
    temporary = path.with_name(f".{path.name[:100]}.{secrets.token_hex(4)}.part")
    with told(f"cannot make the output folder {path}"):
        temporary.mkdir()
    try:
        yield Output(temporary)
        check(path, overwrite)
        with told(f"cannot name the output folder {path}"):
            _rename(temporary, path)
    finally:
        try:
            shutil.rmtree(temporary, ignore_errors=True)
        except KeyboardInterrupt:  # a second one, of somebody in a hurry
            shutil.rmtree(temporary, ignore_errors=True)
            raise


def _check_plan(path: Path, overwrite: bool) -> None:
    check_output(path, overwrite=overwrite)


def check_output(path: Path, *, overwrite: bool) -> None:
    """Refuse a place that an output must not take.

    Raises
    ------
    OutputError
        With what is there and what to do.
    """
    if not path.parent.is_dir():
        raise OutputError(f"cannot make the output folder {path}: {path.parent} is no folder; make it first")
    if not os.path.lexists(path):
        return
    if not path.is_dir():
        raise OutputError(f"{path} is a file; give the output folder another name")
    with told(f"cannot read the output folder {path}"):
        inside = sorted(p.name for p in path.iterdir())
    if not inside:
        return
    if SHEET_OF_A_PIECE in inside:
        raise OutputError(
            f"{path} holds the {SHEET_OF_A_PIECE} of a test piece, which somebody may have filled in;"
            " choose another folder"
        )
    foreign = _foreign(path, inside)
    if not _is_ours(path) or foreign:
        what = f"holds {foreign}" if foreign else "holds files"
        raise OutputError(
            f"{path} {what}, which is no output of beadwright; choose another folder or empty it"
        )
    if not overwrite:
        raise OutputError(
            f"{path} holds an earlier output; --overwrite replaces it, or choose another folder"
        )
    if any(_is_recorded(each) for each in (path, *_pieces(path, inside))):
        raise OutputError(
            f"{path} holds a job record with entries of its own, which is never replaced; choose another folder"
        )


def _pieces(path: Path, inside: Sequence[str]) -> list[Path]:
    """Folders of pieces in an output that holds several."""
    if SEVERAL not in inside:
        return []
    return [path / name for name in inside if PIECE.fullmatch(name) and (path / name).is_dir()]


def _foreign(path: Path, inside: Sequence[str]) -> str:
    """The first name in a folder that no output of ours has; empty if there is none."""
    pieces = {piece.name: piece for piece in _pieces(path, inside)}
    for name in inside:
        if name in pieces:
            own = sorted(p.name for p in pieces[name].iterdir())
            found = _foreign(pieces[name], own) if _is_ours(pieces[name]) else own[0] if own else ""
            if found:
                return f"{name}/{found}"
        elif not (name in FILES or name == SEVERAL or PARTS.fullmatch(name)):
            step = name.removesuffix(".step")
            if not (PIECE.fullmatch(step) and name != step and path.name == step):
                return name
    return ""


def _is_ours(path: Path) -> bool:
    """Whether a folder's plan.json, or its list of pieces, is one that we wrote."""
    for name, start in (("plan.json", "beadwright plan "), (SEVERAL, "beadwright pieces ")):
        try:
            found = json.loads((path / name).read_text(encoding="utf-8"))
        except (OSError, ValueError):
            continue
        if isinstance(found, dict) and str(found.get("format", "")).startswith(start):
            return True
    return False


def _is_recorded(path: Path) -> bool:
    """Whether somebody added to the job record of a folder, or it cannot be told."""
    file = path / "job_record.json"
    if not file.exists():
        return False
    try:
        found = json.loads(file.read_text(encoding="utf-8"))
        return len(found["entries"]) > 1
    except (OSError, ValueError, KeyError, TypeError):
        return True


def _rename(temporary: Path, path: Path) -> None:
    """Give the new folder its name; the old one goes only after that, and comes back if it fails."""
    if not path.exists():
        temporary.rename(path)
        return
    old = path.with_name(f".{path.name[:100]}.{secrets.token_hex(4)}.old")
    path.rename(old)
    try:
        temporary.rename(path)
    except OSError:
        old.rename(path)
        raise
    shutil.rmtree(old, ignore_errors=True)


@contextlib.contextmanager
def told(what: str) -> Iterator[None]:
    """Turn what the system says into an error of ours, in words."""
    try:
        yield
    except OSError as error:
        why = _WHY.get(error.errno or 0, f"{error.strerror or error}")
        raise OutputError(f"{what}: {why}") from error
