"""Rules of single faces: areas in closed form, borders without gap, what is told, and the verifier's own view."""

from __future__ import annotations

import math
import re
from pathlib import Path

import cadquery as cq
import numpy as np
import pytest

import beadwright
from beadwright.curves import region_area
from beadwright.errors import SettingsError
from beadwright.pipeline import plan_part, verify_program
from beadwright.settings import resolve

EXACT = 5e-4
"""mm2. A plane on a flat face lies 1e-6 mm beside it, along at most 480 mm of boundary that leans by one in one."""


def planned(part, rules, **more):
    return beadwright.plan(part, face_rule=rules, workers=1, **more)


def areas(result):
    return [layer["area_mm2"] for layer in result.document["layers"]]


def area_of(layer) -> float:
    return region_area(layer.layer.region)


def frustum() -> cq.Workplane:
    """A cone frustum of radius 60 - z, 12 mm high, cut in half by the upright plane x = 0."""
    whole = cq.Workplane().circle(60).workplane(offset=12).circle(48).loft(ruled=True)
    return whole.intersect(cq.Workplane().box(200, 200, 100).translate((100, 0, 0)))


@pytest.mark.parametrize(("rule", "reach"), [("outer", 0.0), ("neutral", 2.0), ("inner", 4.0)])
def test_half_a_cone_s_side_has_its_rule_and_the_upright_face_none(rule, reach) -> None:
    """Layers of 4 mm: half a disc of the radius at the bottom, at mid height, at the top."""
    result = planned(frustum(), [{"faces": {"kind": "cone"}, "rule": rule}])

    for place, area in enumerate(areas(result)):
        assert area == pytest.approx(math.pi / 2 * (60 - 4 * place - reach) ** 2, abs=EXACT)
    told = [layer["section_z_mm"] for layer in result.document["layers"]]
    assert {len(z) for z in told} == {1 if rule == "neutral" else 3}


def pyramid() -> cq.Workplane:
    """Half sizes 60 - z along X and 40 - z along Y, 8 mm high."""
    return cq.Workplane().rect(120, 80).workplane(offset=8).rect(104, 64).loft(ruled=True)


def test_three_rules_meet_along_the_edges_between_them() -> None:
    """Outer on +X, inner on -X: a trapezoid more and one less, both bounded by the edges seen from above."""
    result = planned(
        pyramid(),
        [
            {"faces": {"facing": (1, 0, 1)}, "rule": "outer"},
            {"faces": {"facing": (-1, 0, 1)}, "rule": "inner"},
        ],
    )

    for place, layer in enumerate(result.layers):
        a, b = 60 - 4 * place - 2, 40 - 4 * place - 2
        # 2 mm wide; b and b + 2 are half its sides, b and b - 2 those of the other
        area = 4 * a * b + 2 * (b + b + 2) - 2 * (b + b - 2)
        assert area_of(layer) == pytest.approx(area, abs=EXACT)
        (loop,) = layer.layer.region.loops
        assert loop.points[:, 0].max() == pytest.approx(a + 2, abs=EXACT)
        # away from the corners, where the edges seen from above run at 45 degrees
        between = loop.points[np.abs(loop.points[:, 1]) < b - 1]
        assert between[:, 0].min() == pytest.approx(-(a - 2), abs=EXACT)
    assert result.document["layers"][0]["bounds_mm"]["total"] < 0.01


@pytest.mark.parametrize(("rule", "wide"), [("outer", 60.0), ("inner", 2 * math.sqrt(900 - 9))])
def test_a_silhouette_inside_the_slab_is_met(rule, wide) -> None:
    """A lying cylinder of 30 mm, its axis 29 mm up: from 28 to 32 mm it is widest at 29, narrowest at 32."""
    lying = cq.Workplane("XZ").circle(30).extrude(100).translate((0, 0, 29))
    part = lying.intersect(cq.Workplane().box(100, 400, 100).translate((0, 0, 50)))
    result = planned(part, [{"faces": {"kind": "cylinder"}, "rule": rule}], layers="7:8")
    (layer,) = result.layers

    assert area_of(layer) == pytest.approx(100 * wide, abs=EXACT)


def test_all_faces_by_one_rule_are_that_rule() -> None:
    part = pyramid()
    by_face = planned(part, [{"faces": "all", "rule": "outer"}])
    at_once = beadwright.plan(part, rule="outer", workers=1)

    assert areas(by_face) == pytest.approx(areas(at_once), abs=EXACT)
    # 4 mm layers of half sizes 60 - z0 and 40 - z0
    assert areas(by_face) == pytest.approx([4 * 60 * 40, 4 * 56 * 36], abs=EXACT)


def test_a_rule_for_all_but_some() -> None:
    result = planned(pyramid(), [{"faces": {"facing": (1, 0, 1)}, "rule": "neutral"}], rule="outer")

    for place, layer in enumerate(result.layers):
        a, b = 60 - 4 * place, 40 - 4 * place
        # the strip at +X, 2 mm wide between half sides b and b - 2, is left out
        assert area_of(layer) == pytest.approx(4 * a * b - 2 * (b + b - 2), abs=EXACT)


