"""What `export` writes, read back by other readers and held against closed forms."""

from __future__ import annotations

import csv
import math
from collections import Counter
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pytest

from beadwright.curves import ArcPath
from beadwright.errors import InputError, OutputError, SettingsError
from beadwright.pipeline import export, read_step
from beadwright.report import SheetData, SheetLayer, layer_spans, read_moves, sheet_head, sheet_page

R, W, H = 100.0, 8.0, 4.0
"""A ring of one bead: its centreline's radius, its width and height, mm."""
LAYERS = 3
AREA = 2 * math.pi * R * W  # of a ring of mean radius R and width W (Pappus)


def text() -> str:
    parts = ["G21\nG90\n"]
    for k in range(LAYERS):
        parts.append(f"(layer index={k} z0={H * k} z={H * (k + 1)} height={H})\nG0 X{R} Y0\nF6000\n")
        parts.append(
            f"(bead index={k} role=contour rank=1 loop=0 hole=0 offset=4.0 width={W} height={H} closed=1)\n"
        )
        parts.append(f"G3 X{-R} Y0 I{-R} J0\nG3 X{R} Y0 I{R} J0\n(end bead)\n(end layer)\n")
    return "".join(parts)


def sheet(faces: list[dict[str, Any]]) -> SheetData:
    reader, found = read_moves([text()])
    none = np.full(2, -1, np.int32)
    loop = ArcPath(
        points=np.array([[R + W / 2, 0], [-R - W / 2, 0]]), bulge=np.ones(2), face=none, support=none
    )
    layers = []
    for k, moves in enumerate(found):
        row: dict[str, Any] = {"index": k, "z0_mm": H * k, "z_mm": H * (k + 1), "height_mm": H}
        layer = SheetLayer(row=row, moves=moves, loops=(loop,))
        front, side = layer_spans(layer)
        layers.append(SheetLayer(row={**row, "front": front, "side": side}, moves=moves, loops=(loop,)))
    document: dict[str, Any] = {
        "version": "1",
        "input": {"file": "ring.step", "sha256": "0"},
        "totals": {"layers": LAYERS, "beads": LAYERS, "length_mm": 1884.0, "mass_kg": 1.0},
        "findings": [
            {"code": "thin", "level": "note", "text": "planted", "layer": 1, "measured": 0.5, "unit": "mm"}
        ],
        "faces": faces,
    }
    head = sheet_head(
        document, layers, kind="plan", settings=[], program={"sha256": "0", "moves": reader.moves}
    )
    return SheetData(head=head, layers=tuple(layers))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("out")
    (path / "report.html").write_text(sheet_page(sheet([])), encoding="utf-8")
    return path


def test_beads_as_dxf_are_polylines_with_true_bulges(folder: Path, tmp_path: Path) -> None:
    export(folder, "beads", tmp_path / "beads.dxf")
    lines = list(ezdxf.readfile(tmp_path / "beads.dxf").modelspace())  # type: ignore[attr-defined]

    assert len(lines) == LAYERS
    for k, line in enumerate(lines):
        # two half turns: tan(pi / 4) = 1
        assert [tuple(round(v, 4) for v in row) for row in line.get_points("xyb")] == [(R, 0, 1), (-R, 0, 1)]
        assert (line.closed, line.dxf.const_width, line.dxf.layer) == (True, W, "contour")
        assert line.dxf.elevation == pytest.approx(H * (k + 1))


