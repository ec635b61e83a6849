"""Devices at their moments, planned stops, and nothing that halts the axes inside a bead."""

from __future__ import annotations

from dataclasses import replace

import pytest

from beadwright.errors import InternalError, SettingsError
from beadwright.layers import plan_layers
from beadwright.program import (
    BeadMoves,
    Halt,
    Pass,
    StopFlow,
    Switch,
    Traverse,
    check_halts,
    layer_program,
    with_devices,
)
from beadwright.settings import Device
from tests.post._build_programs import bead, circle, layer, path

PLAN = plan_layers(0.0, 4.0, 4.0)[0]
OPEN = bead(path([[0, 0], [100, 0]], [0], closed=False))


def one_layer(*beads, before=()):
    return layer_program(
        layer(PLAN),
        beads or (bead(circle(0, 0, 50)),),
        first_bead=7,
        clearance=20.0,
        feed=100.0,
        before=before,
    )


def device(**given):
    told = {"name": "vibrator", "on": ["M7"], "off": ["M9"], "off_at": ["program end"]}
    return Device.model_validate({**told, **given})


def kinds(program):
    return [
        f"{e.device} {'on' if e.on else 'off'}" if isinstance(e, Switch) else type(e).__name__
        for e in program.events
    ]


def test_a_device_is_switched_around_beads_and_never_with_the_extruder_on():
    made = with_devices(one_layer(), [device(on_at=["bead start"], off_at=["bead end", "program end"])])

    assert kinds(made) == [
        "LayerBegin", "Traverse", "Approach", "BeadBegin", "vibrator on", "StartFlow", "BeadMoves", "StopFlow",
        "vibrator off", "BeadEnd", "Departure", "LayerEnd",
    ]  # fmt: skip
    check_halts(made, start=0.2, stop=0.2)


def test_moments_of_layers_traverses_and_stops():
    made = with_devices(
        one_layer(before=[Halt(x=-10.0, y=-20.0, texts=("STOP",))]),
        [
            device(name="light", on_at=["layer begin"], off_at=["layer end", "program end"]),
            device(name="camera", on_at=["pause begin"], off_at=["pause end", "program end"]),
            device(name="air", on_at=["traverse begin"], off_at=["traverse end", "program end"]),
        ],
    )

    assert kinds(made)[:9] == [
        "LayerBegin", "light on", "air on", "Traverse", "air off", "camera on", "Stop", "camera off", "air on",
    ]  # fmt: skip
    assert kinds(made)[-2:] == ["light off", "LayerEnd"]
    first = next(e for e in made.events if isinstance(e, Traverse))
    assert (first.x, first.y, first.z) == (-10.0, -20.0, 24.0)


def test_closures_are_of_closed_beads_only():
    off = [device(off_at=["closure", "program end"], motion="blends")]

    assert kinds(with_devices(one_layer(), off))[5:8] == ["BeadMoves", "vibrator off", "StopFlow"]
    assert "vibrator off" not in kinds(with_devices(one_layer(OPEN), off))


def test_a_device_that_halts_inside_a_bead_is_refused_by_name():
    made = with_devices(one_layer(), [device(off_at=["closure", "program end"], halt_time=0.2)])

    with pytest.raises(
        SettingsError, match=r"device vibrator, off, would stop the axes for 0\.2 s inside bead 7"
    ):
        check_halts(made, start=0.0, stop=0.0)

    synchronised = device(off_at=["closure", "program end"], motion="synchronised")
    check_halts(with_devices(one_layer(), [synchronised]), start=0.2, stop=0.2)


def test_a_stop_lead_inside_a_bead_needs_words_that_do_not_halt():
    made = one_layer()
    moves = next(e for e in made.events if isinstance(e, BeadMoves))
    stop = next(e for e in made.events if isinstance(e, StopFlow))
    events = list(made.events)
    place = events.index(stop)

    with pytest.raises(InternalError, match="cannot follow"):
        replace(made, events=(*events[: place + 1], moves, *events[place + 1 :]))

    class Led:
        """The events of a layer whose extruder stops before the bead's end."""

        begin = made.begin
        events = (*made.events[: place + 1], moves, *made.events[place + 1 :])

    check_halts(Led, start=0.2, stop=0.0)
    with pytest.raises(SettingsError, match=r"flow_stop would stop the axes for 0\.2 s inside bead 7"):
        check_halts(Led, start=0.2, stop=0.2)


@pytest.mark.parametrize("line", ["G1 X1 M7", "M7 X1", "G0 Z5", "M7 (on)", "m7", "G4", ""])
def test_lines_of_devices_hold_no_move(line):
    assert any("no line of M words alone" in text for _, text in device(on=[line]).between())


def test_devices_must_go_off_at_the_end():
    assert ("off_at", "must hold program end, so that nothing stays on") in device(
        on_at=["layer begin"], off_at=[]
    ).between()


def test_a_word_that_halts_cannot_stand_at_a_stop_lead():
    after = Pass(role="wiping", path=path([[100, 0], [50, 0]], [0], closed=False), stop=40.0)
    made = layer_program(layer(PLAN), [OPEN], first_bead=7, clearance=20.0, feed=100.0, passes=[after])

    check_halts(made, start=0.2, stop=0.0)
    with pytest.raises(SettingsError, match="flow_stop would stop the axes"):
        check_halts(made, start=0.2, stop=0.2)
