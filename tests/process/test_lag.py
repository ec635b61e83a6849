"""Leads and closures of a first-order lag, by its own closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from beadwright.errors import SettingsError
from beadwright.process import Lag, Response, closure, lag_findings, short_bead

EVEN = Lag(up=Response(dead=0.15, constant=0.30), down=Response(dead=0.15, constant=0.30))
UNEVEN = Lag(up=Response(dead=0.15, constant=0.30), down=Response(dead=0.15, constant=0.50))


def test_missing_flow_of_a_start_is_dead_time_and_time_constant():
    # The integral of 1 - share(t) over all t is t_d + tau.
    t = np.linspace(0, 10, 200_001)
    missing = np.trapezoid(1 - EVEN.up.share(t), t)

    assert missing == pytest.approx(0.45, abs=1e-4)  # the jump in slope at t_d costs the rule some 1e-5
    assert EVEN.up.lag * 100.0 == pytest.approx(45.0, rel=1e-12)  # mm at 100 mm/s


def test_tail_of_a_stop():
    # 95 % of an exponential tail is gone after ln 20 time constants.
    assert float(EVEN.down.share(0.15 + 0.30 * math.log(20))) == pytest.approx(0.95, rel=1e-12)
    assert 100.0 * 0.30 * math.log(20) == pytest.approx(89.87, abs=5e-3)
    assert EVEN.run_off == pytest.approx(3 * 0.30)


def test_the_closure_is_full_everywhere_with_equal_lags():
    t = np.linspace(-1, 20, 5000)
    total = EVEN.up.share(t) + 1 - EVEN.down.share(t)

    assert np.abs(total - 1).max() < 1e-12
    found = closure(EVEN, 100.0)
    assert found.most < 1e-12
    assert found.least > -1e-12
    assert found.excess == 0.0


def test_unequal_lags_leave_a_fifth_too_much():
    # exp(-t / 0.5) - exp(-t / 0.3) is greatest at t = ln(5 / 3) / (1 / 0.3 - 1 / 0.5).
    at = math.log(5 / 3) / (1 / 0.3 - 1 / 0.5)
    most = math.exp(-at / 0.5) - math.exp(-at / 0.3)

    found = closure(UNEVEN, 100.0)

    assert most == pytest.approx(0.186, abs=5e-4)
    assert found.most == pytest.approx(most, rel=1e-9)
    assert found.least == pytest.approx(0.0, abs=1e-12)
    assert found.excess == pytest.approx(20.0)  # mm: v (0.50 - 0.30)


def test_the_shift_gives_the_right_volume():
    assert UNEVEN.closure_shift == pytest.approx(0.20)
    assert closure(UNEVEN, 100.0, shift=UNEVEN.closure_shift).excess == pytest.approx(0.0, abs=1e-12)


# With the extruder on t_p before the nozzle moves, the ramp up is further on by t_p: at t_p = t_d it begins at once,
# and what was laid standing, t_p less the ramp's own share, is part of the volume.
def test_priming_moves_the_ramp_up():
    primed = Lag(up=EVEN.up, down=EVEN.down, prime=0.15)
    t = np.linspace(0, 1, 2000)
    total = primed.up.share(t + 0.15) + 1 - primed.down.share(t)

    assert primed.closure_shift == pytest.approx(0.15)
    assert closure(primed, 100.0).most == pytest.approx(total.max() - 1, abs=1e-3)
    assert closure(primed, 100.0, shift=0.15).most < 1e-12
    assert closure(primed, 100.0, shift=0.15).excess == pytest.approx(0.0, abs=1e-12)


responses = st.builds(Response, dead=st.floats(0, 2), constant=st.floats(0.01, 3))


@settings(max_examples=60, deadline=None)
@given(responses, responses, st.floats(-1, 1))
def test_the_extremes_against_a_dense_sampling(up, down, shift):
    lag = Lag(up=up, down=down)
    t = np.linspace(-3, 40, 40_001)
    total = up.share(t) + 1 - down.share(t + shift) - 1

    found = closure(lag, 1.0, shift=shift)

    # Slopes are at most 1 / 0.01 a second, the samples stand 1.1e-3 s apart.
    assert found.most >= total.max() - 1e-9
    assert found.least <= total.min() + 1e-9
    assert found.most <= max(total.max(), 0) + 0.11
    assert found.least >= min(total.min(), 0) - 0.11
    # Area of the residual is the excess.
    assert np.trapezoid(total, t) == pytest.approx(found.excess, abs=2e-3)


def test_not_calibrated_is_said_aloud():
    assert [(f.code, f.level) for f in lag_findings(None, speed=100.0)] == [("lag-not-calibrated", "warning")]
    assert lag_findings(EVEN, speed=100.0) == ()
    (found,) = lag_findings(UNEVEN, speed=100.0)
    assert (found.code, found.measured) == ("closure", pytest.approx(20.0))


def test_a_bead_shorter_than_its_leads():
    assert short_bead(EVEN, 0.89)
    assert not short_bead(EVEN, 0.91)


def test_a_negative_lag_is_refused():
    with pytest.raises(SettingsError, match="0 or more"):
        Response(dead=-0.1, constant=0.3)


def test_a_moved_stop_is_told_with_what_it_leaves():
    (found,) = lag_findings(UNEVEN, speed=100.0, shifted=True)

    assert found.measured == pytest.approx(0.0, abs=1e-12)
    assert "stop 0.2 s before the closure" in found.text
