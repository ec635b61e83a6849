"""Where a verification is written: a sheet beside the program, or a folder of its own."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from beadwright.errors import OutputError, SettingsError
from beadwright.pipeline._json import as_text
from beadwright.pipeline._output import output_folder
from beadwright.report import write_whole

if TYPE_CHECKING:
    from beadwright.verify import Verification

Write = Callable[[str, "Verification"], Path]
"""Writes a page and what it shows; gives the page's file."""
_OURS = re.compile(rb'"format": ?"beadwright sheet \d+", ?"kind": ?"verification"')
"""How the head of a verification's sheet begins."""
PAGE, RESULT = "report.html", "verification.json"
FILES = frozenset({PAGE, RESULT})
"""What a verification's folder holds."""
HEAD = 1 << 18
"""Bytes in which it begins."""


def sheet_beside(program: str | Path) -> Path:
    """The sheet's file beside a program.

    Examples
    --------
    >>> sheet_beside("out/program.nc").as_posix()
    'out/program_verify.html'
    """
    path = Path(program)
    return path.with_name(f"{path.stem}_verify.html")


@contextmanager
def verification_output(
    sheet: str | Path | None, out: str | Path | None, *, overwrite: bool
) -> Iterator[Write | None]:
    """A place for a verification, refused before the work begins if it cannot be taken.

    Parameters
    ----------
    sheet : str or Path, optional
        One file, ``.html``. An earlier sheet of a verification is replaced; anything else only with `overwrite`.
    out : str or Path, optional
        A folder, made whole or not at all, with ``report.html`` and ``verification.json``.
    overwrite : bool

    Raises
    ------
    SettingsError
        Both are asked for.
    OutputError
        The place cannot be taken.
    """
    if sheet is not None and out is not None:
        raise SettingsError("--sheet and --out exclude each other: the folder holds the sheet as report.html")
    if out is not None:
        folder = Path(out)
        with output_folder(folder, overwrite=overwrite, check=_check_folder) as output:

            def both(page: str, found: Verification) -> Path:
                output.write(PAGE, page)
                output.write(RESULT, as_text(found.as_dict()))
                return folder / PAGE

            yield both
        return
    if sheet is None:
        yield None
        return
    path = Path(sheet)
    _check(path, overwrite=overwrite)
    yield lambda page, _: write_whole(path, page.encode())


def _check_folder(path: Path, overwrite: bool) -> None:
    """Refuse a folder that a verification must not take: it may be new, empty, or an earlier verification's."""
    if not path.parent.is_dir():
        raise OutputError(f"cannot make the folder {path}: {path.parent} is no folder; make it first")
    if not os.path.lexists(path):
        return
    if not path.is_dir():
        raise OutputError(f"{path} is a file; give the folder of the verification another name")
    try:
        inside = {each.name for each in path.iterdir()}
    except OSError as reason:
        raise OutputError(f"{path}: cannot be read: {reason.strerror}") from reason
    if not inside:
        return
    if not inside <= FILES or RESULT not in inside:
        raise OutputError(
            f"{path} holds {min(inside - FILES or inside)}, which is no verification's; it stays as it is: choose"
            " another folder"
        )
    if not overwrite:
        raise OutputError(
            f"{path} holds an earlier verification; --overwrite replaces it, or choose another folder"
        )


def _check(path: Path, *, overwrite: bool) -> None:
    """Refuse a file that a sheet must not take, or cannot."""
    if path.suffix.lower() != ".html":
        raise OutputError(f"{path}: the sheet is a page; give a name that ends in .html")
    if not path.parent.is_dir():
        raise OutputError(f"{path}: {path.parent} is no folder; make it first, or name another with --sheet")
    if not os.access(path.parent, os.W_OK):
        raise OutputError(
            f"{path}: there is no permission to write there; name another place with --sheet or --out, or leave the"
            " sheet out with --no-sheet"
        )
    if overwrite or not path.exists():
        return
    try:
        with path.open("rb") as file:
            ours = _OURS.search(file.read(HEAD)) is not None
    except OSError as reason:
        raise OutputError(f"{path}: cannot be read: {reason.strerror}") from reason
    if not ours:
        raise OutputError(
            f"{path} is no sheet of a verification; --overwrite replaces it, or name another file with --sheet"
        )
