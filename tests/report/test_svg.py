"""SVG files read by a parser of their own: areas against closed forms, arcs that stay arcs."""

import xml.etree.ElementTree as ET
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from beadwright.curves import CurveKind
from beadwright.report import write_svg
from beadwright.report._page import brief, round_length
from beadwright.report._splines import cubics
from tests.report._sections import Section, flange, mixed
from tests.report._svg_reader import area_and_arcs, commands

NS = "{http://www.w3.org/2000/svg}"


def section_path(path, name="section"):
    root = ET.parse(path).getroot()
    return root, next(e for e in root.iter(f"{NS}path") if e.get("id") == name).get("d")


def test_area_of_lines_circles_and_ellipses(tmp_path):
    loops, area = flange()
    told = write_svg(tmp_path / "flange.svg", loops, 120.0)
    _, data = section_path(told.path)
    found, arcs = area_and_arcs(data)
    # coordinates are rounded to 1e-9 mm, the outline is 4.9 m long
    assert found == pytest.approx(area, abs=1e-5)
    assert set(told.entities) == {"A", "L", "M", "Z"}
    for centre, rx, ry, turn in arcs[4:8]:
        assert np.abs(centre - [1000.0, 250.0]).max() < 1e-7
        assert (rx, ry) == pytest.approx((180.0, 90.0), abs=1e-9)
        assert turn % np.pi == pytest.approx(0.4, abs=1e-9)
    for centre, rx, ry, _ in arcs[:4]:
        assert np.abs(centre - [1000.0, 200.0]).max() < 1e-7
        assert rx == ry == 500.0


def test_area_of_every_kind(tmp_path):
    loops, area = mixed()
    told = write_svg(tmp_path / "mixed.svg", loops, 42.5)
    _, data = section_path(told.path)
    found, _ = area_and_arcs(data)
    assert told.bound <= 1e-6 + 2e-9
    # the hyperbola is 240 mm long and may lie 1e-6 off
    assert found == pytest.approx(area, abs=240 * 1e-6)
    letters = [letter for letter, _ in commands(data)]
    # a parabola is one Q, a cubic spline one C a piece, a quarter of an ellipse one A
    assert letters[:6] == ["M", "Q", "L", "C", "C", "C"]
    assert letters.count("A") == 1


def test_drawing_says_what_it_is(tmp_path):
    loops, _ = flange()
    root, _ = section_path(write_svg(tmp_path / "f.svg", loops, 120.0, title="a < b").path)
    words = [e.text for e in root.iter(f"{NS}text")]
    assert words[0] == "a < b"
    assert "200 mm" in words
    assert any(w.startswith("z = 120 mm") and "710\N{THIN SPACE}650 mm²" in w for w in words)
    assert any("1 outer contour, 3 holes" in w for w in words)
    # real size: the viewBox is in mm
    box = [float(v) for v in root.get("viewBox").split()]
    assert root.get("width") == f"{root.get('viewBox').split()[2]}mm"
    assert box[0] < 500 < 1500 < box[0] + box[2]
    assert box[1] < -700 < 300 < box[1] + box[3]


def test_open_chain_is_not_filled(tmp_path):
    section = Section().arc((0.0, 0.0), 50.0, 0.0, 1.5).close(closed=False)
    root, data = section_path(write_svg(tmp_path / "open.svg", section.loops(), 0.0).path, "open")
    assert [letter for letter, _ in commands(data)] == ["M", "A"]
    assert all(e.get("id") != "section" for e in root.iter())


def test_empty_section_is_drawn_and_said(tmp_path):
    root = ET.parse(write_svg(tmp_path / "none.svg", Section().loops(), 7.0).path).getroot()
    assert any("empty section" in e.text for e in root.iter(f"{NS}text"))


def test_same_bytes(tmp_path):
    loops, _ = mixed()
    written = [write_svg(tmp_path / name, loops, 1.0, title="t").path.read_bytes() for name in ("a", "b")]
    assert written[0] == written[1]


