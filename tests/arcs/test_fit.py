"""The fit of exact curves by lines and arcs: what it keeps, how few arcs it takes, how close it stays."""

from __future__ import annotations

from dataclasses import replace
from math import pi, sqrt

import numpy as np
import pytest
from scipy.special import ellipe, fresnel

from beadwright.arcs import certify, fit
from beadwright.curves import CurveKind
from beadwright.errors import BoundError, GeometryError
from tests.arcs import _fit_oracles as oracles
from tests.arcs import _minimax as minimax
from tests.arcs._build_loops import (
    bezier_from_bspline,
    build,
    ellipse,
    homogeneous,
    line,
    quarter_ellipse,
    quintics,
    spline,
    turned_ellipse,
)

TOLERANCES = [1.0, 0.1, 0.01, 0.001, 0.0005]


def area_and_length(path) -> tuple[float, float]:
    """Green's theorem: the polygon of the chords plus the circular segments."""
    p, q = path.points, np.roll(path.points, -1, axis=0)
    chord = np.hypot(*(q - p).T)
    sweep = 4 * np.arctan(path.bulge)
    with np.errstate(divide="ignore", invalid="ignore"):
        radius = np.where(path.bulge == 0, 0.0, chord / (2 * np.sin(sweep / 2)))
    segment = radius**2 * (sweep - np.sin(sweep)) / 2
    area = 0.5 * np.sum(p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]) + segment.sum()
    length = np.where(path.bulge == 0, chord, np.abs(radius * sweep)).sum()
    return float(area), float(length)


def test_lines_and_circles_of_the_cad_keep_their_numbers():
    half = {
        "kind": CurveKind.CIRCLE,
        "ends": (100.0, 0.0, 0.0, 0.0),
        "circle": (50.0, 0.0, 50.0, pi),
        "face": 3,
    }
    fitted = fit(build([([line(0, 0, 100, 0, face=2), half], True)]), tolerance=0.01)

    (path,) = fitted.paths
    assert path.points[[0, 1]].tolist() == [[0, 0], [100, 0]]
    assert path.bulge[0] == 0.0
    # tan(180 degrees / 4)
    assert path.bulge[1:] == pytest.approx([1.0], abs=1e-14)
    assert path.face.tolist() == [2, 3]
    assert fitted.region.supports[path.support[1]].tolist() == [1, 50, 0, 50]
    assert path.support[1] != path.support[0]
    assert fitted.bound.mm < 1e-12


def test_o12_a_full_circle_becomes_two_half_turns():
    full = {"kind": CurveKind.CIRCLE, "ends": (80.0, 5.0, 80.0, 5.0), "circle": (30.0, 5.0, 50.0, -2 * pi)}
    fitted = fit(build([([full], True)]), tolerance=0.01)

    (path,) = fitted.paths
    assert path.bulge == pytest.approx([-1.0] * 2, abs=1e-15)
    assert area_and_length(path)[0] == pytest.approx(-pi * 2500, rel=1e-14)


def test_circles_of_the_cad_take_the_fewest_arcs_of_half_a_turn_at_most():
    """At sweeps of any size, and with ends that lie beside the circle as nodes of a sloppy file do."""
    rng = np.random.default_rng(12)
    for beside in (0.0, 1e-6):
        chains = []
        sweeps = [*rng.uniform(0.01, 2 * pi, 60), pi / 2, pi, 3 * pi / 2, 2 * pi]
        for sweep in sweeps:
            cx, cy, begin, radius = *rng.uniform(-500, 500, 2), rng.uniform(0, 7), 10 ** rng.uniform(0.5, 3)
            sweep *= rng.choice([-1, 1])
            ends = [
                at + radius * trig(angle)
                for angle in (begin, begin + sweep)
                for at, trig in ((cx, np.cos), (cy, np.sin))
            ]
            if abs(sweep) == 2 * pi:
                ends[2:] = ends[:2]
            ends = [each + rng.uniform(-beside, beside) / 2 for each in ends]
            chains.append(
                ([{"kind": CurveKind.CIRCLE, "ends": ends, "circle": (cx, cy, radius, sweep)}], False)
            )
        loops = build(chains)
        fitted = fit(loops, tolerance=0.01)

        assert np.diff(fitted.first_move).tolist() == [1 if sweep <= pi else 2 for sweep in sweeps]
        assert max(np.abs(path.bulge).max() for path in fitted.paths) <= 1.0
        # Of off at both ends no place is moved by more than (3 + 2 sqrt 2) off.
        assert fitted.bound.mm <= 5.83 * beside + 1e-11
        assert certify(loops, fitted).mm <= 2.0 * beside + 1e-9
        for c, (p0, p1, bulge) in zip(fitted.curve, oracles.moves_of(fitted), strict=True):
            points = oracles.arc_points(p0, p1, bulge, np.linspace(0, 1, 33)) - loops.circle[c, :2]
            off = np.abs(np.hypot(*points.T) - loops.circle[c, 2])
            assert off.max() <= fitted.chain_bound[c]


