"""What a plan costs by the number of planes and of faces: exponents of section, fit, union and offset together.

Thread time, so that other work on the machine tells little; ``-s`` prints the table.
"""

from __future__ import annotations

import time
from pathlib import Path

import cadquery as cq
import numpy as np
import pytest

from beadwright import kernel, section
from beadwright.arcs import fit, offset, unite
from beadwright.brep import Model

EXAMPLES = Path(__file__).resolve().parents[2] / "step_examples"
PLANES = (100, 200, 400, 800, 1600)
FACES = (10, 30, 100, 300, 1000)
BEAD = 4.2
# Linear is 1; what the least squares of five times may add by chance.
LINEAR = 1.15

pytestmark = [pytest.mark.bench, pytest.mark.timeout(900)]


def beads(model: Model, planes: int) -> float:
    """Seconds from the solid to the first contour beads of some planes."""
    begin = time.thread_time()
    cutter = section.prepare(model)
    low, high = cutter.z_range
    z = low + (np.arange(planes) + 0.5137) / planes * (high - low)
    made = 0
    for each in section.cut(cutter, z):
        region = unite(fit(each.loops, tolerance=0.01).region).region
        made += bool(offset(region, distance=BEAD).region.loops)
    assert made > planes / 2
    return time.thread_time() - begin


def exponent(counts: tuple[int, ...], seconds: list[float]) -> float:
    return float(np.polyfit(np.log(counts), np.log(seconds), 1)[0])


def plate(faces: int) -> cq.Workplane:
    """A plate with as many faces: holes on a square grid 40 mm apart."""
    holes = faces - 6
    side = int(np.ceil(np.sqrt(holes)))
    places = [(40 * (i % side) - 20 * (side - 1), 40 * (i // side) - 20 * (side - 1)) for i in range(holes)]
    return cq.Workplane().rect(40 * side + 20, 40 * side + 20).pushPoints(places).circle(9).extrude(50)


def test_cost_by_planes(capsys: pytest.CaptureFixture[str]) -> None:
    model = kernel.read_step(EXAMPLES / "planing_fixture.step")
    beads(model, 10)
    took = [beads(model, planes) for planes in PLANES]
    power = exponent(PLANES, took)
    with capsys.disabled():
        print("\nplanes", *(f"{n}: {1e3 * t:.0f} ms" for n, t in zip(PLANES, took, strict=True)))
        print(f"exponent {power:.2f}")
    assert power < LINEAR


def test_cost_by_faces(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    took = []
    for faces in FACES:
        path = tmp_path / f"{faces}.step"
        cq.exporters.export(plate(faces), str(path))
        model = kernel.read_step(path)
        assert len(model.faces) == faces
        beads(model, 4)
        took.append(min(beads(model, 40) for _ in range(2)))
    # Below some hundred faces the calls themselves cost more than the faces.
    power = exponent(FACES[2:], took[2:])
    with capsys.disabled():
        print("\nfaces", *(f"{n}: {1e3 * t:.0f} ms" for n, t in zip(FACES, took, strict=True)))
        print(f"exponent of the last three {power:.2f}")
    assert power < LINEAR
