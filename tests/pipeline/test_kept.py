"""Finished layers beyond their share of memory lie in a file without a name, and nothing of a plan changes by it."""

from __future__ import annotations

import errno
import os
import pickle
import signal
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import cadquery as cq
import numpy as np
import pytest

import beadwright
from beadwright.errors import OutputError
from beadwright.pipeline import PlanResult, _kept
from beadwright.pipeline._kept import Aside, Kept

FILES = ("program.nc", "plan.json", "report.html")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Row:
    number: int
    text: str
    array: np.ndarray


def row(number: int) -> Row:
    return Row(number=number, text=f"row {number}", array=np.arange(3.0) + number)


def ten(monkeypatch: pytest.MonkeyPatch, room: int) -> Kept[Row]:
    """Ten rows of one byte each, by their own telling, for which there is so much room."""
    monkeypatch.setattr(_kept, "KEPT", room)
    kept: Kept[Row] = Kept(Aside(), lambda _: 1)
    for number in range(10):
        kept.append(row(number))
    return kept


@pytest.mark.parametrize("room", [0, 4, 10])
def test_rows_come_back_in_their_order_wherever_they_lie(room: int, monkeypatch: pytest.MonkeyPatch) -> None:
    kept = ten(monkeypatch, room)

    assert len(kept) == 10
    assert [each.number for each in kept] == list(range(10))
    assert [each.number for each in kept] == list(range(10))  # as often as asked
    assert (kept[3].text, kept[-1].text) == ("row 3", "row 9")
    assert [each.number for each in kept[7:2:-2]] == [7, 5, 3]
    assert kept[8].array.tolist() == [8.0, 9.0, 10.0]
    assert list(kept.each("text")) == [f"row {number}" for number in range(10)]
    assert kept.viewed(lambda each: each.number**2)[-2] == 64
    assert pickle.loads(pickle.dumps(kept.each("number"))) == tuple(range(10))
    with pytest.raises(IndexError):
        kept[10]
    # the first ones stay the same objects, the others are read anew each time
    assert [kept[place] is kept[place] for place in range(10)] == [place < room for place in range(10)]


def test_rows_can_be_read_while_others_still_come(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(_kept, "KEPT", 0)
    kept: Kept[Row] = Kept(Aside(), lambda _: 1)
    for number in range(5):
        kept.append(row(number))
        assert [each.number for each in kept] == list(range(number + 1))


def test_a_disk_that_is_full_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    kept = ten(monkeypatch, 0)

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(_kept.pickle, "dump", full)
    with pytest.raises(OutputError, match="cannot set finished layers aside on the disk: the disk is full"):
        kept.append(row(10))


@pytest.fixture(scope="module")
def part(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A plate with a hole and a leaning side: contour beads, fill, base beads, places that no bead covers."""
    path = tmp_path_factory.mktemp("part") / "plate.step"
    solid = cq.Workplane().rect(120, 90).extrude(16, taper=8).faces(">Z").workplane().hole(22)
    cq.exporters.export(solid, str(path))
    return path


def planned(part: Path, out: Path, **more: object) -> PlanResult:
    given = {"workers": 1, "contours": 1, "fill": {"kind": "lines"}, "base_beads": 1, "overwrite": True}
    return beadwright.plan(part, out, **(given | more))


def test_a_plan_is_the_same_wherever_its_layers_lie(
    part: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "temporary"))
    (tmp_path / "temporary").mkdir()
    usual = planned(part, tmp_path / "usual")
    # room for about the first layer: it stays, the others go
    monkeypatch.setattr(_kept, "KEPT", 6_000)
    seen: list[list[str]] = []

    def look(stage: str, _done: int, _total: int) -> None:
        if stage in {"layers", "writing"}:
            (staging,) = tmp_path.glob(".out.*.part")
            seen.append([each.name for each in staging.iterdir()])

    result = planned(part, tmp_path / "out", progress=look)

    assert seen
    assert not any(seen)
    for name in FILES:
        assert (tmp_path / "out" / name).read_bytes() == (tmp_path / "usual" / name).read_bytes(), name
    assert result.program == usual.program
    # what the caller gets is read from the file though the folder has its name by now
    assert [len(each.beads) for each in result.layers] == [len(each.beads) for each in usual.layers]
    assert result.layers[-1].layer.area == usual.layers[-1].layer.area
    assert result.build.layers[2].times.total == usual.build.layers[2].times.total
    assert "layer " in result._repr_html_()
    assert list((tmp_path / "temporary").iterdir()) == []


def test_an_interruption_leaves_no_file(part: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(_kept, "KEPT", 0)
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))

    def interrupt(stage: str, done: int, _total: int) -> None:
        if stage == "layers" and done == 3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        planned(part, tmp_path / "out", progress=interrupt)
    assert list(tmp_path.iterdir()) == []


KILLED = """
import os, signal, sys
import beadwright
from beadwright.pipeline import _kept
_kept.KEPT = 0
def end(stage, done, total):
    if stage == "layers" and done == 3:
        os.kill(os.getpid(), signal.SIGKILL)
beadwright.plan(sys.argv[1], workers=1, progress=end)
"""


def test_a_killed_process_leaves_no_file(part: Path, tmp_path: Path) -> None:
    environment = {**os.environ, "TMPDIR": str(tmp_path)}
    ended = subprocess.run(
        [sys.executable, "-c", KILLED, str(part)], env=environment, check=False, timeout=120
    )

    assert ended.returncode == -signal.SIGKILL
    assert list(tmp_path.iterdir()) == []
