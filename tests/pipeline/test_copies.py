"""Several parts and copies in one program: areas by the closed form, places as asked, and refusals that name them."""

from __future__ import annotations

import json
import math
from itertools import pairwise

import cadquery as cq
import jsonschema
import numpy as np
import pytest

import beadwright
from beadwright.errors import InputError, SettingsError
from beadwright.pipeline import replan, verify_program
from beadwright.pipeline._set_up import set_up
from beadwright.settings import resolve
from tests.pipeline.test_plan_api import SCHEMA

PLATE = cq.Workplane().box(60, 40, 8, centered=(True, True, False)).faces(">Z").workplane().hole(16)
DISC = cq.Workplane().circle(25).extrude(12)
# 60 x 40 - pi 8^2
PLATE_AREA = 2400 - math.pi * 64
POST = {"name": "clamp post", "low": [-50, -100, 0], "high": [0, -20, 50]}


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    folder = tmp_path_factory.mktemp("parts")
    cq.exporters.export(PLATE, str(folder / "plate.step"))
    cq.exporters.export(DISC, str(folder / "disc.step"))
    (folder / "machine.toml").write_text(
        '[volume]\nsize = [400, 200, 300]\n[[volume.keep_out]]\nname = "clamp post"\n'
        "low = [-50, -100, 0]\nhigh = [0, -20, 50]\n"
    )
    return folder


@pytest.fixture(scope="module")
def mixed(files):
    job = files / "job.toml"
    job.write_text(
        "gap = 30\n[[place]]\nat = [-100, 0]\nturn = 90\n[[place]]\nat = [100, 50]\nturn = 17.3\n"
        '[[beside]]\nfile = "disc.step"\ncopies = 2\n[fill]\nkind = "lines"\n'
    )
    return beadwright.plan(files / "plate.step", files / "mixed", job=job, workers=1)


def test_copies_count_in_area_mass_and_time():
    one = beadwright.plan(PLATE, workers=1)
    four = beadwright.plan(PLATE, workers=1, copies=4, gap=20)

    jsonschema.validate(four.document, SCHEMA)
    assert [row["area_mm2"] for row in four.document["layers"]] == pytest.approx([4 * PLATE_AREA] * 2)
    assert four.document["totals"]["beads"] == 4 * one.document["totals"]["beads"]
    assert four.document["totals"]["mass_kg"] == pytest.approx(
        4 * one.document["totals"]["mass_kg"], rel=1e-6
    )
    assert four.document["totals"]["time_s"] > 3 * one.document["totals"]["time_s"]
    assert [row["at_mm"] for row in four.document["copies"]] == [[-40, -30], [40, -30], [-40, 30], [40, 30]]
    assert "copies" not in one.document


def test_copies_stand_where_they_are_asked_to(mixed):
    jsonschema.validate(mixed.document, SCHEMA)
    rows = mixed.document["copies"]
    assert [row["at_mm"] for row in rows[:2]] == [pytest.approx([-100, 0]), pytest.approx([100, 50])]
    c, s = math.cos(math.radians(17.3)), math.sin(math.radians(17.3))
    turn = np.array(rows[1]["placement"])[:, :3]
    assert turn == pytest.approx(np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]]), abs=1e-15)
    # two plates and two discs; above the plates the discs alone
    areas = [row["area_mm2"] for row in mixed.document["layers"]]
    discs = 2 * math.pi * 625
    assert areas == pytest.approx([2 * PLATE_AREA + discs] * 2 + [discs], rel=1e-9)


def test_each_part_is_finished_before_the_next_in_every_layer(mixed):
    boxes = [np.array(row["box_mm"])[:, :2] for row in mixed.document["copies"]]
    for layer in mixed.layers:
        at = [np.array(bead.start) for bead in layer.beads]
        parts = [next(k for k, b in enumerate(boxes) if (b[0] <= p).all() and (p <= b[1]).all()) for p in at]
        changes = sum(a != b for a, b in pairwise(parts))
        assert changes == len(set(parts)) - 1


def test_the_verifier_knows_the_copies(files, mixed):
    program = files / "mixed" / "program.nc"
    found = verify_program(program, files / "plate.step", parts=[files / "disc.step"])
    assert found.ok
    assert max(abs(row.profile.greatest) for row in found.checked) < 0.001
    with pytest.raises(InputError, match=r"copy 2 is made from disc\.step.*--part"):
        verify_program(program, files / "plate.step")
    # one copy shifted by 0.1 mm: found, since the beads lie elsewhere
    text = program.read_text()
    row = next(line for line in text.splitlines() if line.startswith("(copy index=3 row=0"))
    head, _, shift = row.rstrip(")").rpartition(",")
    moved = files / "moved.nc"
    moved.write_text(text.replace(row, f"{head},{float(shift) + 0.1!r})"))
    assert not verify_program(moved, files / "plate.step", parts=[files / "disc.step"]).ok


