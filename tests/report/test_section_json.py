"""The JSON of a section, its numbers against closed forms and an independent spline."""

import json

import numpy as np
import pytest
from scipy.interpolate import BSpline

from beadwright.report import write_section_json
from tests.report._sections import Section, flange, mixed


def evaluated(spline, n=101):
    """A rational spline by scipy, weights and all."""
    points = np.array(spline["points_mm"])
    weights = np.array(spline.get("weights", np.ones(len(points))))
    top = BSpline(np.array(spline["knots"]), points * weights[:, None], spline["degree"])
    down = BSpline(np.array(spline["knots"]), weights, spline["degree"])
    t = np.linspace(0.0, 1.0, n)
    return top(t) / down(t)[:, None]


def test_flange_tells_its_circles_and_areas(tmp_path):
    loops, area = flange()
    path = tmp_path / "flange.json"
    write_section_json(path, loops, asked=120.0, taken=120.000001, face_names=["rim"], part="flange.step")
    told = json.loads(path.read_text())
    assert told["format"] == "beadwright section 1"
    assert told["height_mm"] == {"asked": 120.0, "taken": 120.000001}
    assert told["area_mm2"] == pytest.approx(area, rel=1e-13)
    assert [loop["hole"] for loop in told["loops"]] == [False, True, True, True]
    rim = told["loops"][0]["curves"][0]
    assert (rim["kind"], rim["exact"], rim["face"], rim["face_name"]) == ("circle", True, 0, "rim")
    assert (rim["centre_mm"], rim["radius_mm"]) == ([1000.0, 200.0], 500.0)
    assert rim["sweep_rad"] == 2 * np.pi
    assert rim["start_rad"] == pytest.approx(0.3, abs=1e-15)
    oval = told["loops"][1]["curves"][0]
    assert np.hypot(*oval["major_mm"]) == pytest.approx(180.0, abs=1e-9)
    assert np.hypot(*oval["minor_mm"]) == pytest.approx(90.0, abs=1e-9)
    assert oval["sweep_rad"] == pytest.approx(-2 * np.pi, abs=1e-9)
    t = oval["start_rad"]
    start = np.array(oval["centre_mm"]) + np.cos(t) * np.array(oval["major_mm"])
    start += np.sin(t) * np.array(oval["minor_mm"])
    assert np.abs(start - oval["from_mm"]).max() < 1e-9
    x, y = (evaluated(oval["spline"]) - [1000.0, 250.0]).T
    u, v = x * np.cos(0.4) + y * np.sin(0.4), y * np.cos(0.4) - x * np.sin(0.4)
    assert np.abs((u / 180) ** 2 + (v / 90) ** 2 - 1).max() < 1e-13


def test_mixed_tells_kinds_bounds_and_gaps(tmp_path):
    loops, area = mixed()
    path = tmp_path / "mixed.json"
    frame = np.array([[0.0, 0.0, 1.0, 5.0], [1.0, 0.0, 0.0, 0.0], [0.0, 1.0, 0.0, 0.25]])
    write_section_json(path, loops, asked=42.5, taken=42.5, to_model=frame)
    told = json.loads(path.read_text())
    assert told["to_model"] == frame.tolist()
    assert told["area_mm2"] == pytest.approx(area, rel=1e-13)
    assert told["kinds"]["connector"] == 1
    assert told["bounds_mm"]["model"] == pytest.approx(1e-3, abs=1e-12)
    assert "part" not in told
    curves = told["loops"][0]["curves"]
    assert [c["kind"] for c in curves] == [
        "parabola", "line", "spline", "connector", "ellipse", "hyperbola", "line",
    ]  # fmt: skip
    gap = curves[3]
    assert (gap["exact"], "face" in gap) == (False, False)
    assert gap["gap_mm"] == pytest.approx(1e-3, abs=1e-12)
    assert [c["exact"] for c in curves].count(False) == 1
    x, y = evaluated(curves[0]["spline"]).T
    assert np.abs(y - 1e-3 * x * x).max() < 1e-12
    x, y = evaluated(curves[5]["spline"]).T
    assert np.abs(((x - 9.999) / 20) ** 2 - ((y - 300) / 200) ** 2 - 1).max() < 1e-12
    for one, two in zip(curves, curves[1:] + curves[:1], strict=True):
        assert one["to_mm"] == two["from_mm"]


def test_empty_section_is_told(tmp_path):
    path = tmp_path / "none.json"
    write_section_json(path, Section().loops(), asked=1.0, taken=1.0)
    told = json.loads(path.read_text())
    assert (told["area_mm2"], told["loops"]) == (0.0, [])
