"""The sheet's data: what the program's text says, how it is packed, what the page is made of."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from importlib import resources
from typing import Any

import jsonschema
import numpy as np
import pytest

from beadwright.curves import ArcPath
from beadwright.report import (
    LayerMoves,
    SheetData,
    SheetLayer,
    layer_spans,
    read_moves,
    sheet_head,
    sheet_page,
)
from beadwright.report._sheet_data import NO_FACE, QUANTUM, counted_block, packed, spans, unpacked
from beadwright.report._sheet_page import MODULES, sheet_file, sheet_script
from tests.report._long_program import long_sheet

LAYER = """G21
(placement row=0 m=2.0,0.0,0.0,10.0)
(placement row=1 m=0.0,2.0,0.0,20.0)
(placement row=2 m=0.0,0.0,2.0,30.0)
(contraction x=1.5 y=1.0 z=1.0 at=0.0,0.0,0.0)
(layer index=7 z0=28.0 z=32.0 height=4.0)
G0 Z52.0000
G0 X100.0000 Y0.0000
F6000.0
G1 Z32.0000
(bead index=40 role=contour rank=1 loop=0 hole=0 offset=4.2 width=8.4 height=4.0 closed=1)
M3
G3 X0.0000 Y100.0000 I-100.0000 J0.0000
G2 X0.0000 Y100.0000 I0.0000 J30.0000
F3000.0
G1 X100.0000 Y0.0000
M5
(end bead)
G1 Z52.0000
(end layer)
"""


def layer_of(text: str) -> LayerMoves:
    _, layers = read_moves([text])
    return layers[0]


def test_arcs_have_the_bulge_of_their_angle() -> None:
    moves = layer_of(LAYER)

    # tan(pi / 8) = sqrt(2) - 1 for a quarter; a whole turn is told in two halves, each tan(pi / 4) = 1
    np.testing.assert_allclose(moves.bulge, [0.0, math.sqrt(2) - 1, -1.0, -1.0, 0.0], atol=1e-15)
    # the first half of the circle about (0, 130) ends opposite its start
    assert (moves.x[2], moves.y[2]) == (0.0, 160.0)


def test_moves_know_their_bead_feed_and_line() -> None:
    reader, (moves,) = read_moves([LAYER])

    assert [(r.role, r.bead, r.first, r.feed) for r in moves.runs[1:]] == [
        ("contour", 40, 1, 100.0),
        ("contour", 40, 4, 50.0),
    ]
    assert moves.runs[0].role == "traverse"
    lines = LAYER.split("\n")
    assert [lines[n - 1].split()[0] for n in moves.line] == ["G0", "G3", "G2", "G2", "G1"]
    assert reader.moves == 3


def test_the_matrix_holds_placement_and_contraction() -> None:
    reader, _ = read_moves([LAYER])
    matrix = reader.matrix()

    assert matrix is not None
    # factors applied to the placed solid about the fixed point: x of the placed point (2 * 5 + 10) times 1.5
    np.testing.assert_allclose(matrix[:, :3] @ [5.0, 5.0, 5.0] + matrix[:, 3], [30.0, 30.0, 40.0])


def test_inches_come_out_in_mm() -> None:
    bead = "(bead index=0 role=wall)\nG1 X1. Y0.\nG2 X2 Y0 I.5 J0\n(end bead)\n"
    moves = layer_of(f"G20\n(layer index=0 z=1.0)\nF60\n{bead}(end layer)\n")

    # 1 inch is 25.4 mm (the international inch); F60 is an inch a second
    assert moves.x.tolist() == [25.4, 50.8]
    assert moves.runs[0].feed == pytest.approx(25.4)
    assert moves.bulge[1] == pytest.approx(-1.0)


def test_increments_and_radii_are_followed() -> None:
    # from (0, 0): 30 to the right, a quarter left about (30, 40), then three quarters right with a negative radius
    bead = "(bead index=0 role=wall)\nG1 X30\nG3 X40 Y40 R40\nG2 X-10 Y10 R-10\n(end bead)\n"
    moves = layer_of(f"G21\n(layer index=0 z=4.0)\nG0 X0 Y0\nG91\nF600\n{bead}G90\n(end layer)\n")

    assert list(zip(moves.x[1:], moves.y[1:], strict=True)) == [(30.0, 0.0), (70.0, 40.0), (60.0, 50.0)]
    # tan(pi / 8) for a quarter of a turn, tan(3 pi / 8) for three
    np.testing.assert_allclose(moves.bulge[1:], [0.0, math.sqrt(2) - 1, -(math.sqrt(2) + 1)], rtol=1e-12)


def ring(radius: float, x: float = 0.0, sign: float = 1.0) -> ArcPath:
    points = np.array([[x + radius, 0.0], [x - radius, 0.0]])
    none = np.full(2, -1, np.int32)
    return ArcPath(points=points, bulge=np.full(2, sign), face=none, support=none)


def test_what_a_layer_covers_from_the_side_is_exact() -> None:
    # two discs apart, one of them a ring: its hole does not show from the side
    loops = (ring(50.0), ring(20.0, sign=-1.0), ring(30.0, x=100.0))

    assert spans(loops, 0) == [[-50.0, 50.0], [70.0, 130.0]]
    assert spans(loops, 1) == [[-50.0, 50.0]]


def sheet_layer() -> SheetLayer:
    moves = layer_of(LAYER)
    return SheetLayer(
        row={"index": 7, "z0_mm": 28.0, "z_mm": 32.0, "height_mm": 4.0},
        moves=moves,
        loops=(ring(50.0),),
        face=np.array([-1, 3, 4, 70000, -1]),
        source=np.array([2, 0, 1, 1, 0]),
        lost=np.array([[1.0, 2.0, 4.0, 7.5]]),
    )


def test_packed_arrays_come_back() -> None:
    layer = sheet_layer()
    counts, text = counted_block(layer), packed(layer, ["contour", "traverse"])
    arrays = unpacked(counts, text)

    assert counts == {"moves": 5, "z": 0, "deviation": 0, "runs": 3, "loops": 1, "points": 2, "lost": 1}
    np.testing.assert_allclose(arrays["x"] * QUANTUM, layer.moves.x, atol=QUANTUM / 2)
    # 32-bit floats keep 24 digits of two
    np.testing.assert_allclose(arrays["bulge"], layer.moves.bulge, rtol=2.0**-24)
    assert arrays["face"].tolist() == [NO_FACE, 3, 4, NO_FACE, NO_FACE]
    assert arrays["run_role"].tolist() == [1, 0, 0]
    lines = np.add.accumulate(arrays["jump"][1:4]) + arrays["run_line"][1]
    assert lines.tolist() == layer.moves.line[1:4].tolist()


def test_the_outline_of_the_part_inside_its_stock_goes_its_own_way() -> None:
    layer = replace(sheet_layer(), part=(ring(46.0),))
    counts, text = counted_block(layer), packed(layer, ["contour", "traverse"])
    arrays = unpacked(counts, text)

    assert counts["loops"] == 2
    assert arrays["loop_part"].tolist() == [0, 1]
    # what the layer covers from the side is the region's, stock included
    assert layer_spans(layer) == ([[-50.0, 50.0]], [[-50.0, 50.0]])


def page(name: str = "part.step") -> str:
    layer = sheet_layer()
    front, side = layer_spans(layer)
    layers = (
        SheetLayer(row={**layer.row, "front": front, "side": side}, moves=layer.moves, loops=layer.loops),
    )
    document = {"version": "1", "input": {"file": name, "sha256": "0"}, "findings": [], "totals": {}}
    head = sheet_head(document, layers, kind="plan", settings=[], program={"sha256": "0", "moves": 3})
    return sheet_page(SheetData(head=head, layers=layers))


def test_the_page_asks_nothing_of_anybody() -> None:
    text = page()

    assert "default-src 'none'" in text
    assert not re.search(
        r"(?:src|href)=\"(?!data:,)|url\(|@import|https?://|\bimport\s*\(|fetch\(|XMLHttp|WebSocket", text
    )


def head_of(text: str) -> dict[str, Any]:
    data = re.search(r'id="data">(.*?)</script>', text, flags=re.DOTALL)
    assert data is not None
    return dict(json.loads(data[1]))


def test_the_head_is_what_its_schema_says() -> None:
    jsonschema.validate(head_of(page()), json.loads(sheet_file("sheet.schema.json")))
    jsonschema.validate(head_of(sheet_page(long_sheet(2, 8))), json.loads(sheet_file("sheet.schema.json")))


def test_a_name_cannot_leave_its_place() -> None:
    text = page("</script><b>$title.step")

    assert head_of(text)["input"]["file"] == "</script><b>$title.step"
    assert "<title>&lt;/script&gt;&lt;b&gt;$title.step" in text


def test_the_same_data_give_the_same_page() -> None:
    assert page() == page()


def test_every_module_of_the_folder_is_in_the_page_once_and_names_differ() -> None:
    folder = resources.files("beadwright.report") / "sheet"
    names = {p.name.removesuffix(".js") for p in folder.iterdir() if p.name.endswith(".js")}
    tops = re.findall(r"^(?:async )?(?:function|const|let|class)\s+(\w+)", sheet_script(), flags=re.MULTILINE)

    assert sorted(MODULES) == sorted(names)
    assert len(tops) == len(set(tops))
    assert "import " not in "".join(line for line in sheet_script().split("\n") if line.startswith("import"))


def test_each_module_stands_after_those_it_imports() -> None:
    for place, name in enumerate(MODULES):
        imported = re.findall(r"from \"\./(\w+)\.js\"", sheet_file(f"{name}.js"))

        assert all(MODULES.index(other) < place for other in imported), name


def test_modules_are_small() -> None:
    assert all(sheet_file(f"{name}.js").count("\n") <= 400 for name in MODULES)


# How colours look without one kind of cone: Machado, Oliveira, Fernandes, IEEE Trans. Vis. Comput. Graph. 15 (2009)
# 1291-1298, table 1, severity 1 (numbers from memory).
CONES = {
    "all": np.eye(3),
    "no long": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "no middle": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "no short": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}
# A difference that the eye just sees is about 2.3 in CIE 1976 L*a*b* (Mahy, Van Eycken, Oosterlinck, Color Research and
# Application 19 (1994) 105-121; from memory); five of them are seen at a glance.
AT_A_GLANCE = 5 * 2.3


def lab(colours: np.ndarray) -> np.ndarray:
    """L*a*b* of linear RGB, IEC 61966-2-1 and CIE 15."""
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    share = np.clip(colours, 0, 1) @ to_xyz.T / [0.9505, 1.0, 1.089]
    f = np.where(share > 216 / 24389, np.cbrt(share), (24389 / 27 * share + 16) / 116)
    return np.column_stack([116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])])


@pytest.mark.parametrize("cones", sorted(CONES))
@pytest.mark.parametrize("theme", [0, 1], ids=["light", "dark"])
def test_roles_stay_apart_for_every_colour_vision(cones: str, theme: int) -> None:
    lists = re.findall(r"roles: \[(.*?)\]", sheet_file("palette.js"))
    codes = re.findall(r"#(\w{6})", lists[theme])
    shown = np.array([[int(c[i : i + 2], 16) for i in (0, 2, 4)] for c in codes]) / 255
    linear = np.where(shown <= 0.04045, shown / 12.92, ((shown + 0.055) / 1.055) ** 2.4)
    seen = lab(linear @ CONES[cones].T)
    apart = np.linalg.norm(seen[:, None] - seen, axis=2)[np.triu_indices(len(seen), 1)]

    assert len(seen) == 10
    assert apart.min() > AT_A_GLANCE
