"""What may follow what, and the events of a layer."""

from __future__ import annotations

import math

import pytest

from beadwright.curves import first_part, length
from beadwright.errors import InternalError, SettingsError
from beadwright.layers import plan_layers
from beadwright.program import (
    ORDER,
    Approach,
    BeadBegin,
    BeadEnd,
    BeadMoves,
    Departure,
    LayerBegin,
    LayerEnd,
    LayerProgram,
    Pass,
    PassMoves,
    StartFlow,
    State,
    StopFlow,
    Traverse,
    check_order,
    layer_program,
)
from tests.post._build_programs import bead, circle, layer


def events_of(*beads):
    plan = plan_layers(0.0, 4.0, 4.0)[0]
    return layer_program(layer(plan), beads, first_bead=7, clearance=20.0, feed=100.0)


def test_a_bead_is_reached_laid_and_left_in_this_order():
    built = events_of(bead(circle(0, 0, 50)))

    assert [type(e) for e in built.events] == [
        LayerBegin,
        Traverse,
        Approach,
        BeadBegin,
        StartFlow,
        BeadMoves,
        StopFlow,
        BeadEnd,
        Departure,
        LayerEnd,
    ]
    assert (built.n_beads, built.top) == (1, 24.0)


def test_beads_are_numbered_through_the_program():
    built = events_of(bead(circle(0, 0, 50)), bead(circle(0, 0, 40)))

    assert [e.index for e in built.events if isinstance(e, BeadBegin)] == [7, 8]


@pytest.mark.parametrize("left_out", range(10))
def test_leaving_out_any_event_but_the_traverse_is_refused(left_out):
    events = list(events_of(bead(circle(0, 0, 50))).events)
    gone = events.pop(left_out)
    if isinstance(gone, (Traverse, BeadMoves)):
        # the table allows them to be absent: the nozzle may stand there, a path may come in several pieces
        check_order(events)
        return

    with pytest.raises(InternalError, match=r"cannot follow|end in state"):
        check_order(events)


def test_an_illegal_order_cannot_be_built():
    events = events_of(bead(circle(0, 0, 50))).events

    with pytest.raises(InternalError):
        LayerProgram(events=events[:-1], n_beads=1, length=1.0, top=24.0)


def test_flow_starts_only_inside_a_bead_and_never_in_a_traverse():
    assert [s for s, row in ORDER.items() if StartFlow in row] == [State.READY]
    assert Traverse not in ORDER[State.FLOWING]
    assert [s for s, row in ORDER.items() if BeadMoves in row] == [State.FLOWING]


def test_a_bead_goes_on_into_its_lap_with_the_extruder_on_or_off():
    ring = circle(0, 0, 50)
    plan = plan_layers(0.0, 4.0, 4.0)[0]

    def kinds(stop):
        after = Pass(role="lap", path=first_part(ring, 60.0), stop=stop)
        made = layer_program(
            layer(plan), [bead(ring)], first_bead=0, clearance=20.0, feed=100.0, passes=[after]
        )
        events = [
            e for e in made.events if isinstance(e, (BeadBegin, BeadMoves, PassMoves, StopFlow, BeadEnd))
        ]
        return [type(e) for e in events], events

    before, events = kinds(20.0)
    assert before == [BeadBegin, BeadMoves, StopFlow, BeadEnd, BeadBegin, PassMoves, BeadEnd]
    assert events[0].stop_lead == 20.0
    assert length(events[1].path) == pytest.approx(100 * math.pi - 20, abs=1e-9)
    assert length(events[5].path) == pytest.approx(80, abs=1e-9)
    after, events = kinds(-20.0)
    assert after == [BeadBegin, BeadMoves, BeadEnd, BeadBegin, BeadMoves, StopFlow, PassMoves, BeadEnd]
    assert length(events[1].path) == pytest.approx(100 * math.pi, abs=1e-9)
    assert (length(events[4].path), length(events[6].path)) == pytest.approx((20, 40), abs=1e-9)


@pytest.mark.parametrize(("clearance", "feed"), [(0.0, 100.0), (20.0, -1.0), (float("nan"), 100.0)])
def test_clearance_and_feed_must_be_above_zero(clearance, feed):
    plan = plan_layers(0.0, 4.0, 4.0)[0]

    with pytest.raises(SettingsError):
        layer_program(layer(plan), (), first_bead=0, clearance=clearance, feed=feed)
