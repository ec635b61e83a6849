"""Programs with stock and with holes left out, held to what their own heads say was asked for."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from beadwright.kernel import nearest_on_faces
from beadwright.pipeline import plan, read_step, verify_options, verify_program

cq = pytest.importorskip("cadquery")


@pytest.fixture(scope="module")
def plate(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("part") / "plate.step"
    body = cq.Workplane().box(120, 90, 8).faces(">Z").workplane().center(20, 0).hole(40)
    cq.exporters.export(body, str(path))
    return path


@pytest.fixture(scope="module")
def dome(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("part") / "dome.step"
    body = cq.Workplane().circle(60).workplane(offset=12).circle(48).loft()
    cq.exporters.export(body, str(path))
    return path


def program(part: Path, folder: Path, **options: object) -> Path:
    plan(str(part), folder / "out", workers=1, contours=1, **options)
    return folder / "out" / "program.nc"


def codes(path: Path, part: Path) -> set[str]:
    return {noted.finding.code for noted in verify_program(path, str(part)).findings}


def test_distances_from_some_faces_are_those_of_a_box(plate: Path) -> None:
    model = read_step(plate)
    (right,) = (face.id for face in model.faces if face.kind == "plane" and face.centroid[0] > 59)
    low = float(model.box[0, 2])
    found = nearest_on_faces(
        model, {right}, np.array([[63.0, 0, low + 4], [63, 48, low + 4], [50, 0, low + 4]])
    )

    # to the face x = 60, |y| <= 45: beside it, past its edge by 3 and 3, and inside the part
    assert found.distance == pytest.approx([3.0, np.hypot(3, 3), 10.0], abs=1e-9)
    assert np.linalg.norm(found.border - found.foot, axis=1) == pytest.approx([4.0, 0.0, 4.0], abs=1e-9)
    assert found.behind.tolist() == [False, False, True]
    assert found.foot[0] == pytest.approx([60.0, 0, low + 4], abs=1e-9)


def test_stock_on_one_face_holds_and_more_than_is_there_does_not(plate: Path, tmp_path: Path) -> None:
    made = program(plate, tmp_path, stock=[{"faces": {"kind": "cylinder"}, "amount": 3.0}])
    lying = tmp_path / "lying.nc"
    lying.write_text(made.read_text().replace("%22amount_mm%22:%203.0", "%22amount_mm%22:%203.1"))

    assert verify_program(made, str(plate)).ok
    assert codes(lying, plate) == {"profile"}


def test_stock_all_round_a_leaning_wall_holds_and_a_bead_moved_in_is_found(
    dome: Path, tmp_path: Path
) -> None:
    made = program(dome, tmp_path, stock=[{"faces": {"all": True}, "amount": 3.0}])
    text = made.read_text()
    lying = tmp_path / "lying.nc"
    lying.write_text(text.replace("%22amount_mm%22:%203.0", "%22amount_mm%22:%203.05"))

    assert verify_program(made, str(dome)).ok
    assert "profile" in codes(lying, dome)


def test_beads_round_the_sharp_corners_of_a_pocket_leave_the_stock_asked_for(tmp_path: Path) -> None:
    # The bead turns about the corner of the stock by an arc: beside its middle the boundary is that corner itself.
    part = tmp_path / "frame.step"
    body = cq.Workplane().box(160, 120, 8).faces(">Z").workplane().rect(60, 40).cutThruAll()
    cq.exporters.export(body, str(part))
    made = program(part, tmp_path, stock=[{"faces": {"all": True}, "amount": 2.0}])

    seen = verify_program(made, str(part))
    assert [noted.finding.text for noted in seen.findings] == []


def test_a_hole_left_out_as_asked_is_no_fault_and_without_the_rule_it_is(plate: Path, tmp_path: Path) -> None:
    made = program(plate, tmp_path, cut_later=[{"holes_below": 60.0}])
    silent = tmp_path / "silent.nc"
    silent.write_text(
        "\n".join(line for line in made.read_text().split("\n") if not line.startswith("(cut_later"))
    )

    assert verify_program(made, str(plate)).ok
    assert codes(silent, plate) == {"missing-bead"}


def test_a_rule_that_finds_no_face_of_this_part_is_named(plate: Path, dome: Path, tmp_path: Path) -> None:
    made = program(plate, tmp_path, stock=[{"faces": {"kind": "cylinder"}, "amount": 3.0}])

    with pytest.raises(Exception, match=r"program\.nc: .*stock"):
        verify_program(made, str(dome))


def test_a_boss_with_a_hole_in_its_middle_is_no_hole(tmp_path: Path) -> None:
    """The wall of the boss is named to be cut later, but it bounds material; the hole's centre lies inside both."""
    block = cq.Workplane().box(140, 140, 12, centered=(True, True, False))
    groove = cq.Workplane().workplane(offset=4).circle(45).circle(20).extrude(8)
    hole = cq.Workplane().workplane(offset=4).circle(0.05).extrude(8)
    part = tmp_path / "boss.step"
    block.cut(groove).cut(hole).val().exportStep(str(part))
    rule = [{"faces": {"kind": "cylinder", "radius": [19, 21]}}]
    done = plan(part, tmp_path / "out", cut_later=rule, workers=1)
    assert done.out is not None
    found = verify_program(done.out / "program.nc", part, verify_options(layers=None))

    assert [noted.finding.text for noted in found.findings] == []
    # the block less the groove and the hole
    area = 140**2 - math.pi * (45**2 - 20**2) - math.pi * 0.05**2
    assert found.checked[-1].region_mm2 == pytest.approx(area, abs=1.0)


@pytest.mark.parametrize("factors", [1.05, (1.05, 1.0, 1.02)])
def test_stock_on_a_contracted_part_is_judged_where_the_part_stands(
    plate: Path, tmp_path: Path, factors: float | tuple[float, float, float]
) -> None:
    # The side at x = 60 measures 90 x 8 = 720 mm2 as drawn: 793.8 at 1.05, and 734.4 at 1.00 x 1.02.
    stock = [{"faces": {"facing": [1, 0, 0], "area": [725.0, 900.0]}, "amount": 3.0}]
    made = program(plate, tmp_path, stock=stock, contraction=factors)
    assert codes(made, plate) == set()
    text = made.read_text()
    lying = tmp_path / "lying.nc"
    lying.write_text(text.replace("3.0%7D%5D", "3.1%7D%5D"))
    assert lying.read_text() != text
    assert text.count("(setting name=stock") == 2, "a rule too long for a line is told in two"
    assert codes(lying, plate) == {"profile"}


def test_stock_ends_beside_bare_walls_that_the_face_leans_to(tmp_path: Path) -> None:
    """A top that leans both ways: its angle with one wall is sharp, with the opposite one blunt."""
    part = tmp_path / "part.step"
    top = cq.Plane(origin=(0, 0, 20), normal=(-0.12, 0.10, 1))
    body = cq.Workplane().box(200, 100, 60, centered=(False, False, False))
    cq.exporters.export(body.cut(cq.Workplane(top).rect(900, 900).extrude(200)), str(part))
    (face,) = (f.id for f in read_step(part).faces if f.area > 20000)
    asked: dict[str, object] = {"stock": [{"faces": {"id": face}, "amount": 4.0}], "layers": "5:7"}
    made = program(part, tmp_path, face_rule=[{"faces": {"id": face}, "rule": "outer"}], **asked)
    lying = tmp_path / "lying.nc"
    lying.write_text(made.read_text().replace("%22amount_mm%22:%204.0", "%22amount_mm%22:%204.5"))

    assert verify_program(made, str(part)).ok
    assert codes(lying, part) == {"profile"}
