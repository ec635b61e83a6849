"""Compiled loops of the process room."""

from __future__ import annotations

from typing import Any

import numpy as np

from beadwright.compiled import kernel

# Stefan-Boltzmann constant, W/(m2 K4): CODATA 2018, exact since the SI of 2019.
SIGMA = 5.670374419e-8
ZERO = 273.15
# Rounds of the radiation's linearisation in a step: its coefficient changes by less than 1 % a step, so each
# round takes two digits, and the heat that is booked is that of the last round in any case.
ROUNDS = 2
# Of the two-stage method: 1 - 1 / sqrt(2).
GAMMA = 0.29289321881345254


@kernel
def wall(
    height: Any,
    thick: Any,
    wait: Any,
    numbers: Any,
    cells: int,
    steps: int,
    window: int,
    growth: float,
) -> Any:
    """Growing wall, one-dimensional, implicit of second order in time.

    Parameters
    ----------
    height, thick : (n,) float64
        Of each layer, m.
    wait : (n,) float64
        Time from a layer until the next comes, s.
    numbers : (8,) float64
        Conductivity W/mK, heat capacity of volume J/m3K, emissivity, film coefficient W/m2K, temperatures of
        the deposit, the platform, the air; 0 where the platform's side is held at its temperature, 1 where no
        heat passes it; degC.
    cells : int
        Cells of a layer.
    steps : int
        Time steps between two layers, each longer than the one before by the factor `growth`.
    window : int
        Layers that are followed; the one below is held at its last temperature.
    growth : float
        Above 1.

    Returns
    -------
    (n + 4 + m,) float64
        Mean temperature of each layer just before the next one comes, degC; heat that came with the deposit,
        heat lost at the sides and the top, heat that went down, and heat left in the followed part, J a metre
        of wall above the air's temperature; temperature of each followed cell at the end, upwards, degC.
    """
    n = len(height)
    k, cv, emissivity, film = numbers[0], numbers[1], numbers[2], numbers[3]
    deposit, air = numbers[4], numbers[6]
    below, insulated = numbers[5], numbers[7] != 0.0
    size = cells * window
    T, fresh, old = np.empty(size), np.empty(size), np.empty(size)
    dz, w = np.empty(size), np.empty(size)
    low, diag, rhs = np.empty(size), np.empty(size), np.empty(size)
    joint = np.empty(size)
    out = np.zeros(n + 4 + min(size, n * cells))
    m, gap = 0, 0.0
    parts = (growth**steps - 1.0) / (growth - 1.0)
    for layer in range(n):
        if m == size:  # the lowest layer leaves the part that is followed
            for i in range(cells):
                out[n + 2] += cv * w[i] * dz[i] * (T[i] - air)
            below, gap = T[cells - 1], dz[cells - 1] / 2.0
            for i in range(size - cells):
                T[i], dz[i], w[i] = T[i + cells], dz[i + cells], w[i + cells]
            m -= cells
            insulated = False
        for i in range(m, m + cells):
            T[i], dz[i], w[i] = deposit, height[layer] / cells, thick[layer]
            out[n] += cv * w[i] * dz[i] * (deposit - air)
        m += cells
        # Conductance between neighbours, and of the lowest cell to what lies below.
        joint[0] = 0.0 if insulated else k * w[0] / (dz[0] / 2.0 + gap)
        for i in range(1, m):
            joint[i] = 1.0 / (dz[i - 1] / (2.0 * k * w[i - 1]) + dz[i] / (2.0 * k * w[i]))
        dt = wait[layer] / parts
        for _ in range(steps):
            for i in range(m):
                old[i] = fresh[i] = T[i]
            for stage in range(2):
                # Two implicit stages of weight GAMMA, L-stable of second order: R. Alexander, SIAM J.
                # Numerical Analysis 14 (1977) 1006-1021.
                if stage == 1:
                    for i in range(m):
                        old[i] += (1.0 - GAMMA) / GAMMA * (T[i] - old[i])
                for _ in range(ROUNDS):
                    # The top's own surface, from the heat that passes it.
                    face = fresh[m - 1]
                    for _ in range(ROUNDS):
                        a, b = face + ZERO, air + ZERO
                        h = film + emissivity * SIGMA * (a * a + b * b) * (a + b)
                        face = air + (fresh[m - 1] - air) / (1.0 + h * dz[m - 1] / (2.0 * k))
                    crown = w[m - 1] / (1.0 / h + dz[m - 1] / (2.0 * k)) if h > 0.0 else 0.0
                    for i in range(m):
                        a, b = fresh[i] + ZERO, air + ZERO
                        h = film + emissivity * SIGMA * (a * a + b * b) * (a + b)
                        hold, loss = cv * w[i] * dz[i] / (GAMMA * dt), 2.0 * dz[i] * h
                        if i == m - 1:
                            loss += crown
                        up = joint[i + 1] if i < m - 1 else 0.0
                        low[i] = loss
                        diag[i] = hold + loss + joint[i] + up
                        rhs[i] = hold * old[i] + loss * air
                    rhs[0] += joint[0] * below
                    # Thomas: the matrix is symmetric with -joint beside its diagonal.
                    for i in range(1, m):
                        f = joint[i] / diag[i - 1]
                        diag[i] -= f * joint[i]
                        rhs[i] += f * rhs[i - 1]
                    T[m - 1] = rhs[m - 1] / diag[m - 1]
                    for i in range(m - 2, -1, -1):
                        T[i] = (rhs[i] + joint[i + 1] * T[i + 1]) / diag[i]
                    for i in range(m):
                        fresh[i] = T[i]
                weight = dt * (GAMMA if stage == 1 else 1.0 - GAMMA)
                for i in range(m):
                    out[n + 1] += low[i] * (T[i] - air) * weight
                out[n + 2] += joint[0] * (T[0] - below) * weight
            dt *= growth
        mean = 0.0
        for i in range(m - cells, m):
            mean += T[i]
        out[layer] = mean / cells
    for i in range(m):
        out[n + 3] += cv * w[i] * dz[i] * (T[i] - air)
        out[n + 4 + i] = T[i]
    return out