def test_a_circle_drawn_as_rational_quadratics_gets_its_centre_and_radius_back():
    """S26: middle weight sqrt(2)/2; closed form."""
    fitted = fit(build([([ellipse(75.0, 75.0, (400.0, -300.0))], True)]), tolerance=0.01)

    for p0, p1, bulge in oracles.moves_of(fitted):
        chord = p1 - p0
        length = np.hypot(*chord)
        h = (1 - bulge**2) / (4 * bulge)
        centre = (p0 + p1) / 2 + np.array([-chord[1], chord[0]]) * h
        assert centre == pytest.approx([400.0, -300.0], abs=1e-9)
        assert length * (1 + bulge**2) / (4 * abs(bulge)) == pytest.approx(75.0, abs=1e-9)
    assert fitted.bound.mm < 1e-9
    assert len(fitted.curve) <= 8


@pytest.mark.parametrize("tolerance", TOLERANCES)
def test_ellipse_has_the_area_and_length_of_its_closed_form(tolerance):
    """S8: semi-axes 300 x 200, area pi a b, circumference 4 a E(e)."""
    fitted = fit(build([([ellipse(300.0, 200.0)], True)]), tolerance=tolerance)
    exact = 4 * 300 * ellipe(1 - (200 / 300) ** 2)
    assert exact == pytest.approx(1586.543958929, rel=1e-12)

    area, length = area_and_length(fitted.paths[0])

    bound = fitted.bound.mm
    assert bound <= tolerance
    assert abs(area - 188495.5592154) <= bound * (exact + pi * bound)
    # Length changes by at most the total turn times the offset for curves of one convexity.
    assert abs(length - exact) <= 2 * pi * bound + 1e-9


# The asymptotic count of the best arc spline, integral (|kappa'| / (72 sqrt 3 eps))^(1/3) ds, evaluated for
# the ellipse of semi-axes 250 x 100; after Meek and Walton 1995.
@pytest.mark.parametrize(("tolerance", "asymptotic"), [(0.1, 16.4), (0.01, 35.4), (0.001, 76.3)])
def test_ellipse_takes_hardly_more_arcs_than_the_best_arc_spline(tolerance, asymptotic):
    fitted = fit(build([([ellipse(250.0, 100.0)], True)]), tolerance=tolerance)

    assert len(fitted.curve) <= max(1.15 * asymptotic, asymptotic + 2)


def best_count_of_ellipse(a: float, b: float, tolerance: float) -> float:
    return oracles.best_count_of_pieces([quarter_ellipse(a, b, 0)], tolerance) * 4


