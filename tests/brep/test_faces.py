"""Faces chosen by what a user says of them, and found again after a revision."""

from __future__ import annotations

import cadquery as cq
import numpy as np
import pytest

from beadwright.brep import FaceMark, FaceQuery, choose, face_marks, match_faces, placed
from beadwright.errors import SettingsError
from beadwright.kernel import from_shape


@pytest.fixture(scope="module")
def part():
    shape = cq.Workplane().box(100, 80, 60).faces(">Z").workplane().hole(20)
    return placed(from_shape(shape), np.eye(3, 4))


def chosen(part, **query):
    return {part.faces[row].kind for row in choose(part, FaceQuery(**query), what="stock")}


def test_each_condition_chooses(part):
    assert len(choose(part, FaceQuery(all=True), what="stock")) == 7
    assert chosen(part, kind=("cylinder",)) == {"cylinder"}
    assert chosen(part, radius=(9.0, 11.0)) == {"cylinder"}
    (top,) = choose(part, FaceQuery(facing=(0, 0, 2.0)), what="stock")
    assert part.faces[top].centroid[2] == pytest.approx(30)
    # sides 100 x 60 and 80 x 60: by area, and both conditions together
    assert len(choose(part, FaceQuery(area=(6000, 6000)), what="stock")) == 2
    (side,) = choose(part, FaceQuery(area=(6000, 6000), facing=(0, 1, 0)), what="stock")
    assert part.faces[side].centroid[1] == pytest.approx(40)
    # all round a hole the normal turns once: 90 degrees from the axis everywhere, and to 180 from x
    assert choose(part, FaceQuery(kind=("cylinder",), facing=(0, 0, 1), within=90), what="stock")
    with pytest.raises(SettingsError, match=r"turned by up to 1[78]\d"):
        choose(part, FaceQuery(kind=("cylinder",), facing=(1, 0, 0), within=170), what="stock")


def test_names_are_patterns_and_the_nearest_are_proposed(part):
    from dataclasses import replace

    names = ["tool_top", "tool_side", "flange", "", "", "", ""]
    named = replace(part, faces=tuple(replace(f, name=n) for f, n in zip(part.faces, names, strict=True)))

    assert choose(named, FaceQuery(name=("tool*",)), what="stock") == (0, 1)
    with pytest.raises(SettingsError, match=r"stock: no face .* has name tol\*; nearest names: tool_"):
        choose(named, FaceQuery(name=("tol*",)), what="stock")
    with pytest.raises(SettingsError, match=r"have no names"):
        choose(part, FaceQuery(name=("tool*",)), what="stock")


def mark(key, name="", kind="plane", area=100.0, at=(0.0, 0.0, 0.0), radius=0.0):
    return FaceMark(id=key, name=name, kind=kind, area=area, centroid=at, radius=radius)


def test_a_name_decides_before_the_signature():
    then = [mark(0, "a", at=(0, 0, 0)), mark(1, "b", at=(1, 0, 0))]
    now = [mark(0, "b", area=500.0, at=(900, 0, 0)), mark(1, "a", at=(1, 0, 0))]
    found = match_faces(then, now)

    assert found.row == {0: 1, 1: 0}
    assert dict(found.changed)[1] == "area 100 to 500 mm2, its centroid moved by 899 mm"
    assert found.missing == ()


def test_without_names_the_likeliest_is_taken_once():
    then = [mark(7, at=(0, 0, 0)), mark(8, at=(4, 0, 0)), mark(9, kind="sphere", radius=5.0)]
    now = [mark(0, at=(4, 0, 0)), mark(1, at=(0.5, 0, 0)), mark(2, kind="sphere", radius=50.0)]
    found = match_faces(then, now)

    assert found.row == {7: 1, 8: 0}
    assert found.missing == (9,)
    assert dict(found.changed) == {7: "its centroid moved by 0.5 mm"}


def test_a_part_matches_itself(part):
    marks = face_marks(part)
    found = match_faces(marks, marks)

    assert found.row == {i: i for i in range(7)}
    assert found.changed == found.missing == ()
