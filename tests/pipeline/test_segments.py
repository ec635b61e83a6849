"""A part cut into segments: volumes by closed form, valid solids, and a plan of its own for each that holds."""

from __future__ import annotations

import hashlib
import importlib.resources
import json
import math

import cadquery as cq
import jsonschema
import numpy as np
import pytest

import beadwright
from beadwright.errors import GeometryError, InputError, OutputError, SettingsError
from beadwright.pipeline import replan, verify_program
from beadwright.pipeline._guard import cut_step
from beadwright.pipeline._output import check_output
from beadwright.pipeline._segments import face_down

SCHEMA = json.loads(
    importlib.resources.files("beadwright.pipeline").joinpath("pieces.schema.json").read_text()
)


@pytest.fixture(scope="module")
def tube(tmp_path_factory):
    """A tube 60 high, radii 30 and 8, whose middle is the origin."""
    path = tmp_path_factory.mktemp("tube") / "tube.step"
    part = cq.Workplane().cylinder(60, 30).faces(">Z").workplane().hole(16)
    cq.exporters.export(part, str(path))
    return path


@pytest.fixture(scope="module")
def made(tube):
    return beadwright.plan_pieces(
        tube, tube.parent / "out", cut=[{"z": -10.0}], cut_down=True, height=10, width=20, workers=1
    )


def test_volumes_are_those_of_the_closed_form(tube):
    tilted = ((0.0, 0.0, 5.0), (0.3, 0.1, 1.0))
    found = cut_step(tube, [((0.0, 0.0, -10.0), (0.0, 0.0, 1.0)), tilted], name="segment")

    ring = math.pi * (900 - 64)
    assert found.volume == pytest.approx(60 * ring, rel=1e-12)
    assert found.off() < 1e-9
    assert [s.sides for s in found.segments] == [(-1, -1), (1, -1), (1, 1)]
    # a plane that crosses the axis at 5 leaves as much as a level one there
    assert [s.volume for s in found.segments] == pytest.approx([20 * ring, 15 * ring, 25 * ring], rel=1e-9)
    # an ellipse's area is that of its shadow by the cosine of the tilt
    (face,) = found.segments[2].faces
    assert face.area == pytest.approx(ring * math.hypot(0.3, 0.1, 1.0), rel=1e-9)
    again = cut_step(tube, [((0.0, 0.0, -10.0), (0.0, 0.0, 1.0)), tilted], name="segment")
    assert [s.step for s in again.segments] == [s.step for s in found.segments]


def test_names_and_colours_of_faces_stay(tmp_path):
    body = cq.Workplane().box(40, 40, 40)
    whole = cq.Assembly().add(body, name="block", color=cq.Color("red"))
    whole.export(str(tmp_path / "block.step"))
    found = cut_step(tmp_path / "block.step", [((0.0, 0.0, 0.0), (0.0, 0.0, 1.0))], name="segment")
    (tmp_path / "one.step").write_bytes(found.segments[0].step)
    model = beadwright.read_step(tmp_path / "one.step")

    assert model.volume == pytest.approx(32000.0)
    assert [face.name for face in model.faces if face.name] == ["cut 1"]
    assert {face.colour for face in model.faces} == {"#ff0000"}
    assert not model.findings