@pytest.mark.parametrize("tolerance", [1e-3, 1e-4, 1e-5, 1e-6])
def test_closed_conics_in_any_pose_take_short_and_tangent_arcs(tolerance):
    """From any place, either way: no arc of more than half a turn, none of no length, no kink, no blow-up."""
    rng = np.random.default_rng(7)
    cases = []
    for ratio in (1.001, 1.03, 1.3, 2.0, 5.0, 10.0):
        for start in (0.0, pi / 2, rng.uniform(0, 2 * pi)):
            b = 10 ** rng.uniform(0.3, 2.3)
            pose = {"turn": rng.uniform(0, 2 * pi), "centre": rng.uniform(-300, 300, 2), "start": start}
            count, way = int(rng.integers(3, 6)), int(rng.choice([-1, 1]))
            cases.append((ratio * b, b, turned_ellipse(ratio * b, b, count=count, way=way, **pose)))
    fitted = fit(build([([curve], True) for _, _, curve in cases]), tolerance=tolerance)

    assert fitted.kinks == 0
    for (a, b, _), path, kinks in zip(cases, fitted.paths, oracles.kinks(fitted), strict=True):
        chord = np.hypot(*(np.roll(path.points, -1, axis=0) - path.points).T)
        area, length = area_and_length(path)
        assert np.abs(path.bulge).max() < 0.5
        # Curvature's slope, and with it the arcs' lengths, stays within some hundred times over an ellipse.
        assert chord.min() > 1e-3 * chord.max()
        # Rounding of coordinates of some hundred mm, over the shortest chord.
        assert np.abs(kinks).max() < 1e-11 + 2e-13 / chord.min()
        assert abs(area) == pytest.approx(pi * a * b, abs=fitted.bound.mm * (length + pi * fitted.bound.mm))
        best = best_count_of_ellipse(a, b, tolerance)
        # The seam is a knot that cannot move: one arc more. Four arcs go round whatever the curve.
        assert len(path.bulge) <= max(1.15 * best, best + 3, 5)


@pytest.mark.parametrize("tolerance", [0.1, 0.01, 0.001])
@pytest.mark.parametrize("ratio", [1.3, 2.0, 5.0])
def test_half_ellipses_take_hardly_more_arcs_than_the_best_arc_spline(ratio, tolerance):
    pieces = [quarter_ellipse(100.0 * ratio, 100.0, quadrant) for quadrant in range(4)]
    loops = build([([spline([pieces[i], pieces[(i + 1) % 4]])], False) for i in range(4)])
    counts = np.bincount(fit(loops, tolerance=tolerance).curve)
    best = best_count_of_ellipse(100.0 * ratio, 100.0, tolerance) / 2

    assert counts.max() <= max(1.15 * best, best + 2)


def test_a_long_arc_over_a_turning_point_of_the_curvature_is_planned_as_it_will_lie():
    """Equal curvatures at both ends of a step hid what lies between; a plan of 0.98 came to 1.9 tolerances."""
    curve = turned_ellipse(1440.0, 720.0, start=1.9325, count=5, way=-1)
    fitted = fit(build([([curve], True)]), tolerance=1.703e-3)

    assert len(fitted.curve) <= 1.15 * best_count_of_ellipse(1440.0, 720.0, 1.703e-3)


def test_a_pin_in_its_hole_gets_the_arcs_of_the_hole():
    """Circles that a file gives as splines: half circles of 13 quintics, about 1e-7 off, run through both ways."""
    point = lambda u: 5.0 * np.exp(1j * u)  # noqa: E731
    nodes = [np.linspace(0, pi, 14), np.linspace(pi, 2 * pi, 14)]
    halves = [quintics(point, lambda u: 1j * point(u), lambda u: -point(u), s) for s in nodes]
    # Off the circle by up to 3e-7 in turn, so that it is none.
    halves = [
        [
            c
            + 3e-7
            * np.sin(3.0 * np.arange(6) + i)[:, None]
            * [1, 0, 0]
            * ((np.arange(6) > 1) & (np.arange(6) < 4))[:, None]
            for i, c in enumerate(half)
        ]
        for half in halves
    ]
    back = [[piece[::-1] for piece in half[::-1]] for half in halves[::-1]]
    chains = [([spline(h) for h in halves], True), ([spline(h) for h in back], True)]
    pin, hole = fit(build(chains), tolerance=0.01).paths

    assert len(pin.bulge) == len(hole.bulge) == 4
    order = np.lexsort(pin.points.round(6).T), np.lexsort(hole.points.round(6).T)
    assert pin.points[order[0]] == pytest.approx(hole.points[order[1]], abs=1e-12)


