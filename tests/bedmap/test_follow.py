"""Paths over measured platforms: heights against closed forms, and against dense samples of the bilinear surface."""

from __future__ import annotations

import math

import numpy as np
import pytest

from beadwright.bedmap import BedMap, Follower, follow, parse_map
from beadwright.curves import ArcPath, length
from beadwright.errors import InputError


def bed(x, y, z):
    return BedMap(
        file="bed_map.csv", sha256="", x=np.array(x, float), y=np.array(y, float), z=np.array(z, float)
    )


def plane(a, b, c=0.0, lines=(-1000.0, 0.0, 1000.0)):
    x, y = np.meshgrid(lines, lines)
    return bed(lines, lines, c + a * x + b * y)


def follower(surface, layer=0, n=3, h=4.0, bound=0.02, least=0.5, greatest=8.0):
    return Follower(
        bed=surface, layer=layer, z=h * (layer + 1), height=h, share=1 - (layer + 1) / n, part=1 / n,
        bound=bound, least=least, greatest=greatest,
    )  # fmt: skip


def path(points, bulge, *, closed=False):
    m = len(bulge)
    return ArcPath(
        points=np.array(points, float), bulge=np.array(bulge, float), face=np.full(m, -1, np.int32),
        support=np.full(m, -1, np.int32), closed=closed,
    )  # fmt: skip


def follow_one(own, line):
    return follow(own, [line])[0]


def circle(radius, x=0.0, y=0.0):
    return path([[x + radius, y], [x - radius, y]], [1.0, 1.0], closed=True)


def at(points, bulge, t):
    """A place on a move by its centre and angle: another formula than that of the code."""
    (x0, y0), (x1, y1) = points
    if bulge == 0:
        return x0 + t * (x1 - x0), y0 + t * (y1 - y0)
    sweep = 4 * math.atan(bulge)
    cx = (x0 + x1) / 2 - (y1 - y0) / (2 * math.tan(sweep / 2))
    cy = (y0 + y1) / 2 + (x1 - x0) / (2 * math.tan(sweep / 2))
    c, s = math.cos(t * sweep), math.sin(t * sweep)
    return cx + c * (x0 - cx) - s * (y0 - cy), cy + s * (x0 - cx) + c * (y0 - cy)


def bilinear(surface, x, y):
    """The height by weights of the four corners."""
    i = min(max(int(np.searchsorted(surface.x, x)) - 1, 0), len(surface.x) - 2)
    j = min(max(int(np.searchsorted(surface.y, y)) - 1, 0), len(surface.y) - 2)
    u = (x - surface.x[i]) / (surface.x[i + 1] - surface.x[i])
    v = (y - surface.y[j]) / (surface.y[j + 1] - surface.y[j])
    z = surface.z
    return (
        (1 - u) * (1 - v) * z[j, i]
        + u * (1 - v) * z[j, i + 1]
        + (1 - u) * v * z[j + 1, i]
        + u * v * z[j + 1, i + 1]
    )


def strays(own, made, steps=60):
    """Greatest distance of the straight heights from the surface, by samples."""
    points = (
        np.concatenate([made.path.points, made.path.points[:1]]) if made.path.closed else made.path.points
    )
    worst = 0.0
    for row, bulge in enumerate(made.path.bulge):
        for t in np.linspace(0, 1, steps):
            x, y = at(points[row : row + 2], bulge, t)
            z = made.rise[row] + t * (made.rise[row + 1] - made.rise[row])
            worst = max(worst, abs(z - own.share * bilinear(own.bed, x, y)))
    return worst


def test_a_level_platform_one_higher_is_shared_by_three_layers():
    # closed form: map +1, n 3, h 4: three layers of 3.6667, layer 4 nominal; tops at 4 + 2/3, 8 + 1/3, 12
    flat = plane(0, 0, 1.0)
    for layer, top in enumerate((2 / 3, 1 / 3, 0.0)):
        made = follow_one(follower(flat, layer), circle(300.0))
        np.testing.assert_allclose(made.rise, top, atol=1e-15)
        np.testing.assert_allclose(made.thickness, 11 / 3, rtol=1e-15)
        assert len(made.path.bulge) == 2, "nothing to cut"
        assert made.bound == 0.0


def test_a_line_over_a_tilted_platform_stays_one_move():
    # along a plane the height of a line is straight whatever grid lines it crosses: only the flow may cut it
    tilted = plane(1e-3, 0.0)
    made = follow_one(follower(tilted), path([[-10.0, -500.0], [30.0, 700.0]], [0.0]))
    assert len(made.path.bulge) == 1
    np.testing.assert_allclose(made.rise, [-10e-3 * 2 / 3, 30e-3 * 2 / 3], rtol=1e-12)
    assert made.bound < 1e-15
    # thickness changes by 0.333 mm along 1000 mm: 2 % of 4 mm a move makes at least 5 moves, one more at the grid line
    made = follow_one(follower(tilted), path([[-500.0, 0.0], [500.0, 0.0]], [0.0]))
    assert 5 <= len(made.path.bulge) <= 6
    assert made.flow <= 0.0102


