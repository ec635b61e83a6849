"""Sections of one side of a hull (26 x 15 poles): ours against the kernel's, in the same run."""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
import pytest

from beadwright.section._free import pack_free
from beadwright.section._free_branches import free_branches
from beadwright.section._free_locate import free_locate
from beadwright.section._free_pieces import free_pieces
from tests.section import _build_free as build


def best(run: Callable[[], object], times: int = 5) -> float:
    """Least time of some runs, s."""
    out = np.inf
    for _ in range(times):
        start = time.perf_counter()
        run()
        out = min(out, time.perf_counter() - start)
    return out


def kernel_section(heights: np.ndarray) -> Callable[[], object]:
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Section
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace
    from OCP.Geom import Geom_BSplineSurface
    from OCP.gp import gp_Dir, gp_Pln, gp_Pnt
    from OCP.TColgp import TColgp_Array2OfPnt
    from OCP.TColStd import TColStd_Array1OfInteger, TColStd_Array1OfReal

    surface = build.hull_side()
    nu, nv = surface.weights.shape
    poles = TColgp_Array2OfPnt(1, nu, 1, nv)
    for i in range(nu):
        for j in range(nv):
            poles.SetValue(i + 1, j + 1, gp_Pnt(*surface.poles[i, j]))
    tables = []
    for knots in (surface.knots_u, surface.knots_v):
        values, counts = np.unique(knots, return_counts=True)
        reals, integers = TColStd_Array1OfReal(1, len(values)), TColStd_Array1OfInteger(1, len(values))
        for k, (value, count) in enumerate(zip(values, counts, strict=True)):
            reals.SetValue(k + 1, float(value))
            integers.SetValue(k + 1, int(count))
        tables.append((reals, integers))
    geometry = Geom_BSplineSurface(
        poles, tables[0][0], tables[1][0], tables[0][1], tables[1][1], 3, 3, False, False
    )
    face = BRepBuilderAPI_MakeFace(geometry, 1e-7).Face()

    def run() -> None:
        for h in heights:
            section = BRepAlgoAPI_Section(face, gp_Pln(gp_Pnt(0, 0, float(h)), gp_Dir(0, 0, 1)), False)
            section.Build()
            assert section.IsDone()

    return run


@pytest.mark.bench
def test_bench_hull_side(capsys: pytest.CaptureFixture[str]) -> None:
    surface = build.hull_side()
    free = pack_free(surface, [[0, 0], [1, 1]])
    heights = np.linspace(5.0, 340.0, 200)
    branches = free_branches(free, heights)
    n = np.diff(branches.first_piece)
    rows = np.arange(len(n))
    nodes = np.column_stack((branches.start, heights[branches.plane]))

    cells = best(lambda: free_branches(free, heights)) / len(heights)
    located = best(lambda: free_locate(free, branches, nodes, branches.plane)) / len(nodes)
    pieces = free_pieces(free, branches, rows, 0 * n, n)
    carried = best(lambda: free_pieces(free, branches, rows, 0 * n, n)) / len(heights)
    theirs = best(kernel_section(heights[::20]), 2) / len(heights[::20])

    with capsys.disabled():
        print(
            f"\nhull side: cells and branches {1e6 * cells:.0f} us a plane "
            f"({branches.cells.mean():.0f} cells), "
            f"a node {1e6 * located:.1f} us, pieces {1e6 * carried:.0f} us a plane "
            f"({1e6 * carried * len(heights) / len(pieces.degree):.2f} us a quintic), "
            f"kernel {1e3 * theirs:.1f} ms a plane: {theirs / (cells + 2 * located + carried):.0f} times"
        )
    assert cells + carried < theirs
