"""Where the section is smooth the printed moves are too, to the digits: the gantry has nothing to brake for."""

from __future__ import annotations

import math
import re
import subprocess
import sys
from itertools import pairwise
from pathlib import Path

import pytest

EXAMPLES = Path(__file__).parents[2] / "step_examples"
UNIT = 1e-4
MOVE = re.compile(r"G([123]) X(\S+) Y(\S+)(?: I(\S+) J(\S+))?")


CONTOUR = re.compile(r" role=contour .* closed=1")
MEDIAL = re.compile(r" role=medial .* closed=0")


def moves_of(text: str, kind: re.Pattern[str]) -> list[list[tuple[float, float, float]]]:
    """Heading at the start, at the end, and length of each move of each bead of a kind, mm and rad."""
    beads, open_bead, x, y = [], False, 0.0, 0.0
    for line in text.splitlines():
        if line.startswith("(bead "):
            open_bead = kind.search(line) is not None
            if open_bead:
                beads.append([])
        elif line.startswith("(end bead"):
            open_bead = False
        place = re.match(r"G[0123] X(\S+) Y(\S+)", line)
        if not place:
            continue
        to_x, to_y = float(place[1]), float(place[2])
        move = MOVE.match(line)
        if open_bead and move:
            if move[1] == "1":
                heading = math.atan2(to_y - y, to_x - x)
                beads[-1].append((heading, heading, math.hypot(to_x - x, to_y - y)))
            else:
                centre_x, centre_y = x + float(move[4]), y + float(move[5])
                side = 1.0 if move[1] == "3" else -1.0
                start = math.atan2(y - centre_y, x - centre_x)
                end = math.atan2(to_y - centre_y, to_x - centre_x)
                sweep = (side * (end - start)) % (2 * math.pi)
                quarter = side * math.pi / 2
                radius = math.hypot(x - centre_x, y - centre_y)
                beads[-1].append((start + quarter, end + quarter, radius * sweep))
        x, y = to_x, to_y
    return beads


# Part, layers, and corners of one section: the hull's at its transoms; the mould's four at its sides and two where
# the tool face ends, those on its inner side as well.
SMOOTH = [("tender_hull", "60:61", 8), ("hatch_cover_mould", "100:101", 12)]


@pytest.mark.parametrize(("part", "layers", "most"), SMOOTH)
def test_printed_kinks_of_a_smooth_section_are_below_two_and_a_half_units(part, layers, most, tmp_path):
    """Smooth skins, one of them across the joint of two patches; where a bead closes, too."""
    out = tmp_path / "out"
    command = [sys.executable, "-m", "beadwright", "plan", str(EXAMPLES / f"{part}.step"), "-o", str(out)]
    options = ["--layers", layers, "--contours", "1", "--decimals", "4", "--workers", "1", "--quiet"]
    subprocess.run([*command, *options], check=True, capture_output=True, timeout=600)

    text = (out / "program.nc").read_text()
    beads = moves_of(text, CONTOUR)
    assert sum(map(len, beads)) > 20
    corners = 0
    for moves in beads:
        for before, after in pairwise([*moves, moves[0]]):
            turn = abs(math.remainder(after[0] - before[1], 2 * math.pi))
            if turn > 0.1:
                corners += 1
            else:
                assert turn * min(before[2], after[2]) <= 2.5 * UNIT
    assert corners <= most

    # walls of one bead: their middles bend beside the wall's inner corners, and have no corner of their own
    medial = moves_of(text, MEDIAL)
    assert part != "tender_hull" or sum(map(len, medial)) > 8
    for moves in medial:
        for before, after in pairwise(moves):
            turn = abs(math.remainder(after[0] - before[1], 2 * math.pi))
            assert turn * min(before[2], after[2]) <= 2.5 * UNIT
