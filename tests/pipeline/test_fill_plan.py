"""Fill, ribs and decks of whole plans: roles, bytes, and layers that depend on their neighbours."""

from __future__ import annotations

from pathlib import Path

import cadquery as cq
import numpy as np
import pytest

import beadwright
from beadwright.curves import inside as within
from beadwright.settings import resolve

CHOCKS = Path(__file__).resolve().parents[2] / "step_examples" / "cradle_chocks.step"


def roles(layer):
    return {bead.role for bead in layer.beads}


def test_decks_of_some_layers_are_those_of_the_whole_plan_in_any_chunks():
    """Layers 3 and 4 with three closed layers over the platform and two under open places."""
    asked = {"fill": {"kind": "ribs", "decks_base": 4, "decks_top": 2}, "workers": 1}
    few = beadwright.plan(CHOCKS, layers="3:5", **asked)
    more = beadwright.plan(CHOCKS, layers="0:6", **asked)

    assert [roles(layer) for layer in more.layers[:4]] == [{"contour", "deck"}] * 4
    assert "rib" in roles(more.layers[4])
    assert "deck" not in roles(more.layers[4])
    for a, b in zip(few.layers, more.layers[3:5], strict=True):
        assert inner(a) == inner(b)


def inner(layer):
    """Centrelines of all but contour beads, whichever way each runs."""
    lines = [bead.path.points.round(9).tolist() for bead in layer.beads if bead.role != "contour"]
    return sorted(min(line, line[::-1]) for line in lines)


def test_settings_of_fill_are_told_one_by_one():
    told = resolve({"fill": {"kind": "lines", "angles": "30,-60"}}).as_dict()

    assert told["fill.kind"]["value"] == "lines"
    assert told["fill.angles"]["value"] == [30.0, -60.0]


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"kind": "honey"}, "none, lines, contour or ribs"),
        ({"angles": []}, "one to twelve angles"),
        ({"rib_spacing": 0}, "fill.rib_spacing"),
        (
            {"kind": "ribs", "rib_spacing": 8.3},
            r"fill\.rib_spacing: 8\.3 mm would lay ribs over each other.* 8\.4 mm",
        ),
        ({"rib_crossings": "laid"}, "turned or broken"),
        ({"adapt": "perhaps"}, "fill.adapt"),
        ({"overlaps": 0.1}, "did you mean overlap"),
    ],
)
def test_faults_of_fill_are_told_in_words(given, words):
    with pytest.raises(beadwright.errors.SettingsError, match=words):
        resolve({"fill": given})


@pytest.mark.parametrize(
    ("given", "words"),
    [({"traverses": "round"}, "straight, inside or around"), ({"detour": 0.5}, "sequence.detour")],
)
def test_faults_of_traverses_are_told_in_words(given, words):
    with pytest.raises(beadwright.errors.SettingsError, match=words):
        resolve({"sequence": given})


def test_full_contours_are_all_that_fit():
    assert (
        resolve({"contours": "full"}).settings.ranks()
        == resolve({"fill": {"kind": "contour"}}).settings.ranks()
    )


def test_traverses_inside_keep_above_the_layer_as_far_as_there_is_a_way():
    """Lines apart on a plate with holes and slots: no traverse from line to line crosses a hole."""
    part = CHOCKS.with_name("planing_fixture.step")
    asked = {"fill": {"kind": "lines", "joined": False}, "layers": "0:1", "workers": 1}
    straight = beadwright.plan(part, **asked)
    inside = beadwright.plan(part, sequence={"traverses": "inside"}, **asked)
    (layer,) = inside.layers

    def crossing(result):
        """Traverses between beads that leave the plate."""
        out, at = 0, None
        for line in result.program.splitlines():
            words = {word[0]: float(word[1:]) for word in line.split()[1:] if word[0] in "XY"}
            if line[:1] != "G" or not words:
                continue
            to = np.array(
                [
                    words.get("X", at[0] if at is not None else 0),
                    words.get("Y", at[1] if at is not None else 0),
                ]
            )
            if line.startswith("G0 ") and at is not None:
                way = at + np.linspace(0.02, 0.98, 49)[:, None] * (to - at)
                out += not within(layer.layer.region, way).all()
            at = to
        return out

    assert crossing(straight) > 0
    assert crossing(inside) == 0
    assert inside.program.count("G0 X") > straight.program.count("G0 X")
    assert inside.document["totals"]["length_mm"] == straight.document["totals"]["length_mm"]
    assert inside.document["totals"]["time_s"] > straight.document["totals"]["time_s"]


def test_traverses_around_keep_off_open_top_faces():
    """Two walls on a plate: no traverse from wall to wall crosses the plate between them."""
    plate = cq.Workplane().box(160, 60, 8, centered=(True, True, False))
    walls = [
        cq.Workplane().box(20, 60, 16, centered=(True, True, False)).translate((x, 0, 0)) for x in (-70, 70)
    ]
    part = plate.union(walls[0]).union(walls[1])
    asked = {"layers": "1:4", "workers": 1}
    straight = beadwright.plan(part, **asked)
    around = beadwright.plan(part, sequence={"traverses": "around", "detour": 10.0}, **asked)
    (*_, dx), (*_, dy) = around.document["placement"][:2]

    def crossing(result):
        """Traverses between beads of the layers above the plate that cross the middle of its open face."""
        out, at, layer = 0, (0.0, 0.0), 0
        for line in result.program.splitlines():
            if line.startswith("(layer "):
                layer = int(line.split("index=")[1].split()[0])
            words = {word[0]: float(word[1:]) for word in line.split()[1:] if word[0] in "XY"}
            if line[:1] != "G" or not words:
                continue
            to = (words.get("X", at[0]), words.get("Y", at[1]))
            if line.startswith("G0 ") and layer > 1 and (at[0] - dx) * (to[0] - dx) < 0:
                share = (dx - at[0]) / (to[0] - at[0])
                out += abs(at[1] + share * (to[1] - at[1]) - dy) < 30.0
            at = to
        return out

    assert crossing(straight) > 0
    assert crossing(around) == 0
    assert "traverse-over-top" not in {finding.code for finding in around.findings}
