"""The sheet of a verification: the program as read, deviations by move."""

from __future__ import annotations

import math
from pathlib import Path

import cadquery as cq
import numpy as np
import pytest

from beadwright.brep import Model
from beadwright.errors import OutputError
from beadwright.pipeline import verify_options, verify_program
from beadwright.pipeline._part import read_part_with_picture
from beadwright.report import read_sheet

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