@settings(deadline=None, max_examples=50)
@given(
    st.integers(2, 5),
    st.lists(st.floats(-100, 100), min_size=12, max_size=12),
    st.lists(st.floats(0.4, 2.5), min_size=6, max_size=6),
)
def test_cubics_keep_their_bound(degree, places, weights):
    """Dense points of the piece at equal parameters lie within the bound that is told (and asked)."""
    n = degree + 1
    control = np.column_stack((np.reshape(places, (6, 2))[:n], np.ones(n))) * np.array(weights[:n])[:, None]
    pieces, reached = cubics(control, 1e-4)
    assert reached <= 1e-4
    ends = control[[0, -1], :2] / control[[0, -1], 2:]
    assert np.abs(pieces[0][0] - ends[0]).max() < 1e-12
    assert np.abs(pieces[-1][3] - ends[1]).max() < 1e-12
    assert all(np.abs(a[3] - b[0]).max() < 1e-12 for a, b in pairwise(pieces))
    # every point of a cubic lies near a dense sample of the piece, evaluated by de Casteljau
    t = np.linspace(0, 1, 4001)
    level = control[:, None, :] * np.ones((1, len(t), 1))
    while len(level) > 1:
        level = (1 - t)[None, :, None] * level[:-1] + t[None, :, None] * level[1:]
    dense = level[0, :, :2] / level[0, :, 2:]
    step = np.hypot(*np.diff(dense, axis=0).T).max()
    for piece in pieces[:: max(1, len(pieces) // 8)]:
        for s in (0.25, 0.5, 0.75):
            b = np.array([(1 - s) ** 3, 3 * s * (1 - s) ** 2, 3 * s * s * (1 - s), s**3])
            assert np.hypot(*(dense - b @ piece).T).min() <= reached + step


def test_polynomial_pieces_are_exact():
    control = np.array([(0.0, 0.0, 2.0), (4.0, 8.0, 2.0), (8.0, 0.0, 2.0)])
    (cubic,), reached = cubics(control, 1e-9)
    assert reached == 0.0
    # degree raising by hand: P0, (P0 + 2 P1) / 3, (2 P1 + P2) / 3, P2
    assert np.abs(cubic - [(0, 0), (4 / 3, 8 / 3), (8 / 3, 8 / 3), (4, 0)]).max() < 1e-15


@pytest.mark.parametrize(
    ("span", "bar"), [(0.3, 0.2), (1.0, 1.0), (9.9, 5.0), (19.0, 10.0), (1234.0, 1000.0), (0.02, 0.02)]
)
def test_scale_bar_is_a_round_length(span, bar):
    assert round_length(span) == pytest.approx(bar, rel=1e-12)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0, "0"),
        (0.33614, "0.336"),
        (12.0, "12"),
        (1.25, "1.25"),
        (710650.38, "710\N{THIN SPACE}650"),
        (999.96, "1\N{THIN SPACE}000"),
    ],
)
def test_numbers_for_the_reader(value, text):
    assert brief(value) == text


def test_every_curve_kind_is_drawn(tmp_path):
    """A quintic level curve becomes cubics, a straight piece of degree 1 a line."""
    section = Section()
    section.spline([[(0.0, 0.0, 1.0), (10.0, 0.0, 1.0)]])
    section.spline(
        [
            [
                (10.0, 0.0, 1.0),
                (12.0, 3.0, 1.0),
                (9.0, 4.0, 1.0),
                (8.0, 9.0, 1.0),
                (5.0, 9.0, 1.0),
                (0.0, 0.0, 1.0),
            ]
        ],
        kind=CurveKind.LEVEL,
        bound=2e-7,
    ).close()
    told = write_svg(tmp_path / "level.svg", section.loops(), 0.0)
    assert told.entities["L"] == 1
    assert told.entities["C"] > 1
    assert 2e-7 < told.bound <= 2e-7 + 1e-6 + 2e-9
