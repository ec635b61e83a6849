"""The rest of a print: new planes through the true solid, the old files untouched."""

from __future__ import annotations

import importlib.resources
import json
import math
from decimal import Decimal
from pathlib import Path

import jsonschema
import numpy as np
import pytest

import beadwright
from beadwright.errors import OutputError, SettingsError
from beadwright.pipeline import plan_part, replan
from beadwright.pipeline._rest import Rest
from beadwright.settings import resolve, resolve_told
from tests.post._reader import read

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


@pytest.mark.parametrize("layer_height", [0.7, 2.5, 3.3, 4.0, 4.2])
@pytest.mark.parametrize("side", [-1, 1])
def test_a_drift_of_exactly_the_limit_is_allowed(layer_height: float, side: int) -> None:
    """In decimals, as a user reckons: 95 and 105 % of the planned height are on the limit, 0.01 mm more is beyond."""
    for first in range(1, 60):
        planned = first * Decimal(str(layer_height))
        at = planned * (1 + side * Decimal("0.05"))
        for measured, told in ((at, False), (at + side * Decimal("0.01"), True)):
            rest = Rest(
                first=first,
                height=float(measured),
                planned=float(planned),
                layer_height=layer_height,
                layers_before=9,
                beads_laid=0,
                old_line=None,
                old_sha256="",
            )
            assert ("height-drift" in {finding.code for finding in rest.findings()}) == told, measured


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


