"""The verifier's reader against the standard: NISTIR 6556, and closed forms of its examples."""

from __future__ import annotations

import math

import numpy as np
import pytest

from beadwright.verify import FlowWords, Reading, read

HEAD = "G21 G17 G90 G94\nF6000\n"


def rules(text: str) -> list[tuple[int, str]]:
    return [(fault.line, fault.rule) for fault in read(text).faults]


def moved(text: str, *, flow: FlowWords | None = None) -> Reading:
    found = read(HEAD + text + "\nM2\n", flow)
    assert found.faults == ()
    return found


def test_the_standards_own_arc_by_its_centre() -> None:
    # 3.5.3.2: centre (10, 11), radius 5; sweep and length in closed form
    moves = moved("G0 X7 Y7\nG2 X10 Y16 I3 J4").moves

    assert moves.centre[1].tolist() == [10.0, 11.0]
    assert math.degrees(moves.sweep[1]) == pytest.approx(-143.1301024, abs=1e-7)
    assert moves.length[1] == pytest.approx(12.49045772, abs=1e-8)


def test_the_standards_own_arc_by_its_radius() -> None:
    # 3.5.3.1: G2 X10 Y15 R20 from the origin; centre from the chord's bisector
    moves = moved("G0 X1\nG0 X0\nG2 X10 Y15 R20").moves

    np.testing.assert_allclose(moves.centre[2], [19.8550690649, -2.4033793766], atol=1e-9)
    assert math.degrees(abs(moves.sweep[2])) == pytest.approx(53.57642636, abs=1e-7)
    assert moves.length[2] == pytest.approx(18.70170083, abs=1e-8)


@pytest.mark.parametrize(
    ("unit", "mismatch", "ok"),
    [("G21", 0.0019, True), ("G21", 0.0021, False), ("G20", 0.00019, True), ("G20", 0.00021, False)],
)
def test_the_arc_rule(unit: str, mismatch: float, ok: bool) -> None:
    # radii 100 and 100 + mismatch: 3.5.3.2 allows 0.002 mm, 0.0002 inch
    text = f"{unit}\nF100\nG0 X100 Y0\nG3 X-{100 + mismatch:.5f} Y0 I-100 J0\nM2\n"

    assert rules(text) == ([] if ok else [(4, "arc rule")])


def test_a_dwell_lasts_seconds() -> None:
    assert [wait.seconds for wait in moved("G4 P2.5").standstills] == [2.5]  # 3.5.4


def test_inverse_time() -> None:
    # 2.1.2.5: F is one over minutes; 120 mm in 1.2 s is F 50
    moves = moved("G93\nG1 X120 F50").moves

    assert moves.seconds[0] == pytest.approx(1.2, rel=1e-12)
    assert rules("G21\nG93\nG1 X120\nM2\n") == [(3, "feed"), (3, "feed")]


@pytest.mark.parametrize(
    ("text", "speed"), [("G21\nF6000\nG1 X1\nM2\n", 100.0), ("G20\nF236.220472\nG1 X1\nM2\n", 100.0)]
)
def test_units_a_minute(text: str, speed: float) -> None:
    assert read(text).moves.feed[0] == pytest.approx(speed, rel=1e-8)


def test_a_helix_is_as_long_as_its_unrolled_triangle() -> None:
    moves = moved("G0 X50\nG3 X50 Y0 Z4 I-50 J0").moves

    assert moves.length[1] == pytest.approx(math.hypot(2 * math.pi * 50, 4), abs=1e-9)
    assert moves.length[1] == pytest.approx(314.184729, abs=1e-6)


@pytest.mark.parametrize(
    ("plane", "end", "centre", "tip"),
    [
        # a quarter turn counter-clockwise seen from the normal's positive end (3.5.3): Z to X in G18, Y to Z in G19
        ("G18", "G3 X10 Z0", "I0 K-10", (10.0, 0.0, 0.0)),
        ("G19", "G2 Y10 Z0", "J0 K-10", (0.0, 10.0, 0.0)),
    ],
)
def test_arcs_in_the_upright_planes(plane: str, end: str, centre: str, tip: tuple[float, ...]) -> None:
    moves = moved(f"G0 Z10\n{plane}\n{end} {centre}").moves

    assert moves.end[1].tolist() == list(tip)
    assert moves.length[1] == pytest.approx(10 * math.pi / 2, rel=1e-12)


def test_centres_are_told_from_the_start_in_both_distance_modes() -> None:
    absolute = moved("G0 X10 Y5\nG3 X0 Y15 I-10 J0").moves
    relative = moved("G0 X10 Y5\nG91\nG3 X-10 Y10 I-10 J0").moves

    np.testing.assert_array_equal(absolute.centre, relative.centre)
    np.testing.assert_array_equal(absolute.end, relative.end)


