"""The sheet of a verification: the program as read, deviations by move."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path

import cadquery as cq
import jsonschema
import numpy as np
import pytest

from beadwright.brep import Model
from beadwright.errors import OutputError, SettingsError
from beadwright.pipeline import plan, verify_options, verify_program
from beadwright.pipeline._part import read_part_with_picture
from beadwright.report import read_sheet
from beadwright.report._sheet_page import sheet_file

R, W, H, LAYERS = 60.0, 8.0, 4.0, 3
SHIFT = 0.05
"""How far out the last layer's bead is laid, mm."""


def program() -> str:
    """Rings of one bead about a post of radius R, each one whole turn; no comment tells anything."""
    parts = ["G21 G17 G90 G94\nF6000\n"]
    for k in range(LAYERS):
        r = R - W / 2 + (SHIFT if k == LAYERS - 1 else 0.0)
        z = H * (k + 1)
        parts.append(f"G0 Z{z + 20}\nG0 X{r} Y0\nG1 Z{z}\nM3\nG3 X{r} Y0 I{-r} J0\nM5\n")
    return "".join([*parts, "G0 Z50\nM2\n"])


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("verify")
    (path / "program.nc").write_text(program())
    return path


def test_a_foreign_programs_sheet(folder: Path) -> None:
    post = cq.Workplane().circle(R).extrude(H * LAYERS)
    options = verify_options(layers=None, tolerance=0.02, bead=(W, H, "flat"))
    found = verify_program(folder / "program.nc", post, options, sheet=folder / "sheet.html")
    sheet = read_sheet(folder / "sheet.html")
    lines = program().split("\n")

    assert sheet.head["kind"] == "verification"
    assert len(sheet.layers) == LAYERS
    # the planted shift is found, and the sheet has the verifier's number
    assert sheet.head["profile"]["greatest_mm"] == pytest.approx(SHIFT, abs=0.01)
    assert [f["number"] for f in sheet.head["findings"]] == [n.number for n in found.findings]
    # rings and the ways down to them at F6000; nothing tells how fast a traverse is
    rings = 2 * math.pi * (LAYERS * (R - W / 2) + SHIFT)
    assert sheet.head["totals"]["feed_s"] == pytest.approx((rings + LAYERS * 20) / 100, abs=1e-3)
    assert "time_s" not in sheet.head["totals"]
    for layer in sheet.layers:
        moves = layer.moves
        # a whole turn in two halves: tan(pi / 4) = 1, R - W/2 to both sides
        np.testing.assert_allclose(moves.bulge, [1.0, 1.0], atol=1e-6)
        assert {lines[n - 1][:2] for n in moves.line} == {"G3"}
        assert float(np.ptp(moves.x)) == pytest.approx(2 * (R - W / 2), abs=2 * SHIFT + 1e-4)
        assert layer.row["length_mm"] == pytest.approx(2 * math.pi * (R - W / 2), rel=1e-3)


def test_a_part_that_cannot_be_divided_has_no_picture(monkeypatch: pytest.MonkeyPatch) -> None:
    def gives_up(_model: Model) -> None:
        raise RuntimeError("no triangles")

    post = cq.Workplane().circle(R).extrude(H)
    _, whole = read_part_with_picture(post)
    monkeypatch.setattr("beadwright.kernel.display_triangles", gives_up)
    model, none = read_part_with_picture(post)

    assert whole is not None
    # a cylinder: wall, bottom, top
    assert sorted(set(whole.face.tolist())) == [0, 1, 2]
    assert float(np.hypot(whole.points[:, 0], whole.points[:, 1]).max()) == pytest.approx(R)
    assert (len(model.faces), none) == (3, None)


def test_a_sheet_is_a_page(folder: Path) -> None:
    with pytest.raises(OutputError, match=r"\.html"):
        verify_program(folder / "program.nc", "never.step", sheet=folder / "sheet.pdf")


def test_the_section_lies_under_the_beads_in_true_arcs(folder: Path) -> None:
    post = cq.Workplane().circle(R).extrude(H * LAYERS)
    verify_program(folder / "program.nc", post, verify_options(layers=None), sheet=folder / "under.html")
    sheet = read_sheet(folder / "under.html")

    for layer in sheet.layers:
        (loop,) = layer.loops
        # the referee's chords are within 1e-4 of its circle, thinned to 1e-3, and drawn within 1e-2 of them
        assert np.hypot(*loop.points.T) == pytest.approx(np.full(len(loop.points), R), abs=0.012)
        assert loop.bulge.min() > 0.1
        assert (layer.row["loops"], layer.part) == (1, ())
        assert layer.row["front"] == [pytest.approx([-R, R], abs=0.03)]
        assert "kernel" in layer.row["outline"]