@pytest.fixture(scope="module")
def ring(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A ring of radii 204.2 and 180, 8 high: two contour beads a layer, of radii 200 and 184.2."""
    import cadquery as cq

    folder = tmp_path_factory.mktemp("ring")
    cq.exporters.export(cq.Workplane().circle(204.2).circle(180).extrude(8), str(folder / "ring.step"))
    beadwright.plan(folder / "ring.step", folder / "out", workers=1)
    return folder / "ring.step", folder / "out"


@pytest.fixture(scope="module")
def taken(ring: tuple[Path, Path]) -> beadwright.PlanResult:
    return replan(ring[1], from_bead=1, after=400.0, workers=1)


def laid_by(program: str) -> list[tuple[int | None, float, tuple[float, ...], tuple[float, ...]]]:
    """Bead, length and ends of each extruding move, by the tests' own reader."""
    return [(s.bead, s.length, s.start, s.end) for s in read(program).steps if s.extruding]


# 400 mm of a circle of radius 184.2 are an angle of 400 / 184.2; what the two programs lay together is what one laid.
def test_a_print_is_taken_up_at_a_place_in_a_bead(
    ring: tuple[Path, Path], taken: beadwright.PlanResult
) -> None:
    (_, old), result = ring, taken
    whole, rest = laid_by((old / "program.nc").read_text()), laid_by(result.program)
    first = next(row for row in whole if row[0] == 1)
    turned = complex(*rest[0][2][:2]) / complex(*first[2][:2])

    assert result.out == old.with_name("out-from-bead-1")
    assert abs(np.angle(turned)) == pytest.approx(400 / 184.2, abs=1e-6)
    assert sum(row[1] for row in rest) == pytest.approx(
        sum(row[1] for row in whole if row[0] != 0) - 400, abs=1e-3
    )
    # Beads that are not begun are laid as they were, to the digit.
    assert [row for row in rest if row[0] != 1] == [row for row in whole if row[0] > 1]
    join = result.document["join"]
    assert (join["layer"], join["bead"], join["after_mm"], join["layers_now"]) == (0, 1, 400.0, 2)
    assert join["at_mm"] == pytest.approx(rest[0][2], abs=1e-3)
    assert "takes up layer 0 in bead 1, 400.000 mm after its start" in result.program.replace(")\n(", " ")
    assert {f.code for f in result.findings} >= {"cold-joint"}
    jsonschema.validate(result.document, SCHEMA)
    why = {place["why"] for place in result.document["layers"][0]["lost"]}
    assert why == {"laid-before"}


def test_what_is_left_of_a_layer_verifies(ring: tuple[Path, Path], taken: beadwright.PlanResult) -> None:
    from beadwright.kernel import read_step
    from beadwright.verify import VerifyOptions, verify

    part, result = read_step(ring[0]), taken
    found = verify(result.program, part, VerifyOptions(every=True))
    told = verify(result.program.replace(" resumed=1", ""), part, VerifyOptions(every=True))

    assert [f.finding.code for f in found.findings if f.finding.level == "error"] == []
    assert "missing-bead" in {f.finding.code for f in told.findings}


# A line of the program is where a machine stopped: its move is not done, those of the bead before it are.
def test_what_is_left_of_a_layer_goes_as_fast_as_all_of_it(ring: tuple[Path, Path], tmp_path: Path) -> None:
    slow = beadwright.plan(ring[0], tmp_path / "slow", workers=1, layer_time={"least": 60})
    feeds = [row["feed_mm_s"] for row in slow.document["layers"]]
    rest = replan(tmp_path / "slow", from_bead=1, after=900.0, workers=1).document["layers"]

    # 257 mm of the layer are left: at the least layer time for those alone it would creep
    assert rest[0]["feed_mm_s"] == pytest.approx(feeds[0], rel=1e-9)
    assert 2 * math.pi * (200 + 184.2) / 60 < feeds[0] < 2 * math.pi * (200 + 184.2) / 55
    assert rest[1]["time_s"] == pytest.approx(60.0, rel=1e-6)


def test_a_line_of_the_program_is_a_place(ring: tuple[Path, Path], tmp_path: Path) -> None:
    _, old = ring
    lines = (old / "program.nc").read_text().splitlines()
    begin = next(i for i, line in enumerate(lines) if line.startswith("(bead index=3 "))
    result = replan(old, tmp_path / "rest", at_line=begin + 4, workers=1)  # the second half, counted from 1
    rest = laid_by(result.program)
    whole = [row for row in laid_by("\n".join(lines)) if row[0] == 3]

    assert result.document["join"]["old_program_line"] == begin + 3
    assert [row[3] for row in rest] == [row[3] for row in whole[1:]]
    # Its way is told by printed moves, so the place is theirs to a unit of the last place.
    assert rest[0][2] == pytest.approx(whole[1][2], abs=1.01e-4)


@pytest.mark.parametrize(
    ("where", "why"),
    [
        ({}, "--from-layer with --height"),
        ({"height": 4.0}, "--height 4 is given without a layer; say where"),
        ({"from_bead": 1, "at_line": 80}, "--from-bead and --at-line are given together"),
        ({"from_layer": 1, "from_bead": 1}, "--from-layer and --from-bead are given together"),
        ({"from_bead": 1, "height": 4.0}, "--height 4 goes with --from-layer.*leave it out"),
        ({"after": 300.0}, "--after 300 is given without a bead; say where"),
        (
            {"after": 300.0, "from_layer": 1, "height": 4.0},
            "--after 300 goes with --from-bead.*--from-layer says",
        ),
        ({"after": 0.5, "at_line": 80}, "--after 0.5 goes with --from-bead.*--at-line says"),
        ({"from_layer": 1}, "--from-layer 1 needs --height: measure"),
        ({"from_layer": 99}, "no layer 99 to take up on one below; allowed 1 to 1, or plan the part anew"),
        ({"from_bead": 4}, "lays no bead 4; allowed 0 to 3"),
        ({"from_bead": 1, "after": 2000.0}, "is 1157.363 mm long"),
        ({"at_line": 10**6}, "has the lines 1 to"),
    ],
)
def test_a_place_that_is_none_is_refused(ring: tuple[Path, Path], where: dict[str, int], why: str) -> None:
    with pytest.raises(SettingsError, match=why):
        replan(ring[1], workers=1, **where)


def test_after_the_last_bead_nothing_is_laid_any_more(ring: tuple[Path, Path]) -> None:
    last = len((ring[1] / "program.nc").read_text().splitlines())
    with pytest.raises(SettingsError, match="nothing is laid any more"):
        replan(ring[1], workers=1, at_line=last)


def test_a_program_that_is_not_of_the_plan_is_refused(ring: tuple[Path, Path], tmp_path: Path) -> None:
    import shutil

    other = tmp_path / "out"
    shutil.copytree(ring[1], other)
    text = (other / "program.nc").read_text()
    (other / "program.nc").write_text(
        text.replace("index=0 role", "index=9 role").replace("index=1 role", "index=0 role")
    )

    with pytest.raises(SettingsError, match="not of one run"):
        replan(other, tmp_path / "rest", from_bead=0, workers=1)
    assert not (tmp_path / "rest").exists()


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


def test_the_finished_part_goes_on_judging_the_rest(cone: Path, tmp_path: Path) -> None:
    """A post of radius 50, 30 mm high, in the cone, whose layers have its section at their middles."""
    import cadquery as cq

    tool = tmp_path / "post.step"
    cq.exporters.export(cq.Workplane().circle(50).extrude(30), str(tool))
    out = tmp_path / "out"
    (tmp_path / "job.toml").write_text('finished = "post.step"\nlayers = "4:6"\nworkers = 1\n')
    earlier = plan_part(str(cone), out, resolved=resolve({}, job=str(tmp_path / "job.toml")))
    rest = replan(out, from_layer=5, height=19.2, workers=1)

    told = rest.document["finished"]
    (side,) = [row for row in told["faces"] if row["kind"] == "cylinder"]
    # from 19.2 mm up to the earlier plan's end at 24 mm these are at 21.2 and 25.2 mm: radii 78.8 and 74.8
    assert side["stock_mm"] == {
        "least": pytest.approx(24.8, abs=0.02),
        "greatest": pytest.approx(28.8, abs=0.02),
    }
    assert told["sha256"] == earlier.document["finished"]["sha256"]
    assert rest.document["settings"]["finished"] == {"value": "post.step", "from": "job"}
    # volumes are those of a whole print only
    assert "machined_mm3" not in told

    moved = tmp_path / "post2.step"
    tool.rename(moved)
    with pytest.raises(SettingsError, match=r"name post\.step with --finished"):
        replan(out, from_layer=5, height=19.2, workers=1)
    found = replan(out, tmp_path / "again", from_layer=5, height=19.2, workers=1, finished=moved)
    assert found.document["finished"]["faces"] == told["faces"]
    moved.write_bytes(moved.read_bytes() + b"\n")
    with pytest.raises(SettingsError, match="is not the finished part of the earlier plan"):
        replan(out, tmp_path / "third", from_layer=5, height=19.2, workers=1, finished=moved)


def test_a_finished_part_for_a_plan_without_one_is_refused(planned: Path, cone: Path) -> None:
    with pytest.raises(SettingsError, match="judged against no finished part"):
        replan(planned, from_layer=5, height=19.2, finished=cone)
