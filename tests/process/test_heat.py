"""The wall model against closed forms of conduction and an explicit solution of its own differential equation.

Closed forms: F. P. Incropera, D. P. DeWitt, Fundamentals of Heat and Mass Transfer; H. S. Carslaw, J. C. Jaeger,
Conduction of Heat in Solids. Material: a published parameter set for ABS with 20 % carbon fibre.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from beadwright.errors import SettingsError
from beadwright.process import (
    WallModel,
    Window,
    contact_temperature,
    heat_findings,
    layer_time_for,
    periodic,
    run_wall,
)

WALL = WallModel(
    conductivity=0.17,
    heat_capacity=1640.0,
    density=1140.0,
    emissivity=0.85,
    film=7.0,
    deposition=200.0,
    platform=65.0,
    air=18.0,
)
ALPHA = 0.17 / (1140 * 1640)
# A film so good that the surface has the air's temperature.
HELD = 1e9
WIDE = 1e18  # mm: nothing is lost at the sides, even through that film


def test_a_plate_that_cools_from_both_faces():
    # tau = rho c w / (2 h) = 623.2 s for w = 10 mm, h = 15: 200 to 110 degC in air of 20 takes tau ln 2.
    time = 1140 * 1640 * 0.010 / (2 * 15) * math.log(2)
    assert time == pytest.approx(431.969, rel=1e-6)

    plate = replace(WALL, emissivity=0.0, film=15.0, air=20.0, insulated=True, conductivity=1e-9)
    run = run_wall(plate, height=100.0, thickness=10.0, wait=time)

    # The steps in time cost 0.03 K of 90.
    assert run.before[0] == pytest.approx(110.0, abs=0.03)


def test_a_plate_that_cools_by_radiation_alone():
    # Incropera and DeWitt, lumped body without convection: with x = T / T_air (kelvin), t = rho c w / 2 over
    # 4 eps sigma T_air^3 times [ln((x + 1) / (x - 1)) + 2 atan(x)] from the first to the last temperature.
    # sigma = 5.670374419e-8 W/(m2 K4): CODATA 2018.
    air, kelvin = 293.15, (473.15, 383.15)
    start, end = (math.log((x + 1) / (x - 1)) + 2 * math.atan(x) for x in (value / air for value in kelvin))
    time = 1140 * 1640 * 0.010 / 2 / (4 * 0.85 * 5.670374419e-8 * air**3) * (end - start)

    plate = replace(WALL, film=0.0, air=20.0, insulated=True, conductivity=1e-9)
    run = run_wall(plate, height=100.0, thickness=10.0, wait=time, steps=80, growth=1.05)

    assert run.before[0] == pytest.approx(110.0, abs=0.003)


def test_a_handbooks_loss_by_convection_and_radiation():
    # Incropera and DeWitt, example 1.2 (figures from memory, and they add up): a pipe of 70 mm at 200 degC, eps 0.8,
    # h 15 W/(m2 K), in a room of 25 degC loses 577 + 421 = 998 W a metre, with 473 and 298 K.
    pipe = replace(WALL, emissivity=0.8, film=15.0, air=25.0, insulated=True, conductivity=1e-9)
    run = run_wall(pipe, height=100.0, thickness=10.0, wait=0.01)
    surface = 2 * 0.1  # m2 a metre: two sides; nothing is conducted to the top

    assert run.lost / (surface * 0.01) * math.pi * 0.070 == pytest.approx(998, rel=2e-3)


def test_a_handbooks_coefficients_of_a_plane_wall():
    # Incropera and DeWitt, table of the one-term solution (from memory; zeta tan(zeta) = Bi holds): plane wall, Bi = 1,
    # zeta = 0.8603, C = 1.1191. At Fo = 1 the next term is below 1e-5.
    zeta, c = 0.8603, 1.1191
    assert zeta * math.tan(zeta) == pytest.approx(1.0, abs=2e-4)
    wall = replace(WALL, emissivity=0.0, film=0.17 / 0.010, air=0.0, deposition=1.0, insulated=True)
    run = run_wall(
        wall, height=10.0, thickness=WIDE, wait=0.010**2 / ALPHA, cells=100, steps=200, growth=1.02
    )

    assert run.profile[0] == pytest.approx(c * math.exp(-(zeta**2)), rel=1e-3)
    # towards the surface as cos(zeta x / L)
    assert run.profile[-1] / run.profile[0] == pytest.approx(
        math.cos(zeta * 0.995) / math.cos(zeta * 0.005), rel=1e-3
    )


def test_half_space_whose_surface_is_held():
    # (T - 80) / (200 - 80) = erf(x / (2 sqrt(alpha t))), x = 2 mm, t = 30 s: 152.9773 degC.
    wanted = 80 + 120 * math.erf(0.002 / (2 * math.sqrt(ALPHA * 30)))
    assert wanted == pytest.approx(152.9773, abs=1e-4)

    body = replace(WALL, emissivity=0.0, film=HELD, air=80.0, insulated=True)
    run = run_wall(body, height=20.0, thickness=WIDE, wait=30.0, cells=1000, steps=200, growth=1.03)
    depth = 20.0 - (np.arange(1000) + 0.5) * 0.02

    assert float(np.interp(-2.0, -depth, run.profile)) == pytest.approx(wanted, abs=1e-3)


def test_slab_whose_faces_are_held():
    # Centre: sum of 4 / pi (-1)^n / (2 n + 1) exp(-(2 n + 1)^2 pi^2 Fo / 4), Fo = alpha t / L^2, L = 2 mm, 60 s.
    fo = ALPHA * 60 / 0.002**2
    wanted = 4 / math.pi * math.exp(-(math.pi**2) * fo / 4)
    assert wanted == pytest.approx(0.043990, abs=1e-6)

    slab = replace(WALL, emissivity=0.0, film=HELD, air=0.0, deposition=1.0, insulated=True)
    run = run_wall(slab, height=2.0, thickness=WIDE, wait=60.0, cells=200, steps=400, growth=1.01)

    assert run.profile[0] == pytest.approx(wanted, rel=1e-3)


@pytest.mark.parametrize(("width", "decay", "warm"), [(10.0, 7.5277, 34.22), (20.0, 10.6458, 42.68)])
def test_how_far_a_warm_platform_reaches(width, decay, warm):
    # Fin: theta = theta_b exp(-m z), m = sqrt(2 h / (k w)).
    assert 1000 / math.sqrt(2 * 15 / (0.17 * width / 1000)) == pytest.approx(decay, rel=1e-4)

    fin = replace(WALL, emissivity=0.0, film=15.0, air=20.0, platform=90.0, deposition=20.0)
    run = run_wall(fin, height=150.0, thickness=width, wait=40_000.0, cells=1500)
    up = (np.arange(1500) + 0.5) * 0.1

    assert float(np.interp(12.0, up, run.profile)) == pytest.approx(warm, abs=0.01)


@pytest.mark.parametrize(
    ("width", "layer_time", "slope"),
    [(10.0, 60.0, 23.3271), (10.0, 120.0, 43.0768), (20.0, 60.0, 11.8433), (20.0, 120.0, 22.6677)],
)
def test_a_growing_wall_cools_downwards_by_its_own_exponential(width, layer_time, slope):
    # alpha theta'' + U theta' - beta theta = 0 below the top that moves up by U: theta = theta_0 exp(-mu xi),
    # mu = (-U + sqrt(U^2 + 4 alpha beta)) / (2 alpha), beta = 2 h / (rho c w).
    u, beta = 0.004 / layer_time, 2 * 15 / (1140 * 1640 * width / 1000)
    mu = (-u + math.sqrt(u * u + 4 * ALPHA * beta)) / (2 * ALPHA)
    assert mu == pytest.approx(slope, rel=1e-5)

    wall = replace(WALL, emissivity=0.0, film=15.0, air=20.0, platform=20.0)
    layers = np.full(60, 4.0)
    run = run_wall(wall, height=layers, thickness=width, wait=layer_time, window=60)
    depth = 240.0 - (np.arange(len(run.profile)) + 0.5) * 0.5
    rows = (depth > 40) & (depth < 120)
    fitted = np.polyfit(depth[rows] / 1000, np.log(run.profile[rows] - 20.0), 1)[0]

    assert -fitted == pytest.approx(mu, rel=2e-3)


def test_two_bodies_of_one_material_meet_at_the_mean():
    assert contact_temperature(200.0, 80.0) == 140.0
    e = math.sqrt(0.17 * 1140 * 1640)
    assert e == pytest.approx(563.766, abs=1e-3)
    assert contact_temperature(200.0, 80.0, (e, e)) == pytest.approx(140.0)


def explicit(height, width, layer_time, layers=12, cells=12, dt=0.1):
    """The same differential equation, explicit in time, with nodes on the faces of the cells."""
    d, w = height / 1e3, width / 1e3
    dz, alpha, cv = d / cells, ALPHA, 1140 * 1640

    def q(t):
        return 7 * (t - 18) + 0.85 * 5.670374419e-8 * ((t + 273.15) ** 4 - (18 + 273.15) ** 4)

    T = np.array([65.0])
    for layer in range(layers):
        if layer:
            T[-1] = (T[-1] + 200.0) / 2
        T = np.concatenate([T, np.full(cells, 200.0)])
        for _ in range(round(layer_time / dt)):
            rate = np.zeros_like(T)
            rate[1:-1] = alpha * (T[2:] - 2 * T[1:-1] + T[:-2]) / dz**2
            rate[-1] = 2 * alpha * (T[-2] - T[-1]) / dz**2 - 2 * q(T[-1]) / (cv * dz)
            rate[1:] -= 2 / w * q(T[1:]) / cv
            T = T + dt * rate
    top = T[-cells - 1 :]
    return float((top[0] / 2 + top[1:-1].sum() + top[-1] / 2) / cells)


@pytest.mark.parametrize(("width", "layer_time"), [(8.4, 60.0), (20.0, 30.0), (8.4, 240.0)])
def test_against_an_explicit_solution(width, layer_time):
    run = run_wall(WALL, height=np.full(12, 4.064), thickness=width, wait=layer_time)

    assert run.before[-1] == pytest.approx(explicit(4.064, width, layer_time), abs=0.3)


@pytest.mark.parametrize(
    ("width", "layer_time", "warm"), [(20.0, 60.0, 160.6), (8.4, 120.0, 109.9), (16.8, 90.0, 141.8)]
)
def test_periodic_state_by_an_earlier_solver(width, layer_time, warm):
    # Computed once with 16 to 32 cells by a solver of its own, scatter 1 K; not a published result.
    assert periodic(WALL, height=4.064, thickness=width, layer_time=layer_time) == pytest.approx(
        warm, abs=1.0
    )


@pytest.mark.parametrize(("width", "time"), [(8.4, 153.0), (16.8, 249.0), (20.0, 278.5)])
def test_a_stopped_wall_falls_to_its_glass_transition(width, time):
    # By the same earlier solver, to 3 s.
    wait = np.full(30, 60.0)
    above, under = (
        run_wall(WALL, height=4.064, thickness=width, wait=np.append(wait, time + off)).before[-1]
        for off in (-3.0, 3.0)
    )

    assert under < 110.0 < above


def test_longer_layers_and_thinner_walls_are_colder():
    table = np.array(
        [
            [periodic(WALL, height=4.064, thickness=w, layer_time=t) for t in (20, 45, 90, 180, 300)]
            for w in (8.4, 16.8, 20.0)
        ]
    )

    assert (np.diff(table, axis=1) < 0).all()
    assert (np.diff(table, axis=0) > 0).all()


def test_the_books_of_heat_close():
    rng = np.random.default_rng(3)
    run = run_wall(
        WALL, height=rng.uniform(2, 5, 80), thickness=rng.uniform(6, 40, 80), wait=rng.uniform(5, 900, 80)
    )

    assert run.imbalance < 1e-6
    assert run.lost > 0.1 * run.added


def test_layers_that_are_not_followed_do_not_tell():
    for wait in (20.0, 600.0):
        few, all_of_them = (
            run_wall(WALL, height=np.full(100, 2.5), thickness=8.4, wait=wait, window=window).before[-1]
            for window in (None, 100)
        )
        assert few == pytest.approx(all_of_them, abs=0.02)


def test_cells_and_steps_are_fine_enough():
    for wait in (20.0, 300.0):
        plain = periodic(WALL, height=4.064, thickness=8.4, layer_time=wait)
        fine = run_wall(
            WALL, height=np.full(20, 4.064), thickness=8.4, wait=wait, cells=32, steps=100, growth=1.06
        ).before[-1]
        assert plain == pytest.approx(fine, abs=0.2)


def test_the_layer_time_of_a_wished_temperature():
    # 119.5 s to 2 s for one bead by the earlier solver, to 110 degC.
    time = layer_time_for(WALL, height=4.064, thickness=8.4, target=110.0)

    assert time == pytest.approx(119.5, abs=2.0)
    assert layer_time_for(WALL, height=4.064, thickness=8.4, target=250.0) is None


def test_findings_say_hot_cold_or_uncertain():
    window = Window(least=110.0, greatest=180.0)

    def codes(*bands):
        return {f.code: f.layer for f in heat_findings([(i, *b) for i, b in enumerate(bands)], window)}

    assert codes((120, 150), (130, 160)) == {}
    assert codes((120, 150), (185, 215), (190, 220)) == {"too-hot": 2}
    assert codes((70, 100), (60, 90)) == {"too-cold": 1}
    assert codes((100, 130), (160, 190)) == {"interlayer-uncertain": 0}


@pytest.mark.parametrize("wait", [0.0, -1.0, math.nan])
def test_times_must_be_above_zero(wait):
    with pytest.raises(SettingsError, match="above 0"):
        run_wall(WALL, height=4.0, thickness=8.4, wait=wait)


def test_material_must_be_one():
    with pytest.raises(SettingsError, match="conductivity"):
        replace(WALL, conductivity=0.0)
