"""The standard's rules on texts that keep or break one (trade checks W3, W9-W12, W14; NISTIR 6556)."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from beadwright.post import lint


def rules(*lines: str, units: str = "G21") -> list[str]:
    return [fault.rule for fault in lint("\n".join([units, "F600", *lines, "M2", ""]))]


@pytest.mark.parametrize(
    ("units", "mismatch", "legal"),
    [("G21", "0.0019", True), ("G21", "0.0021", False), ("G20", "0.00019", True), ("G20", "0.00021", False)],
)
def test_w3_arc_rule(units, mismatch, legal):
    # a half turn of radius 10 whose end lies outwards by the mismatch
    end = f"{-(10 + float(mismatch)):.5f}"
    found = rules("G1 X10.00000 Y0.00000", f"G3 X{end} Y0.00000 I-10.00000 J0.00000", units=units)

    assert found == ([] if legal else ["arc rule"])


@pytest.mark.parametrize("shift", [-0.002, 0.002])
def test_a_mismatch_of_the_rule_itself_is_legal(shift):
    end = -(10 + shift)
    assert rules("G1 X10.0 Y0.0", f"G3 X{end:.4f} Y0.0 I-10.0 J0.0") == []


@pytest.mark.parametrize(
    ("line", "rule"),
    [
        ("G1 X100 M5", "event with motion"),  # W9
        ("N100000 G1 X1", "line number"),  # W10
        ("(a (b) G1 X1", "comment"),  # W11, nested
        ("(a G1 X1", "comment"),  # W11, not closed
        ("(" + "a" * 255 + ")", "length"),  # W14: 257 characters
        ("G1 G2 X1 Y0 I1", "group"),
        ("G1 X1 X2", "group"),
        ("G21", "units"),
        ("G1 X1 I1", "axes"),
        ("G1", "axes"),
        ("G2 X1 Y1", "arc"),
        ("G2 X0 Y0 R5", "arc"),
        ("G2 X20 Y0 R5", "arc"),
        ("G2 I5", "arc"),
        ("G1 X#5", "words"),
        ("G5 X1", "words"),
        ("M3 M4", "group"),
        ("M0 M3 M6 M7 M48", "group"),
        ("G92 X0", "not followed"),
        ("G1 Xé", "characters"),
    ],
)
def test_a_broken_rule_is_found(line, rule):
    assert rule in rules(line)


@pytest.mark.parametrize(
    "line",
    [
        "N99999 G1 X1",
        "/G1 X1",
        "(" + "a" * 254 + ")",  # 256 characters
        "g1 x 1 . 5 y-.5",
        "M3 S0",
        "G0 Z5",
        "G4 P2.5",
        "G3 X0 Y0 I5 J0",
    ],
)
def test_what_the_standard_allows_passes(line):
    # "x 1 . 5": blanks and tabs are allowed anywhere outside comments
    assert rules(line) == []


def test_w12_percent_needs_its_partner():
    assert [f.rule for f in lint("%\nG21\nG0 X1\nM2\n")] == ["percent"]
    assert lint("%\nG21\nG0 X1\n%\n") == ()


def test_a_program_needs_an_end_and_nothing_after_it():
    assert [f.rule for f in lint("G21\nG0 X1\n")] == ["end"]
    assert [f.rule for f in lint("G21\nM2\nG0 X1\n")] == ["end"]


def test_units_and_feed_come_before_motion():
    assert [f.rule for f in lint("G0 X1\nM2\n")] == ["units"]
    assert [f.rule for f in lint("G21\nG1 X1\nM2\n")] == ["feed"]


def test_the_line_is_told():
    assert lint("G21\nF600\nG1 X1 M5\nM2\n")[0].line == 3


@settings(max_examples=300, deadline=None)
@given(st.text(st.sampled_from("GXYZIJRFMN0123456789.-+()%/ \n#;é"), max_size=120))
def test_any_text_is_judged_and_never_stops_the_lint(text):
    assert len(lint(text)) <= 200


@settings(max_examples=200, deadline=None)
@given(st.data())
def test_one_changed_digit_in_a_centre_is_found(data):
    # the rule is 0.002 mm; a centre moved by 0.01 along I or J alone leaves the bisector of this chord
    whole = "G21\nF600\nG1 X10.0000 Y0.0000\nG3 X0.0000 Y10.0000 I-10.0000 J0.0000\nM2\n"
    change = data.draw(st.floats(0.01, 5.0)) * data.draw(st.sampled_from([-1, 1]))
    word, value = data.draw(st.sampled_from([("I", -10.0), ("J", 0.0)]))
    spoilt = whole.replace(f"{word}{value:.4f}", f"{word}{value + change:.4f}")

    assert lint(whole) == ()
    assert [fault.rule for fault in lint(spoilt)] == ["arc rule"]
