"""Lines of the tables on standard error: findings are counted, and the first place is told where there is one."""

from __future__ import annotations

import io

import pytest
from rich.console import Console

from beadwright.numeric import Finding
from beadwright.pipeline import plan
from beadwright.pipeline._plan_table import _finished, _left_for_machining
from beadwright.pipeline._tables import show_findings
from beadwright.pipeline._verify_table import _sentence
from beadwright.verify import Noted


@pytest.mark.parametrize(
    ("times", "layer", "line"),
    [
        (1, None, "warning wide: too wide"),
        (2, None, "warning wide: too wide (2 times)"),
        (1, 3, "warning wide: too wide (layer 3)"),
        (2, 3, "warning wide: too wide (2 times, first layer 3)"),
    ],
)
def test_a_finding_tells_how_often_and_where_first(times: int, layer: int | None, line: str) -> None:
    out = io.StringIO()
    show_findings(
        Console(file=out), [Finding(code="wide", level="warning", layer=layer, text="too wide")] * times
    )
    assert out.getvalue() == f"{line}\n"


def told(*findings: Finding) -> list[str]:
    out = io.StringIO()
    show_findings(Console(file=out, width=400), findings)
    return out.getvalue().splitlines()


@pytest.mark.parametrize(
    ("text", "measured", "allowed", "tail"),
    [
        ("this mass in all", 12.3456, None, "; measured 12.35 g"),
        ("as much as this", 2.5, 2.0, "; measured 2.5, allowed 2 g"),
        ("2.50 g flow out, 2 g may", 2.5, 2.0, ""),
        ("2.5 g flow out", 2.5, 2.0, "; allowed 2 g"),
        ("2.5 g flow out", 2.5, 0.0, ""),
        ("so much flows out", 672.0, 0.0, "; measured 672 g, where none is wanted"),
        ("so much is missing", -0.3, 0.0, "; measured -0.3 g"),
        ("layer 3 has this", 3.0, None, "; measured 3 g"),
        ("0 of them", 0.3, None, "; measured 0.3 g"),
        ("none at all", 0.0, None, "; measured 0 g"),
        ("much", 123456.0, None, "; measured 123456 g"),
        ("without end", float("inf"), None, ""),
    ],
)
def test_a_finding_tells_its_number_unless_its_sentence_does(
    text: str, measured: float, allowed: float | None, tail: str
) -> None:
    finding = Finding(
        code="flow", level="note", text=text, measured=measured, allowed=allowed, unit="g", layer=7
    )
    assert told(finding) == [f"note flow: {text}{tail} (layer 7)"]


@pytest.mark.parametrize(
    ("text", "measured", "allowed", "line"),
    [
        ("0.004 mm off", 0.00412, 0.004, "2. line 9: 0.004 mm off; measured 0.00412, allowed 0.004 mm"),
        ("336.0 mm flow out", 336.0, 0.0, "2. line 9: 336.0 mm flow out"),
        (
            "so much flows out",
            336.0,
            0.0,
            "2. line 9: so much flows out; measured 336 mm, where none is wanted",
        ),
        ("so much there is", 336.0, None, "2. line 9: so much there is; measured 336 mm"),
    ],
)
def test_a_verification_tells_all_digits_against_a_limit_and_nothing_twice(
    text: str, measured: float, allowed: float | None, line: str
) -> None:
    finding = Finding(code="off", level="error", text=text, measured=measured, allowed=allowed, unit="mm")
    assert _sentence(Noted(finding=finding, number=2, line=9)) == line


def flows(measured: float | None, layer: int | None = None, allowed: float | None = 2.0) -> Finding:
    return Finding(
        code="flow", level="note", text="it flows", measured=measured, allowed=allowed, unit="g", layer=layer
    )


def test_of_many_alike_the_worst_is_told_with_its_place() -> None:
    assert told(flows(2.5, 1), flows(7.0, 5), flows(3.0, 9)) == [
        "note flow: it flows; measured 7, allowed 2 g (3 times; worst layer 5; first layer 1)"
    ]
    # what may not be below a limit is worst where it is least
    assert told(flows(1.5, 1), flows(0.5, 5)) == [
        "note flow: it flows; measured 0.5, allowed 2 g (2 times; worst layer 5; first layer 1)"
    ]
    assert told(flows(3.0, 1), flows(3.0, 5), flows(2.5, 6)) == [
        "note flow: it flows; measured 3, allowed 2 g (3 times, first layer 1)"
    ]
    assert told(flows(3.0), flows(4.0)) == [
        "note flow: it flows; measured 4, allowed 2 g (2 times, this is the worst)"
    ]


def test_the_worst_is_told_in_its_own_sentence() -> None:
    found = [
        Finding(code="flow", level="note", text=f"{m:g} g flow out", measured=m, unit="g") for m in (8.0, 3.0)
    ]
    assert told(*found) == ["note flow: 8 g flow out (2 times)"]
    assert told(*reversed(found)) == ["note flow: 8 g flow out (2 times, this is the worst)"]


def test_one_code_in_two_wordings_is_told_in_both_and_numbers_alone_make_no_wording() -> None:
    texts = ["3 beads are wide", "4 beads are wide", "the seam is wide"]
    assert told(*(Finding(code="wide", level="warning", text=text) for text in texts)) == [
        "warning wide: 3 beads are wide (2 times)",
        "warning wide: the seam is wide",
    ]


def test_many_wordings_of_one_code_end_in_a_count() -> None:
    names = "abcdefgh"
    lines = told(*(Finding(code="wide", level="warning", text=f"{name} is wide") for name in names))
    assert lines[:5] == [f"warning wide: {name} is wide" for name in names[:5]]
    assert lines[5:] == ["warning wide: 3 more in other words; --json lists them"]


def test_stock_has_no_negative_zero_and_says_how_it_is_measured() -> None:
    stock = {"least": -0.004, "greatest": -0.0, "mean": 0.0}
    face = {"id": 4, "name": "", "stock_mm": stock}
    finished = {"file": "done.step", "bound_mm": 0.01, "faces": [face]}
    assert _finished({"finished": finished})[1] == (
        "on its face 4",
        "0.00 to 0.00 mm, measured in the plane of the layer",
    )
    assert _left_for_machining({"faces": [face], "layers": []}) == [
        ("stock on face 4", "0.00 to 0.00 mm, square to the face")
    ]


def test_a_plan_that_lays_nothing_says_so() -> None:
    cq = pytest.importorskip("cadquery")
    result = plan(cq.Workplane().box(3, 3, 8), workers=1)

    assert sum(len(layer.beads) for layer in result.layers) == 0
    assert "no-bead" in {finding.code for finding in result.findings}
