"""What the bound of a level curve rests on, in exact arithmetic; chords and unseen cells, each told apart."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise, product
from math import comb

import mpmath as mp
import numba
import numpy as np
import pytest

from beadwright import brep, kernel, section
from beadwright.layers import LayerPlan
from beadwright.pipeline._section_findings import section_findings
from beadwright.section._free import pack_free
from beadwright.section._free_branches import free_branches
from beadwright.section._free_pieces import free_pieces
from beadwright.section._kernels import free_proof
from tests.section import _build_free as build

PLACES = [Fraction(str(t)) for t in free_proof.PLACES]
ON_ITS_SIDE = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])


def times(p: list[Fraction], q: list[Fraction]) -> list[Fraction]:
    """Product of polynomials by powers of t."""
    out = [Fraction(0)] * (len(p) + len(q) - 1)
    for (i, a), (j, b) in product(enumerate(p), enumerate(q)):
        out[i + j] += a * b
    return out


def weight(roots: list[Fraction]) -> list[Fraction]:
    """t^3 (1 - t)^3 times (t - r) for all roots."""
    out = [Fraction(1)]
    for factor in [[0, 1]] * 3 + [[1, -1]] * 3 + [[-r, 1] for r in roots]:
        out = times(out, [Fraction(c) for c in factor])
    return out


def value(p: list[Fraction], t: Fraction) -> Fraction:
    return sum((c * t**k for k, c in enumerate(p)), Fraction(0))


def greatest(p: list[Fraction], low: Fraction, high: Fraction, halvings: int = 4) -> Fraction:
    """Upper bound of |p| on [low, high]: the hull of its Bernstein form, in exact arithmetic."""
    if halvings:
        middle = (low + high) / 2
        return max(greatest(p, low, middle, halvings - 1), greatest(p, middle, high, halvings - 1))
    n = len(p) - 1
    moved = [
        sum((p[k] * comb(k, i) * low ** (k - i) * (high - low) ** i for k in range(i, n + 1)), Fraction(0))
        for i in range(n + 1)
    ]
    hull = [
        sum((moved[i] * Fraction(comb(j, i), comb(n, i)) for i in range(j + 1)), Fraction(0))
        for j in range(n + 1)
    ]
    return max(abs(c) for c in hull)


def test_what_lies_between_the_places_is_bounded_by_the_constant() -> None:
    single = []
    for t in PLACES:
        rest = weight([r for r in PLACES if r != t])
        single.append([c / value(rest, t) for c in rest])
    worst = Fraction(0)
    for low, high in pairwise([Fraction(0), *PLACES, Fraction(1)]):
        # none of them changes its sign between neighbouring places
        signs = [1 if value(p, (low + high) / 2) > 0 else -1 for p in single]
        total = [sum((s * p[k] for s, p in zip(signs, single, strict=True)), Fraction(0)) for k in range(9)]
        worst = max(worst, greatest(total, low, high))

    assert 1.41 < worst <= Fraction(str(free_proof.BETWEEN))


def test_the_rest_is_bounded_by_the_constant() -> None:
    assert 6.4e-5 < greatest(weight(PLACES), Fraction(0), Fraction(1)) <= Fraction(str(free_proof.REST))


@numba.njit
def looked_at(coef, u, v, a, b, net, most, row):  # type: ignore[no-untyped-def]
    free_proof.around(coef, u, v, row, net, np.empty((6, 4)))
    return free_proof.swing(net, 4, a, b, most), free_proof.swing(net, 2, a, b, most.copy())


@pytest.mark.parametrize("seed", range(3))
def test_no_complex_place_of_the_disc_is_farther_than_told(seed: int) -> None:
    """A rational patch of degree 3 x 2 at complex parameters, with 40 digits."""
    rng = np.random.default_rng(seed)
    coef = rng.normal(size=(4, 3, 4))
    coef[..., 3] = 1.0 + 0.3 * rng.random((4, 3))
    coef[..., :3] *= coef[..., 3:]
    net, most = np.empty((4, 3, 6)), np.empty(2)
    u, v, a, b = 0.3, 0.8, 0.21, 0.17

    in_all, in_z = looked_at(coef, u, v, a, b, net, most, np.empty(4))

    with mp.workdps(40):

        def point(s: mp.mpc, t: mp.mpc) -> list[mp.mpc]:
            rows = [comb(3, i) * s**i * (1 - s) ** (3 - i) for i in range(4)]
            columns = [comb(2, j) * t**j * (1 - t) ** (2 - j) for j in range(3)]
            x = [
                sum(rows[i] * columns[j] * mp.mpf(float(coef[i, j, c])) for i in range(4) for j in range(3))
                for c in range(4)
            ]
            return [x[c] / x[3] for c in range(3)]

        here = point(mp.mpf(u), mp.mpf(v))
        off, up = mp.mpf(0), mp.mpf(0)
        for k, m in product(range(8), range(8)):
            turned = point(u + a * mp.expjpi(mp.mpf(k) / 4), v + b * mp.expjpi(mp.mpf(m) / 4))
            off = max(off, mp.sqrt(sum(abs(x - y) ** 2 for x, y in zip(turned, here, strict=True))))
            up = max(up, abs(turned[2] - here[2]))
    assert off <= in_all <= 6 * off
    assert up <= in_z <= in_all


def carried(surface: brep.SplineSurface, box: list[list[float]], h: float):  # type: ignore[no-untyped-def]
    free = pack_free(surface, box)
    branches = free_branches(free, [h])
    n = np.diff(branches.first_piece)
    return branches, free_pieces(free, branches, np.arange(len(n)), np.zeros(len(n)), n)


@pytest.mark.parametrize("h", [0.0, 1e-10, 1e-6, 1e-3])
def test_past_a_pole(h: float) -> None:
    """A ball whose poles lie in the plane z = 0: beside them the surface's derivative vanishes. Circle: closed form."""
    _, pieces = carried(build.turned(build.sphere(80.0), ON_ITS_SIDE), [[0, 0], [4, 2]], h)

    points = build.bezier(pieces.control[:, :2].reshape(-1, 6, 2), np.linspace(0.0, 1.0, 11)).reshape(-1, 2)
    off = np.abs(np.hypot(*points.T) - np.sqrt(80.0**2 - h * h))
    assert off.max() <= pieces.bound.max() + 1e-12
    if h > 0.0:
        assert pieces.bound.max() <= 2e-7
        assert (pieces.chords == 0.0).all()
        assert not pieces.near_tangent.any()
    else:
        # through the poles themselves: not followed, and told with what it may be off
        assert 0.0 < pieces.chords[:, 1].max() <= pieces.bound.max()


