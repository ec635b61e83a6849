"""Is this a STEP file at all? Checks on the text before the reader sees it."""

from __future__ import annotations

import gzip
import hashlib
import re
import zlib
from dataclasses import dataclass
from pathlib import Path

from beadwright.errors import StepError

_EXACT = re.compile(rb"\b(?:ADVANCED_FACE|FACE_SURFACE|FACETED_BREP|GEOMETRIC_SET)\s*\(")
_ONLY_TRIANGLES = re.compile(rb"\b\w*TESSELLATED_\w*\s*\(|\bTRIANGULATED_\w*\s*\(")
_FINITE_ELEMENTS = re.compile(rb"\b(?:\w+_ELEMENT_REPRESENTATION|FEA_MODEL\w*)\s*\(")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StepText:
    """The text of a STEP file.

    Attributes
    ----------
    file : str
        Name without its folder.
    sha256 : str
        Of the file as given, packed or not.
    data : bytes
        Unpacked.
    schema : str
    """

    file: str
    sha256: str
    data: bytes
    schema: str


def load(path: str | Path) -> StepText:
    """Read and check the text of a STEP file, plain or packed by gzip.

    Raises
    ------
    StepError
        No such file, empty, a pointer to a file elsewhere, not STEP, truncated, or without exact shape.
    """
    path = Path(path)
    file = path.name
    try:
        raw = path.read_bytes()
    except IsADirectoryError as error:
        raise StepError(f"{file} is a folder; name the STEP file inside it") from error
    except OSError as error:
        raise StepError(f"{file}: cannot be read ({error.strerror}); check the path") from error
    sha256 = hashlib.sha256(raw).hexdigest()
    data = raw
    if raw[:2] == b"\x1f\x8b":
        try:
            data = gzip.decompress(raw)
        except (EOFError, gzip.BadGzipFile, zlib.error) as error:
            raise StepError(
                f"{file}: the packed file is damaged or cut short ({error}); copy it again"
            ) from error
    check(data, file)
    found = re.search(rb"FILE_SCHEMA\s*\(\s*\(\s*'([^'{]*)", data)
    schema = found.group(1).decode("latin-1").strip() if found else ""
    return StepText(file=file, sha256=sha256, data=data, schema=schema)


def _first_words(head: bytes) -> str:
    """The beginning of a text, for a message: printable ASCII of its first line only."""
    words = head[:24].split(b"\n")[0].decode("ascii", "replace")
    return "".join(c if c.isascii() and c.isprintable() else "?" for c in words).strip()


def check(data: bytes, file: str) -> None:
    """Refuse what is no complete STEP text with exact shape, each with its own remedy."""
    head = data[:4096].lstrip(b"\xef\xbb\xbf \t\r\n")
    if not head:
        raise StepError(f"{file}: the file is empty; export it again")
    if head.startswith(b"version https://git-lfs"):
        raise StepError(
            f"{file}: this is a Git-LFS pointer, not the file itself; fetch it with `git lfs pull`"
        )
    if not head.startswith(b"ISO-10303-21"):
        what = "a binary file" if b"\0" in head else f'a file that begins with "{_first_words(head)}"'
        raise StepError(
            f"{file}: expected a STEP file (first words ISO-10303-21), found {what}; export the part as STEP"
        )
    if b"END-ISO-10303-21" not in data[-65536:]:
        raise StepError(
            f"{file}: the STEP file is truncated (END-ISO-10303-21 is missing at its end); "
            "copy or export it again"
        )
    words = _EXACT.findall(data)
    if any(b"GEOMETRIC_SET" not in word for word in words):
        return
    if _ONLY_TRIANGLES.search(data):
        raise StepError(
            f"{file}: holds tessellated shape only (triangles), no exact surfaces; "
            "export the exact solid (B-rep)"
        )
    if _FINITE_ELEMENTS.search(data):
        raise StepError(
            f"{file}: holds a finite-element mesh only, no solid; export the CAD solid it was made from"
        )
    if not words:
        raise StepError(
            f"{file}: holds no shape (no solid, shell or face); export the part itself, not only its data"
        )