@kernel
def nearest(points: Any, others: Any, reach: float) -> Any:
    """Row of the nearest other point within reach of each, the first of several as near; -1 if there is none.

    Parameters
    ----------
    points, others : (n, 2), (m, 2) float64
        mm; at least one other.
    reach : float
        mm, above 0.

    Returns
    -------
    (n,) int64
    """
    low_x, low_y = others[:, 0].min(), others[:, 1].min()
    wide, deep = others[:, 0].max() - low_x, others[:, 1].max() - low_y
    # Squares not smaller than the reach, about as many as points: what is within reach lies in nine of them.
    side = max(reach, np.sqrt(wide * deep / len(others)), max(wide, deep) / len(others))
    columns, rows = int(wide / side) + 1, int(deep / side) + 1
    square = np.empty(len(others), np.int64)
    first = np.zeros(columns * rows + 1, np.int64)
    for j in range(len(others)):
        square[j] = int((others[j, 1] - low_y) / side) * columns + int((others[j, 0] - low_x) / side)
        first[square[j] + 1] += 1
    for s in range(columns * rows):
        first[s + 1] += first[s]
    fill, order = first.copy(), np.empty(len(others), np.int64)
    for j in range(len(others)):
        order[fill[square[j]]] = j
        fill[square[j]] += 1
    out = np.full(len(points), -1, np.int64)
    for i in range(len(points)):
        x, y = (points[i, 0] - low_x) / side, (points[i, 1] - low_y) / side
        if not (-1.0 <= x <= columns + 1.0 and -1.0 <= y <= rows + 1.0):
            continue
        c, r = int(np.floor(x)), int(np.floor(y))
        best = reach * reach
        for row in range(max(r - 1, 0), min(r + 2, rows)):
            for column in range(max(c - 1, 0), min(c + 2, columns)):
                for place in range(first[row * columns + column], first[row * columns + column + 1]):
                    j = order[place]
                    dx, dy = points[i, 0] - others[j, 0], points[i, 1] - others[j, 1]
                    far = dx * dx + dy * dy
                    if far < best or (far == best and j < out[i]):
                        best, out[i] = far, j
    return out
