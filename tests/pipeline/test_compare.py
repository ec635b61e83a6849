"""Two plans of a block whose hole has moved by 5 mm: what must have changed is known by construction."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest
from typer.testing import CliRunner

from beadwright.cli import app
from beadwright.pipeline import Comparison, compare, plan, replan

cq = pytest.importorskip("cadquery")


def block(folder: Path, name: str, x: float, height: float = 8.0, **options: object) -> Path:
    part = cq.Workplane().box(120, 80, height).center(x, 0).circle(15).cutThruAll()
    out = folder / name
    plan(part, out, workers=1, **options)
    return out


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("plans")


@pytest.fixture(scope="module")
def first(folder: Path) -> Path:
    return block(folder, "first", 0.0)


@pytest.fixture(scope="module")
def revised(folder: Path) -> Path:
    return block(folder, "revised", 5.0, height=10.0, contours=1)


@pytest.fixture(scope="module")
def found(first: Path, revised: Path) -> Comparison:
    return compare(first, revised)


def test_a_plan_is_the_same_as_itself(first: Path) -> None:
    alike = compare(first, first)

    assert alike.same
    assert alike.rest is None
    assert "rest" not in alike.as_dict()
    assert alike.layers == ()


def test_the_hole_moved_by_what_it_moved_by(found: Comparison) -> None:
    rows = {(row["kind"], row["id"]): row for row in found.faces if row["change"] == "changed"}
    (hole,) = (row for (kind, _), row in rows.items() if kind == "cylinder")

    # along x by 5, since the box is centred in its height; area 2 pi r h
    assert hole["moved_mm"] == pytest.approx(5.0, abs=1e-6)
    assert hole["area_mm2"] == pytest.approx([2 * math.pi * 15 * 8, 2 * math.pi * 15 * 10], rel=1e-6)


def test_beads_of_the_layers_both_have_moved_and_the_third_layer_is_new(found: Comparison) -> None:
    assert not found.same
    assert found.only_a == ()
    assert found.only_b == (12.0,)
    assert [row["z_mm"] for row in found.layers] == [4.0, 8.0]
    # the second bead of the outline is gone: it lay one spacing from the first, farther at its corners
    assert all(row["moved_mm"] >= 8.4 for row in found.layers)


def test_settings_that_differ_are_told_and_no_other(found: Comparison) -> None:
    assert found.settings == {"contours": (2, 1)}


def test_what_the_last_digit_does_is_no_change(tmp_path: Path) -> None:
    """A rest that begins at the planned height is the same moves; a last digit more is what rounding leaves."""
    cq.exporters.export(cq.Workplane().box(120, 80, 8), str(tmp_path / "block.step"))
    first = tmp_path / "first"
    plan(tmp_path / "block.step", first, workers=1)
    rest = replan(first, tmp_path / "rest", from_layer=1, height=4.0, workers=1)
    found = compare(first, tmp_path / "rest")
    shown = CliRunner().invoke(app, ["compare", str(first), str(tmp_path / "rest")]).stderr

    assert rest.document["join"]["drift_mm"] == 0
    assert (found.only_a, found.only_b) == ((4.0,), ())
    # the rest begins at another corner, so a side is one move instead of two, and takes no other way
    (layer,) = found.layers
    assert not {"moved_mm", "length_mm", "mass_kg", "area_mm2", "beads"} & set(layer)
    assert "bead along it" in shown  # there is half of it
    assert "moved 0" not in shown
    assert "area same" not in shown
    text = (first / "program.nc").read_text()
    at = text.index("G1 X", text.index("role=contour"))
    end = text.index(" ", at + 3)
    nudged = f"{float(text[at + 4 : end]) + 1e-4:.4f}"
    (tmp_path / "nudged.nc").write_text(text[: at + 4] + nudged + text[end:])
    assert compare(first / "program.nc", tmp_path / "nudged.nc").layers == ()
    nudged = f"{float(text[at + 4 : end]) + 2e-3:.4f}"
    (tmp_path / "moved.nc").write_text(text[: at + 4] + nudged + text[end:])
    assert compare(first / "program.nc", tmp_path / "moved.nc").layers[0]["moved_mm"] == pytest.approx(
        2e-3, rel=0.1
    )


def test_a_rest_is_told_as_one_and_its_layers_are_no_setting(tmp_path: Path) -> None:
    cq.exporters.export(cq.Workplane().box(120, 80, 8), str(tmp_path / "block.step"))
    first, rest = tmp_path / "first", tmp_path / "rest"
    plan(tmp_path / "block.step", first, workers=1, layers="0:2")
    replan(first, rest, from_layer=1, height=4.0, workers=1)
    found, back = compare(first, rest), compare(rest, first)

    assert (found.rest, found.settings) == ({"rest": "b", "layer": 1}, {})
    assert (back.rest, back.settings) == ({"rest": "a", "layer": 1}, {})
    assert found.as_dict()["rest"] == found.rest
    shown = CliRunner().invoke(app, ["compare", str(first), str(rest)]).stderr
    assert "B is the rest of A from layer 1" in shown
    assert "setting layers" not in shown


def test_programs_alone_are_compared_by_their_moves(first: Path, revised: Path) -> None:
    alone = compare(first / "program.nc", revised / "program.nc")

    assert alone.settings == {}
    assert alone.only_b == (12.0,)
    assert "mass_kg" not in alone.totals
    assert alone.totals["layers"] == (2.0, 3.0)


def test_the_command(first: Path, revised: Path) -> None:
    run = CliRunner().invoke(app, ["compare", str(first), str(revised), "--json"])
    shown = CliRunner().invoke(app, ["compare", str(first), str(revised)])

    assert run.exit_code == 1
    assert json.loads(run.stdout)["settings"] == {"contours": [2, 1]}
    assert "cylinder" in shown.stderr
    assert CliRunner().invoke(app, ["compare", str(first), str(first), "-q"]).exit_code == 0


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [("none", None, "cannot be read"), ("still.nc", "G21\nG0 X1\nM2\n", "extruder on")],
)
def test_what_is_no_plan_is_named(
    tmp_path: Path, first: Path, name: str, content: str | None, says: str
) -> None:
    other = tmp_path / name
    if content is not None:
        other.write_text(content)
    run = CliRunner().invoke(app, ["compare", str(first), str(other)])

    assert run.exit_code == 2
    assert name in run.stderr
    assert says in run.stderr


def test_a_folder_of_something_else_is_named(tmp_path: Path, first: Path) -> None:
    run = CliRunner().invoke(app, ["compare", str(first), str(tmp_path)])

    assert run.exit_code == 2
    assert "plan.json" in run.stderr
