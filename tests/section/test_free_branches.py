"""Branches of level curves against closed forms, dense grids and an evaluator of another library."""

from __future__ import annotations

import pickle

import numpy as np
import pytest

from beadwright.brep import SplineSurface
from beadwright.errors import GeometryError
from beadwright.section._free import FreeFace, pack_free
from beadwright.section._free_branches import FreeBranches, free_branches
from beadwright.section._free_locate import free_locate
from beadwright.section._free_pieces import FreePieces, free_pieces
from tests.section import _build_free as build


def whole(surface: SplineSurface) -> FreeFace:
    box = [[surface.knots_u[0], surface.knots_v[0]], [surface.knots_u[-1], surface.knots_v[-1]]]
    return pack_free(surface, box)


def all_pieces(free: FreeFace, branches: FreeBranches) -> FreePieces:
    n = np.diff(branches.first_piece)
    return free_pieces(free, branches, np.arange(len(n)), np.zeros(len(n)), n)


def areas(free: FreeFace, branches: FreeBranches) -> np.ndarray:
    """Signed area inside each branch, by 8 Gauss points a quintic (exact for their degree)."""
    pieces = all_pieces(free, branches)
    control = pieces.control[:, :2].reshape(-1, 6, 2)
    x, w = np.polynomial.legendre.leggauss(8)
    t = 0.5 + 0.5 * x
    origin = control[pieces.first_piece[:-1], 0]
    p = build.bezier(control, t) - np.repeat(origin, np.diff(pieces.first_piece), axis=0)[:, None]
    d = 5 * build.bezier(np.diff(control, axis=1), t)
    part = 0.25 * np.sum(w * (p[..., 0] * d[..., 1] - p[..., 1] * d[..., 0]), axis=1)
    return np.add.reduceat(part, pieces.first_piece[:-1])


def check(branches: FreeBranches) -> None:
    assert branches.conflicts.sum() == 0
    assert branches.cells.max() < 1000


def test_sphere_gives_its_circles() -> None:
    # Circles of radius sqrt(R^2 - h^2).
    free = whole(build.sphere(250.0))
    heights = np.array([-240.0, -100.0, 0.0, 0.1, 77.7, 249.0])

    branches = free_branches(free, heights)

    check(branches)
    assert branches.plane.tolist() == [0, 1, 2, 3, 4, 5]
    assert branches.closed.all()
    radius = np.sqrt(250.0**2 - heights**2)
    slack = 2 * np.pi * radius * all_pieces(free, branches).bound
    assert np.all(np.abs(areas(free, branches) - np.pi * radius**2) <= slack)


@pytest.mark.parametrize("seed", range(4))
def test_turned_sphere_gives_the_same_circles(seed: int) -> None:
    centre = np.array([5.0, -7.0, 11.0])
    surface = build.turned(build.sphere(250.0), build.rotation(seed), centre)
    free = whole(surface)
    heights = np.linspace(-245.0, 248.0, 23) + 11.0

    branches = free_branches(free, heights)

    check(branches)
    assert branches.closed.all()
    assert branches.plane.tolist() == list(range(23))
    radius = np.sqrt(250.0**2 - (heights - 11.0) ** 2)
    slack = 2 * np.pi * radius * all_pieces(free, branches).bound
    assert np.all(np.abs(areas(free, branches) - np.pi * radius**2) <= slack)


def test_spiric_sections_of_a_torus() -> None:
    # Torus R 500, r 200, planes parallel to its axis at p: areas by quadrature of the spiric formula.
    axis_to_x = np.array([[0.0, 0, 1], [0, 1, 0], [-1, 0, 0]])
    free = whole(build.turned(build.torus(500.0, 200.0), axis_to_x))

    branches = free_branches(free, np.array([200.0, 400.0, 600.0]))

    check(branches)
    assert branches.closed.all()
    assert np.bincount(branches.plane).tolist() == [2, 1, 1]
    total = np.bincount(branches.plane, weights=areas(free, branches))
    np.testing.assert_allclose(total, [279020.4716053, 399668.1626113, 202302.1094869], rtol=2e-10)


@pytest.mark.parametrize("gap", [1e-4, 1e-6])
def test_beside_the_lemniscate_of_a_torus(gap: float) -> None:
    # At p = R - r = 300 the spiric section is a lemniscate: two loops below, one above.
    axis_to_x = np.array([[0.0, 0, 1], [0, 1, 0], [-1, 0, 0]])
    free = whole(build.turned(build.torus(500.0, 200.0), axis_to_x))

    branches = free_branches(free, np.array([300.0 - gap, 300.0 + gap]))

    check(branches)
    assert branches.closed.all()
    assert np.bincount(branches.plane).tolist() == [2, 1]
    total = np.bincount(branches.plane, weights=areas(free, branches))
    np.testing.assert_allclose(total, [352954.1079562] * 2, rtol=1e-7 if gap < 1e-5 else 1e-5)