def test_a_circle_over_a_tilted_platform_is_cut_as_finely_as_its_bound_asks():
    # z = a r cos(t): a chord over an angle T strays by a r (1 - cos(T / 2)) at the crest
    a, r = 2e-3, 400.0
    own = follower(plane(a, 0.0, lines=(-1000.0, 1000.0)), bound=0.02)
    made = follow_one(own, circle(r))
    turns = len(made.path.bulge)
    least = math.ceil(2 * math.pi / (2 * math.acos(1 - 0.02 / (own.share * a * r))))
    assert least <= turns <= 2 * least
    assert strays(own, made) <= made.bound <= 0.02
    assert length(made.path) == pytest.approx(2 * math.pi * r, rel=1e-14)


def test_a_line_over_a_saddle_bends_by_a_square():
    # z = 1.8 s^2 along the diagonal of one cell (s its share): a chord of k parts strays by c / 4 / k^2
    saddle = bed([0.0, 600.0], [0.0, 600.0], [[0.0, 0.0], [0.0, 1.8]])
    own = follower(saddle, n=1000, bound=0.02)
    made = follow_one(own, path([[0.0, 0.0], [600.0, 600.0]], [0.0]))
    assert len(made.path.bulge) == math.ceil(math.sqrt(own.share * 1.8 / 4 / 0.02))
    assert strays(own, made, 200) == pytest.approx(made.bound, rel=1e-3)
    assert made.bound <= 0.02


def test_a_line_along_a_grid_direction_of_a_saddle_is_straight():
    saddle = bed([0.0, 600.0], [0.0, 600.0], [[0.0, 0.0], [0.0, 1.8]])
    made = follow_one(follower(saddle, n=1000), path([[0.0, 300.0], [600.0, 300.0]], [0.0]))
    assert len(made.path.bulge) == 1
    np.testing.assert_allclose(made.rise, [0.0, 0.9 * 0.999], rtol=1e-12)


@pytest.mark.parametrize("seed", range(6))
def test_random_platforms_and_paths_keep_their_bound(seed):
    rng = np.random.default_rng(seed)
    lines = np.cumsum(np.concatenate([[-500.0], rng.uniform(60, 260, 7)]))
    surface = bed(lines, lines + 7.0, rng.normal(0, 0.4, (8, 8)))
    points = rng.uniform(-250, 250, (7, 2))
    own = follower(surface, bound=0.02)
    made = follow_one(own, path(points, rng.uniform(-0.35, 0.35, 6) * (rng.random(6) < 0.7)))
    found = strays(own, made)
    assert found <= made.bound <= 0.02 * (1 + 1e-9)
    assert len(made.path.bulge) < 400
    assert made.flow < 0.02
    np.testing.assert_allclose(
        made.rise, [own.share * bilinear(surface, *p) for p in made.path.points], atol=1e-12
    )


def test_nearly_straight_arcs_cross_the_grid_where_they_do():
    surface = bed([-1e4, 0.0, 1e4], [-1e4, 1e4], [[-1.0, 1.0, -1.0], [-1.0, 1.0, -1.0]])
    for bulge in (1e-3, 1e-6, 1e-9, 1e-13):
        own = follower(surface, bound=0.001)
        made = follow_one(own, path([[-900.0, -5.0], [1100.0, 5.0]], [bulge]))
        assert strays(own, made) <= made.bound + 1e-12
        assert np.abs(made.path.points[:, 0]).min() < 1e-9, "the crest is a node"


def test_what_the_map_does_not_cover_is_an_error_with_the_place():
    with pytest.raises(
        InputError, match=r"bed_map.csv: .*layer 0 has a bead that reaches X 1050.000, beyond X 1000"
    ):
        follow_one(follower(plane(0, 0)), circle(50.0, x=1000.0))


def test_a_layer_too_thin_is_an_error_with_the_place():
    tilted = plane(4e-3, 0.0)
    with pytest.raises(
        InputError, match=r"at X 900.0 Y 0.0 the platform stands at 3.600 mm.* 2.800 mm thick, thinner than 3"
    ):
        follow_one(follower(tilted, layer=2, least=3.0), path([[0.0, 0.0], [900.0, 0.0]], [0.0]))


