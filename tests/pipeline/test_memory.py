"""Memory of a plan grows by little with each layer, so that a tall part needs no large computer."""

from __future__ import annotations

import gc
import subprocess
import sys
import tracemalloc
from pathlib import Path

import cadquery as cq
import numpy as np
import pytest

from beadwright import plan
from beadwright.brep import Model
from beadwright.kernel import read_step
from beadwright.pipeline import _kept

# What a layer of two beads with some 30 moves may leave until the end, and while all is written, bytes: 10,000 of them
# then take half of the 1.5 GB that a plan may, beside the 0.25 GB of the libraries.
A_LAYER = 48_000
# What is left of a layer once its moves are on the disk: what plan.json and the sheet's head say of it, bytes.
TOLD = 8_000
SMALLEST = 0.15


def tower(layers: int) -> cq.Workplane:
    return cq.Workplane().rect(90, 60).extrude(layers * SMALLEST).edges("|Z").fillet(12)


def star(layers: int, teeth: int) -> cq.Workplane:
    """Two straight moves a tooth and bead, and an arc beside each corner that a bead goes round outside."""
    angle = np.arange(2 * teeth) * np.pi / teeth
    radius = np.where(np.arange(2 * teeth) % 2, 900.0, 940.0)
    points = np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])
    return cq.Workplane().polyline(points.tolist()).close().extrude(layers * SMALLEST)


def memory_of(part: Model, layers: int, out: Path) -> tuple[int, int]:
    """What is left when a plan is done and its result is held, and the greatest memory meanwhile, bytes."""
    gc.collect()
    tracemalloc.start()
    try:
        result = plan(part, out, height=SMALLEST, layers=f"0:{layers}", workers="1", tolerance=0.01)
        assert len(result.layers) == layers
        peak = tracemalloc.get_traced_memory()[1]
        gc.collect()
        return tracemalloc.get_traced_memory()[0], peak
    finally:
        tracemalloc.stop()


def test_the_greatest_memory_grows_by_a_bounded_amount_a_layer(tmp_path: Path) -> None:
    path = tmp_path / "tower.step"
    cq.exporters.export(tower(100), str(path))
    part = read_step(path)
    memory_of(part, 1, tmp_path / "first")
    few, many = 2, 52
    low, high = (memory_of(part, count, tmp_path / str(count))[1] for count in (few, many))
    growth = (high - low) / (many - few)
    print(f"{growth:.0f} bytes a layer")
    assert growth < A_LAYER


def test_the_moves_of_layers_that_are_done_take_no_memory(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of a layer of a hundred moves, set aside, no more is left than what is told of it."""
    path = tmp_path / "star.step"
    cq.exporters.export(star(100, 20), str(path))
    part = read_step(path)
    few, many = 4, 20
    memory_of(part, many, tmp_path / "first")
    monkeypatch.setattr(_kept, "KEPT", 0)
    low, high = (memory_of(part, count, tmp_path / str(count))[0] for count in (few, many))
    growth = (high - low) / (many - few)
    print(f"{growth:.0f} bytes a layer")
    assert 0 < growth < TOLD


def test_layers_that_become_one_bead_take_no_memory_before_they_are_laid(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A wall of one bead that leans, followed by ten planes a turn: what is cut for a turn is set aside, too."""
    path = tmp_path / "cone.step"
    cq.exporters.export(cq.Workplane(obj=cq.Solid.makeCone(60, 50, 75)), str(path))
    part = read_step(path)
    monkeypatch.setattr(_kept, "KEPT", 0)

    def held(layers: int) -> list[int]:
        found = []

        def look(stage: str, done: int, _total: int) -> None:
            if stage == "layers" and done in {1, layers}:
                gc.collect()
                found.append(tracemalloc.get_traced_memory()[0])

        tracemalloc.start()
        try:
            result = plan(
                part,
                tmp_path / str(layers),
                height=SMALLEST,
                layers=f"0:{layers}",
                workers="1",
                contours=1,
                rising=True,
                tolerance=0.002,
                progress=look,
            )
            assert result.document["continuity"]["rising"][0]["planes"] > 9 * layers - 15
            gc.collect()
            return [*found, tracemalloc.get_traced_memory()[0]]
        finally:
            tracemalloc.stop()

    held(2)
    few, many = 3, 9
    growth = [(high - low) / (many - few) for low, high in zip(held(few), held(many), strict=True)]
    print("bytes a layer before the first is laid, when all are, and in the end:", *map(round, growth))
    # Each of the ten planes of a turn leaves two places in the file, some 250 bytes.
    assert growth[0] < TOLD
    assert max(growth[1:]) < 2 * TOLD


@pytest.mark.byhand
@pytest.mark.timeout(7200)
@pytest.mark.parametrize("solid", [tower(10_000), star(10_000, 75)], ids=["30 moves", "300 moves"])
def test_ten_thousand_layers_take_less_than_a_gigabyte_and_a_half(
    solid: cq.Workplane, tmp_path: Path
) -> None:
    psutil = pytest.importorskip("psutil")
    path = tmp_path / "part.step"
    cq.exporters.export(solid, str(path))
    command = [sys.executable, "-m", "beadwright", "plan", str(path), "-o", str(tmp_path / "out")]
    options = ["--height", str(SMALLEST), "--workers", "1", "--quiet"]
    process = psutil.Popen([*command, *options], stdout=subprocess.DEVNULL)
    greatest = 0.0
    while process.poll() is None:
        try:
            all_of_it = [process, *process.children(recursive=True)]
            greatest = max(greatest, sum(each.memory_info().rss for each in all_of_it) / 1e6)
        except psutil.NoSuchProcess:
            pass
        try:
            process.wait(0.2)
        except psutil.TimeoutExpired:
            continue
    print(f"{greatest:.0f} MB at most")
    assert process.returncode in (0, 1)
    assert greatest < 1500.0