def test_stock_is_drawn_round_the_section(tmp_path: Path) -> None:
    """A block 80 x 60 with 5 on all sides, and with 5 on one: outlines of the block, and of what is laid."""
    block = cq.Workplane().box(80, 60, 8)
    for name, stock, wide in (
        ("all", 5.0, 90.0),
        ("one", [{"faces": {"facing": [1, 0, 0]}, "amount": 5.0}], 85.0),
    ):
        done = plan(block, tmp_path / name, stock=stock, workers=1)
        assert done.out is not None
        found = verify_program(
            done.out / "program.nc", block, verify_options(layers=None), sheet=tmp_path / "s.html"
        )
        assert found.ok
        middle = read_sheet(tmp_path / "s.html").layers[1]
        (outer,), (inner,) = middle.loops, middle.part
        assert float(np.ptp(outer.points[:, 0])) == pytest.approx(wide, abs=0.05)
        assert float(np.ptp(inner.points[:, 0])) == pytest.approx(80.0, abs=0.02)


def test_the_process_sheet_of_a_verification_is_that_of_the_plan(tmp_path: Path) -> None:
    """What the program tells: where each value came from, the standing of a figure; and what is allowed."""
    block = cq.Workplane().box(60, 40, 4)
    material = tmp_path / "own.toml"
    material.write_text(
        'name = "own"\ndensity = { value = 1200, standing = "measured", source = "weighed, 2 October" }\n'
    )
    done = plan(block, tmp_path / "out", width=9.0, material=material, workers=1)
    assert done.out is not None
    verify_program(done.out / "program.nc", block, verify_options(layers=None), sheet=tmp_path / "s.html")
    planned, found = (
        {row["key"]: row for row in read_sheet(path).head["settings"]}
        for path in (done.out / "report.html", tmp_path / "s.html")
    )

    shown = [found[key] for key in ("width_mm", "contours", "material.density_kg_m3")]
    assert [(row["value"], row["from"], row.get("standing", "")) for row in shown] == [
        (9.0, "option", ""),
        (2, "default", "common practice"),
        (1200.0, "material", "measured"),
    ]
    # a plan tells more: which words of a dialect, and where a figure stands
    for key, row in found.items():
        own = {
            name: planned[key].get(name) for name in ("label", "unit", "allowed", "text", "from", "standing")
        }
        assert {name: row.get(name) for name in own} == own


def test_a_finding_that_knows_only_its_line_stands_at_the_next_move(folder: Path) -> None:
    post = cq.Workplane().circle(R).extrude(H * LAYERS)
    (folder / "odd.nc").write_text(program().replace("M3\nG3", "M3\nG5\nG3", 1))
    found = verify_program(folder / "odd.nc", post, verify_options(layers=None), sheet=folder / "odd.html")
    (told,) = [
        f for f in read_sheet(folder / "odd.html").head["findings"] if f["code"].startswith("standard-")
    ]

    assert told["line"] == 7
    assert told["at_mm"] == pytest.approx([R - W / 2, 0.0, H])
    assert not found.ok


def test_a_folder_of_its_own_and_what_is_never_replaced(folder: Path, tmp_path: Path) -> None:
    post = cq.Workplane().circle(R).extrude(H * LAYERS)
    out = tmp_path / "proof"
    found = verify_program(folder / "program.nc", post, out=out)

    assert sorted(p.name for p in out.iterdir()) == ["report.html", "verification.json"]
    assert json.loads((out / "verification.json").read_text()) == json.loads(json.dumps(found.as_dict()))
    with pytest.raises(OutputError, match="earlier verification"):
        verify_program(folder / "program.nc", "never.step", out=out)
    verify_program(folder / "program.nc", post, out=out, overwrite=True)
    (tmp_path / "plan").mkdir()
    (tmp_path / "plan" / "plan.json").write_text('{"format": "beadwright plan 1"}')
    (tmp_path / "plan" / "report.html").write_text("a plan's")
    with pytest.raises(OutputError, match=r"holds plan\.json"):
        verify_program(folder / "program.nc", "never.step", out=tmp_path / "plan", overwrite=True)
    with pytest.raises(OutputError, match="is no sheet of a verification"):
        verify_program(folder / "program.nc", "never.step", sheet=tmp_path / "plan" / "report.html")
    with pytest.raises(SettingsError, match="exclude"):
        verify_program(folder / "program.nc", "never.step", sheet=tmp_path / "a.html", out=out)
    assert (tmp_path / "plan" / "report.html").read_text() == "a plan's"


def test_a_verifications_head_is_what_its_schema_says(folder: Path) -> None:
    post = cq.Workplane().circle(R).extrude(H * LAYERS)
    verify_program(folder / "program.nc", post, sheet=folder / "head.html")
    data = re.search(r'id="data">(.*?)</script>', (folder / "head.html").read_text(), flags=re.DOTALL)

    assert data is not None
    jsonschema.validate(json.loads(data[1]), json.loads(sheet_file("sheet.schema.json")))
