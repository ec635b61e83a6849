"""Layers that are still missing at a measured height: counts and heights by hand."""

from __future__ import annotations

import pytest

from beadwright.errors import SettingsError
from beadwright.layers import rest_of_layers


# 1600 mm in layers of 4 mm, 396.0 measured after 100 layers: (1600 - 396) / 4 = 301 more, not 300.
def test_a_print_that_came_out_low_needs_a_layer_more() -> None:
    layers = rest_of_layers(1600.0, 4.0, first=100, z0=396.0)

    assert len(layers) == 301
    assert [layers[0].index, layers[-1].index] == [100, 400]
    assert layers[0].section_z == (398.0,)
    assert layers[-1].z == 1600.0


# (1600 - 404) / 4 = 299; (1600 - 401) / 4 = 299.75, so 300 with the last above the part.
@pytest.mark.parametrize(
    ("height", "count", "top"), [(400.0, 300, 1600.0), (404.0, 299, 1600.0), (401.0, 300, 1601.0)]
)
def test_counts_by_hand(height: float, count: int, top: float) -> None:
    layers = rest_of_layers(1600.0, 4.0, first=100, z0=height)

    assert (len(layers), layers[-1].z) == (count, top)


@pytest.mark.parametrize("height", [1600.0, 1700.0])
def test_a_print_that_is_done_has_no_rest(height: float) -> None:
    with pytest.raises(SettingsError, match="nothing is missing"):
        rest_of_layers(1600.0, 4.0, first=400, z0=height)
