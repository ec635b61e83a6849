"""Files read back from a controller: whole, cut off, with a flipped byte, missing, with other line ends."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest

from beadwright.errors import InputError
from beadwright.pipeline._read_back import read_back

LINES = [b"(program contract=1)", b"G21 G17 G90 G94", b"G1 X1.0000 Y2.0000", b"G1 X3.0000 Y2.0000", b"M2"]
TEXT = b"\n".join(LINES) + b"\n"


@pytest.fixture
def release(tmp_path: Path) -> Path:
    """A release of one program, with its list."""
    folder = tmp_path / "released"
    folder.mkdir()
    (folder / "program.nc").write_bytes(TEXT)
    row = {
        "name": "program.nc",
        "bytes": len(TEXT),
        "sha256": hashlib.sha256(TEXT).hexdigest(),
        "first_block": "G21 G17 G90 G94",
        "last_block": "M2",
        "for": "machine",
    }
    path = folder / "release.json"
    path.write_text(json.dumps({"format": "beadwright release 1", "files": [row]}))
    return path


def back(tmp_path: Path, data: bytes | None) -> Path:
    folder = tmp_path / "back"
    folder.mkdir()
    if data is not None:
        (folder / "program.nc").write_bytes(data)
    return folder


def test_the_same_bytes_are_no_finding(release: Path, tmp_path: Path) -> None:
    assert read_back(release, back(tmp_path, TEXT)) == ()


@pytest.mark.parametrize("with_originals", [True, False])
def test_a_flipped_byte_is_found_at_its_line(release: Path, tmp_path: Path, with_originals: bool) -> None:
    if not with_originals:
        (release.parent / "program.nc").unlink()
    ((line, finding),) = read_back(release, back(tmp_path, TEXT.replace(b"X3.0000", b"X2.0000")))

    assert finding.code == "not-as-released"
    assert finding.level == "error"
    assert line == (4 if with_originals else None)


@pytest.mark.parametrize("with_originals", [True, False])
def test_a_file_cut_off_is_said_to_be(release: Path, tmp_path: Path, with_originals: bool) -> None:
    if not with_originals:
        (release.parent / "program.nc").unlink()
    half = b"\n".join(LINES[:3]) + b"\n"
    ((line, finding),) = read_back(release, back(tmp_path, half))

    assert finding.measured == len(half)
    assert finding.allowed == len(TEXT)
    assert (line == 4) if with_originals else "cut off" in finding.text


def test_other_line_ends_are_told(release: Path, tmp_path: Path) -> None:
    ((line, finding),) = read_back(release, back(tmp_path, TEXT.replace(b"\n", b"\r\n")))

    assert line is None
    assert "line ends" in finding.text


def test_a_missing_file_is_told(release: Path, tmp_path: Path) -> None:
    ((_, finding),) = read_back(release, back(tmp_path, None))

    assert finding.code == "not-read-back"
    assert "program.nc" in finding.text


@pytest.mark.parametrize("content", [None, "{}", "no json"])
def test_what_is_no_list_is_named(tmp_path: Path, content: str | None) -> None:
    path = tmp_path / "release.json"
    if content is not None:
        path.write_text(content)

    with pytest.raises(InputError, match=r"release\.json"):
        read_back(path, tmp_path)