def test_flat_torus_sections_are_two_rings() -> None:
    # Circles of radius R +- sqrt(r^2 - h^2); the inner one runs clockwise.
    free = whole(build.torus(500.0, 200.0))
    heights = np.array([-199.0, -50.0, 0.0, 120.0, 199.999])

    branches = free_branches(free, heights)

    check(branches)
    assert np.bincount(branches.plane).tolist() == [2] * 5
    found = areas(free, branches)
    half = np.sqrt(200.0**2 - heights**2)
    for k in range(5):
        pair = np.sort(found[branches.plane == k])
        np.testing.assert_allclose(
            pair, [-np.pi * (500 - half[k]) ** 2, np.pi * (500 + half[k]) ** 2], rtol=1e-9
        )


@pytest.mark.parametrize("gap", [1e-3, 1e-4, 1e-6])
def test_crest_of_a_lying_pipe_costs_few_cells(gap: float) -> None:
    # Two lines at +-sqrt(R^2 - h^2).
    free = whole(build.pipe(40.0, 3000.0))
    h = 40.0 - gap

    branches = free_branches(free, [h, -h, 0.0, 40.0, 40.0 + gap])

    check(branches)
    assert np.bincount(branches.plane, minlength=5).tolist()[:3] == [2, 2, 2]
    assert not np.any(branches.plane == 4)
    half = np.sqrt((40.0 - h) * (40.0 + h))
    ends = branches.start[branches.plane < 2, 1]
    np.testing.assert_allclose(np.abs(ends), half, rtol=1e-9 if gap > 1e-5 else 1e-6)


@pytest.mark.parametrize("gap", [0.0, 1e-4, 1e-6])
def test_saddle_and_extremum(gap: float) -> None:
    # z = x^2 - y^2 and z = x^2 + y^2 on [-1, 1]^2 as biquadratic patches (mm x 100).
    line = np.array([-1.0, 0.0, 1.0])
    square = np.array([1.0, -1.0, 1.0])  # Bernstein coefficients of x^2 on [-1, 1]
    x, y = np.meshgrid(line, line, indexing="ij")
    saddle = build.net(100 * np.stack((x, y, square[:, None] - square), axis=-1), (2, 2))
    bowl = build.net(100 * np.stack((x, y, square[:, None] + square), axis=-1), (2, 2))

    at_saddle = free_branches(whole(saddle), [gap, -gap])
    at_bowl = free_branches(whole(bowl), [gap, -gap])

    for branches in (at_saddle, at_bowl):
        check(branches)
    if gap:
        assert np.bincount(at_saddle.plane).tolist() == [2, 2]
        assert at_bowl.closed.tolist() == [True]
        assert at_bowl.plane.tolist() == [0]
        # A circle of area pi h * 100; what lies above is outside, so it runs clockwise.
        slack = 2 * np.sqrt(np.pi * np.pi * gap * 100) * all_pieces(whole(bowl), at_bowl).bound[0]
        assert areas(whole(bowl), at_bowl)[0] == pytest.approx(-np.pi * gap * 100, abs=slack)


def border_crossings(surface: SplineSurface, h: float) -> np.ndarray:
    """Where the level h crosses the sides of the parameter square: 2,001 samples a side and bisection."""
    referee = build.Referee(surface)
    t = np.linspace(0, 1, 2001)
    found = []
    for axis in (0, 1):
        for side in (0.0, 1.0):
            uv = np.empty((len(t), 2))
            uv[:, axis], uv[:, 1 - axis] = side, t
            s = referee(uv)[0]
            change = np.flatnonzero((s[1:, 2] >= h) != (s[:-1, 2] >= h))
            low, high = t[change], t[change + 1]
            rising = s[change + 1, 2] >= h
            for _ in range(45):
                middle = 0.5 * (low + high)
                at = np.empty((len(change), 2))
                at[:, axis], at[:, 1 - axis] = side, middle
                beyond = (referee(at)[0][:, 2] >= h) == rising
                low, high = np.where(beyond, low, middle), np.where(beyond, middle, high)
            found.append(referee(at)[0])
    return np.concatenate(found)


def components(surface: SplineSurface, h: float, n: int) -> tuple[int, int]:
    """Open and closed components of z = h by marching over an n x n grid (disjoint sets of grid edges)."""
    referee = build.Referee(surface)
    above = referee(referee.grid(n))[0][:, 2].reshape(n, n) >= h
    parent: dict[tuple[int, int, int], tuple[int, int, int]] = {}

    def root(k: tuple[int, int, int]) -> tuple[int, int, int]:
        parent.setdefault(k, k)
        while parent[k] != k:
            parent[k] = parent[parent[k]]
            k = parent[k]
        return k

    border = set()
    for i in range(n - 1):
        for j in range(n - 1):
            corners = above[i, j], above[i + 1, j], above[i + 1, j + 1], above[i, j + 1]
            if all(corners) or not any(corners):
                continue
            sides = [(i, j, 0), (i + 1, j, 1), (i, j + 1, 0), (i, j, 1)]
            cut = [s for k, s in enumerate(sides) if corners[k] != corners[(k + 1) % 4]]
            if len(cut) == 4:
                return -1, -1
            parent[root(cut[0])] = root(cut[1])
            for a, b, c in cut:
                if (c == 0 and b in (0, n - 1)) or (c == 1 and a in (0, n - 1)):
                    border.add((a, b, c))
    open_ones = {root(k) for k in border}
    every = {root(k) for k in list(parent)}
    return len(open_ones), len(every - open_ones)


