"""From a STEP file to fitted regions and contour lines: ours, the kernel's generic section, and a mesh.

All in one run, in seconds of one processor, so that only ratios count. ``-s`` prints the table.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from beadwright import kernel, section
from beadwright.arcs import fit, offset, unite
from beadwright.brep import placed, placement
from beadwright.curves import distances

ROOT = Path(__file__).resolve().parents[2]
MODELS = ROOT.parent / "shared" / "models"
HULL, BLOCK = ROOT / "step_examples" / "tender_hull.step", MODELS / "nist_ctc_01_ap242.stp"
MOULD = ROOT / "step_examples" / "hatch_cover_mould.step"
PLANES, FEW = 400, 10
# Chords of meshes. Finer ones take minutes (block, mould) or more memory than there is (hull), so they are judged at an
# error in their favour, which is measured: about 1 um on the mould, 3 um on the block, 0.4 mm on the hull.
CHORD = {BLOCK: 0.001, MOULD: 0.002, HULL: 0.03}
# How exact the curves are that the mesh's beads are measured by, mm.
REFEREE = 1e-5
# Heights at which they are measured, and places of each bead.
MEASURED, PLACES = 3, 400
BEAD = 4.2

pytestmark = pytest.mark.bench


def seconds(work: Callable[[], Any]) -> tuple[float, Any]:
    begin = time.process_time()
    done = work()
    return time.process_time() - begin, done


def shape_of(path: Path) -> Any:
    from OCP.STEPControl import STEPControl_Reader

    reader = STEPControl_Reader()
    reader.ReadFile(str(path))
    reader.TransferRoots()
    return reader.OneShape()


def heights(cutter: section.Cutter) -> np.ndarray:
    low, high = cutter.z_range
    return low + (np.arange(PLANES) + 0.5137) / PLANES * (high - low)


def regions(cutter: section.Cutter, z: np.ndarray, tolerance: float) -> list[Any]:
    return [unite(fit(each.loops, tolerance=tolerance).region).region for each in section.cut(cutter, z)]


def kernel_sections(shape: Any, z: np.ndarray) -> None:
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Section
    from OCP.gp import gp_Dir, gp_Pln, gp_Pnt

    for h in z:
        BRepAlgoAPI_Section(shape, gp_Pln(gp_Pnt(0, 0, float(h)), gp_Dir(0, 0, 1)), True).Build()


def mesh_of(shape: Any, chord: float) -> Any:
    """Triangles of a shape, vertices merged."""
    import trimesh
    from OCP.BRep import BRep_Tool
    from OCP.BRepMesh import BRepMesh_IncrementalMesh
    from OCP.TopAbs import TopAbs_FACE
    from OCP.TopExp import TopExp_Explorer
    from OCP.TopLoc import TopLoc_Location
    from OCP.TopoDS import TopoDS

    BRepMesh_IncrementalMesh(shape, chord, False, 1.5).Perform()
    points, rows, count = [], [], 0
    faces = TopExp_Explorer(shape, TopAbs_FACE)
    while faces.More():
        at = TopLoc_Location()
        found = BRep_Tool.Triangulation_s(TopoDS.Face_s(faces.Current()), at)
        nodes = found.NbNodes()
        points += [(p.X(), p.Y(), p.Z()) for p in (found.Node(i + 1) for i in range(nodes))]
        rows += [
            tuple(v + count - 1 for v in found.Triangle(i + 1).Get()) for i in range(found.NbTriangles())
        ]
        count += nodes
        faces.Next()
    return trimesh.Trimesh(np.array(points), np.array(rows), process=True)


def mesh_contours(mesh: Any, z: np.ndarray, chord: float) -> list[list[np.ndarray]]:
    """Cut, make areas of the rings, and offset these inwards: the rings of each height."""
    import shapely

    quarter = math.ceil(math.pi / 4 / math.acos(1 - chord / BEAD))
    made = []
    for h in z:
        found = mesh.section(plane_origin=[0, 0, float(h)], plane_normal=[0, 0, 1])
        if found is None:
            made.append([])
            continue
        rings = shapely.MultiLineString([ring[:, :2] for ring in found.discrete])
        inner = shapely.build_area(rings).buffer(-BEAD, quad_segs=quarter)
        made.append([shapely.get_coordinates(ring) for ring in shapely.get_rings(inner)])
    return made


def true_error(beads: list[list[np.ndarray]], cutter: section.Cutter, z: np.ndarray) -> float:
    """Greatest amount by which corners and middles of chords are off their distance from the exact section, mm."""
    worst = 0.0
    for rings, region in zip(beads, regions(cutter, z, REFEREE), strict=True):
        for ring in rings:
            places = np.concatenate([ring, (ring[1:] + ring[:-1]) / 2])
            places = places[:: max(1, len(places) // PLACES)]
            worst = max(worst, float(np.abs(distances(region.loops, places) - BEAD).max()))
    return worst


@pytest.mark.parametrize(
    ("path", "least"), [(BLOCK, 10.0), (HULL, 25.0)], ids=["analytic block", "free-form hull"]
)
def test_sections_to_regions_beat_the_kernels_bare_section(
    path: Path, least: float, capsys: pytest.CaptureFixture[str]
) -> None:
    if not path.is_file():
        pytest.skip("the public models are not beside this checkout")
    cutter = section.prepare(kernel.read_step(path))
    z = heights(cutter)
    regions(cutter, z[:: PLANES // FEW], 0.01)  # loads every kernel the planes need
    cut, _ = seconds(lambda: section.cut(cutter, z))
    whole, made = seconds(lambda: regions(cutter, z, 0.01))
    shape = shape_of(path)
    bare, _ = seconds(lambda: kernel_sections(shape, z[:: PLANES // FEW]))
    bare *= PLANES / FEW
    moves = sum(len(loop.bulge) for region in made for loop in region.loops) / PLANES
    with capsys.disabled():
        print(
            f"\n| {path.stem} | {1e3 * cut / PLANES:.2f} | {1e3 * whole / PLANES:.2f} | {moves:.0f}"
            f" | {1e3 * bare / PLANES:.1f} | {bare / cut:.0f} | {bare / whole:.0f} |"
            "   (part, ms a plane cut, ms to a fitted region, moves, ms kernel, ratio of cuts, ratio)"
        )

    assert bare / whole > least


@pytest.mark.timeout(1800)
@pytest.mark.parametrize("path", CHORD, ids=["analytic block", "mould", "free-form hull"])
def test_a_mesh_as_true_takes_longer(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """STEP to contour beads: ours within 1 um; the mesh at a chord whose error is what it is measured to be."""
    if not path.is_file():
        pytest.skip("the public models are not beside this checkout")
    warm = section.prepare(kernel.read_step(path))
    offset(regions(warm, heights(warm)[:2], 0.001)[1], distance=BEAD)
    step: dict[str, float] = {}

    def ours() -> int:
        step["read"], model = seconds(lambda: kernel.read_step(path))
        step["prepare"], cutter = seconds(lambda: section.prepare(placed(model, placement(model))))
        step["cut and fit"], made = seconds(lambda: regions(cutter, heights(cutter), 0.001))
        step["offset"], done = seconds(lambda: [offset(region, distance=BEAD).region for region in made])
        return sum(bool(region.loops) for region in done)

    chain, _ = seconds(ours)
    read, shape = seconds(lambda: shape_of(path))
    chord = CHORD[path]
    tessellated, mesh = seconds(lambda: mesh_of(shape, chord))
    z = mesh.bounds[0, 2] + (np.arange(PLANES) + 0.5137) / PLANES * np.ptp(mesh.bounds[:, 2])
    z = z[:: PLANES // FEW]
    contours, beads = seconds(lambda: mesh_contours(mesh, z, chord))
    contours *= PLANES / FEW
    theirs = read + tessellated + contours
    some = slice(1, None, FEW // MEASURED)
    error = true_error(beads[some], warm, z[some])
    with capsys.disabled():
        print(
            f"\n| {path.stem} | {chain:.2f} | {read + tessellated:.1f} | {contours:.1f} | {chord} | {1e3 * error:.1f}"
            f" | {len(mesh.faces)} | {theirs / chain:.1f} |"
            "   (part, s ours, s read and tessellate, s cuts and offsets, chord, true error um, triangles, ratio)"
        )
        print("  ours: " + ", ".join(f"{name} {took:.2f} s" for name, took in step.items()))

    assert error > 0.0009
    assert any(beads)
    assert theirs > 5 * chain
