"""Purging off the part: at the start, after planned stops, in waits that are too long; what it weighs and takes."""

from __future__ import annotations

import importlib.resources
import json

import cadquery as cq
import jsonschema
import numpy as np
import pytest

from beadwright.curves import length
from beadwright.errors import SettingsError
from beadwright.kernel import from_shape
from beadwright.pipeline import plan_part
from beadwright.pipeline._cards import cards
from beadwright.pipeline._purge import purging, waits
from beadwright.program import Purge, Wait
from beadwright.settings import parse_document, resolve
from beadwright.verify import VerifyOptions, verify

SCHEMA = json.loads(importlib.resources.files("beadwright.pipeline").joinpath("plan.schema.json").read_text())
MACHINE = """
[extruder]
purge = 0.05
purge_place = [-1000, -800, 50]
purge_track = 200
"""
# 1.14 g/cm3 is the density of the default card (20 % carbon fibre in ABS), 33.6 mm2 the flat bead of 8.4 x 4.
RUN = 0.05 / (1.14e-6 * 33.6)


def resolved(machine=MACHINE, job="", **options):
    return resolve(
        {"workers": 1, "contours": 1, **options},
        machine=parse_document(machine, name="machine.toml", told="machine"),
        job=parse_document(job, name="job.toml", told="job"),
    )


@pytest.fixture(scope="module")
def tube():
    return cq.Workplane().circle(204.2).circle(160).extrude(12)


@pytest.fixture(scope="module")
def stopped(tube):
    job = '[[stop]]\nlayer = 2\nwhy = "insert"\n[[stop]]\nlayer = 2\nwhy = "refill"\n'
    return plan_part(tube, None, resolved=resolved(job=job, contours=2))


def purges_of(program):
    lines = program.splitlines()
    starts = [i for i, line in enumerate(lines) if line.endswith(" purge=1)")]
    return [(i, lines[i : lines.index("(end bead)", i)]) for i in starts]


def test_a_purge_weighs_what_the_card_says():
    (moves,) = [purging(cards(resolved()), 24.0).moves]

    assert length(moves.path) == pytest.approx(RUN, rel=1e-12)
    assert moves.path.points[:, 0].min() == -1000
    assert moves.path.points[:, 0].max() == -800
    assert set(moves.path.points[:, 1]) == {-800.0}
    assert purging(cards(resolved("")), 24.0) is None


# Six legs of 200 mm and one of 105.35 mm at 100 mm/s and 1000 mm/s2, each from standing to standing: 0.1 s more than
# its way asks for; twice 26 mm of height at 100 mm/s and 500 mm/s2, 26 / 100 + 100 / 500 s; 105.35 mm back at 300 mm/s,
# 2 sqrt(105.35 / 1000) s, as the way is too short for full speed; and twice the 0.2 s of the extruder's words. A drive
# takes a step of 1 mm/s at each of the six reversals, 1 ms each.
def test_a_purge_takes_its_time(stopped):
    own = RUN / 100 + 7 * 0.1
    lift, back = 26 / 100 + 100 / 500, 2 * np.sqrt((RUN - 1200) / 1000)

    assert pytest.approx(1305.35, abs=0.01) == RUN
    (first, stop) = [made for made in stopped.build.layers if made.purges]
    assert (first.index, stop.index) == (0, 2)
    assert first.times.purge == pytest.approx(own + 2 * lift + back + 0.4, abs=6e-3)
    assert stopped.document["estimate"]["time"]["purge_s"] == pytest.approx(
        first.times.purge + stop.times.purge, rel=1e-12
    )


def test_the_program_purges_at_its_start_and_after_a_stop(stopped, tube):
    found = purges_of(stopped.program)
    lines = stopped.program.splitlines()
    indices = [int(line.split("index=")[1].split()[0]) for line in lines if line.startswith("(bead ")]

    assert len(found) == 2
    assert indices == list(range(len(indices)))
    for at, block in found:
        assert " role=approach " in block[0]
        assert lines[at - 1] == "G1 Z50.0000"
        assert "G0 X-1000.0000 Y-800.0000" in lines[at - 3 : at - 1]
        assert (block[1], block[-1]) == ("M3", "M5")
    assert lines.index("M0") < found[1][0]
    assert not any("purge 0.05 kg off the part" in line for line in lines)
    # Two purges, both counted; the part itself weighs what it did.
    mass = stopped.document["estimate"]["mass_kg"]
    assert mass["purge"] == pytest.approx(0.1, rel=1e-12)
    verified = verify(stopped.program, from_shape(tube), VerifyOptions(every=True, density=1.14))
    assert {f.finding.code for f in verified.findings} == set()
    assert verified.run.purge_mm3 == pytest.approx(0.1 / 1.14e-6, rel=1e-6)
    assert verified.run.mass_g / 1000 == pytest.approx(mass["part"], rel=1e-6)


