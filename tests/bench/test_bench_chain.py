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

ROOT = Path(__file__).resolve().parents[2]
MODELS = ROOT.parent / "shared" / "models"
HULL, BLOCK = ROOT / "step_examples" / "tender_hull.step", MODELS / "nist_ctc_01_ap242.stp"
PLANES, FEW = 400, 10
# Chords of a mesh whose cuts are true to 1 um (analytic part) and to 0.1 mm (what a free-form hull allows).
CHORD = {BLOCK: 0.001, HULL: 0.03}
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


def mesh_contours(mesh: Any, z: np.ndarray, chord: float) -> int:
    """Cut, make areas of the rings, and offset these inwards; how many heights have a contour left."""
    import shapely

    quarter = math.ceil(math.pi / 4 / math.acos(1 - chord / BEAD))
    left = 0
    for h in z:
        found = mesh.section(plane_origin=[0, 0, float(h)], plane_normal=[0, 0, 1])
        if found is not None:
            rings = shapely.MultiLineString([ring[:, :2] for ring in found.discrete])
            left += not shapely.build_area(rings).buffer(-BEAD, quad_segs=quarter).is_empty
    return left


@pytest.mark.parametrize("path", [BLOCK, HULL], ids=["analytic block", "free-form hull"])
def test_sections_to_regions_beat_the_kernels_bare_section(
    path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    if not path.is_file():
        pytest.skip("the public models are not beside this checkout")
    cutter = section.prepare(kernel.read_step(path))
    z = heights(cutter)
    regions(cutter, z[:2], 0.01)
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

    assert bare / whole > 10.0


@pytest.mark.parametrize("path", [BLOCK, HULL], ids=["analytic block", "free-form hull"])
def test_a_mesh_as_true_takes_longer(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """STEP to contour lines: ours within 1 um; the mesh at a chord whose error is 1 um or worse."""
    if not path.is_file():
        pytest.skip("the public models are not beside this checkout")
    regions(section.prepare(kernel.read_step(path)), np.zeros(0), 0.001)

    def ours() -> int:
        model = kernel.read_step(path)
        cutter = section.prepare(placed(model, placement(model)))
        made = regions(cutter, heights(cutter), 0.001)
        return sum(bool(offset(region, distance=BEAD).region.loops) for region in made)

    chain, _ = seconds(ours)
    shape, chord = shape_of(path), CHORD[path]
    tessellated, mesh = seconds(lambda: mesh_of(shape, chord))
    z = mesh.bounds[0, 2] + (np.arange(PLANES) + 0.5137) / PLANES * np.ptp(mesh.bounds[:, 2])
    few = 2 * FEW
    contours, left = seconds(lambda: mesh_contours(mesh, z[:: PLANES // few], chord))
    theirs = tessellated + contours * PLANES / few
    with capsys.disabled():
        print(
            f"\n| {path.stem} | {chain:.2f} | {tessellated:.1f} | {contours * PLANES / few:.1f} | {chord}"
            f" | {len(mesh.faces)} | {theirs / chain:.1f} |"
            "   (part, s ours, s tessellation, s cuts and offsets, chord, triangles, ratio)"
        )

    assert left > 0
    assert theirs > chain