def test_the_rest_of_several_parts(files, mixed, tmp_path):
    rest = replan(files / "mixed", tmp_path / "rest", from_layer=2, height=8.1, workers=1)
    assert len(rest.document["copies"]) == 4
    assert [row["area_mm2"] for row in rest.document["layers"]] == pytest.approx([2 * math.pi * 625])


def test_copies_that_cannot_stand_so_are_named(files):
    places = [[-40, -60], [0, 0], [40, 10], [190, 0]]
    with pytest.raises(SettingsError) as error:
        set_up(
            files / "plate.step",
            resolve({"place": [{"at": at} for at in places]}, machine=files / "machine.toml"),
            picture=False,
        )
    text = str(error.value)
    assert "copy 0 (plate.step at -40, -60) stands in clamp post" in text
    assert "copy 3 (plate.step at 190, 0) reaches from X 160.000 to 220.000 mm" in text
    # they share 20 x 30 mm, 8 high, without the rest of a hole: 4800 mm3 at most
    assert "copy 1 (plate.step at 0, 0) and copy 2 (plate.step at 40, 10) overlap by" in text
    assert text.count("overlap by") == 1


def test_copies_that_reach_round_each_other_are_no_overlap():
    # two angles whose boxes overlap, though no material does
    angle = (
        cq.Workplane().polyline([(0, 0), (80, 0), (80, 20), (20, 20), (20, 80), (0, 80)]).close().extrude(4)
    )
    places = [{"at": [0, 0]}, {"at": [25, 25]}]
    made = beadwright.plan(angle, workers=1, place=places)
    assert made.document["layers"][0]["area_mm2"] == pytest.approx(2 * 2800)
    assert not [f for f in made.findings if f.code == "solids-overlap"]


def test_rows_keep_off_keep_outs_and_what_finds_no_room_is_named(files):
    made = set_up(PLATE, resolve({"copies": 9, "gap": 20}, machine=files / "machine.toml"), picture=False)
    assert len(made.copies) == 9
    for copy in made.copies:
        low, high = copy.box
        assert (low[:2] >= [-200, -100]).all()
        assert (high[:2] <= [200, 100]).all()
        assert (low[:2] >= POST["high"][:2]).any() or (high[:2] <= POST["low"][:2]).any()
    with pytest.raises(SettingsError, match=r"no room for copy \d+ \(plate\.step, 60\.0 x 40\.0 mm\)"):
        set_up(files / "plate.step", resolve({"copies": 40}, machine=files / "machine.toml"), picture=False)


def test_faces_chosen_by_number_are_those_of_all_copies():
    box = cq.Workplane().box(60, 40, 8, centered=(True, True, False))
    side = [{"faces": {"id": [0]}, "amount": 2.0}]
    one = beadwright.plan(box, workers=1, layers=(0, 1), stock=side)
    two = beadwright.plan(box, workers=1, layers=(0, 1), copies=2, stock=side)
    stocked = [row["id"] for row in two.document["faces"] if "stock_mm" in row]
    assert stocked == [0, 6]
    assert two.document["layers"][0]["area_mm2"] == pytest.approx(2 * one.document["layers"][0]["area_mm2"])


def test_bad_values_are_told_with_their_key():
    with pytest.raises(SettingsError, match=r"copies: 0 is out of range"):
        beadwright.plan(PLATE, copies=0)
    with pytest.raises(SettingsError, match=r"copies: .*\[\[place\]\]; leave one out"):
        beadwright.plan(PLATE, copies=2, place=[{"at": [0, 0]}])
    with pytest.raises(SettingsError, match=r"beside\[1\]\.copies: 2 cannot stand at one place"):
        beadwright.plan(PLATE, beside=[{"file": "b.step", "at": [0, 0], "copies": 2}])


def test_the_sheet_shows_all_copies(files, mixed):
    page = (files / "mixed" / "report.html").read_text()
    assert "disc.step" in page
    told = json.loads((files / "mixed" / "plan.json").read_text())
    assert told["input"]["solids"] == 4
    assert told["input"]["file"] == "plate.step"