@pytest.mark.parametrize("seed", range(8))
def test_no_branch_is_missed_on_bumpy_patches(seed: int) -> None:
    surface = build.bumpy(seed, shape=(9 + seed, 8), degree=(3, 3) if seed % 2 else (4, 2))
    free = whole(surface)
    heights = np.array([-11.03, -4.01, 0.513, 6.02, 13.7])

    branches = free_branches(free, heights)

    check(branches)
    s = build.Referee(surface)(branches.sample)[0]
    np.testing.assert_allclose(s[:, 2], heights[branches.plane], atol=1e-11)
    for plane, h in enumerate(heights):
        mine = branches.plane == plane
        crossing = border_crossings(surface, h)
        assert 2 * np.count_nonzero(~branches.closed[mine]) == len(crossing)
        _, _, distance = free_locate(free, branches, crossing, np.full(len(crossing), plane))
        assert distance.max(initial=0.0) < 1e-9
        opened, closed = components(surface, h, 160)
        if opened >= 0:
            assert np.count_nonzero(~branches.closed[mine]) == opened
            assert np.count_nonzero(branches.closed[mine]) == closed


@pytest.mark.parametrize("seed", range(3))
def test_nodes_are_found_again(seed: int) -> None:
    surface = build.bumpy(seed)
    free = whole(surface)
    branches = free_branches(free, np.array([-6.1, 0.3, 5.2]))
    n = np.diff(branches.first_piece)
    rng = np.random.default_rng(seed)
    rows = np.repeat(np.arange(len(n)), 12)
    s = rng.random(len(rows)) * n[rows] * 0.98
    pieces = free_pieces(free, branches, rows, s, s + 0.01 * n[rows])
    start = pieces.control[pieces.first_control[pieces.first_piece[:-1]], :2]
    nodes = np.column_stack((start, branches.heights[branches.plane[rows]]))

    branch, where, distance = free_locate(free, branches, nodes, branches.plane[rows])

    assert distance.max() < 1e-9
    np.testing.assert_array_equal(branch, rows)
    np.testing.assert_allclose(where, s, atol=1e-6)


def test_material_lies_left_where_the_normal_points_out() -> None:
    # dS/du x dS/dv of the sphere built here points outwards: every circle must run anticlockwise.
    free = whole(build.sphere(10.0))
    surface = build.Referee(build.sphere(10.0))
    s, su, sv = surface(np.array([[0.3, 0.9]]))
    assert np.sum(np.cross(su, sv) * s) > 0

    assert np.all(areas(free, free_branches(free, [-3.0, 2.0])) > 0)


def test_degree_22_in_one_span() -> None:
    rng = np.random.default_rng(5)
    x, y = np.meshgrid(np.linspace(0, 100, 23), np.linspace(0, 60, 6), indexing="ij")
    surface = build.net(np.stack((x, y, 200 * rng.normal(size=x.shape)), axis=-1), (22, 5))
    free = whole(surface)

    branches = free_branches(free, [-20.0, 3.0, 40.0])

    check(branches)
    for plane, h in enumerate(branches.heights):
        opened, closed = components(surface, h, 250)
        mine = branches.plane == plane
        assert (np.count_nonzero(~branches.closed[mine]), np.count_nonzero(branches.closed[mine])) == (
            opened,
            closed,
        )


def test_a_packed_face_pickles_and_keeps_only_what_the_face_uses() -> None:
    surface = build.hull_side()

    part = pack_free(surface, [[0.45, 0.45], [0.5, 0.5]])
    again = pickle.loads(pickle.dumps(part))

    assert len(part.coef) < 0.1 * len(whole(surface).coef)
    np.testing.assert_array_equal(again.coef, part.coef)
    branches = free_branches(part, [160.0])
    assert np.all((branches.sample > 0.3) & (branches.sample < 0.65))
    assert build.Referee(surface)(branches.sample)[0][:, 2] == pytest.approx(160.0, abs=1e-10)


def test_a_torn_surface_is_refused() -> None:
    poles = np.zeros((4, 2, 3))
    poles[..., 0] = np.array([0.0, 1, 5, 6])[:, None]
    poles[..., 1] = np.array([0.0, 1])
    surface = SplineSurface(
        degree=(1, 1),
        knots_u=np.array([0.0, 0, 1, 1, 2, 2]),
        knots_v=np.array([0.0, 0, 1, 1]),
        poles=poles,
        weights=np.ones((4, 2)),
    )

    with pytest.raises(GeometryError, match="torn at the knot 1"):
        whole(surface)
