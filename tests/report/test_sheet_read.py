"""A sheet read back, and the pictures that are made from it."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from beadwright.brep import Triangles
from beadwright.curves import ArcPath, ArcRegion, lengths
from beadwright.errors import InputError, OutputError
from beadwright.pipeline import view
from beadwright.report import (
    SheetData,
    SheetLayer,
    part_svg,
    read_moves,
    read_sheet,
    run_paths,
    sheet_head,
    sheet_page,
)
from tests.report._long_program import RADIUS, WIDTH, long_sheet

TETRAHEDRON = Triangles(
    points=np.array([[0.0, 0, 0], [60, 0, 0], [0, 60, 0], [0, 0, 60]]),
    corners=np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]], np.int32),
    face=np.array([0, 1, 2, 3], np.int32),
    chord=0.1,
)


@pytest.fixture(scope="module")
def sheet() -> SheetData:
    made = long_sheet(3, 24)
    return SheetData(
        head=made.head, layers=made.layers, edges=(np.zeros((2, 3)), np.ones((3, 3))), triangles=TETRAHEDRON
    )


@pytest.fixture(scope="module")
def file(sheet: SheetData, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("sheet") / "report.html"
    path.write_text(sheet_page(sheet), encoding="utf-8")
    return path


def test_what_was_written_is_read(sheet: SheetData, file: Path) -> None:
    found = read_sheet(file.parent)

    assert [len(edge) for edge in found.edges] == [2, 3]
    assert found.triangles is not None
    assert found.triangles.corners.tolist() == TETRAHEDRON.corners.tolist()
    for layer, own in zip(found.layers, sheet.layers, strict=True):
        assert dict(layer.row) == dict(own.row)
        assert layer.moves.line.tolist() == own.moves.line.tolist()
        np.testing.assert_allclose(layer.moves.x, own.moves.x, atol=0.5e-5 + 1e-12)
        np.testing.assert_allclose(layer.moves.bulge, own.moves.bulge, rtol=2.0**-24)
        assert [run.role for run in layer.moves.runs] == [run.role for run in own.moves.runs]
        assert len(layer.loops) == 1


def test_an_empty_layer_is_read_too(tmp_path: Path) -> None:
    reader, layers = read_moves(["G21\n(layer index=0 z0=0.0 z=4.0 height=4.0 loops=0)\n(end layer)\n"])
    row = {"index": 0, "z0_mm": 0.0, "z_mm": 4.0, "height_mm": 4.0, "front": [], "side": []}
    empty = (SheetLayer(row=row, moves=layers[0]),)
    document = {"version": "1", "input": {"file": "a.step"}, "findings": []}
    head = sheet_head(
        document, empty, kind="plan", settings=[], program={"sha256": "0", "moves": reader.moves}
    )
    (tmp_path / "report.html").write_text(sheet_page(SheetData(head=head, layers=empty)), encoding="utf-8")

    (found,) = read_sheet(tmp_path).layers
    assert (len(found.moves.x), found.loops, run_paths(found)) == (0, (), [])
    assert "<svg" in view(tmp_path, tmp_path / "empty.svg", layer=0).read_text()


def test_the_length_of_a_ring_survives(file: Path) -> None:
    layer = read_sheet(file).layers[0]
    (_, path), _ = run_paths(layer)

    # twelve arcs of a ring whose radius wavers: longer than the circle, and never by more than the wavering
    assert 2 * np.pi * (RADIUS - WIDTH / 2) - 60 < lengths(path).sum() < 2 * np.pi * (RADIUS + 60)


@pytest.mark.parametrize(
    "text", ["", "<html></html>", '<script type="application/json" id="data">{"format": 1}</script>']
)
def test_what_is_no_sheet_is_refused_with_its_name(tmp_path: Path, text: str) -> None:
    (tmp_path / "report.html").write_text(text)

    with pytest.raises(InputError, match=r"report\.html"):
        read_sheet(tmp_path)


def test_a_damaged_block_is_told(file: Path, tmp_path: Path) -> None:
    bad = tmp_path / "bad.html"
    bad.write_text(file.read_text().replace('id="layer-1">', 'id="layer-1">AAAA'))

    with pytest.raises(InputError, match="damaged"):
        read_sheet(bad)


def test_a_layer_as_svg_has_true_arcs(file: Path, tmp_path: Path) -> None:
    text = view(file, tmp_path / "layer.svg", layer=1).read_text()

    # two rings and one outline, each of twelve arcs
    assert len(re.findall(r"A\d", text)) >= 36
    assert "rings.step, layer 1" in text


@pytest.mark.parametrize(("ending", "start"), [("png", b"\x89PNG"), ("pdf", b"%PDF")])
def test_a_layer_as_a_picture_of_dots_or_paper(file: Path, tmp_path: Path, ending: str, start: bytes) -> None:
    pytest.importorskip("matplotlib")
    one = view(file, tmp_path / f"one.{ending}", layer="worst").read_bytes()

    assert one.startswith(start)
    assert view(file, tmp_path / f"two.{ending}", layer="worst").read_bytes() == one


def test_the_worst_layer_is_the_one_with_a_finding(file: Path, tmp_path: Path) -> None:
    # the finding is planted in layer 3 // 3
    assert "layer 1" in view(file, tmp_path / "worst.svg", layer="worst").read_text()


def test_the_column_is_plotted(file: Path, tmp_path: Path) -> None:
    pytest.importorskip("matplotlib")
    text = view(file, tmp_path / "column.svg", column=True).read_text()

    assert text.count('<g id="axes_') == 3  # time, temperature, length: what these layers know


def test_the_part_shows_what_faces_the_reader(file: Path, tmp_path: Path) -> None:
    text = view(file, tmp_path / "part.svg").read_text()

    # of a tetrahedron seen from the front, the left and above: the front, and the slanting face; not the bottom
    assert text.count("<polygon") == 2
    assert part_svg(TETRAHEDRON, title="a<b").count("a&lt;b") == 1


def test_a_layer_that_is_not_there(file: Path, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="holds 0 to 2"):
        view(file, tmp_path / "layer.svg", layer=7)


def test_an_ending_that_is_not_known(file: Path, tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"\.svg, \.png or \.pdf"):
        view(file, tmp_path / "layer.gif", layer=1)
    with pytest.raises(OutputError, match=r"drawn as \.svg"):
        view(file, tmp_path / "part.png")


def test_a_region_shows_itself() -> None:
    none = np.full(2, -1, np.int32)
    ring = ArcPath(points=np.array([[50.0, 0], [-50, 0]]), bulge=np.ones(2), face=none, support=none)
    text = ArcRegion(loops=(ring,), supports=np.zeros((0, 4)))._repr_svg_()

    # two half circles of radius 50, counter-clockwise with y turned down
    assert 'd="M50 -0A50 50 0 0 0 -50 -0A50 50 0 0 0 50 -0Z"' in text