def clothoid(scale: float, lo: float, hi: float):
    """kappa = s / scale^2 (Fresnel's integrals, from scipy)."""
    unit = scale * sqrt(pi)

    def point(s):
        sine, cosine = fresnel(s / unit)
        return unit * complex(cosine, sine)

    def first(s):
        return np.exp(0.5j * (s / scale) ** 2)

    return spline(quintics(point, first, lambda s: 1j * s / scale**2 * first(s), np.linspace(lo, hi, 61)))


@pytest.mark.parametrize("tolerance", [0.1, 0.01, 0.001])
def test_clothoid_takes_hardly_more_arcs_than_the_best_arc_spline(tolerance):
    fitted = fit(build([([clothoid(100.0, -80.0, 250.0)], False)]), tolerance=tolerance)

    # kappa' is 1 / scale^2 everywhere, so the integral is a product.
    asymptotic = 330.0 * (100.0**-2 / (72 * sqrt(3) * tolerance)) ** (1 / 3)
    assert len(fitted.curve) <= max(1.15 * asymptotic, asymptotic + 2)


@pytest.mark.parametrize("tolerance", [0.1, 0.01, 0.001])
def test_log_spiral_takes_hardly_more_arcs_than_the_best_arc_spline(tolerance):
    a, b, turn = 20.0, 0.2, 4 * pi
    z, c = (lambda u: a * np.exp((b + 1j) * u)), b + 1j
    curve = spline(quintics(z, lambda u: c * z(u), lambda u: c * c * z(u), np.linspace(0, turn, 81)))
    fitted = fit(build([([curve], False)]), tolerance=tolerance)

    # kappa = 1 / (r sqrt(1 + b^2)), and r = a + b s / sqrt(1 + b^2) over the length s.
    length = a * sqrt(1 + b * b) / b * (np.exp(b * turn) - 1)
    slope = lambda s: b / (1 + b * b) / (a + b / sqrt(1 + b * b) * s) ** 2  # noqa: E731
    asymptotic = oracles.best_count(slope, length, tolerance)
    assert len(fitted.curve) <= max(1.15 * asymptotic, asymptotic + 2)


def random_cubics(kind: str, count: int):
    """B-splines of degree 3 with random poles: waves, rough and fair ovals."""
    rng = np.random.default_rng({"wave": 11, "oval": 12, "fair": 13}[kind])
    for _ in range(count):
        n = int(rng.integers(6, 16))
        if kind == "wave":
            poles = np.column_stack([np.linspace(0, 800, n), rng.normal(size=n) * 40])
        else:
            angle = np.linspace(0, 6.0, n) if kind == "oval" else np.linspace(0, 2.5, n)
            radius = 200 * (1 + (0.15 if kind == "oval" else 0.04) * rng.normal(size=n))
            poles = np.column_stack([radius * np.cos(angle), 1.5 * radius * np.sin(angle)])
        knots = np.concatenate([np.zeros(3), np.arange(n - 2.0), np.full(3, n - 3.0)])
        yield bezier_from_bspline(knots, poles, 3)


@pytest.mark.parametrize("tolerance", [0.1, 0.01, 0.001])
@pytest.mark.parametrize("kind", ["wave", "oval", "fair"])
def test_random_cubic_splines_take_hardly_more_arcs_than_the_best_arc_spline(kind, tolerance):
    """Where no bend is tighter than 20 tolerances: the formula knows curves that change little over an arc."""
    curves = [c for c in random_cubics(kind, 25) if oracles.least_radius(c) > 20 * tolerance]
    assert len(curves) > 12
    fitted = fit(build([([spline(c)], False) for c in curves]), tolerance=tolerance)

    counts = np.bincount(fitted.curve)
    for count, curve in zip(counts, curves, strict=True):
        asymptotic = oracles.best_count_of_pieces(curve, tolerance)
        assert count <= max(1.15 * asymptotic, asymptotic + 2)