def test_each_segment_has_its_own_plan(tube, made):
    jsonschema.validate(made.document, SCHEMA)
    out = tube.parent / "out"
    assert sorted(p.name for p in out.iterdir()) == ["pieces.json", "segment_1", "segment_2"]
    assert json.loads((out / "pieces.json").read_text()) == made.document
    ring = math.pi * (900 - 64)
    for (name, result), row, height in zip(made.results, made.document["pieces"], (20, 40), strict=True):
        step = out / name / f"{name}.step"
        sha = hashlib.sha256(step.read_bytes()).hexdigest()
        assert sha == row["sha256"] == result.document["input"]["sha256"]
        assert f"part={name}.step part_sha256={sha}" in result.program
        assert [layer["area_mm2"] for layer in result.document["layers"]] == pytest.approx(
            [ring] * (height // 10)
        )
        # the cut face, at -10 in the part, lies on the platform
        assert np.array(row["placement"])[2] @ [0, 0, -10, 1] == pytest.approx(0.0, abs=1e-12)
        assert verify_program(out / name / "program.nc", step).ok
        assert "cut" not in result.document["settings"]
    assert made.document["totals"]["mass_kg"] == pytest.approx(
        sum(result.document["totals"]["mass_kg"] for _, result in made.results)
    )


def test_a_segment_is_planned_again_from_its_folder(tube, made, tmp_path):
    rest = replan(tube.parent / "out" / "segment_2", tmp_path / "rest", from_layer=2, height=20.3, workers=1)
    assert len(rest.layers) == 2


@pytest.mark.parametrize(
    "normal", [(0, 0, 1), (0, 0, -1), (1, 0, 0), (0, -1, 0), (0.6, -0.64, 0.48), (-0.48, 0.6, -0.64)]
)
def test_a_face_is_turned_down(normal):
    x, y, _ = np.radians(face_down(normal))
    about_x = np.array([[1, 0, 0], [0, np.cos(x), -np.sin(x)], [0, np.sin(x), np.cos(x)]])
    about_y = np.array([[np.cos(y), 0, np.sin(y)], [0, 1, 0], [-np.sin(y), 0, np.cos(y)]])
    assert about_y @ about_x @ normal == pytest.approx(np.array([0.0, 0.0, -1.0]), abs=1e-15)


def test_a_plane_beside_the_part_is_refused_and_nothing_is_left(tube, tmp_path):
    with pytest.raises(GeometryError, match=r"cut\[2\]: this plane, 31 mm .* cuts nothing of tube\.step"):
        beadwright.plan_pieces(tube, tmp_path / "out", cut=[{"z": 0.0}, {"z": 31.0}])
    assert not list(tmp_path.iterdir())


def test_a_fault_in_one_segment_leaves_no_folder(tube, tmp_path):
    with pytest.raises(SettingsError, match="layers"):
        beadwright.plan_pieces(
            tube, tmp_path / "out", cut=[{"z": 20.0}], height=10, layers=(3, None), width=20
        )
    assert not list(tmp_path.iterdir())


def test_files_of_somebody_else_are_never_replaced(tube, made):
    out = tube.parent / "out"
    check_output(out, overwrite=True)
    with pytest.raises(OutputError, match="earlier output"):
        check_output(out, overwrite=False)
    for place in (out / "segment_1" / "notes.txt", out / "notes.txt", out / "segment_1" / "segment_2.step"):
        place.write_text("mine")
        with pytest.raises(OutputError, match=place.name):
            check_output(out, overwrite=True)
        place.unlink()
    record = out / "segment_1" / "job_record.json"
    record.write_text('{"entries": [{}, {}]}')
    with pytest.raises(OutputError, match="job record"):
        check_output(out, overwrite=True)
    record.unlink()


def test_bad_values_are_told_with_their_key(tube):
    for cut, text in (
        ({}, r"cut\[1\]\.z: give z alone, or point and normal"),
        ({"z": 1, "normal": [0, 0, 1]}, r"cut\[1\]\.z: give z alone"),
        ({"point": [0, 0, 0], "normal": [0, 0, 0]}, r"cut\[1\]\.normal: has no direction"),
    ):
        with pytest.raises(SettingsError, match=text):
            beadwright.plan_pieces(tube, cut=[cut])
    with pytest.raises(SettingsError, match="cut: is for one part and its solids; leave out copies"):
        beadwright.plan_pieces(tube, cut=[{"z": 0}], copies=2)
    with pytest.raises(SettingsError, match="plan_pieces"):
        beadwright.plan(tube, cut=[{"z": 0}])
    with pytest.raises(InputError, match="STEP file"):
        beadwright.plan_pieces(cq.Workplane().box(10, 10, 10), cut=[{"z": 0}])


def test_a_segment_that_does_not_fit_either_is_named(tube, tmp_path):
    machine = tmp_path / "machine.toml"
    given = {"cut": [{"z": -20.0}], "height": 10, "width": 20, "workers": 1, "machine": machine}
    machine.write_text("[volume]\nsize = [200, 200, 69]\n")
    # 50 mm and the clearance of 20 above the last layer
    with pytest.raises(SettingsError, match=r"(?s)^segment_2: .*from Z .* to 70\.000 mm.*by \[\[cut\]\]"):
        beadwright.plan_pieces(tube, tmp_path / "out", **given)
    machine.write_text(
        '[volume]\nsize = [200, 200, 300]\n[[volume.keep_out]]\nname = "post"\nlow = [15, -5, 0]\nhigh = [25, 5, 90]\n'
    )
    with pytest.raises(SettingsError, match=r"(?s)^segment_1: .*layer 0 enters post"):
        beadwright.plan_pieces(tube, tmp_path / "out", **given)
    assert not (tmp_path / "out").exists()