def test_the_level_top_goes_with_the_faces_around_it() -> None:
    """10 mm high in layers of 4: the last one's middle is the top itself; its bottom is whole under the rule outer."""
    part = cq.Workplane().circle(60).workplane(offset=9).circle(51).loft(ruled=True)
    result = planned(part, [{"faces": {"kind": "cone"}, "rule": "outer"}])

    assert areas(result) == pytest.approx([math.pi * r * r for r in (60, 56, 52)], abs=EXACT)


def test_a_program_by_faces_is_verified(tmp_path: Path) -> None:
    cq.exporters.export(pyramid(), str(tmp_path / "part.step"))
    asked = {
        "face_rule": [
            {"faces": {"facing": (1, 0, 1)}, "rule": "outer"},
            {"faces": {"facing": (-1, 0, 1)}, "rule": "inner"},
        ],
        "workers": 1,
    }
    plan_part(str(tmp_path / "part.step"), tmp_path / "out", resolved=resolve(asked))
    program = tmp_path / "out" / "program.nc"
    text = program.read_text()

    assert " rule=outer by=faces " in text
    found = verify_program(program, tmp_path / "part.step")
    assert found.ok, found.findings
    assert len(found.checked) == 2

    # laid by the rule outer and told as inner, the face at +X lies 4 mm too far out
    (tmp_path / "other.nc").write_text(text.replace("outer", "inner"))
    other = verify_program(tmp_path / "other.nc", tmp_path / "part.step")
    assert "profile" in {noted.finding.code for noted in other.findings}


@pytest.mark.parametrize(
    ("axis", "side", "off", "seen"),
    [
        ("X", 1, 0.1, 0.1),  # outer: too far out, too far in
        ("X", 1, -0.1, -0.1),
        ("X", -1, 0.1, -0.1),  # inner: moved to +X it lies too far in
        ("X", -1, -0.1, 0.1),
        ("Y", -1, -0.1, 0.1),  # neutral
        # stock of 3 mm at right angles to a wall of 45 degrees: 0.1 mm along Y are 0.1 cos 45 of it
        ("Y", 1, -0.1, -0.1 * math.sqrt(0.5)),
    ],
)
def test_layers_with_rules_by_face_and_stock_are_verified(
    axis: str, side: int, off: float, seen: float, both: tuple[Path, str], tmp_path: Path
) -> None:
    part, text = both

    def moved(found: re.Match[str]) -> str:
        return f"{axis}{float(found[1]) + (off if side * float(found[1]) > 0 else 0.0):.4f}"

    lines = [
        re.sub(rf"{axis}(-?[0-9.]+)", moved, line) if line.startswith(("G0 ", "G1 ", "G2 ", "G3 ")) else line
        for line in text.splitlines()
    ]
    (tmp_path / "moved.nc").write_text("\n".join(lines))
    result = verify_program(tmp_path / "moved.nc", part)
    found = [noted.finding for noted in result.findings if noted.finding.code == "profile"]

    assert {finding.layer for finding in found} >= {1}
    # what a face that bends within a layer may be nearer is open: of stock at 0.028 mm out that much is not seen
    room = 0.03 if (axis, side) == ("Y", 1) else 1e-5
    assert all(finding.measured == pytest.approx(seen, abs=room) for finding in found)


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """A pyramid about the machine's origin: outer on +X, inner on -X, stock on +Y; clean, nothing left unjudged."""
    folder = tmp_path_factory.mktemp("both")
    cq.exporters.export(pyramid(), str(folder / "part.step"))
    asked = {
        "face_rule": [
            {"faces": {"facing": (1, 0, 1)}, "rule": "outer"},
            {"faces": {"facing": (-1, 0, 1)}, "rule": "inner"},
        ],
        "stock": [{"faces": {"facing": (0, 1, 1)}, "amount": 3.0}],
        "layers": "0:2",
        "at": (0.0, 0.0),
        "workers": 1,
    }
    plan_part(str(folder / "part.step"), folder / "out", resolved=resolve(asked))
    text = (folder / "out" / "program.nc").read_text()
    clean = verify_program(folder / "out" / "program.nc", folder / "part.step")

    assert text.count(" rule=outer by=faces stock=faces ") == 2
    assert [noted.finding.text for noted in clean.findings] == []
    assert (clean.ok, clean.one_sided, clean.not_judged) == (True, (0, 1), ())
    return folder / "part.step", text


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"face_rule": [{"faces": "all", "rule": "upper"}]}, "neutral, outer or inner"),
        ({"face_rule": [{"rule": "outer"}]}, "face_rule"),
        (
            {"face_rule": {"faces": "all", "rule": "outer"}, "wall": "centre"},
            "face_rule: is for faces of solids",
        ),
    ],
)
def test_faults_of_rules_are_told_in_words(given, words) -> None:
    with pytest.raises(SettingsError, match=words):
        resolve(given)


def test_a_choice_without_a_face_names_the_nearest() -> None:
    with pytest.raises(SettingsError, match=r"face_rule\[1\]\.faces"):
        planned(pyramid(), [{"faces": {"kind": "torus"}, "rule": "outer"}])
