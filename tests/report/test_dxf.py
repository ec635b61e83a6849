"""DXF files read back by ezdxf, their entities against closed forms."""

import ezdxf
import numpy as np
import pytest

from beadwright.curves import CurveKind
from beadwright.report import write_dxf
from tests.report._sections import Section, flange, mixed


def reopened(path):
    document = ezdxf.readfile(path)
    assert document.audit().errors == []
    return document, list(document.modelspace())


def spline_points(entity, n=200):
    """Points of a SPLINE by ezdxf's own evaluation."""
    curve = entity.construction_tool()
    return np.array([(p.x, p.y, p.z) for p in curve.points(np.linspace(0.0, curve.max_t, n))])


def test_circles_and_ellipses_stay_what_they_are(tmp_path):
    loops, _ = flange()
    told = write_dxf(tmp_path / "flange.dxf", loops, 120.0, face_names=["rim", "oval|hole"])
    document, entities = reopened(told.path)
    assert [e.dxftype() for e in entities] == ["CIRCLE", "ELLIPSE", "ARC", "LINE", "ARC", "LINE", "CIRCLE"]
    assert told.entities == {"ARC": 2, "CIRCLE": 2, "ELLIPSE": 1, "LINE": 2}
    assert document.header["$INSUNITS"] == 4
    outer, oval, left, top, right = entities[:5]
    assert (outer.dxf.center, outer.dxf.radius) == ((1000.0, 200.0, 120.0), 500.0)
    assert outer.dxf.layer == "face_0 rim"
    assert oval.dxf.layer == "face_1 oval_hole"
    # the ellipse of the section: half axes 180 and 90, turned by 0.4
    assert np.hypot(*oval.dxf.major_axis.vec2) == pytest.approx(180.0, abs=1e-9)
    assert oval.dxf.ratio == pytest.approx(0.5, abs=1e-12)
    c, s = np.cos(0.4), np.sin(0.4)
    for p in oval.vertices(np.linspace(0, 2 * np.pi, 50)):
        x, y = p.x - 1000.0, p.y - 250.0
        u, v = c * x + s * y, -s * x + c * y
        assert (u / 180.0) ** 2 + (v / 90.0) ** 2 == pytest.approx(1.0, abs=1e-12)
        assert p.z == 120.0
    # the slot's left end runs clockwise from its foot by the left to its top: as an ARC 90 to 270 degrees
    assert (left.dxf.start_angle, left.dxf.end_angle % 360) == pytest.approx((90.0, 270.0), abs=1e-9)
    assert (right.dxf.start_angle % 360, right.dxf.end_angle) == pytest.approx((270.0, 90.0), abs=1e-9)
    assert top.dxf.start.isclose((900, -20, 120), abs_tol=1e-12)
    assert top.dxf.end.isclose((1100, -20, 120), abs_tol=1e-12)


def test_conics_and_splines_are_exact(tmp_path):
    loops, _ = mixed()
    path = write_dxf(tmp_path / "mixed.dxf", loops, 42.5).path
    document, entities = reopened(path)
    assert [e.dxftype() for e in entities] == [
        "SPLINE",
        "LINE",
        "SPLINE",
        "LINE",
        "ELLIPSE",
        "SPLINE",
        "LINE",
    ]
    parabola, _, cubic, gap, quarter, hyperbola, _ = entities
    x, y, z = spline_points(parabola).T
    assert np.abs(y - 1e-3 * x * x).max() < 1e-12
    assert np.abs(z - 42.5).max() < 1e-12
    assert {p[2] for p in parabola.control_points} == {42.5}
    assert (x[0], x[-1]) == pytest.approx((0.0, 300.0), abs=1e-12)
    # the cubic of the section: x = 300 - 150 u
    x, y, _ = spline_points(cubic).T
    u = (300.0 - x) / 150.0
    assert np.abs(y - (400.0 + 60.0 * u * (1 - u) ** 2 + 30.0 * u * u * (1 - u))).max() < 1e-11
    assert gap.dxf.layer == "gap"
    assert quarter.dxf.center.isclose((149.999, 300.0, 42.5), abs_tol=1e-9)
    assert (quarter.end_point - quarter.start_point).magnitude == pytest.approx(np.hypot(120, 100), abs=1e-9)
    x, y, _ = spline_points(hyperbola).T
    u, v = (x - 9.999) / 20.0, (y - 300.0) / 200.0
    assert np.abs(u * u - v * v - 1.0).max() < 1e-12
    assert len(hyperbola.weights) == 3
    groups = dict(document.groups)
    # the reader keeps a group's members as a set
    assert {e.dxf.handle for e in groups["loop_1"]} == {e.dxf.handle for e in entities}


def test_level_curves_stay_within_their_bound(tmp_path):
    """Quintics over sin x carried as a level curve: the bound goes into the report."""
    quintic = [(float(x), float(y), 1.0) for x, y in zip(range(6), (0, 2, 1, -1, 4, 0), strict=True)]
    cubic = [(5.0, 0.0, 1.0), (6.0, 1.0, 1.0), (7.0, 2.0, 1.0), (8.0, 0.0, 1.0)]
    section = Section().spline([quintic, cubic], kind=CurveKind.LEVEL, bound=3e-7).close(closed=False)
    told = write_dxf(tmp_path / "level.dxf", section.loops(), 0.0)
    assert told.bound == 3e-7
    document, (spline,) = reopened(told.path)
    assert "chain_1" in dict(document.groups)
    assert spline.dxf.degree == 5
    x, y, _ = spline_points(spline, 101).T
    # the first half of the parameters is the quintic in Bernstein form, evaluated by numpy alone
    from math import comb

    t = np.linspace(0, 1, 51)
    basis = np.array([comb(5, i) * t**i * (1 - t) ** (5 - i) for i in range(6)])
    assert np.abs(x[:51] - np.array([p[0] for p in quintic]) @ basis).max() < 1e-12
    assert np.abs(y[:51] - np.array([p[1] for p in quintic]) @ basis).max() < 1e-12


def test_short_elliptic_arc_is_written_as_its_spline(tmp_path):
    """1e-3 rad at 3 m tell the axes to some 1e-5 mm only; the rational spline is the same curve."""
    section = Section().ellipse((0.0, 0.0), 3000.0, 1000.0, 0.2, 1.0, 1e-3, n=1).close(closed=False)
    _, (entity,) = reopened(write_dxf(tmp_path / "short.dxf", section.loops(), 0.0).path)
    assert entity.dxftype() == "SPLINE"
    x, y, _ = spline_points(entity).T
    u, v = x * np.cos(0.2) + y * np.sin(0.2), y * np.cos(0.2) - x * np.sin(0.2)
    assert np.abs((u / 3000.0) ** 2 + (v / 1000.0) ** 2 - 1.0).max() < 1e-14


def test_same_bytes_at_another_time(tmp_path, monkeypatch):
    loops, _ = mixed()
    first = write_dxf(tmp_path / "a.dxf", loops, 1.0).path.read_bytes()
    import time

    later = time.time() + 1e6
    monkeypatch.setattr(time, "time", lambda: later)
    assert write_dxf(tmp_path / "b.dxf", loops, 1.0).path.read_bytes() == first


def test_empty_section_is_an_empty_drawing(tmp_path):
    _, entities = reopened(write_dxf(tmp_path / "none.dxf", Section().loops(), 1.0).path)
    assert entities == []