def spiral_pieces():
    c = 0.2 + 1j
    z = lambda u: 20.0 * np.exp(c * u)  # noqa: E731
    return quintics(z, lambda u: c * z(u), lambda u: c * c * z(u), np.linspace(0, 2 * pi, 31))


BESIDE = {
    "half ellipse": lambda: [quarter_ellipse(250.0, 100.0, q) for q in range(2)],
    "clothoid": lambda: clothoid(100.0, -80.0, 150.0)["pieces"],
    "spiral": spiral_pieces,
    "cubic": lambda: next(iter(random_cubics("fair", 1))),
}


@pytest.mark.parametrize("name", BESIDE)
def test_no_more_than_one_arc_above_a_slow_global_minimax_chain(name):
    """Both ends' tangents are free in both; the oracle's chains are to first order in their offset."""
    pieces = BESIDE[name]()
    fitted = fit(build([([spline(pieces)], False)]), tolerance=0.1)

    count = len(fitted.curve)
    assert count <= minimax.fewest(pieces, 0.1, count) + 1


def test_neighbours_share_their_tangent_and_corners_stay():
    """A spline between two lines: tangent to the first, at an angle to the second."""
    curve = spline([homogeneous(np.array([[100, 0], [140, 0], [180, 60], [200, 140]], dtype=float))])
    loops = build([([line(0, 0, 100, 0), curve, line(200, 140, 0, 140), line(0, 140, 0, 0)], True)])
    fitted = fit(loops, tolerance=0.005)

    (turn,) = oracles.kinks(fitted)
    corners = np.abs(turn) > 1e-9
    # Of the moves' ends only the curve's end and the three corners of lines turn.
    assert corners.sum() == 3
    points = {tuple(p) for p in fitted.paths[0].points.tolist()}
    assert {tuple(e) for e in loops.ends[:, :2].tolist()} <= points


def test_tangents_agree_across_the_joint_of_two_smooth_curves():
    left = spline([homogeneous([[0, 0], [30, 40], [70, 60], [100, 60]])], face=1)
    right = spline(
        [homogeneous(np.array([[100, 60], [130, 60], [190, 30], [200, -40]], dtype=float))], face=2
    )
    fitted = fit(build([([left, right], False)]), tolerance=0.002)

    (turn,) = oracles.kinks(fitted)
    assert np.abs(turn).max() < 1e-9
    assert fitted.paths[0].face.tolist() == sorted(fitted.paths[0].face.tolist())


def test_a_corner_inside_a_spline_is_kept():
    pieces = [
        homogeneous(np.array([[0, 0], [30, 10], [50, 10]], dtype=float)),
        homogeneous(np.array([[50, 10], [55, 40], [20, 90]], dtype=float)),
    ]
    fitted = fit(build([([spline(pieces)], False)]), tolerance=0.01)

    assert [50.0, 10.0] in fitted.paths[0].points.tolist()
    assert fitted.bound.mm <= 0.01


def test_a_straight_spline_becomes_one_line():
    curve = spline([homogeneous(np.array([[0, 0], [30, 15], [40, 20], [100, 50]], dtype=float))])
    fitted = fit(build([([curve], False)]), tolerance=0.01)

    assert fitted.paths[0].bulge.tolist() == [0.0]


def test_ends_of_curves_are_ends_of_moves_bit_for_bit():
    rng = np.random.default_rng(7)
    t = np.concatenate([np.zeros(3), np.arange(6), np.full(3, 5.0)])
    way = np.cumsum(rng.normal(size=(8, 2)) * 50 + (60, 0), axis=0)
    loops = build([([spline(bezier_from_bspline(t, way, 3))], False)])
    # Nodes of a section lie a rounding beside the curve's own end.
    ends = loops.ends + np.array([[3e-13, -2e-13, 1e-13, 4e-13]])
    fitted = fit(replace(loops, ends=ends), tolerance=0.001)

    assert fitted.paths[0].points[0].tolist() == ends[0, :2].tolist()
    assert fitted.paths[0].points[-1].tolist() == ends[0, 2:].tolist()


