"""The picture of a layer: true widths, true arcs, a legend that adds up."""

import xml.etree.ElementTree as ET

import numpy as np
import pytest

from beadwright.curves import ArcPath, ArcRegion
from beadwright.report import BeadStroke, layer_picture
from beadwright.report._box import paths_box
from tests.report._svg_reader import area_and_arcs

NS = "{http://www.w3.org/2000/svg}"


def chain(points, bulge, *, closed=True):
    n = len(bulge)
    return ArcPath(
        points=np.array(points, float),
        bulge=np.array(bulge, float),
        face=np.zeros(n, np.int32),
        support=np.full(n, -1, np.int32),
        closed=closed,
    )


def ring(radius, way=1):
    return chain([(radius, 0), (-radius, 0)], [way, way])


def drawn(tmp_path, **also):
    region = ArcRegion(loops=(ring(500.0), ring(200.0, -1)), supports=np.zeros((0, 4)))
    beads = [BeadStroke(path=ring(495.8), width=8.4), BeadStroke(path=ring(204.2, -1), width=8.4)]
    beads.append(BeadStroke(path=chain([(250, 0), (450, 0)], [0.0], closed=False), width=6.0, role="fill"))
    path = layer_picture(tmp_path / "layer.svg", region, beads, title="Ring", caption="z = 4 mm", **also)
    return ET.parse(path).getroot()


def test_beads_have_their_width_and_arcs_stay_arcs(tmp_path):
    root = drawn(tmp_path)
    widths = [float(e.get("stroke-width")) for e in root.iter(f"{NS}path") if e.get("stroke-opacity")]
    assert widths.count(8.4) == 2
    assert widths.count(6.0) == 1
    outline = next(e for e in root.iter(f"{NS}path") if e.get("fill-rule") == "nonzero")
    area, arcs = area_and_arcs(outline.get("d"))
    assert area == pytest.approx(np.pi * (500.0**2 - 200.0**2), abs=1e-5)
    # half turns are cut in two, each about the common centre
    assert len(arcs) == 8
    assert max(np.abs(centre).max() for centre, *_ in arcs) < 1e-6


def test_legend_adds_up(tmp_path):
    words = [e.text for e in drawn(tmp_path).iter(f"{NS}text")]
    assert words[0] == "Ring"
    assert "z = 4 mm" in words
    # 2 pi (495.8 + 204.2) mm and 200 mm
    assert "2 contour beads, 4.398 m" in words
    assert "1 fill bead, 0.2 m" in words


def test_window_frames_a_part(tmp_path):
    root = drawn(tmp_path, window=(400.0, -50.0, 520.0, 50.0))
    x, _, width, _ = (float(v) for v in root.get("viewBox").split())
    assert 380 < x < 400
    assert x + width < 540


def test_box_of_arcs_holds_their_extremes():
    """Three quarters of a circle of radius 10 about (3, 4), from its right end to its foot."""
    half = np.tan(1.5 * np.pi / 2 / 4)
    at = [(13.0, 4.0), (3 + 10 * np.cos(0.75 * np.pi), 4 + 10 * np.sin(0.75 * np.pi)), (3.0, -6.0)]
    box = paths_box([chain(at, [half, half], closed=False)])
    assert box == pytest.approx((-7.0, -6.0, 13.0, 14.0), abs=1e-12)