def test_a_rise_above_half_the_height_is_an_error():
    # the machine may leave a layer's height by half of it at most
    with pytest.raises(InputError, match="more than half of 4 mm"):
        follow_one(follower(plane(0, 0, 3.1), least=0.1), circle(50.0))


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("x,y,z\n0,0,0\n1,0,zero\n", r"m.csv:3: expected three numbers"),
        ("0,0,0\n1,0,0\n0,1,0\n", r"1 of them without a height, the first at X 1 Y 1"),
        ("0,0,0\n1,0,0\n0,0,1\n", r"m.csv:3: the place X 0 Y 0 stands in line 1 already"),
        ("0,0,0\n1,0,0\n", r"at least two values of x and two of y; this one has 2 and 1"),
        ("0,0\n", r"m.csv:1: expected three numbers"),
        ("0,0,nan\n", r"m.csv:1: expected three numbers"),
    ],
)
def test_broken_files_say_where(text, told):
    with pytest.raises(InputError, match=told):
        parse_map(text, name="m.csv")


def test_a_file_in_any_order_with_a_header_and_remarks():
    made = parse_map("# probe\nX_mm;Y_mm;Z_mm\n10;20;4\n0;0;1\n10;0;2\n\n0;20;3\n", name="m.csv")
    assert made.z.tolist() == [[1.0, 2.0], [3.0, 4.0]]


def test_all_rows_at_fault_are_told_together():
    text = "x,y,z\n0,0,0\n10,0,zero\n0,0,1\n0,10\n10,10,1\n"
    with pytest.raises(InputError) as caught:
        parse_map(text, name="m.csv")
    told = str(caught.value).split("\n  ")
    assert [line.split(" ")[0] for line in told] == ["m.csv:3:", "m.csv:4:", "m.csv:5:"]

    with pytest.raises(InputError, match=r"and 2 more rows of m\.csv"):
        parse_map("a,b\n" * 12, name="m.csv")


# A map of a 5.8 x 2.2 m platform with heights of up to 1.5 mm, its numbers in metres: all of them, and z alone.
@pytest.mark.parametrize(
    ("across", "told"), [(0.001, "X 0 to 5.8 and Y 0 to 2.2 mm"), (1.0, "-0.3 to 1.5 mm")]
)
def test_a_map_in_metres_is_refused_with_its_range(across, told):
    places = [(0, 0, -0.0003), (5800, 0, 0.0), (0, 2200, 0.0015), (5800, 2200, 0.0004)]
    rows = "\n".join(f"{x * across:g},{y * across:g},{z:g}" for x, y, z in places)
    with pytest.raises(InputError, match="that looks like metres") as caught:
        parse_map(rows, name="m.csv")
    assert told in str(caught.value)

    even = "\n".join(f"{x:g},{y:g},0" for x, y, _ in places)
    assert parse_map(even, name="m.csv").z.tolist() == [[0, 0], [0, 0]]


def test_a_map_in_inches_says_so_where_it_does_not_cover_the_part():
    surface = parse_map("-20,-20,0.01\n20,-20,0.02\n-20,20,0.03\n20,20,0.02\n", name="m.csv")
    with pytest.raises(
        InputError, match="if its numbers are inches, write them in mm; else measure there too"
    ):
        follow_one(follower(surface), path([(0.0, 0.0), (400.0, 0.0)], [0.0]))


def test_paths_that_follow_together_are_what_each_is_alone():
    """Some are cut at grid lines, some where they bend, some not at all; bounds stay each path's own."""
    lines = (-1000.0, -250.0, 300.0, 1000.0)
    x, y = np.meshgrid(lines, lines)
    own = follower(bed(lines, lines, 0.6 * np.sin(x / 300) * np.cos(y / 400)), bound=0.005)
    paths = [
        circle(200.0),
        path([[-900.0, -5.0], [900.0, 5.0]], [0.0]),
        path([[10.0, 10.0], [20.0, 10.0], [20.0, 40.0]], [0.0, 0.2]),
        circle(600.0, x=-100.0),
    ]
    made = follow(own, paths)

    for one, each in zip(paths, made, strict=True):
        alone = follow_one(own, one)
        assert each.path.points.tolist() == alone.path.points.tolist()
        assert each.rise.tolist() == alone.rise.tolist()
        assert each.thickness.tolist() == alone.thickness.tolist()
        assert (each.bound, each.slope, each.flow) == (alone.bound, alone.slope, alone.flow)
    assert made[2].path is paths[2]
    assert len({each.bound for each in made}) == len(paths)


def test_of_many_paths_the_one_that_the_map_does_not_cover_is_told():
    with pytest.raises(InputError, match=r"reaches X 1050\.000, beyond X 1000"):
        follow(follower(plane(0, 0)), [circle(50.0), circle(50.0, x=1000.0), circle(60.0)])