def test_a_chain_does_not_depend_on_the_others():
    one = ([ellipse(250.0, 100.0)], True)
    two = ([clothoid(100.0, -80.0, 250.0)], False)
    both = fit(build([one, two, one]), tolerance=0.01)
    alone = fit(build([one]), tolerance=0.01)

    for k in (0, 2):
        assert both.paths[k].points.tobytes() == alone.paths[0].points.tobytes()
        assert both.paths[k].bulge.tobytes() == alone.paths[0].bulge.tobytes()


HARD = {
    "cusp": [homogeneous(np.array([[0, 0], [60, 40], [0, 40], [60, 0]], dtype=float))],
    "loop": [homogeneous(np.array([[0, 0], [90, 60], [-40, 60], [50, 0]], dtype=float))],
    "zero length piece": [
        homogeneous(np.array([[0, 0], [20, 30], [50, 30]], dtype=float)),
        homogeneous(np.array([[50, 30]] * 4, dtype=float)),
        homogeneous(np.array([[50, 30], [80, 30], [90, 10]], dtype=float)),
    ],
    "shorter than the tolerance": [homogeneous(np.array([[5, 5], [5.0001, 5.0002], [5.0003, 5]]))],
    "double end point": [homogeneous(np.array([[0, 0], [0, 0], [40, 50], [100, 0]], dtype=float))],
    "weights": [
        homogeneous(np.array([[0, 0], [50, 90], [100, -40], [150, 30]], dtype=float), [1, 1e4, 1e-3, 10])
    ],
    "needle": [homogeneous(np.array([[0, 0], [100, 0.001], [100, -0.001], [0, 1]], dtype=float))],
    "degree 25": [
        homogeneous(
            np.stack([np.linspace(0, 300, 26), 60 * np.sin(np.linspace(0, 9, 26))], axis=1),
            np.linspace(1, 2, 26),
        )
    ],
    "far away": [homogeneous(np.array([[9e5, 9e5], [9e5 + 40, 9e5 + 80], [9e5 + 90, 9e5]], dtype=float))],
}


@pytest.mark.parametrize("tolerance", TOLERANCES)
@pytest.mark.parametrize("name", HARD)
def test_hard_curves_stay_within_the_tolerance(name, tolerance):
    loops = build([([spline([p.copy() for p in HARD[name]])], False)])
    fitted = fit(loops, tolerance=tolerance)

    assert fitted.bound.mm <= tolerance
    assert oracles.sampled_deviation(loops, fitted) <= fitted.bound.mm + 1e-9
    assert fitted.kinks == 0
    assert certify(loops, fitted).mm <= fitted.bound.mm * 1.02 + 1e-12


def test_what_cannot_be_met_is_an_error():
    """Two pieces of one curve that do not meet: no chain is nearer than the gap to both."""
    pieces = [
        homogeneous([[0, 0], [20, 30], [50, 30]]),
        homogeneous([[50, 30.5], [80, 30.5], [90, 10]]),
    ]

    with pytest.raises(BoundError) as caught:
        fit(build([([spline(pieces)], False)]), tolerance=0.01)

    assert caught.value.reached >= 0.25


@pytest.mark.parametrize("tolerance", [0.0, -1.0, 1e-9, float("nan"), float("inf")])
def test_tolerance_must_be_positive(tolerance):
    with pytest.raises(GeometryError):
        fit(build([([line(0, 0, 1, 0)], False)]), tolerance=tolerance)


def test_a_weight_that_is_not_positive_is_refused():
    piece = quarter_ellipse(10, 10, 0)
    piece[1] *= -1

    with pytest.raises(GeometryError):
        fit(build([([spline([piece])], False)]), tolerance=0.01)


def test_no_chains_give_no_paths():
    fitted = fit(build([]), tolerance=0.01)

    assert fitted.paths == ()
    assert fitted.bound.mm == 0.0
