"""How fast text is made and checked; ratios against one format call a line, in the same run."""

from __future__ import annotations

import math
import time

import numpy as np
import pytest

from beadwright.post import Words, layer_text, lint, standard
from beadwright.post._motion import motion_lines, move_formats
from beadwright.post._rounding import print_path
from beadwright.program import layer_program
from tests.post._build_programs import bead, layer, path, plan_layers

MOVES = 200_000

pytestmark = pytest.mark.bench


def wavy(n):
    """A closed path of n arcs with turning signs and radii, as fitted curves have."""
    t = np.arange(n) * (2 * math.pi / n)
    r = 1000 + 50 * np.sin(37 * t)
    return path(np.c_[r * np.cos(t), r * np.sin(t)], 1e-2 * np.cos(11 * t))


def seconds(work):
    best = math.inf
    for _ in range(3):
        begin = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - begin)
    return best


def test_text_of_many_moves(capsys):
    words = Words()
    moves = print_path(wavy(MOVES), words)
    formats = move_formats(standard(), words.decimals)
    text = motion_lines(moves, words, formats)
    events = layer_program(
        layer(plan_layers(0.0, 4.0, 4.0)[0]), [bead(wavy(MOVES))], first_bead=0, clearance=20.0, feed=100.0
    )
    rows = np.stack([moves.end.real, moves.end.imag, moves.centre.real, moves.centre.imag], 1) / 1e4
    rows = rows.tolist()
    plain = seconds(lambda: "".join([f"G3 X{x:.4f} Y{y:.4f} I{i:.4f} J{j:.4f}\n" for x, y, i, j in rows]))
    times = {
        "rounding and bound": seconds(lambda: print_path(wavy(MOVES), words)),
        "formatting": seconds(lambda: motion_lines(moves, words, formats)),
        "whole layer": seconds(lambda: layer_text(events)),
        "lint": seconds(lambda: lint("G21\nF6000\n" + text + "M2\n")),
        "one f-string a line": plain,
    }
    with capsys.disabled():
        print()
        for name, value in times.items():
            print(f"{name:22} {value / MOVES * 1e6:6.2f} us a move, {value / plain:5.2f} of an f-string")

    assert times["formatting"] < plain
