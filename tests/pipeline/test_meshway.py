"""Both ways on parts whose mesh error has a closed form: the sagitta."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from beadwright.cli import app
from beadwright.pipeline import MeshComparison, meshway, show_meshway
from beadwright.settings import resolve

cq = pytest.importorskip("cadquery")


@pytest.fixture(scope="module")
def cylinder() -> MeshComparison:
    return meshway(
        cq.Workplane().circle(200.0).extrude(8.0),
        resolved=resolve({"contours": "1", "decimals": "6"}),
        chords=(1.0, 0.1),
        layers=2,
    )


@pytest.mark.parametrize(
    ("name", "says"), [("ways", ".json"), ("ways.xlsx", ".json"), ("no/ways.json", "no folder")]
)
def test_a_name_that_cannot_be_written_is_refused_before_any_work(
    tmp_path: Path, name: str, says: str
) -> None:
    # there is no such part either: nobody has looked yet
    done = CliRunner().invoke(app, ["meshway", "never.step", "-o", str(tmp_path / name)])

    assert done.exit_code == 2
    assert says in " ".join(done.stderr.split())
    assert "never.step" not in done.stderr


def test_the_exact_way_on_a_cylinder_is_two_half_turns_a_bead_within_its_bound(
    cylinder: MeshComparison,
) -> None:
    assert cylinder.exact.moves == 2 * cylinder.layers
    assert cylinder.exact.error <= cylinder.bound + cylinder.reference
    assert cylinder.exact.joints == 0
    assert cylinder.exact.dips == 0
    assert cylinder.exact.missing == 0.0


@pytest.mark.parametrize("width", [40, 80, 200])
def test_no_column_is_cut_in_a_narrow_terminal(
    cylinder: MeshComparison, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, width: int
) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    many = replace(
        cylinder.meshes[0],
        name="a mesh of a very long name.stl",
        triangles=1234567,
        moves=7654321,
        dips=98765,
    )
    show_meshway(replace(cylinder, meshes=(many, *cylinder.meshes)))
    shown = capsys.readouterr().err

    assert "…" not in shown
    rows = [line for line in shown.splitlines() if line.startswith(("way ", "solid", "a mesh"))]
    words = " ".join(rows).split()
    for told in ("triangles", "error", "moves", "kB", "moves/s", "joints", "dips", "s", "MB"):
        assert words.count(told) == 1
    for number in ("1234567", "7654321", "98765"):
        assert number in words
    assert max(map(len, rows)) <= width


@pytest.mark.parametrize("row", [0, 1])
def test_a_chord_on_a_cylinder_strays_by_its_sagitta(cylinder: MeshComparison, row: int) -> None:
    way = cylinder.meshes[row]
    sides = way.moves // cylinder.layers
    # n chords of a circle of radius R: s = R (1 - cos(pi / n)); the offset polygon keeps its sides' distance,
    # so the middle of a side lies w / 2 inside the chord, and its corner w / 2 / cos(pi / n) inside the vertex.
    sagitta = 200.0 * (1 - math.cos(math.pi / sides))

    assert way.moves == sides * cylinder.layers
    assert way.error == pytest.approx(sagitta, abs=2e-6)
    assert way.error <= way.chord * (1 + 1e-6)
    assert way.joints == way.moves
    # steady on arcs: 100 mm/s round 195.8 mm; a polygon of the same length may only be slower
    assert way.laying >= cylinder.exact.laying * (1 - 2 * way.error / 195.8)
    assert way.missing == 0.0


def test_a_matching_mesh_costs_many_times_the_moves_or_is_predicted(cylinder: MeshComparison) -> None:
    if cylinder.match is not None:
        assert cylinder.match.error <= cylinder.bound
        assert cylinder.match.moves > 10 * cylinder.exact.moves
    else:
        assert cylinder.predicted is not None
        assert cylinder.predicted["moves"] > 10 * cylinder.exact.moves


def uv_ball(path: Path, radius: float, sides: int, rings: int) -> None:
    """A ball of flat quads in triangles: rings of latitude joined by straight lines, poles closed by fans."""
    import trimesh

    lat = np.linspace(-np.pi / 2, np.pi / 2, rings + 1)[1:-1]
    lon = 2 * np.pi * np.arange(sides) / sides
    rows = [
        (radius * np.cos(a) * np.cos(b), radius * np.cos(a) * np.sin(b), radius * np.sin(a))
        for a in lat
        for b in lon
    ]
    low, high = len(rows), len(rows) + 1
    rows += [(0.0, 0.0, -radius), (0.0, 0.0, radius)]
    faces = []
    for k in range(sides):
        n = (k + 1) % sides
        faces += [(low, n, k), (high, len(lat) * sides - sides + k, len(lat) * sides - sides + n)]
        for r in range(len(lat) - 1):
            a, b = r * sides, (r + 1) * sides
            faces += [(a + k, a + n, b + k), (a + n, b + n, b + k)]
    trimesh.Trimesh(vertices=np.array(rows), faces=np.array(faces), process=False).export(path)


def test_a_ball_of_flat_facets_strays_by_two_sagittas(tmp_path: Path) -> None:
    radius, sides, rings = 60.0, 48, 31
    mesh = tmp_path / "ball.stl"
    uv_ball(mesh, radius, sides, rings)
    found = meshway(
        cq.Workplane().sphere(radius),
        resolved=resolve({"contours": "1", "height": "8", "width": "12", "decimals": "6"}),
        chords=(),
        files=(mesh,),
        layers=3,
    )
    # A plane between two rings cuts a regular polygon whose corners lie on the straight lines between them, and the
    # middles of its sides cos(pi / n) of that from the axis; quads are cut in two, whose diagonal lies no deeper.
    lat = np.linspace(-np.pi / 2, np.pi / 2, rings + 1)
    tops = np.arange(0, 2 * radius, 8.0)
    looked = tops[np.unique(np.linspace(0, len(tops) - 1, 3).round().astype(int))] + 4.0 - radius
    off = [
        math.sqrt(radius**2 - z**2)
        - float(np.interp(z, radius * np.sin(lat), radius * np.cos(lat))) * math.cos(math.pi / sides)
        for z in looked
    ]

    # STL holds single precision: 6e-8 of 60 mm
    assert found.meshes[0].error == pytest.approx(max(off), abs=1e-5)


def test_on_a_block_the_mesh_way_is_good_enough_and_the_command_says_so(tmp_path: Path) -> None:
    part, mesh, picture = tmp_path / "block.step", tmp_path / "block.stl", tmp_path / "ways.svg"
    block = cq.Workplane().box(120, 80, 8)
    cq.exporters.export(block, str(part))
    cq.exporters.export(block, str(mesh))
    call = [
        "meshway",
        str(part),
        "--chord",
        "1",
        "--mesh",
        str(mesh),
        "--layers",
        "1",
        "-o",
        str(picture),
        "--json",
    ]
    run = CliRunner().invoke(app, call)
    told = json.loads(run.stdout)

    assert run.exit_code == 0
    assert [row["way"] for row in told["ways"]] == ["the solid", "chord 1 mm", "block.stl"]
    assert all(row["error_mm"]["greatest"] <= told["bound_mm"] for row in told["ways"])
    # two beads of four lines each, whichever way
    assert [row["moves"] for row in told["ways"]] == [8, 8, 8]
    assert "good enough" in told["good_enough"]
    assert told["match"]["chord_mm"] == 1.0
    assert picture.read_bytes().startswith(b"<?xml")


def test_a_mesh_of_another_part_is_not_the_best(tmp_path: Path) -> None:
    """It lies elsewhere: none of its beads is measured, so it strays by nothing and is still no mesh of this part."""
    cq.exporters.export(cq.Workplane().box(120, 80, 8).translate((0, 0, 100)), str(tmp_path / "other.stl"))
    found = meshway(
        cq.Workplane().circle(50).extrude(8),
        resolved=resolve({}),
        chords=(),
        files=(tmp_path / "other.stl",),
        layers=1,
    )
    told = found.as_dict()

    assert found.meshes[0].missing > 2 * math.pi * 40
    assert "lacks beads" in told["good_enough"]
    assert told["ways"][1]["moves"] == 0
    assert "error_mm" not in told["ways"][1]


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (["--chord", "a"], "--chord"),
        (["--chord", "0"], "0.0001 to 100"),
        (["--layers", "0"], "--layers"),
        (["--mesh", "none.stl"], "no such file"),
    ],
)
def test_faults_are_named(tmp_path: Path, more: list[str], says: str) -> None:
    part = tmp_path / "box.step"
    cq.exporters.export(cq.Workplane().box(50, 50, 8), str(part))
    run = CliRunner().invoke(app, ["meshway", str(part), *more])

    assert run.exit_code == 2
    assert says in run.stderr
