"""The sheet in a real browser: no error, no request, every control does something, numbers are those of plan.json."""

from __future__ import annotations

import base64
import itertools
import json
import math
import re
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from beadwright import plan
from beadwright.pipeline._warm import SAMPLE
from beadwright.report import sheet_page
from beadwright.report._sheet_page import sheet_file
from tests.report._browser import Page, browser
from tests.report._long_program import RADIUS, WIDTH, long_sheet, program_text

KEYS = {"up": "\ue013", "down": "\ue015", "left": "\ue012", "right": "\ue014", "page_up": "\ue00e", "home": "\ue011",
        "end": "\ue010", "escape": "\ue00c"}  # fmt: skip
LAYERS, MOVES = 12, 40


@pytest.fixture(scope="module")
def driver() -> Iterator[Any]:
    with browser() as found:
        yield found


@pytest.fixture(scope="module")
def rings(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("sheet") / "rings.html"
    path.write_text(sheet_page(long_sheet(LAYERS, MOVES)), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("sheet") / "out"
    plan(SAMPLE, out, layers=(0, 3), workers=1)
    return out


def test_a_plans_sheet_opens_without_an_error_and_asks_for_nothing(driver: Any, planned: Path) -> None:
    path = planned / "report.html"
    page = Page(driver, path)
    page.press("u", "d", "c", "v", "t", KEYS["up"])

    assert page.errors() == []
    assert page.requests() == [path.as_uri()]


def test_numbers_are_those_of_the_plan(driver: Any, planned: Path) -> None:
    page = Page(driver, planned / "report.html")
    document = json.loads((planned / "plan.json").read_text())
    totals = document["totals"]
    shown = page.text("[data-total=layers] .value").replace("\u202f", "")

    n_moves = totals["moves"]["line"] + totals["moves"]["arc"]
    assert shown == f"{totals['layers']}, {totals['beads']}, {n_moves}"
    assert page.run("return sheet.data.bounds_mm") == document["bounds_mm"]
    assert page.text("#findings").count("\u00b7") >= len(document["findings"])
    assert page.run("return sheet.data.findings_in_all") == len(document["findings"])
    for place, row in enumerate(document["layers"]):
        length = page.run(
            "const l = sheet.layerOf(arguments[0]); let s = 0;"
            "for (let i = 0; i < l.n; i++) if (l.run_bead[l.run[i]] >= 0) s += l.length[i]; return s",
            place,
        )
        # the packed coordinates are good to 1e-5 mm, the printed ones to 1e-4, so a move to less than 1e-3
        assert length == pytest.approx(
            row["length_mm"], abs=1e-3 * (row["moves"]["line"] + row["moves"]["arc"])
        )
    rows = page.run(
        "return [...document.querySelectorAll('#process tr[data-key]')].map((r) => r.dataset.key)"
    )
    assert rows == list(document["settings"])
    assert page.text("#process tr[data-key^=fit_arcs] td") == "none"
    assert "null" not in page.text("#process")


def test_times_and_small_lengths_are_told_as_the_terminal_tells_them(driver: Any, rings: Path) -> None:
    """Times are rounded, never cut off; what is below a nanometre has no digits that mean anything."""
    told = Page(driver, rings).run(
        sheet_file("units.js").replace("export function", "function")
        + "return [17031, 17009.9, 3599.6, 751, 59.6].map(timeText)"
        ".concat([4.5e-14, -1e-9, 0, 1e-6].map((mm) => smallText(mm, 'mm')), smallText(1e-9, 'in'))"
    )

    # 4 h 43 min 51 s; 4 h 43 min 29.9 s; 59 min 59.6 s; 12 min 31 s
    assert told[:5] == ["4:44 h", "4:43 h", "1:00 h", "12:31 min", "1:00 min"]
    assert told[5:9] == ["< 0.001 \u00b5m", "< 0.001 \u00b5m", "0 mm", "0.001 \u00b5m"]
    assert told[9] == "< 3.9\u00b710\u207b\u2078 in"  # 1e-6 / 25.4


def test_a_plans_head_is_what_its_schema_says(planned: Path) -> None:
    data = re.search(r'id="data">(.*?)</script>', (planned / "report.html").read_text(), flags=re.DOTALL)

    assert data is not None
    jsonschema.validate(json.loads(data[1]), json.loads(sheet_file("sheet.schema.json")))


def test_a_move_names_its_line_of_the_program(driver: Any, planned: Path) -> None:
    page = Page(driver, planned / "report.html")
    lines = (planned / "program.nc").read_text().split("\n")
    page.press(KEYS["right"], KEYS["right"], KEYS["right"])
    told = re.search(r"to X (\S+) mm Y (\S+) mm .* program line (\d+)", page.text("#readout"))

    assert told is not None
    x, y = (float(told[k].replace("\u2212", "-").replace("\u202f", "")) for k in (1, 2))
    assert lines[int(told[3]) - 1].startswith(
        (f"G1 X{x:.4f} Y{y:.4f}", f"G2 X{x:.4f} Y{y:.4f}", f"G3 X{x:.4f} Y{y:.4f}")
    )


def test_a_bead_whose_width_changes_is_drawn_with_one_start(driver: Any, tmp_path: Path) -> None:
    lines = program_text(1, MOVES).split("\n")
    arcs = [k for k, line in enumerate(lines) if line.startswith("G3 ")]
    for place, width in ((arcs[12], 7.9), (arcs[6], 8.1)):
        lines.insert(place, f"(width mm={width})")
    path = tmp_path / "varied.html"
    path.write_text(sheet_page(long_sheet(1, MOVES, text="\n".join(lines))), encoding="utf-8")
    page = Page(driver, path)
    page.run(
        "window.starts = new Set(); const arc = CanvasRenderingContext2D.prototype.arc;"
        "CanvasRenderingContext2D.prototype.arc = function (x, y, r, ...rest) {"
        " if (r === 2.6) window.starts.add(`${x},${y}`); return arc.call(this, x, y, r, ...rest); };"
    )
    page.press("t", "t")

    runs = page.run("return [...sheet.layerOf(0).run_bead].filter((bead) => bead >= 0)")
    assert runs == [0, 0, 0, 1]
    assert page.run("return window.starts.size") == 2


def test_faces_and_curves_are_told(driver: Any, planned: Path) -> None:
    page = Page(driver, planned / "report.html")
    share = page.run(
        "const l = sheet.layerOf(1); let known = 0, all = 0;"
        "for (let i = 0; i < l.n; i++) if (l.run_bead[l.run[i]] >= 0) { all += 1; known += l.source[i] < 2; }"
        "return known / all"
    )

    assert share > 0.9
    assert page.run("return sheet.data.knows.face")


@pytest.mark.parametrize(
    ("key", "canvases"),
    [
        (KEYS["up"], ("section", "elevation", "column")),
        ("c", ("section",)),
        ("u", ("section", "elevation")),
        ("d", ("section", "elevation", "column")),
        ("v", ("elevation",)),
        ("t", ("section",)),
        ("+", ("section",)),
        (KEYS["right"], ("section",)),
        ("f", ("section", "elevation")),
    ],
    ids=["layer", "colours", "units", "dark", "side", "traverses", "zoom", "move", "finding"],
)
def test_every_key_changes_the_picture(driver: Any, rings: Path, key: str, canvases: tuple[str, ...]) -> None:
    page = Page(driver, rings)
    if key == "t":  # the ways between these rings are short: seen from near
        page.press("f")
    before = {name: page.picture(name) for name in canvases}
    page.press(key)

    assert [name for name in canvases if page.picture(name) == before[name]] == []
    assert page.errors() == []


def test_colours_that_are_not_known_are_closed_with_a_reason(driver: Any, rings: Path) -> None:
    page = Page(driver, rings)
    closed = page.run(
        "return [...document.querySelectorAll('#colours label')].filter((l) => l.querySelector(':disabled'))"
        ".map((l) => [l.textContent, l.title])"
    )

    assert [name for name, _ in closed] == ["curve", "face", "deviation"]
    assert all(reason for _, reason in closed)


def test_keys_alone_walk_through_layers_and_moves(driver: Any, rings: Path) -> None:
    page = Page(driver, rings)
    page.press(KEYS["home"])
    assert page.state("layer") == 0
    page.press(KEYS["page_up"])
    assert page.state("layer") == 10
    page.press(KEYS["end"], KEYS["down"])
    assert page.state("layer") == LAYERS - 2
    page.press(KEYS["left"])
    # the last move of the layer: two traverses and all arcs
    assert page.state("move") == MOVES + 1
    page.press(KEYS["right"])
    assert (page.state("layer"), page.state("move")) == (LAYERS - 1, 0)


def test_a_click_on_a_finding_jumps_to_its_place(driver: Any, rings: Path) -> None:
    page = Page(driver, rings)
    page.click("#findings button")

    assert page.state("layer") == LAYERS // 3
    assert page.run("return [sheet.view.cx, sheet.view.cy]") == [RADIUS, 0.0]
    assert (
        page.run("return document.querySelector('#findings button').getAttribute('aria-pressed')") == "true"
    )


def test_a_click_in_the_build_column_picks_the_layer(driver: Any, rings: Path) -> None:
    page = Page(driver, rings)
    page.run(
        "const c = document.getElementById('column'), r = c.getBoundingClientRect();"
        "const at = { clientX: r.left + 20, clientY: r.bottom - 63, bubbles: true, pointerId: 1 };"
        "c.dispatchEvent(new PointerEvent('pointerdown', at))"
    )

    # the platform is drawn 62 pixels above the lower edge, so this is in the lowest layer
    assert page.state("layer") == 0


def test_a_dimension_over_a_ring_is_its_diameter(driver: Any, rings: Path) -> None:
    page = Page(driver, rings)
    page.press(KEYS["home"])
    for move in (MOVES // 4, MOVES // 2):  # half a turn apart; where the sine that wavers is 0
        page.run("sheet.store.set({ move: arguments[0] }); sheet.store.flush()", move)
        page.press("m")
    (ax, ay), (bx, by) = page.state("dimension")

    # layer 0: radius 600 less half a bead, on both sides; printed to 1e-4 mm
    assert math.hypot(bx - ax, by - ay) == pytest.approx(2 * (RADIUS - WIDTH / 2), abs=2e-4)


def test_it_runs_along_the_program_in_time(driver: Any, rings: Path) -> None:
    page = Page(driver, rings)
    page.press(KEYS["home"])
    page.run("sheet.store.set({ rate: 60 })")
    page.press(" ")
    time.sleep(0.4)
    first = page.state("run") + 1000 * page.state("layer")
    time.sleep(0.3)
    second = page.state("run") + 1000 * page.state("layer")
    page.press(" ")

    assert 0 < first < second
    assert page.state("run") is None


@pytest.mark.parametrize("size", [(1680, 1000), (1100, 760)], ids=str)
def test_all_parts_of_the_sheet_have_room(driver: Any, rings: Path, size: tuple[int, int]) -> None:
    page = Page(driver, rings, size)
    boxes = page.run(
        "return [...document.querySelectorAll('section')].map((s) => { const r = s.getBoundingClientRect();"
        "return [s.id, r.left, r.top, r.width, r.height, s.scrollWidth - s.clientWidth]; })"
    )

    assert len(boxes) == 7
    for name, left, top, width, height, over in boxes:
        assert min(left, top) >= 0, name
        assert (width > 140, height > 240, over <= 1) == (True, True, True), name
        assert (left + width <= size[0], top + height <= size[1]) == (True, True), name
    cut = page.run(
        "return [...document.querySelectorAll('.cell')].filter((c) => c.scrollHeight > c.clientHeight + 2).length"
    )
    assert cut == 0


@pytest.mark.parametrize("size", [(1680, 1000), (1280, 800)], ids=str)
def test_the_title_block_is_seen_whole_with_its_signature_lines(
    driver: Any, planned: Path, size: tuple[int, int]
) -> None:
    page = Page(driver, planned / "report.html", size)
    hidden, cut = page.run(
        "const b = document.getElementById('title-block'), r = b.getBoundingClientRect();"
        "return [b.scrollHeight - b.clientHeight, [...b.children].filter((c) => {"
        " const q = c.getBoundingClientRect();"
        " return q.bottom > r.bottom + 1 || c.scrollHeight > c.clientHeight + 2; }).length]"
    )

    assert (hidden <= 0, cut) == (True, 0)
    assert "operator, date" in page.text("#title-block")
    # thousands are set apart by a space at which no line breaks
    assert page.run("return /\\d\\u2009\\d/.test(document.body.textContent)") is False


def test_it_prints_on_a3(driver: Any, rings: Path) -> None:
    page = Page(driver, rings)
    page.press("d")
    told = driver.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True, "printBackground": True})
    data = base64.b64decode(told["data"])
    width, height = (float(v) for v in re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", data)[0])

    # A3 is 420 mm x 297 mm (ISO 216); a point is 1/72 inch; the printer rounds to its own dots
    assert (width * 25.4 / 72, height * 25.4 / 72) == pytest.approx((420, 297), abs=0.3)
    assert len(re.findall(rb"/Type ?/Page\b", data)) == 2


CROWD = """
const box = sheet.data.box_mm, size = [0, 1, 2].map((k) => box[1][k] - box[0][k]);
let seed = 7;
const random = () => { seed = (seed * 16807) % 2147483647; return seed / 2147483647; };
sheet.data.findings = Array.from({ length: arguments[0] }, (_, k) => {
  // a third of them in one corner, the others anywhere
  const share = k % 3 ? [random(), random(), random()] : [0.1, 0.1, 0.5 + 0.001 * random()];
  return { number: k + 1, code: "void", level: ["note", "warning", "error"][k % 3], text: "planted", layer: 1,
    at_mm: [0, 1, 2].map((i) => box[0][i] + share[i] * size[i]) };
});
"""


def crossing(a: dict[str, float], b: dict[str, float], x: float) -> bool:
    """Whether two leaders to a column at x cross: by the order of their heights where both are."""

    def height(one: dict[str, float], at: float) -> float:
        return one["sy"] + (one["y"] - one["sy"]) * (at - one["sx"]) / (x - one["sx"])

    first = max(a["sx"], b["sx"])
    return (height(a, first) - height(b, first)) * (a["y"] - b["y"]) < 0


@pytest.mark.parametrize("size", [(1680, 1000), (1100, 760)], ids=str)
@pytest.mark.parametrize("count", [6, 90])
def test_balloons_share_a_place_and_no_two_leaders_cross(
    driver: Any, rings: Path, size: tuple[int, int], count: int
) -> None:
    page = Page(driver, rings, size)
    page.run(CROWD, count)
    for side in (False, True):
        page.run("sheet.store.set({ side: arguments[0], layer: 1 }); sheet.store.flush()", side)
        found = page.run("return sheet.balloons()")
        shown, column = (
            found["shown"],
            page.run("return document.getElementById('elevation').clientWidth") - 18,
        )
        heights = sorted(one["y"] for one in shown)

        assert sum(1 + one["more"] for one in shown) + found["rest"] == count
        assert [b - a >= 22.9 for a, b in itertools.pairwise(heights)] == [True] * (len(shown) - 1)
        assert not any(crossing(a, b, column) for a, b in itertools.combinations(shown, 2))
    assert page.errors() == []


def timed(page: Page, layers: int) -> list[float]:
    """Milliseconds that changes to far layers take, pixels included."""
    found = page.run(
        "const out = [], c = document.getElementById('section').getContext('2d');"
        "for (let k = 1; k < 16; k++) { const t = performance.now();"
        "sheet.store.set({ layer: (k * 37) % arguments[0], move: null }); sheet.store.flush();"
        "c.getImageData(0, 0, 1, 1); out.push(performance.now() - t); } return out",
        layers,
    )
    return sorted(float(v) for v in found)


def test_a_long_program_opens_at_once(driver: Any, tmp_path: Path) -> None:
    path = tmp_path / "long.html"
    path.write_text(sheet_page(long_sheet(40, 1000)), encoding="utf-8")
    start = time.monotonic()
    page = Page(driver, path)

    assert time.monotonic() - start < 3.0
    # the quickest third: what the page needs, and not what else this machine has to do
    assert timed(page, 40)[4] < 50.0
    # a million of these moves would be 25 times as large
    assert path.stat().st_size * 25 < 40e6


@pytest.mark.byhand
def test_a_million_moves(driver: Any, tmp_path: Path) -> None:
    path = tmp_path / "million.html"
    path.write_text(sheet_page(long_sheet(500, 2000)), encoding="utf-8")
    start = time.monotonic()
    page = Page(driver, path)

    assert time.monotonic() - start < 3.0
    assert timed(page, 500)[7] < 50.0
    assert path.stat().st_size < 40e6


BORDER = """
sheet.store.set({ turn: arguments[0], tip: arguments[1] }); sheet.store.flush();
const c = document.getElementById("part"), pen = c.getContext("2d");
const field = [...pen.getImageData(0, 0, 1, 1).data].join(), { width: w, height: h } = c;
const bare = (x, y, wide, high) => { const d = pen.getImageData(x, y, wide, high).data; let n = 0;
  for (let i = 0; i < d.length; i += 4) n += [...d.slice(i, i + 4)].join() !== field; return n; };
return [bare(0, 0, w, 1) + bare(0, h - 1, w, 1) + bare(0, 0, 1, h) + bare(w - 1, 0, 1, h), bare(0, 0, w, h)];
"""


def test_all_of_the_part_is_seen_though_few_of_its_layers_are_planned(driver: Any, planned: Path) -> None:
    page = Page(driver, planned / "report.html")
    layers, whole = page.run("return [sheet.data.box_mm, sheet.data.whole_mm]")

    # three layers of a part that is higher
    assert whole[1][2] > layers[1][2] + 10
    for turn, tip in ((-0.6, 0.5), (0.3, 0.0), (2.0, -1.2)):
        border, painted = page.run(BORDER, turn, tip)
        assert (border, painted > 2000) == (0, True)
    # the elevation shows it too: its top is in the picture, under the headings' room
    pale = page.run(
        "const c = document.getElementById('elevation');"
        "const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data;"
        "let top = 1e9; const is = (i) => d[i] === 0xf6 && d[i + 1] === 0xf2 && d[i + 2] === 0xe7;"
        "for (let i = 0; i < d.length; i += 4) if (is(i)) { top = Math.floor(i / 4 / c.width); break; } return top"
    )
    assert 40 < pale < 600


def test_another_layer_colours_the_part_anew(driver: Any, planned: Path) -> None:
    page = Page(driver, planned / "report.html")
    before = page.picture("part")
    page.press(KEYS["up"])
    after = page.picture("part")
    page.press(KEYS["down"])

    assert after != before
    assert page.picture("part") == before