def test_a_chord_at_a_pole_is_a_finding_of_its_own() -> None:
    cq = pytest.importorskip("cadquery")
    from OCP.BRepBuilderAPI import BRepBuilderAPI_NurbsConvert

    ball = cq.Workplane().sphere(80.0).rotate((0, 0, 0), (1, 0, 0), 90).val()
    model = kernel.from_shape(cq.Shape.cast(BRepBuilderAPI_NurbsConvert(ball.wrapped, True).Shape()))
    cutter = section.prepare(model)
    through, beside = section.cut(cutter, [0.0, 1e-6])

    assert "pole" in {c.why for c in through.chords}
    assert max(c.bound for c in through.chords) <= through.bound
    assert (beside.chords, beside.hidden, beside.near_tangent) == ((), 0.0, ())
    plan = LayerPlan(index=4, z0=0.0, z=4.0, height=4.0, section_z=(0.0,))
    told = [f for f in section_findings(plan, through) if f.code == "chord"]
    assert [f.measured for f in told] == [c.bound for c in through.chords]
    assert all(f.layer == 4 and f.face == 0 for f in told)
    assert any("as at a pole" in f.text for f in told)


def bump(shape: str) -> brep.SplineSurface:
    """z = x y, or z = -(x - 0.1)^2 - (y - 0.3)^2, over the square from -1 to 1."""
    x = np.linspace(-1.0, 1.0, 3)
    x, y = np.meshgrid(x, x, indexing="ij")
    a, b = (np.array([(1.0 + c) ** 2, c * c - 1.0, (1.0 - c) ** 2]) for c in (0.1, 0.3))
    z = x * y if shape == "saddle" else -a[:, None] - b[None, :]
    return build.net(np.stack((x, y, z), axis=-1), (2, 2))


@pytest.mark.parametrize("shape", ["saddle", "dome"])
def test_where_a_plane_touches_the_size_of_what_could_hide_is_told(shape: str) -> None:
    """Nothing of the dome is above, and no curve passes the cell at its top: it could hide one all the same."""
    branches, _ = carried(bump(shape), [[0, 0], [1, 1]], 0.0)
    clear, _ = carried(bump(shape), [[0, 0], [1, 1]], -1e-3)

    assert 0.0 < branches.hidden[0] < 1e-5
    assert clear.hidden[0] == 0.0
    assert (len(branches.closed) == 0) is (shape == "dome")