def test_the_order_on_a_line_is_not_the_order_of_its_words() -> None:
    # table 8: speed and spindle before the dwell, the dwell before the motion, the stop before the motion
    found = read(HEAD + "G1 X10 G4 P0.5 S80 M3\nG1 X20 M5\nM2\n")

    assert found.standstills[0].flow
    assert found.moves.flow.tolist() == [True, False]
    assert [(f.line, f.rule) for f in found.faults] == [(3, "event with motion"), (4, "event with motion")]


@pytest.mark.parametrize(
    ("line", "rule"),
    [
        ("N100000 G1 X1", "line number"),
        ("N1.5 G1 X1", "line number"),
        ("G1 X1 (a (b)", "comment"),
        ("G1 X1 (a", "comment"),
        ("G1 X1 )", "comment"),
        ("G1 X1 ; a", "semicolon"),
        ("G1 X1" + " " * 252, "length"),
        ("G1 G2 X1 Y0 I1", "group"),
        ("G90 G91", "group"),
        ("M3 M5", "group"),
        ("X1 X2", "group"),
        ("G1 X1.2.3", "words"),
        ("G1 X", "words"),
        ("G77 X1", "code"),
        ("G1.05 X1", "code"),
        ("M77", "code"),
        ("G1 E5 X1", "letter"),
        ("G1", "axes"),
        ("G1 X1 I5", "unused word"),
        ("P1 X1", "unused word"),
        ("G4", "dwell"),
        ("G4 P-1", "dwell"),
        ("G2 X1 Y1", "arc"),
        ("G2 I1 J1", "arc"),
        ("G2 X1 Y1 I1 J0 R1", "arc"),
        ("G2 X0 Y0 R1", "arc"),
        ("G2 X10 Y0 R1", "arc"),
        ("G2 X1 Y1 I1 K1", "arc"),
        ("G53 G91 X1", "group"),
        ("G41 D1", "not followed"),
        ("G81 X1 Z1 R1", "not followed"),
        ("G1 X#9999", "words"),
        ("G1 X[1+]", "words"),
        ("F-1 X1", "feed"),
        ("G1 X1 \u00e9", "characters"),
    ],
)
def test_a_broken_rule_is_told_at_its_line(line: str, rule: str) -> None:
    assert (3, rule) in rules(HEAD + line + "\nM2\n")


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        ("%\nG21\nM2\n", "percent"),
        ("G21\nF100\nG1 X1\n", "end"),
        ("F100\nG1 X1\nM2\n", "units"),
        ("G21\nG1 X1\nM2\n", "feed"),
    ],
)
def test_a_broken_rule_of_the_whole(text: str, rule: str) -> None:
    assert rule in [name for _, name in rules(text)]


def test_between_percent_signs_no_end_is_needed() -> None:
    assert rules("%\nG21\nF100\nG1 X1\n%\n") == []


def test_the_state_after_the_end() -> None:
    # 3.6.1: G54 G17 G90 G94 G40 M5 M9 G1
    state = read("G20 G18 G91 G93 G55\nM3 S100\nM7\nM2\n").state

    assert {k: state[k] for k in ("coordinate system", "plane", "distance", "feed mode")} == {
        "coordinate system": 540,
        "plane": 170,
        "distance": 900,
        "feed mode": 940,
    }
    assert (state["radius compensation"], state["motion"], state["flow"], state["coolant"]) == (
        400,
        10,
        False,
        False,
    )


def test_coordinate_systems_and_shifts() -> None:
    # G10 L2 sets an origin, G92 renames the place, G53 looks through both (3.5.5, 3.5.18, 3.5.12)
    found = moved("G10 L2 P2 X100\nG55 G1 X1\nG92 X0\nG1 X5\nG53 G1 X7\nG92.1\nG54\nG1 X3")

    assert found.moves.end[:, 0].tolist() == [101.0, 106.0, 7.0, 3.0]


def test_expressions_and_parameters() -> None:
    # 3.3.2.3: 2**3 before *, ATAN of two; a parameter set on a line is seen from the next one on (3.3.2.2)
    found = moved("#1=10\n#1=5 G1 X#1\nG1 X[#1*2**3+ATAN[1]/[1]]")

    assert found.moves.end[:, 0].tolist() == [10.0, 85.0]


def test_an_extruder_axis_flows_where_it_advances() -> None:
    text = HEAD + "G92 E0\nG1 X10 E1\nG1 X20 E1\nG1 X30 E2\nG1 E3\nM2\n"
    found = read(text, FlowWords(axis="E"))

    assert found.moves.flow.tolist() == [True, False, True]
    assert [(wait.line, wait.advance) for wait in found.standstills] == [(7, 1.0)]


def test_a_speed_of_nothing_is_no_flow() -> None:
    assert moved("M3 S0\nG1 X1\nS50\nG1 X2").moves.flow.tolist() == [False, True]
