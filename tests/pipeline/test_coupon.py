"""Test pieces and the cards fitted to them: what is filled into a sheet by a known law comes back."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from beadwright.errors import OutputError, SettingsError
from beadwright.pipeline import calibrate, coupon
from beadwright.settings import parse_document, resolve
from tests.post._reader import read

KINDS = ("width", "lag", "overlap", "corner", "lean", "circle")


def written(kind: str, folder: Path, **options: object) -> tuple[str, list[dict[str, str]]]:
    coupon(kind, folder, resolved=resolve(options))
    with (folder / "measured.csv").open(newline="") as sheet:
        rows = list(csv.DictReader(sheet))
    program = folder / "program.nc"
    return program.read_text() if program.exists() else "", rows


def filled(rows: list[dict[str, str]], folder: Path, **law) -> Path:
    """The sheet with some columns filled by a function of the row."""
    path = folder / "filled.csv"
    with path.open("w", newline="") as sheet:
        table = csv.DictWriter(sheet, rows[0].keys())
        table.writeheader()
        table.writerows({**row, **{name: f(row) for name, f in law.items()}} for row in rows)
    return path


@pytest.mark.parametrize("kind", KINDS)
def test_a_program_is_read_back_where_it_belongs(kind: str, tmp_path: Path) -> None:
    text, rows = written(kind, tmp_path / "c", at="1000,-200")
    machine = read(text)

    assert rows
    assert {row["coupon"] for row in rows} == {kind}
    assert f"(TEST PIECE {kind}." in text
    assert "CAUTION" in text
    assert machine is not None
    places = _ends(text)
    middle = (places.min(axis=0) + places.max(axis=0)) / 2
    # Run-off and lean make a piece longer on one side; the outermost blocks differ in spacing.
    loose = {"lag": 500.0, "lean": 60.0, "overlap": 3.0}
    assert np.abs(middle - [1000, -200]).max() < loose.get(kind, 1e-6)


def _ends(text: str, words: tuple[str, ...] = ("G0 X", "G1 X", "G2 X", "G3 X")) -> np.ndarray:
    """End points of moves in the plane."""
    words = [line.split() for line in text.splitlines() if line.startswith(words)]
    return np.array([[float(w[1][1:]), float(w[2][1:])] for w in words])


# Four feeds of 100 mm/s, each as F in mm/min.
def test_beads_of_a_piece_have_their_own_feeds(tmp_path: Path) -> None:
    text, rows = written("width", tmp_path / "c")

    assert sorted({float(row["feed_mm_s"]) for row in rows}) == [50.0, 75.0, 100.0, 125.0]
    feeds = [float(line[1:]) for line in text.splitlines() if line.startswith("F")]
    assert {3000.0, 4500.0, 6000.0, 7500.0} <= set(feeds)


# 3.1 n - 4 g/min over 20 to 120 rpm: 13.789 kg/h of a flat bead of 8.4 x 4 mm at 100 mm/s (density 1.14) lie inside.
COMMANDED = """
[extruder]
flow_control = "s-word"
[controller]
dialect = "rs274-screw"
""" + "".join(f"[[extruder.calibration]]\nrpm = {n}\nrate = {(3.1 * n - 4) * 0.06}\n" for n in (20, 70, 120))


def test_widths_are_laid_at_several_screw_speeds_where_the_program_commands_them(tmp_path: Path) -> None:
    machine = parse_document(COMMANDED, name="m.toml", told="machine")
    coupon("width", tmp_path / "c", resolved=resolve({}, machine=machine))
    with (tmp_path / "c" / "measured.csv").open(newline="") as sheet:
        rows = list(csv.DictReader(sheet))
    flows = [float(row["flow"]) for row in rows]
    feeds = [float(row["feed_mm_s"]) for row in rows]
    text = (tmp_path / "c" / "program.nc").read_text()
    speeds = [float(line.split("S")[1]) for line in text.splitlines() if line.startswith("M3 S")]

    assert flows == [1, 1, 1, 1, 0.8, 0.9, 1.1, 1.2]
    assert feeds[4:] == [100.0] * 4
    # g/min of each bead: width x height x feed x density, by its flow; the line above turned round
    mass = [33.6 * feed * 1.14e-3 * 60 * flow for feed, flow in zip(feeds, flows, strict=True)]
    assert speeds == pytest.approx([(each + 4) / 3.1 for each in mass], abs=1e-3)

    # a flat bead that gets a tenth more is a tenth wider
    law = filled(rows, tmp_path, width_mm=lambda r: 8.5 + 8.4 * (float(r["flow"]) - 1))
    made = calibrate(law)
    assert made.job == "width = 8.5\n"
    assert "+0.084 mm for each percent of flow" in made.told[0][1]


def test_a_round_bead_is_never_narrower_than_high(tmp_path: Path) -> None:
    machine = parse_document(COMMANDED, name="m.toml", told="machine")
    coupon(
        "width",
        tmp_path / "c",
        resolved=resolve(
            {"bead_section": "round", "width": 4.2, "height": 4.0, "feed": 150.0}, machine=machine
        ),
    )
    with (tmp_path / "c" / "measured.csv").open(newline="") as sheet:
        flows = [float(row["flow"]) for row in csv.DictReader(sheet)]

    # 4 mm wide at the least: 0.2 mm less than 4.2, of an area of 4 x 0.2 + 4 pi mm2 over 4 mm
    least = 1 - 0.2 / (0.2 + math.pi)
    assert flows[4:] == pytest.approx([least, least, 1.1, 1.2], abs=1e-4)


def test_leaning_walls_step_by_height_times_tangent(tmp_path: Path) -> None:
    text, _ = written("lean", tmp_path / "c", height=4.0)
    y = _ends(text, ("G1 X",))[:, 1].reshape(10, 5)

    for column, lean in enumerate((10, 20, 30, 40, 50)):
        assert np.diff(y[:, column]) == pytest.approx(4 * math.tan(math.radians(lean)), abs=2e-4)


def test_a_lag_comes_back(tmp_path: Path) -> None:
    _, rows = written("lag", tmp_path / "c")

    def width(row: dict[str, str]) -> float:
        dead, tau = (0.12, 0.35) if row["command"] == "start" else (0.18, 0.5)
        left = math.exp(-max(float(row["time_s"]) - dead, 0.0) / tau)
        return round(8.4 * (1 - left if row["command"] == "start" else left), 9)

    made = calibrate(filled(rows, tmp_path, width_mm=width, full_width_mm=lambda _: 8.4), tmp_path / "out")
    text = (tmp_path / "out" / "machine-measured.toml").read_text()
    card = resolve({}, machine=parse_document(text, name="m.toml", told="machine")).machine.extruder.lag

    assert card is not None
    assert [card.dead_up, card.tau_up, card.dead_down, card.tau_down] == pytest.approx(
        [0.12, 0.35, 0.18, 0.5], abs=1e-3
    )
    assert made.machine == text
    assert not (tmp_path / "out" / "job-measured.toml").exists()


def test_weighed_purges_come_back(tmp_path: Path) -> None:
    text, rows = written("screw", tmp_path / "c")
    assert text == ""

    # 3.1 n - 5 g/min over 60 s.
    made = calibrate(filled(rows, tmp_path, seconds=lambda _: 60, mass_g=lambda r: 3.1 * float(r["rpm"]) - 5))
    # no more digits than a weighing has
    assert max(len(line) for line in made.machine.splitlines() if line.startswith("rate")) <= 20
    card = resolve({}, machine=parse_document(made.machine, name="m.toml", told="machine")).machine

    for row in card.extruder.calibration:
        assert row.rate == pytest.approx((3.1 * row.rpm - 5) * 0.06, rel=1e-9)
    assert made.told[0][1].startswith("0.186 kg/h a rpm, intercept -0.3 kg/h")


def test_widths_and_spacings_come_back(tmp_path: Path) -> None:
    _, rows = written("width", tmp_path / "w")
    made = calibrate(filled(rows, tmp_path, width_mm=lambda r: 8.6 + 0.01 * (int(r["bead"]) % 2)))
    assert resolve(
        {}, job=parse_document(made.job, name="j.toml", told="job")
    ).settings.width == pytest.approx(8.605)

    _, rows = written("overlap", tmp_path / "o")
    area = 30.166  # of one bead, mm2
    made = calibrate(filled(rows, tmp_path, height_mm=lambda r: 3 * max(area / float(r["spacing_mm"]), 4.0)))
    spacing = resolve({}, job=parse_document(made.job, name="j.toml", told="job")).settings.spacing
    assert spacing == pytest.approx(area / 4, abs=1e-3)


def test_circles_corners_and_leans_are_told(tmp_path: Path) -> None:
    _, rows = written("circle", tmp_path / "c")
    path = filled(rows, tmp_path, measured_mm=lambda r: 0.998 * float(r["drawn_mm"]) + 0.4)
    assert "measured = 0.998000 x drawn +0.4 mm" in calibrate(path).told[0][1]

    _, rows = written("corner", tmp_path / "k")
    path = filled(rows, tmp_path, cut_mm=lambda r: float(r["feed_mm_s"]) / 200)
    assert "up to 0.625 mm" in calibrate(path).told[0][1]

    _, rows = written("lean", tmp_path / "l")
    path = filled(rows, tmp_path, good=lambda r: int(float(r["lean_deg"]) < 45))
    assert "up to 40 degrees" in calibrate(path).told[0][1]


def test_interface_readings_narrow_the_band_and_sheets_may_be_joined(tmp_path: Path) -> None:
    path = tmp_path / "both.csv"
    path.write_text(
        "coupon,predicted_c,measured_c,feed_mm_s,width_mm\n"
        "interface,150,147,,\ninterface,140,143,,\ninterface,130,127,,\n"
        "width,,,50,8.5\nwidth,,,100,8.5\nwidth,,,150,8.5\n"
    )
    made = calibrate(path)
    job = resolve({}, job=parse_document(made.job, name="j.toml", told="job")).settings

    assert job.layer_time.band == pytest.approx(6.0)
    assert job.width == pytest.approx(8.5)
    assert made.skipped == 0


def test_an_empty_sheet_is_refused(tmp_path: Path) -> None:
    written("width", tmp_path / "c")

    with pytest.raises(SettingsError, match="no row holds a measurement"):
        calibrate(tmp_path / "c" / "measured.csv")


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "first line must name"),
        ("kind,width_mm\n", "coupon among them"),
        ("coupon,feed_mm_s\nwidth,100\n", "needs the column width_mm"),
        ("coupon,feed_mm_s,width_mm\nwidth,100,eight\n", r":2: width_mm is 'eight'"),
        ("coupon,feed_mm_s,width_mm\nwdith,100,8\n", r":2: coupon is 'wdith'"),
        ("coupon,feed_mm_s,width_mm\nwidth,100,8\n", "1 row"),
        ("coupon,feed_mm_s,width_mm\nwidth,100,nan\nwidth,50,8\nwidth,50,8\n", "every row needs a number"),
        ('coupon,"feed\n', "no CSV"),
    ],
)
def test_faulty_sheets_are_refused(tmp_path: Path, text: str, why: str) -> None:
    path = tmp_path / "sheet.csv"
    path.write_text(text)

    with pytest.raises(SettingsError, match=why):
        calibrate(path)


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    _, rows = written("width", tmp_path / "c")
    path = filled(rows, tmp_path, width_mm=lambda _: 8.4)
    calibrate(path, tmp_path / "out")

    with pytest.raises(OutputError, match="is there already"):
        calibrate(path, tmp_path / "out")
    with pytest.raises(OutputError, match="choose another folder"):
        coupon("width", tmp_path / "c", resolved=resolve({}))
    with pytest.raises(SettingsError, match="no such test piece"):
        coupon("tower", tmp_path / "x", resolved=resolve({}))


def test_a_sheet_that_may_be_filled_in_is_never_replaced(tmp_path: Path) -> None:
    written("lag", tmp_path / "c")

    with pytest.raises(OutputError, match=r"holds the measured.csv of a test piece"):
        written("lag", tmp_path / "c")
