"""`beadwright.plan` on parts whose beads are known in closed form."""

from __future__ import annotations

import importlib.resources
import json
import math
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import cadquery as cq
import jsonschema
import numpy as np
import pytest

import beadwright
from beadwright.errors import SettingsError
from beadwright.pipeline import PlanResult

EXAMPLES = Path(__file__).resolve().parents[2] / "step_examples"
FIXTURE = EXAMPLES / "planing_fixture.step"
SCHEMA = json.loads(importlib.resources.files("beadwright.pipeline").joinpath("plan.schema.json").read_text())


def radii(result: PlanResult, rank: int) -> list[float]:
    """Distances of bead points of a rank from the axis."""
    beads = [bead for layer in result.layers for bead in layer.beads if bead.rank == rank]
    return [float(r) for bead in beads for r in np.hypot(*bead.path.points.T)]


def codes(result: PlanResult) -> set[str]:
    return {finding.code for finding in result.findings}


@pytest.fixture(scope="module")
def cylinder() -> cq.Workplane:
    return cq.Workplane().circle(500).extrude(18)


# Beads of a cylinder of radius R lie at R - w/2 and R - 3w/2; layers of 4 mm under 18 mm are five.
def test_a_cylinder_is_planned_in_closed_form(cylinder: cq.Workplane) -> None:
    result = beadwright.plan(cylinder)

    assert len(result.layers) == 5
    assert [layer.layer.plan.z for layer in result.layers] == [4, 8, 12, 16, 20]
    bound = result.bounds.region + result.bounds.section
    assert all(abs(r - 495.8) <= bound + 1e-9 for r in radii(result, 1))
    assert all(abs(r - 487.4) <= bound + 1e-9 for r in radii(result, 2))
    totals = result.document["totals"]
    assert totals["beads"] == 10
    assert abs(totals["length_mm"] - 5 * 2 * math.pi * (495.8 + 487.4)) <= 1e-3
    assert abs(totals["area_mm2"] - 5 * math.pi * 500**2) <= 1e-9 * 5 * math.pi * 500**2
    assert totals["moves"]["line"] == 0
    assert result.bounds.fit <= 1e-9
    assert {finding.level for finding in result.findings} == {"note"}  # nothing is calibrated
    assert not result.has_errors


# All of it follows the one cylinder face: its share is the whole length.
def test_a_result_shows_itself_in_a_line(cylinder: cq.Workplane) -> None:
    result = beadwright.plan(cylinder, layers="0:1")

    assert repr(result).endswith(f": 1 layer, 2 beads, {len(result.findings)} findings>")
    # Two beads of radii 495.8 and 487.4 at 100 mm/s take 61.8 s by length alone.
    assert "<th>build time</th><td>1 min " in result._repr_html_()


def test_length_is_told_by_face(cylinder: cq.Workplane) -> None:
    result = beadwright.plan(cylinder, contours=1)

    faces = {face["kind"]: face["contour_mm"] for face in result.document["faces"]}
    assert abs(faces["cylinder"] - 5 * 2 * math.pi * 495.8) <= 1e-3
    assert faces["plane"] == 0.0


def test_the_result_obeys_its_schema(cylinder: cq.Workplane) -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    jsonschema.validate(beadwright.plan(cylinder).document, SCHEMA)


def test_total_is_the_sum_of_its_parts(cylinder: cq.Workplane) -> None:
    document = beadwright.plan(cylinder).document

    layers = [layer["bounds_mm"] for layer in document["layers"]]
    for bounds in layers:
        parts = sum(bounds[name] for name in ("section", "fit", "region", "rounding"))
        # rounded up at each of three additions
        assert parts <= bounds["total"] * (1 + 2**-52)
        assert bounds["total"] <= parts * (1 + 2**-49)
    # of the whole plan each is the worst layer's, and the parts need not be worst in the same layer
    for name, value in document["bounds_mm"].items():
        assert value == max(bounds[name] for bounds in layers)


# 15.4 in, turned by 90 degrees about Y: x of the part points down, z of the part along x.
def test_placement_follows_the_options() -> None:
    part = cq.Workplane().box(100, 60, 40)

    result = beadwright.plan(part, scale=2, rotate=(0, 90, 0), at=(1000, -500), contours=1)

    expected = [[0, 0, 2, 1000], [0, 2, 0, -500], [-2, 0, 0, 100]]
    assert np.abs(np.array(result.document["placement"]) - expected).max() <= 1e-9
    points = np.concatenate([bead.path.points for bead in result.layers[0].beads])
    # 80 x 120 mm about (1000, -500), less half a bead at each side
    assert np.abs(points.min(axis=0) - [1000 - 35.8, -500 - 55.8]).max() <= 1e-7
    assert np.abs(points.max(axis=0) - [1000 + 35.8, -500 + 55.8]).max() <= 1e-7
    assert result.layers[-1].layer.plan.z == 200


def test_a_part_of_the_layers_keeps_its_indices(cylinder: cq.Workplane) -> None:
    whole = beadwright.plan(cylinder)
    some = beadwright.plan(cylinder, layers=(2, 4))

    assert [layer["index"] for layer in some.document["layers"]] == [2, 3]
    assert " first=2" in some.program
    assert " first=" not in whole.program
    assert some.document["layers"][0]["z0_mm"] == whole.document["layers"][2]["z0_mm"]


def test_layers_above_the_part_are_refused(cylinder: cq.Workplane) -> None:
    with pytest.raises(SettingsError, match="0:5"):
        beadwright.plan(cylinder, layers=(5, 6))


