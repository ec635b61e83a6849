"""What the machine really does: stops where they are due, no faster up than it can, and the rules of safety."""

from __future__ import annotations

from pathlib import Path

import pytest

from beadwright import plan
from beadwright.errors import SettingsError
from beadwright.layers import plan_layers
from beadwright.pipeline._course import Course
from beadwright.pipeline._kept import Aside
from beadwright.pipeline._safety import Judged, check_safety
from beadwright.post import lint, load_dialect, standard
from beadwright.program import Approach, Stop, layer_program
from beadwright.settings import parse_document, resolve
from tests.post._build_programs import bead, circle, layer, path
from tests.post._reader import read

PART = Path(__file__).resolve().parents[2] / "step_examples" / "turned_bollard.step"


def resolved(machine="", job="", **options):
    return resolve(
        options,
        machine=parse_document(machine, name="machine.toml", told="machine"),
        job=parse_document(job, name="job.toml", told="job"),
    )


def course_of(settings, beads, *, levels=1, clearance=20.0):
    course = Course.of(settings, standard(), Aside())
    programs = []
    for each in plan_layers(0.0, 4.0 * levels, 4.0):
        halt = course.stop(each.index, 100.0 * each.index)
        program = layer_program(
            layer(each),
            beads,
            first_bead=0,
            clearance=clearance,
            feed=settings.settings.feed,
            before=() if halt is None else (halt,),
        )
        programs.append(course.layer(program, mass=2.0))
    return course, programs


RING = [bead(circle(1000, 500, 200))]


def broken(machine="", beads=RING, clearance=20.0, **options):
    settings = resolved(machine, **options)
    course, _ = course_of(settings, beads, clearance=clearance)
    with pytest.raises(SettingsError) as caught:
        check_safety(settings, course.reaches)
    return str(caught.value)


# A halt of 0.2 s at 100 mm/s leaves area x speed x time: 30.16637 mm2 (8.4 x 4 round) gives 603.3 mm3.
def test_a_halting_start_leaves_its_volume_in_one_place():
    course, _ = course_of(resolved(bead_section="round"), RING)

    (found,) = course.findings()
    assert (found.code, found.level, found.unit) == ("halt-at-start", "note", "mm3")
    assert found.measured == pytest.approx(603.3, abs=0.05)


def test_words_that_do_not_halt_leave_nothing():
    dialect = load_dialect("rs274-axis")
    course = Course.of(resolved(), dialect, Aside())
    course.layer(
        layer_program(layer(plan_layers(0.0, 4.0, 4.0)[0]), RING, first_bead=0, clearance=20.0, feed=100.0),
        mass=1.0,
    )

    assert course.findings() == ()


def test_stops_come_before_the_first_layer_at_or_after_their_place():
    job = """
[[stop]]
layer = 2
why = "insert"
text = "rod 3"
[[stop]]
time = "250 s"
why = "measure"
[[stop]]
mass = 3
why = "refill"
[[stop]]
layer = 99
why = "shift"
"""
    course, programs = course_of(resolved(job=job), RING, levels=5)

    told = {p.begin.index: [e.texts for e in p.events if isinstance(e, Stop)] for p in programs}
    # Layer 2 begins at 200 s with 4 kg laid, layer 3 at 300 s.
    assert [index for index, stops in told.items() if stops] == [2, 3]
    assert told[2][0][:2] == ("STOP put in the insert, rod 3", "STOP fill the hopper")
    assert "purge 1 kg off the part" in told[2][0][-1]
    assert told[3][0][0] == "STOP measure the built height"
    assert [f.code for f in course.findings()] == ["stop-not-reached", "halt-at-start"]


def test_a_stop_needs_exactly_one_place():
    with pytest.raises(SettingsError, match="needs exactly one of layer, time and mass"):
        resolved(job='[[stop]]\nwhy = "insert"\n')
    with pytest.raises(SettingsError, match=r"job.toml:3: stop\[1\]"):
        resolved(job='[[stop]]\nlayer = 1\nwhy = "lunch"\n')


def test_up_and_down_go_no_faster_than_the_machine_in_z():
    _, (program,) = course_of(resolved("[speeds]\nvertical = 30\n", feed=150), RING)

    assert {e.feed for e in program.events if isinstance(e, Approach)} == {30.0}


@pytest.mark.parametrize(
    ("machine", "told"),
    [
        ("[volume]\nsize = [2000, 2400, 1800]\n", "volume: layer 0 goes from X 800.000 to 1200.000 mm"),
        ("[volume]\nsize = [6000, 2400, 23]\n", "Z 4.000 to 24.000 mm in machine coordinates"),
        ("[work_offset]\nat = [2500, 0, 0]\n", "X 3300.000 to 3700.000 mm in machine coordinates"),
        ("[speeds]\ngreatest = 50\nleast = 1\n", "speed: layer 0 is laid at 100 to 100 mm/s"),
        (
            "[[volume.keep_out]]\nname = 'pillar'\nlow = [1190, 490, 0]\nhigh = [1300, 510, 100]\n",
            "keep-out: layer 0 enters pillar",
        ),
        ("[tamper]\nlowest = -1\n", "tamper: its lowest point lies 1 mm below the tip"),
        (
            "[[device]]\nname = 'barrel'\non = ['M7']\noff = ['M9']\n"
            "on_at = ['program start']\noff_at = ['program end']\nheats = 'melt'\ntemperature = '320 degC'\n",
            "device barrel is set to 320 degC, the card of CF-ABS 20 % allows 220 to 260 degC for the melt",
        ),
    ],
)  # fmt: skip
def test_each_rule_of_safety_is_told_with_its_numbers_and_a_way_out(machine, told):
    text = broken(machine)

    assert told in text
    assert "--override " in text


