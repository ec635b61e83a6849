"""The rest of a print: new planes through the true solid, the old files untouched."""

from __future__ import annotations

import importlib.resources
import json
import math
from pathlib import Path

import jsonschema
import numpy as np
import pytest

import beadwright
from beadwright.errors import OutputError, SettingsError
from beadwright.pipeline import replan
from beadwright.settings import resolve, resolve_told

SCHEMA = json.loads(importlib.resources.files("beadwright.pipeline").joinpath("plan.schema.json").read_text())


@pytest.fixture(scope="module")
def cone(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Radius 100 below, 60 above, 40 high: its radius at height z is 100 - z."""
    import cadquery as cq

    path = tmp_path_factory.mktemp("part") / "cone.step"
    cq.exporters.export(cq.Workplane(obj=cq.Solid.makeCone(100, 60, 40)), str(path))
    return path


@pytest.fixture(scope="module")
def planned(cone: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("job") / "out"
    beadwright.plan(cone, out, contours=1, workers=1, width=10.0, fill={"underfill_limit": 0.3})
    return out


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


# Layer 5 was planned to begin at 20 mm; 19.2 are there: (40 - 19.2) / 4 = 5.2, so 6 layers, not 5.
def test_the_rest_is_cut_at_its_true_heights(planned: Path) -> None:
    before = contents(planned)
    result = replan(planned, from_layer=5, height=19.2, workers=1)

    document = result.document
    assert result.out == planned.with_name("out-from-5")
    assert [row["index"] for row in document["layers"]] == [5, 6, 7, 8, 9, 10]
    assert document["layers"][0]["z0_mm"] == 19.2
    for layer in result.layers:
        if layer.layer.section_z[0] < 40:
            radius = 100 - layer.layer.section_z[0] - 5.0
            for bead in layer.beads:
                assert np.abs(np.hypot(*bead.path.points.T) - radius).max() <= result.bounds.total
    assert contents(planned) == before
    jsonschema.validate(document, SCHEMA)


def test_the_join_is_listed(planned: Path, tmp_path: Path) -> None:
    result = replan(planned, tmp_path / "rest", from_layer=5, height=19.2, workers=1)
    join = result.document["join"]
    old = (planned / "program.nc").read_text().splitlines()

    assert (join["layer"], join["planned_mm"], join["measured_mm"]) == (5, 20.0, 19.2)
    assert join["drift_mm"] == pytest.approx(-0.8)
    assert (join["layers_before"], join["layers_now"], join["beads_laid"]) == (5, 6, 5)
    assert old[join["old_program_line"] - 1] == "(end layer)"
    assert old[join["old_program_line"]].startswith("(layer index=5 ")
    assert " first=5" in result.program
    assert "REST OF A PRINT: begins with layer 5" in result.program
    assert "cold-joint" in {finding.code for finding in result.findings}


def test_settings_are_those_of_the_earlier_plan(planned: Path, tmp_path: Path) -> None:
    result = replan(planned, tmp_path / "rest", from_layer=5, height=20.0, workers=1)
    told = json.loads((planned / "plan.json").read_text())["settings"]

    for key, row in result.document["settings"].items():
        if key != "layers":
            assert row["value"] == told[key]["value"], key


def test_a_drift_of_a_twentieth_of_every_layer_is_told(planned: Path, tmp_path: Path) -> None:
    # 5 % of 4 mm in 5 layers is 1 mm.
    def codes(height: float) -> set[str]:
        result = replan(planned, tmp_path / f"rest{height}", from_layer=5, height=height, workers=1)
        return {finding.code for finding in result.findings}

    assert "height-drift" not in codes(19.2)
    assert "height-drift" in codes(18.8)


@pytest.mark.parametrize(
    ("layer", "height", "why"),
    [
        (0, 1.0, "allowed 1 to 9"),
        (10, 40.0, "allowed 1 to 9"),
        (5, 2.0, "far from the 20 mm"),
        (5, math.nan, "far"),
    ],
)
def test_what_does_not_fit_the_plan_is_refused(planned: Path, layer: int, height: float, why: str) -> None:
    with pytest.raises(SettingsError, match=why):
        replan(planned, from_layer=layer, height=height)


# A slope of 45 degrees: a layer of height h leaves a cusp of h cos 45, so a cusp of 2.1 mm allows 2.97 mm.
def test_layers_of_their_own_heights_go_on_so(cone: Path, tmp_path: Path) -> None:
    heights = {"cusp": 2.1, "least": 2.0, "greatest": 4.0}
    beadwright.plan(cone, tmp_path / "out", contours=1, workers=1, heights=heights)
    rows = replan(tmp_path / "out", from_layer=6, height=17.5, workers=1).document["layers"]

    assert (rows[0]["index"], rows[0]["z0_mm"]) == (6, 17.5)
    assert all(row["height_mm"] <= 2.1 * math.sqrt(2) + 1e-9 for row in rows)
    assert [row["z0_mm"] for row in rows[1:]] == [row["z_mm"] for row in rows[:-1]]
    assert rows[-1]["z_mm"] >= 40.0 - 1e-6


def test_another_part_is_refused(planned: Path, cone: Path, tmp_path: Path) -> None:
    other = tmp_path / "cone.step"
    other.write_bytes(cone.read_bytes() + b"\n")

    with pytest.raises(SettingsError, match="is not the file that was printed"):
        replan(planned, from_layer=5, height=19.2, part=other)


def test_the_earlier_plan_is_never_replaced(planned: Path) -> None:
    with pytest.raises(OutputError, match="the earlier plan itself"):
        replan(planned, planned, from_layer=5, height=19.2, overwrite=True)


def test_ended_half_way_the_old_files_stand(planned: Path, tmp_path: Path) -> None:
    before = contents(planned)

    def interrupt(stage: str, done: int, _total: int) -> None:
        if stage == "layers" and done == 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        replan(planned, tmp_path / "rest", from_layer=5, height=19.2, workers=1, progress=interrupt)

    assert contents(planned) == before
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("what", ["absent", "no json", "[]"])
def test_a_folder_without_a_plan_is_refused(tmp_path: Path, what: str) -> None:
    if what != "absent":
        (tmp_path / "plan.json").write_text(what)

    with pytest.raises(SettingsError, match=r"plan\.json"):
        replan(tmp_path, from_layer=1, height=4.0)


def test_told_settings_come_back_whole() -> None:
    from beadwright.settings import parse_document

    machine = parse_document(
        "[volume]\nsize = [5000, 2000, 1500]\n[extruder.lag]\ndead_up = 0.1\ntau_up = 0.2\ndead_down = 0.1\n"
        "tau_down = 0.3\n"
        + "".join(f"[[extruder.calibration]]\nrpm = {n}\nrate = {n / 5}\n" for n in (20, 40, 60)),
        name="machine.toml",
        told="machine",
    )
    first = resolve(
        {"width": 9.0, "rotate": "0,0,90", "stock": 3.0, "fill": {"overfill_limit": 0.1}},
        machine=machine,
        material="cf-pc-20",
    )

    again = resolve_told(first.as_dict(), {})

    assert again.settings == first.settings
    assert again.machine == first.machine
    assert again.material == first.material
