"""Documents as text: read back equal, one line for each small thing, no number that JSON does not know."""

from __future__ import annotations

import json
import math

import pytest

from beadwright.pipeline._json import as_text


def test_what_is_written_reads_back_the_same() -> None:
    document = {
        "name": 'a "part" of 3 µm',
        "none": {},
        "placement": [[1.0, 0.1 + 0.2, -0.0], [1e-300, 5e-324, 1.7976931348623157e308]],
        "layers": [{"lost": [{"at_mm": [1.0, 2.0], "why": "neck"}], "moves": {"line": 3}}, {"lost": []}],
        "findings": [],
    }

    assert json.loads(as_text(document)) == document


def test_a_lost_place_takes_one_line() -> None:
    lost = [{"at_mm": [1.0 * i, 2.0, 3.0], "length_mm": 3.9, "why": "medial"} for i in range(1000)]

    text = as_text({"layers": [{"index": 0, "lost": lost}]})

    assert sum('"at_mm"' in line for line in text.split("\n")) == 1000
    assert len(text) < 1000 * 75 + 100


def test_no_number_that_json_does_not_know() -> None:
    with pytest.raises(ValueError, match="JSON compliant"):
        as_text({"bound": math.nan})