def test_the_generic_machine_that_nobody_chose_only_warns():
    settings = resolved()
    course, _ = course_of(settings, [bead(circle(2900, 0, 200))])

    judged = check_safety(settings, course.reaches)

    assert judged.notes == ()
    assert [(f.code, f.level) for f in judged.findings] == [("safety-volume", "warning")]
    assert "X 2700.000 to 3100.000 mm in machine coordinates" in judged.findings[0].text
    overridden = resolved(override="volume")
    judged = check_safety(overridden, course_of(overridden, [bead(circle(2900, 0, 200))])[0].reaches)
    (told,) = judged.findings
    assert (told.code, told.level) == ("safety-volume", "warning")
    assert told.text.startswith("OVERRIDDEN by the user: layer 0 goes from X 2700.000")
    assert judged.notes[0].startswith("OVERRIDDEN by the user, volume: layer 0 goes from X 2700.000")


def test_a_keep_out_inside_a_ring_is_not_entered_and_a_tamper_makes_it_wider():
    pillar = "[[volume.keep_out]]\nname = 'pillar'\nlow = [950, 450, 0]\nhigh = [1050, 550, 10]\n"
    settings = resolved(pillar)
    # The boxes of its quarters hold some of the pillar; arcs are cut finer before they are held against it.
    quarter = [[1200, 500], [1000, 700], [800, 500], [1000, 300]]
    ring = [bead(path(quarter, [0.41421356] * 4))]
    course, _ = course_of(settings, ring)

    assert check_safety(settings, course.reaches) == Judged()
    wide = pillar + "[tamper]\nsize = [400, 400]\n"
    assert "enters pillar" in broken(wide, beads=ring)


def test_a_traverse_through_a_keep_out_is_found():
    tower = "[[volume.keep_out]]\nname = 'tower'\nlow = [0, -10, 0]\nhigh = [20, 10, 500]\n"
    beads = [bead(circle(-300, 0, 50)), bead(circle(300, 0, 50))]

    assert "enters tower" in broken(tower, beads=beads)
    low = tower.replace("500", "20")
    settings = resolved(low)
    assert check_safety(settings, course_of(settings, beads)[0].reaches) == Judged()


def test_traverses_clear_what_is_built():
    assert "traverse: layer 0 traverses at Z 4.500 mm" not in broken("[tamper]\nlowest = -1\n", clearance=0.5)
    assert "traverses at Z 3.500 mm, below the top of what is built, Z 4.000 mm" in broken(
        "[tamper]\nlowest = -1\n", clearance=0.5
    )


def test_what_is_overridden_by_name_stands_at_the_top(tmp_path):
    machine = tmp_path / "m.toml"
    machine.write_text(
        """[volume]
size = [200, 2400, 1800]
[[device]]
name = "air"
on = ["M7"]
off = ["M9"]
on_at = ["program start"]
off_at = ["program end"]
"""
    )
    with pytest.raises(SettingsError, match="--override volume writes it all the same"):
        plan(PART, machine=machine, layers=(1, 3), workers=1)

    found = plan(
        PART,
        machine=machine,
        layers=(1, 3),
        workers=1,
        override="volume",
        stop=[{"layer": 2, "why": "insert", "text": "rod"}],
    )

    head = found.program[: found.program.index("G21")]
    assert "OVERRIDDEN by the user, volume: layer 1 goes from X" in " ".join(
        head.replace(")\n(", " ").split()
    )
    # above all that is listed, and wherever findings are shown
    lines = head.split("\n")
    first = next(row for row, line in enumerate(lines) if "OVERRIDDEN" in line)
    assert first < next(row for row, line in enumerate(lines) if line.startswith("(program "))
    assert first < next(row for row, line in enumerate(lines) if "LAG NOT CALIBRATED" in line)
    assert [f.level for f in found.findings if f.code == "safety-volume"] == ["warning"]
    assert lint(found.program) == ()
    words = [line for line in found.program.split("\n") if line and line[0] != "("]
    assert words[6] == "M7"
    assert words[-4:-2] == ["M5", "M9"]
    second = found.program[found.program.index("(layer index=2") :]
    stop = second[: second.index("(bead ")].split("\n")
    assert "(MSG, STOP put in the insert, rod)" in stop
    assert stop[stop.index("M0") - 1].startswith("(MSG, after more than 180 s purge")
    assert read(found.program).done
