"""Area and length of exact section curves, chain by chain."""

from __future__ import annotations

from math import comb

import numpy as np
import numpy.typing as npt

from beadwright.curves._loops import CurveKind, CurveLoops

# Gauss-Legendre nodes a panel and panels a Bézier piece: area of a polynomial piece is exact up to degree 16;
# lengths and rational pieces of CAD come out at some 1e-12 of their size.
NODES = 16
PANELS = 4
# A rational piece whose weights differ by more is halved first: near a small weight at one end it runs so
# fast that no fixed rule follows it (a hyperbola close to its asymptotes).
UNEVEN = 4.0
# Each halving brings the ratio of neighbouring weights nearer to 1; no double needs more of them.
MAX_HALVINGS = 60

Floats = npt.NDArray[np.float64]


def chain_measures(loops: CurveLoops) -> tuple[Floats, Floats]:
    """Signed area (0 for an open chain) and length of each chain of exact curves.

    Lines, circles and connectors in closed form; Bézier pieces by quadrature of (x y' - y x') / 2 and of the
    speed, about the chain's first point, so that a place far from the origin costs no digits.

    Parameters
    ----------
    loops : CurveLoops
        m chains.

    Returns
    -------
    area, length : (m,) float
        mm2, counter-clockwise positive; mm.
    """
    n = len(loops.kind)
    chain = np.repeat(np.arange(loops.n_chains), np.diff(loops.first_curve))
    origin = loops.ends[loops.first_curve[:-1], :2][chain] if n else np.zeros((0, 2))
    ax, ay = loops.ends[:, 0] - origin[:, 0], loops.ends[:, 1] - origin[:, 1]
    bx, by = loops.ends[:, 2] - origin[:, 0], loops.ends[:, 3] - origin[:, 1]
    area = (ax * by - ay * bx) / 2
    length = np.hypot(bx - ax, by - ay)

    circle = loops.kind == CurveKind.CIRCLE
    radius, sweep = loops.circle[:, 2], loops.circle[:, 3]
    area = area + np.where(circle, radius**2 * (sweep - np.sin(sweep)) / 2, 0.0)
    length = np.where(circle, radius * np.abs(sweep), length)

    owner = np.repeat(np.arange(n), np.diff(loops.first_piece))
    if len(owner):
        piece_area, piece_length = _pieces(loops, origin[owner])
        own = np.zeros(n, bool)
        own[owner] = True
        area = np.where(own, np.bincount(owner, piece_area, n), area)
        length = np.where(own, np.bincount(owner, piece_length, n), length)
    areas, lengths = (np.zeros(loops.n_chains) for _ in range(2))
    np.add.at(areas, chain, np.where(loops.closed[chain], area, 0.0))
    np.add.at(lengths, chain, length)
    return areas, lengths


def _pieces(loops: CurveLoops, origin: Floats) -> tuple[Floats, Floats]:
    """Share of the area about `origin`, and length, of each Bézier piece."""
    node, weight = np.polynomial.legendre.leggauss(NODES)
    t = ((np.arange(PANELS)[:, None] + (node + 1) / 2) / PANELS).ravel()
    weight = np.tile(weight, PANELS) / (2 * PANELS)
    area, length = np.zeros(len(origin)), np.zeros(len(origin))
    for degree in np.unique(loops.degree):
        rows = np.flatnonzero(loops.degree == degree)
        control = loops.control[loops.first_control[rows, None] + np.arange(degree + 1)].copy()
        control[..., :2] -= control[..., 2:] * origin[rows, None, :]
        control, owner = _even(control)
        value = np.einsum("td,pdk->ptk", _bernstein(int(degree), t), control)
        slope = degree * np.einsum("td,pdk->ptk", _bernstein(int(degree) - 1, t), np.diff(control, axis=1))
        w = value[..., 2:]
        place = value[..., :2] / w
        speed = (slope[..., :2] - place * slope[..., 2:]) / w
        turn = place[..., 0] * speed[..., 1] - place[..., 1] * speed[..., 0]
        area[rows] = np.bincount(owner, turn @ weight / 2, len(rows))
        length[rows] = np.bincount(owner, np.hypot(speed[..., 0], speed[..., 1]) @ weight, len(rows))
    return area, length


def _even(control: Floats) -> tuple[Floats, npt.NDArray[np.int64]]:
    """Pieces with even weights, (k, d + 1, 3), and the row of the piece that each is a part of."""
    owner = np.arange(len(control))
    done: list[tuple[Floats, npt.NDArray[np.int64]]] = []
    for _ in range(MAX_HALVINGS):
        w = control[..., 2]
        uneven = w.max(axis=1) > UNEVEN * w.min(axis=1)
        done.append((control[~uneven], owner[~uneven]))
        if not uneven.any():
            break
        control, owner = _halves(control[uneven]), np.repeat(owner[uneven], 2)
    else:
        done.append((control, owner))
    return np.concatenate([c for c, _ in done]), np.concatenate([o for _, o in done])


def _halves(control: Floats) -> Floats:
    """Both halves of each piece, by de Casteljau: (k, d + 1, 3) to (2 k, d + 1, 3)."""
    rest, left, right = control, [control[:, 0]], [control[:, -1]]
    while rest.shape[1] > 1:
        rest = (rest[:, :-1] + rest[:, 1:]) / 2
        left.append(rest[:, 0])
        right.append(rest[:, -1])
    both = np.stack((np.stack(left, axis=1), np.stack(right[::-1], axis=1)), axis=1)
    return both.reshape(-1, *control.shape[1:])


def _bernstein(degree: int, t: Floats) -> Floats:
    """Bernstein polynomials of a degree: (k, degree + 1)."""
    i = np.arange(degree + 1)
    choose = np.array([comb(degree, int(j)) for j in i], dtype=float)
    return np.asarray(choose * t[:, None] ** i * (1 - t[:, None]) ** (degree - i))