def test_after_a_stop_the_outermost_bead_comes_last(stopped):
    jsonschema.validate(stopped.document, SCHEMA)
    (row,) = stopped.document["stops"]
    ranks = [[bead.rank for bead in layer.beads] for layer in stopped.layers]

    assert ranks[1][0] == 1
    # Inside lie the second beads of both sides and the one between them; the nearest of these is laid first.
    assert ranks[2][0] in {2, 3}
    assert ranks[2][-1] == 1
    assert row["why"] == ["insert", "refill"]
    assert row["restart"]["rank"] == ranks[2][0]
    assert row["restart"]["at_mm"] == [*stopped.layers[2].beads[0].start, 12.0]
    assert row["purge_kg"] == 0.05


def test_without_a_place_the_operator_purges_and_it_is_counted(tube):
    job = '[[stop]]\nlayer = 1\nwhy = "insert"\n'
    result = plan_part(tube, None, resolved=resolved("[extruder]\npurge = 0.05\n", job=job))

    assert purges_of(result.program) == []
    assert "purge 0.05 kg off the part before going on" in result.program
    assert result.document["estimate"]["mass_kg"]["purge"] == pytest.approx(0.1)


# (dwell - k purge) / (k + 1) <= limit: 500 s with purges of 20 s and a limit of 180 s wants k = 2, 460 / 3 s a piece.
@pytest.mark.parametrize(("dwell", "pieces"), [(180.0, 1), (200.0, 2), (500.0, 3), (380.001, 3)])
def test_melt_never_stands_longer_than_it_may(dwell, pieces):
    purge = purging(cards(resolved()), 24.0)
    parts = waits(dwell, 180.0, purge, (0.0, 0.0))
    own = [part.time for part in parts if isinstance(part, Wait)]
    count = sum(isinstance(part, Purge) for part in parts)

    assert count == len(own) - 1
    assert max(own) <= 180.0 + 0.001
    assert sum(own) + count * purge.time == pytest.approx(dwell, abs=0.001 * len(own))
    assert len(own) <= pieces
    assert sum(isinstance(part, Purge) for part in waits(dwell, 180.0, None, (0.0, 0.0))) == 0


def test_a_wait_that_is_too_long_is_purged_and_told(tube):
    machine = MACHINE.replace("[extruder]", "[extruder]\nidle_limit = 60\nleast_rpm = 20") + "".join(
        f"[[extruder.calibration]]\nrpm = {rpm}\nrate = {rate}\n"
        for rpm, rate in ((20, 4), (60, 12), (120, 24))
    )
    result = plan_part(tube, None, resolved=resolved(machine, "[layer_time]\nleast = 400\n"))
    (found,) = [f for f in result.findings if f.code == "idle-purged"]

    assert found.level == "note"
    assert found.measured > found.allowed == 60
    for made in result.build.layers[1:]:
        assert made.times.total == pytest.approx(400.0, abs=0.01)
        assert made.purges >= 1
        assert max(part.time for part in made.before if isinstance(part, Wait)) <= 60.001
    assert result.document["estimate"]["mass_kg"]["purge"] == pytest.approx(
        0.05 * sum(made.purges for made in result.build.layers)
    )


def test_nothing_is_purged_onto_the_part(tube):
    with pytest.raises(SettingsError, match=r"purge: extruder\.purge_place: .* lies where layer 0 is built"):
        plan_part(tube, None, resolved=resolved(MACHINE.replace("-1000, -800, 50", "-190, 0, 50")))


@pytest.mark.parametrize("dialect", ["rs274-axis", "rs274-incremental", "rs274-lines", "rs274-inch"])
def test_every_dialect_purges_the_same(tube, dialect):
    result = plan_part(tube, None, resolved=resolved(dialect=dialect))
    verified = verify(result.program, from_shape(tube), VerifyOptions(every=True))

    assert [f.finding.code for f in verified.findings if f.finding.level == "error"] == []
    assert verified.run.purge_mm3 == pytest.approx(0.05 / 1.14e-6, rel=1e-5)


def test_a_place_is_three_numbers():
    with pytest.raises(SettingsError, match=r"extruder\.purge_place"):
        resolved("[extruder]\npurge_place = [1, 2]\n")