def test_sections_as_step_are_circles(
    folder: Path, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    found = export(folder, "sections", tmp_path / "sections.step", layers="0:2")
    assert capfd.readouterr().out == ""  # the kernel keeps its statistics to itself
    words = (tmp_path / "sections.step").read_text()

    assert found.items == 2
    assert words.count("CIRCLE(") == 4
    # one radius, that of the ring's outside, as far as 32-bit bulges keep it
    radii = {float(line.rpartition(",")[2].rstrip(");")) for line in words.split("\n") if "CIRCLE(" in line}
    assert max(abs(r - (R + W / 2)) for r in radii) < 2e-5


def test_the_deposit_has_the_rings_volume(folder: Path, tmp_path: Path) -> None:
    found = export(folder, "deposit", tmp_path / "deposit.step", layers="1:3")
    model = read_step(tmp_path / "deposit.step")

    assert len(model.solids) == 2
    # printed to 1e-5 mm in places, so by Pappus to 1e-5 of W and of R
    assert model.volume == pytest.approx(2 * AREA * H, rel=5e-6)
    assert (model.box[0, 2], model.box[1, 2]) == pytest.approx((H, 3 * H), abs=1e-6)
    assert found.size_mm == pytest.approx((2 * R + W, 2 * R + W, 2 * H), abs=1e-4)
    assert found.volume_mm3 == pytest.approx(2 * AREA * H, rel=5e-6)
    assert "(2 layers, 2 solid layers, 208.0 x 208.0 x 8.0 mm, 0.04021 dm3, " in found.sentence()


@pytest.mark.parametrize("chord", [0.5, 0.01])
def test_the_body_is_closed_and_misses_its_volume_by_its_chord_at_most(
    folder: Path, tmp_path: Path, chord: float
) -> None:
    found = export(folder, "body", tmp_path / "body.stl", chord=chord)
    data = (tmp_path / "body.stl").read_bytes()
    rows = np.frombuffer(data, dtype=[("n", "<f4", 3), ("p", "<f4", (3, 3)), ("a", "<u2")], offset=84)
    corner = rows["p"].astype(float)
    volume = np.einsum("ij,ij->i", corner[:, 0], np.cross(corner[:, 1], corner[:, 2])).sum() / 6

    assert len(rows) == found.items == int.from_bytes(data[80:84], "little")
    # the divergence theorem: a sum of tetrahedra; each of the two boundary circles is off by a chord at most
    assert abs(volume - LAYERS * AREA * H) < LAYERS * H * 2 * 2 * math.pi * (R + W) * chord
    export(folder, "body", tmp_path / "one.stl", chord=chord, layers="0:1")
    one = np.frombuffer((tmp_path / "one.stl").read_bytes(), dtype=rows.dtype, offset=84)["p"]
    corners = [[tuple(p) for p in triangle] for triangle in one.tolist()]
    edges = Counter((t[i], t[(i + 1) % 3]) for t in corners for i in range(3))
    # closed: every edge of a triangle is one of another the other way round
    assert all(edges[b, a] == n for (a, b), n in edges.items())


def test_moves_as_a_table(folder: Path, tmp_path: Path) -> None:
    export(folder, "moves", tmp_path / "moves.csv", layers=":1")
    rows = list(csv.DictReader((tmp_path / "moves.csv").read_text().splitlines()))
    lines = text().split("\n")

    assert [row["kind"] for row in rows] == ["traverse", "arc", "arc"]
    assert [lines[int(row["line"]) - 1][:2] for row in rows] == ["G0", "G3", "G3"]
    assert float(rows[1]["radius_mm"]) == pytest.approx(R, abs=1e-4)
    assert float(rows[1]["length_mm"]) == pytest.approx(math.pi * R, abs=1e-3)
    assert rows[1]["feed_mm_s"] == "100"


def test_stock_by_face(tmp_path: Path) -> None:
    faces = [
        {
            "id": 0,
            "name": "tool_face",
            "kind": "plane",
            "area_mm2": 12.5,
            "stock_mm": {"least": 5.0, "greatest": 7.25},
        },
        {"id": 1, "name": "base", "kind": "plane", "area_mm2": 12.5},
    ]
    (tmp_path / "report.html").write_text(sheet_page(sheet(faces)), encoding="utf-8")
    export(tmp_path, "stock", tmp_path / "stock.csv")

    rows = list(csv.reader((tmp_path / "stock.csv").read_text().splitlines()))
    assert rows[1] == ["0", "tool_face", "plane", "12.5000", "5.000000", "7.250000"]
    assert rows[2][-2:] == ["", ""]


def test_a_summary_says_what_was_not_computed(folder: Path, tmp_path: Path) -> None:
    export(folder, "summary", tmp_path / "summary.md")
    words = (tmp_path / "summary.md").read_text()

    assert "| mass | 1 kg (2.205 lb) |" in words  # a pound is 0.45359237 kg
    assert "| build time | not computed |" in words
    assert "- **1** note, thin: planted (layer 1); measured 0.5 mm" in words


@pytest.mark.parametrize(
    ("what", "name", "options", "error", "words"),
    [
        ("beads", "x.stl", {}, OutputError, r"\.dxf or \.svg or \.step"),
        ("pearls", "x.stl", {}, SettingsError, "expected one of beads"),
        ("stock", "x.csv", {}, InputError, "no stock"),
        ("beads", "x.svg", {}, SettingsError, "one layer"),
        ("moves", "x.csv", {"layers": "7"}, SettingsError, "A:B"),
        ("moves", "x.csv", {"layers": "7:9"}, InputError, "no such layer"),
        ("body", "x.stl", {"chord": 0.0}, SettingsError, "above 0"),
    ],
)
def test_what_cannot_be_written_is_told(
    folder: Path,
    tmp_path: Path,
    what: str,
    name: str,
    options: dict[str, Any],
    error: type[Exception],
    words: str,
) -> None:
    with pytest.raises(error, match=words):
        export(folder, what, tmp_path / name, **options)

    assert list(tmp_path.iterdir()) == []


def test_the_same_bytes_again(folder: Path, tmp_path: Path) -> None:
    for what, ending in (("beads", "dxf"), ("beads", "step"), ("deposit", "step"), ("body", "stl")):
        one, two = tmp_path / f"one.{ending}", tmp_path / f"two.{ending}"
        export(folder, what, one, layers="0:1")
        export(folder, what, two, layers="0:1")

        assert one.read_bytes() == two.read_bytes()
