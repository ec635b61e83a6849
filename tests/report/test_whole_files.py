"""Files that appear whole or not at all."""

import errno
import os

import pytest

from beadwright.errors import OutputError
from beadwright.report import write_whole


def test_written_and_replaced(tmp_path):
    path = tmp_path / "a.svg"
    assert write_whole(path, b"one") == path
    write_whole(str(path), b"two")
    assert path.read_bytes() == b"two"
    assert list(tmp_path.iterdir()) == [path]


def test_permissions_are_those_of_a_plain_file(tmp_path):
    (tmp_path / "plain").write_bytes(b"")
    path = write_whole(tmp_path / "whole", b"")
    assert path.stat().st_mode == (tmp_path / "plain").stat().st_mode


def test_missing_folder_names_the_remedy(tmp_path):
    with pytest.raises(OutputError, match="check the folder"):
        write_whole(tmp_path / "no" / "a.svg", b"")


@pytest.mark.parametrize(
    ("raised", "seen"),
    [
        (OSError(errno.ENOSPC, "No space left on device"), OutputError),
        (KeyboardInterrupt(), KeyboardInterrupt),
    ],
)
def test_full_disk_and_interrupt_leave_what_was_there(tmp_path, monkeypatch, raised, seen):
    path = tmp_path / "a.svg"
    path.write_bytes(b"earlier")

    def fail(handle):
        raise raised

    monkeypatch.setattr(os, "fsync", fail)
    with pytest.raises(seen):
        write_whole(path, b"new")
    assert path.read_bytes() == b"earlier"
    assert list(tmp_path.iterdir()) == [path]
