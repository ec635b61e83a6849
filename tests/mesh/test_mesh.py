"""The triangle way: cuts, offsets, loading, against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from beadwright.errors import InputError
from beadwright.mesh import TriangleMesh, busiest, contours, cut, joints, load


def prism(ring: list[tuple[float, float]], height: float) -> TriangleMesh:
    """An upright prism over a convex ring, counter-clockwise."""
    n = len(ring)
    low = [(x, y, 0.0) for x, y in ring]
    high = [(x, y, height) for x, y in ring]
    sides = [t for i in range(n) for t in ((i, (i + 1) % n, n + i), ((i + 1) % n, n + (i + 1) % n, n + i))]
    caps = [t for i in range(1, n - 1) for t in ((0, i + 1, i), (n, n + i, n + i + 1))]
    return TriangleMesh(name="prism", vertices=np.array(low + high), triangles=np.array(sides + caps))


def regular(n: int, radius: float, about: tuple[float, float] = (0.0, 0.0)) -> list[tuple[float, float]]:
    return [
        (about[0] + radius * math.cos(2 * math.pi * k / n), about[1] + radius * math.sin(2 * math.pi * k / n))
        for k in range(n)
    ]


def together(*meshes: TriangleMesh) -> TriangleMesh:
    shift = np.cumsum([0] + [len(mesh.vertices) for mesh in meshes[:-1]])
    return TriangleMesh(
        name="together",
        vertices=np.concatenate([mesh.vertices for mesh in meshes]),
        triangles=np.concatenate([mesh.triangles + s for mesh, s in zip(meshes, shift, strict=True)]),
    )


def test_a_prism_is_closed_and_has_its_volume() -> None:
    mesh = prism(regular(12, 50.0), 30.0)

    assert mesh.closed
    # area of a regular polygon: n r^2 sin(2 pi / n) / 2
    assert mesh.volume == pytest.approx(6 * 50.0**2 * math.sin(math.pi / 6) * 30.0, rel=1e-12)


def test_without_one_triangle_it_is_open_and_its_section_says_how_much_is_missing() -> None:
    whole = prism(regular(4, 50.0), 30.0)
    mesh = TriangleMesh(name="open", vertices=whole.vertices, triangles=whole.triangles[1:])
    (section,) = cut(mesh, [10.0])

    assert not mesh.closed
    assert section.polygon.is_empty
    # at a third of the height the lost triangle holds two thirds of one side
    assert section.open_length == pytest.approx(50.0 * math.sqrt(2) * (4 - 2 / 3), rel=1e-9)


def test_loops_that_touch_in_a_point_are_all_found() -> None:
    mesh = together(
        prism([(0, 0), (10, 0), (10, 10), (0, 10)], 5.0), prism([(10, 10), (20, 10), (20, 20), (10, 20)], 5.0)
    )
    (section,) = cut(mesh, [2.0])

    assert section.polygon.area == pytest.approx(200.0, rel=1e-12)
    assert section.open_length == 0.0


def test_a_hole_is_a_hole() -> None:
    inner = prism(regular(6, 10.0), 5.0)
    void = TriangleMesh(name="void", vertices=inner.vertices, triangles=inner.triangles[:, ::-1])
    (section,) = cut(together(prism(regular(6, 30.0), 5.0), void), [2.5])

    six = 3 * math.sin(math.pi / 3)
    # ends are rounded to 1e-7 mm, along a perimeter of 240 mm
    assert section.polygon.area == pytest.approx(six * (900.0 - 100.0), abs=240 * 1e-7)


def test_polygon_offset_of_a_square_is_a_square_and_rounds_keep_their_chord() -> None:
    (section,) = cut(prism([(0, 0), (100, 0), (100, 100), (0, 100)], 5.0), [2.5])
    first, second = contours(section.polygon, distances=(4.0, 12.0), chord=0.01)

    assert np.abs(first[0] - 50).max() == pytest.approx(46.0, rel=1e-12)
    assert np.abs(second[0] - 50).max() == pytest.approx(38.0, rel=1e-12)

    # an L: at its reflex corner the offset is a round of radius 4 about the corner
    (section,) = cut(
        together(
            prism([(0, 0), (60, 0), (60, 30), (0, 30)], 5.0), prism([(0, 0), (30, 0), (30, 60), (0, 60)], 5.0)
        ),
        [2.5],
    )
    import shapely

    ell = shapely.box(0, 0, 60, 30).union(shapely.box(0, 0, 30, 60))
    ((ring,),) = contours(ell, distances=(4.0,), chord=0.01)
    near = np.hypot(*(ring - 30).T) < 4.5
    middles = (ring[:-1] + ring[1:]) / 2
    chorded = near[:-1] & near[1:]

    assert near.sum() > 3
    assert np.hypot(*(middles[chorded] - 30).T).min() >= 4.0 - 0.01


@pytest.mark.parametrize("ending", ["stl", "obj", "ply", "3mf"])
def test_a_mesh_comes_in_by_every_ending_with_points_joined(tmp_path, ending: str) -> None:
    trimesh = pytest.importorskip("trimesh")
    mesh = prism(regular(8, 40.0), 25.0)
    path = tmp_path / f"block.{ending}"
    trimesh.Trimesh(vertices=mesh.vertices, faces=mesh.triangles, process=False).export(path)
    read = load(path)

    assert read.closed
    # STL and PLY hold single precision: 6e-8 of the size in each coordinate
    assert read.volume == pytest.approx(mesh.volume, rel=1e-6)
    assert load(path, unit=25.4).volume == pytest.approx(25.4**3 * mesh.volume, rel=1e-6)


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("part.step", b"", ".stl, .obj, .ply, .3mf"),
        ("gone.stl", None, "no such file"),
        ("empty.stl", b"solid nothing\nendsolid nothing\n", "empty.stl"),
        ("torn.ply", b"ply\nformat ascii 1.0\nelement vertex 9\n", "torn.ply"),
    ],
)
def test_what_is_no_mesh_is_named(tmp_path, name: str, content: bytes | None, says: str) -> None:
    path = tmp_path / name
    if content is not None:
        path.write_bytes(content)

    with pytest.raises(InputError, match=says.replace(".", r"\.")):
        load(path)


def test_joints_of_arcs_that_run_on_do_not_turn_and_those_of_a_polygon_do() -> None:
    ring = joints(np.array([[50.0, 0], [-50, 0]]), np.ones(2))
    square = joints(np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]]), np.zeros(4))

    assert ring.turn.max() < 1e-12
    assert square.turn == pytest.approx([math.pi / 2] * 4, rel=1e-12)


def test_the_busiest_stretch_is_where_moves_are_short() -> None:
    # 0.2 mm moves at 100 mm/s: 500 a second, amid moves of 50 mm
    assert busiest(np.array([50.0] * 5 + [0.2] * 200 + [50.0] * 5), feed=100.0) == pytest.approx(
        500.0, rel=0.03
    )