def test_spacing_of_round_beads(cylinder: cq.Workplane) -> None:
    result = beadwright.plan(cylinder, bead_section="round", layers=(0, 1))

    # A/h = 7.541593 for 8.4 x 4: first bead at 495.8, second that much further in.
    assert all(abs(r - (495.8 - 7.541593)) <= 1e-6 for r in radii(result, 2))


# The plane at mid height of the second layer lies on the step: it moves below it, and says so.
def test_a_plane_on_a_flat_face_is_moved_and_told() -> None:
    part = cq.Workplane().box(100, 100, 6, centered=(True, True, False))
    part = part.faces(">Z").workplane().rect(60, 60).extrude(6)

    document = beadwright.plan(part).document

    (nudged,) = document["nudged_planes"]
    assert (nudged["layer"], nudged["asked_mm"]) == (1, 6.0)
    assert abs(nudged["taken_mm"] - (6.0 - 1e-6)) <= 1e-8
    assert abs(document["layers"][1]["area_mm2"] - 10_000) <= 1e-6
    assert document["layers"][1]["section_z_mm"] == [nudged["taken_mm"]]


def two_boxes(gap: float) -> cq.Workplane:
    """Boxes of 100 x 100 x 12 side by side."""
    left = cq.Workplane().box(100, 100, 12)
    return left.add(cq.Workplane().box(100, 100, 12).translate((100 + gap, 0, 0)))


def test_solids_that_touch_are_united_and_told() -> None:
    result = beadwright.plan(two_boxes(0.0))

    (finding,) = [f for f in result.findings if f.code == "solids-touch"]
    assert finding.level == "warning"
    assert finding.measured is not None
    # both outlines lose the 100 mm that they share
    assert abs(finding.measured - 200) <= 1e-6
    assert all(layer["loops"] == 1 for layer in result.document["layers"])
    assert all(abs(layer["area_mm2"] - 20_000) <= 1e-5 for layer in result.document["layers"])


def test_solids_that_overlap_are_united_and_told() -> None:
    result = beadwright.plan(two_boxes(-10.0))

    (finding,) = [f for f in result.findings if f.code == "solids-overlap"]
    assert finding.measured is not None
    assert abs(finding.measured - 1000) <= 1e-5
    assert all(abs(layer["area_mm2"] - 19_000) <= 1e-5 for layer in result.document["layers"])


def test_solids_apart_are_no_finding() -> None:
    result = beadwright.plan(two_boxes(5.0))

    assert not {"solids-touch", "solids-overlap"} & codes(result)
    assert all(layer["loops"] == 2 for layer in result.document["layers"])


def test_strict_makes_errors_of_warnings() -> None:
    result = beadwright.plan(two_boxes(0.0), strict=True)

    assert result.has_errors
    assert not beadwright.plan(two_boxes(0.0)).has_errors


# An open cylinder R 500, width 8.4: the centreline is the curve itself, or lies half a width beside it.
@pytest.mark.parametrize(("side", "radius"), [("centre", 500.0), ("left", 495.8), ("right", 504.2)])
def test_an_open_cylinder_as_a_wall(side: str, radius: float) -> None:
    part = cq.Workplane().circle(500).extrude(10).faces("%CYLINDER").val()

    result = beadwright.plan(part, wall=side)  # type: ignore[arg-type]

    assert len(result.layers) == 3
    assert all(abs(r - radius) <= 1e-6 for r in radii(result, 1))
    assert {bead.role for layer in result.layers for bead in layer.beads} == {"wall"}


def test_any_number_of_workers_gives_the_same_bytes() -> None:
    # four and then four chunks of sixteen: work for four
    options = {"height": 5.0, "layers": (0, 54), "contours": 1}
    alone = beadwright.plan(FIXTURE, workers=1, **options)  # type: ignore[arg-type]
    two, four = (beadwright.plan(FIXTURE, workers=count, **options) for count in (2, 4))  # type: ignore[arg-type]
    with ThreadPoolExecutor(1) as pool:
        other = beadwright.plan(FIXTURE, executor=pool, **options)  # type: ignore[arg-type]

    assert (two.run["workers"], four.run["workers"]) == (2, 4)
    for result in (two, four, other):
        assert result.program == alone.program
        assert json.dumps(result.document) == json.dumps(alone.document)


def test_nothing_of_the_place_or_time_stands_in_the_program(cylinder: cq.Workplane, tmp_path: Path) -> None:
    result = beadwright.plan(FIXTURE, tmp_path / "out", layers=(0, 2))

    texts = [(tmp_path / "out" / name).read_text() for name in ("program.nc", "plan.json")]
    assert all(str(tmp_path) not in text and str(EXAMPLES) not in text for text in texts)
    assert result.out == tmp_path / "out"
    assert json.loads(texts[1]) == json.loads(json.dumps(result.document))
    run = json.loads((tmp_path / "out" / "run.json").read_text())
    assert {"total", "compile", "read", "section", "fit", "region", "beads"} <= run["seconds"].keys()


def test_progress_is_told(cylinder: cq.Workplane) -> None:
    told: list[tuple[str, int, int]] = []

    beadwright.plan(cylinder, progress=lambda *step: told.append(step))

    assert told[0] == ("reading", 0, 0)
    assert ("layers", 5, 5) in told


def test_faults_of_options_come_before_any_reading() -> None:
    with pytest.raises(SettingsError, match="2 settings"):
        beadwright.plan("nowhere.step", width=0, height=99)
