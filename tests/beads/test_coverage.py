"""What beads cover, against closed forms."""

from __future__ import annotations

import math

import pytest

from beadwright.beads import contour_beads, coverage, covering_loss
from tests.beads.test_contour import on, polygon
from tests.post._build_programs import circle

W, H = 8.4, 4.0


def covered(*loops, contours=2, spacing=W, loss=0.0):
    layer = on(*loops)
    laid = contour_beads(layer, width=W, height=H, spacing=spacing, contours=contours)
    return coverage(layer, laid.beads, width=W, loss=loss, hollow=laid.rest)


def test_rings_cover_exactly_their_bands():
    # two beads of 8.4 on both sides of a ring of 100 to 200, whose inside stays open on purpose
    found = covered(circle(0, 0, 200), circle(0, 0, 100, -1))
    band = math.pi * (200**2 - (200 - 2 * W) ** 2 + (100 + 2 * W) ** 2 - 100**2)

    assert found.covered == pytest.approx(band, rel=1e-9)
    assert found.overfilled == pytest.approx(0, abs=1e-3)
    assert found.deposited == pytest.approx(band * H, rel=1e-9)
    assert found.designed == pytest.approx(math.pi * (200**2 - 100**2) * H, rel=1e-9)
    assert found.missed == pytest.approx(0, abs=1e-7)
    assert found.outside == pytest.approx(0, abs=1e-3)


def test_corners_of_a_square_overfill_by_the_closed_form():
    # each of four right-angled corners: w^2 (tan(45) / 4 - pi / 16); its outer joint leaves (1 - pi / 4) w^2 / 4
    found = covered(polygon([[0, 0], [200, 0], [200, 200], [0, 200]]), contours=1)

    assert found.overfilled == pytest.approx(4 * W * W * (0.25 - math.pi / 16), abs=1e-3)
    assert found.reachable == pytest.approx(
        200**2 - 4 * (1 - math.pi / 4) * (W / 2) ** 2 - (200 - 2 * W) ** 2, abs=1e-3
    )
    assert found.reached == pytest.approx(found.reachable, abs=1e-3)


def test_a_round_section_fills_less_than_its_width():
    # spacing = A / h = 7.541593: the bands join without doubling, and 0.429 a side stay open at the boundary
    loss = covering_loss("round", H)
    spacing = W - loss
    found = covered(circle(0, 0, 200), contours=2, spacing=spacing, loss=loss)
    outer, inner = 200 - loss / 2, 200 - W / 2 - 1.5 * spacing

    assert spacing == pytest.approx(7.541593, abs=5e-7)
    assert found.covered == pytest.approx(math.pi * (outer**2 - inner**2), rel=1e-9)
    assert found.doubled == pytest.approx(0, abs=1e-3)
    assert found.missed == pytest.approx(0, abs=1e-7)
