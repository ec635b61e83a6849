"""Faults planted in a clean program of ours: what is changed, where it must be found, and under which codes."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass

ARC = re.compile(r"^(G[23]) X(\S+) Y(\S+) I(\S+) J(\S+)$", re.MULTILINE)


@dataclass(frozen=True)
class Planted:
    """A faulty program, the lines at which the fault may be told, and the codes one of which it must have."""

    text: str
    lines: frozenset[int]
    codes: frozenset[str]


def line_of(text: str, place: int) -> int:
    return text.count("\n", 0, place) + 1


def _second(text: str) -> int:
    """Index of the program's second layer, which the faults are planted in."""
    return int(text.split("(layer index=", 2)[2].split(" ", 1)[0])


def _layer(text: str) -> int:
    return text.index(f"(layer index={_second(text)} ")


def _bead(text: str, role: str = "role=contour") -> tuple[int, int]:
    """From the traverse to the start of the layer's first bead of a kind, up to its end."""
    bead = text.index("(bead ", _layer(text))
    while role not in text[bead : text.index("\n", bead)]:
        bead = text.index("(bead ", bead + 1)
    return text.rindex("\nG0 X", 0, bead) + 1, text.index("(end bead)", bead)


def _span(text: str, start: int, stop: int) -> frozenset[int]:
    return frozenset(range(line_of(text, start), line_of(text, stop) + 1))


def _moved(text: str, off: float) -> Planted:
    start, stop = _bead(text)
    inside = re.sub(
        r"^(G[0-3] X)(\S+)", lambda m: f"{m[1]}{float(m[2]) + off:.4f}", text[start:stop], flags=re.M
    )
    new = text[:start] + inside + text[stop:]
    code = "outside" if abs(off) > 10 else "profile"
    return Planted(new, _span(text, start, stop), frozenset({code}))


def bead_moved(text: str) -> Planted:
    return _moved(text, 0.05)


def bead_outside(text: str) -> Planted:
    return _moved(text, 300.0)


def _arc(text: str) -> tuple[re.Match[str], tuple[float, float]]:
    """The layer's first arc and its start."""
    start, stop = _bead(text)
    found = ARC.search(text, start, stop)
    assert found is not None
    before = re.findall(r"X(\S+) Y(\S+)", text[start : found.start()])[-1]
    return found, (float(before[0]), float(before[1]))


def _recentred(text: str, along_chord: float, across: float, codes: set[str]) -> Planted:
    """The arc's centre moved along its chord and across it, printed fine enough that only that counts."""
    found, (x0, y0) = _arc(text)
    dx, dy = float(found[2]) - x0, float(found[3]) - y0
    size = math.hypot(dx, dy)
    i = float(found[4]) + (along_chord * dx - across * dy) / size
    j = float(found[5]) + (along_chord * dy + across * dx) / size
    arc = f"{found[1]} X{found[2]} Y{found[3]} I{i:.7f} J{j:.7f}"
    new = text[: found.start()] + arc + text[found.end() :]
    return Planted(new, frozenset({line_of(text, found.start())}), frozenset(codes))


def wrong_centre(text: str) -> Planted:
    return _recentred(text, 0.5, 0.3, {"standard-arc-rule"})


def wrong_centre_that_obeys_the_rule(text: str) -> Planted:
    return _recentred(text, 0.0, 0.5, {"profile"})


def arc_mismatch(text: str) -> Planted:
    """Radii that differ by 0.0021 mm: by how far along the chord, by bisection."""
    found, (x0, y0) = _arc(text)
    dx, dy = float(found[2]) - x0, float(found[3]) - y0
    size = math.hypot(dx, dy)
    low, high = 0.0, 1.0
    for _ in range(60):
        t = (low + high) / 2
        i, j = float(found[4]) + t * dx / size, float(found[5]) + t * dy / size
        off = abs(math.hypot(i, j) - math.hypot(dx - i, dy - j))
        low, high = (t, high) if off < 0.0021 else (low, t)
    return _recentred(text, low, 0.0, {"standard-arc-rule"})


def _recount(text: str, key: str, less: int) -> str:
    return re.sub(rf"(\(program [^)]*{key}=)(\d+)", lambda m: f"{m[1]}{int(m[2]) - less}", text, count=1)


def layer_missing(text: str) -> Planted:
    start, stop = _layer(text), text.index(f"(layer index={_second(text) + 1} ")
    new = _recount(text[:start] + text[stop:], "layers", 1)
    new = _recount(new, "beads", text[start:stop].count("(bead "))
    return Planted(new, frozenset({line_of(text, start)}), frozenset({"missing-layer"}))


def _without_bead(text: str, role: str) -> tuple[str, int]:
    start, stop = _bead(text, role)
    stop = text.index("\n", stop) + 1
    index = re.search(r"\(bead index=(\d+)", text[start:stop])
    assert index is not None
    new = _recount(text[:start] + text[stop:], "beads", 1)
    # the numbers close up, so that only the part itself can tell
    new = re.sub(
        r"\(bead index=(\d+)",
        lambda m: f"(bead index={int(m[1]) - (int(m[1]) > int(index[1]))}",
        new,
    )
    return new, start


def hole_left_out(text: str) -> Planted:
    new, _ = _without_bead(text, "hole=1")
    return Planted(new, frozenset({line_of(new, _layer(new))}), frozenset({"missing-bead"}))


def bead_missing(text: str) -> Planted:
    new, _ = _without_bead(text, "rank=2")
    return Planted(new, frozenset({line_of(new, _layer(new))}), frozenset({"missing-bead"}))


def wrong_unit(text: str) -> Planted:
    new = text.replace("\nG21\n", "\nG20\n", 1)
    first = re.search(r"^G[0-3] [XYZ]", new, re.MULTILINE)
    assert first is not None
    return Planted(new, frozenset({line_of(new, first.start())}), frozenset({"units"}))


def left_on_in_a_traverse(text: str) -> Planted:
    off = text.index("\nM5\n", _layer(text))
    new = text[:off] + text[off + 3 :]
    rapid = text.index("\nG0 ", off) + 1
    return Planted(new, frozenset({line_of(text, rapid) - 1}), frozenset({"flow-in-traverse"}))


def _inserted(text: str, what: str, codes: set[str]) -> Planted:
    on = text.index("\nM3\n", _layer(text)) + 4
    place = text.index("\n", on) + 1
    new = text[:place] + what + "\n" + text[place:]
    return Planted(new, frozenset({line_of(new, place)}), frozenset(codes))


def standstill(text: str) -> Planted:
    return _inserted(text, "G4 P0.5", {"flow-while-standing"})


def halt_in_a_bead(text: str) -> Planted:
    return _inserted(text, "M0", {"flow-while-standing"})


def turned_off_in_a_bead(text: str) -> Planted:
    found = _inserted(text, "M5", {"flow-missing"})
    return Planted(found.text, frozenset(n + 1 for n in found.lines), found.codes)


def flipped_digit(text: str) -> Planted:
    """The tenths of a millimetre of one X inside a bead: of a line's end, or of an arc's where there is no line."""
    start, stop = _bead(text, "rank=1 loop=0")
    inside = text[start:stop]
    lines = list(re.finditer(r"^G1 X(-?\d+\.)(\d)(\d+) Y\S+$", inside, re.MULTILINE))
    arcs = list(re.finditer(r"^G[23] X(-?\d+\.)(\d)(\d+) Y", inside, re.MULTILINE))
    found = (lines if len(lines) > 1 else arcs)[1]
    digit = (int(found[2]) + 3) % 10
    new = text[: start + found.start(2)] + str(digit) + text[start + found.end(2) :]
    line = line_of(text, start + found.start())
    # where the next move starts too
    return Planted(new, frozenset({line, line + 1}), frozenset({"profile", "standard-arc-rule"}))


def other_part(text: str) -> Planted:
    place = text.index("part_sha256=") + len("part_sha256=")
    new = text[:place] + ("0" if text[place] != "0" else "1") + text[place + 1 :]
    return Planted(new, frozenset({line_of(text, place)}), frozenset({"part-sha256"}))


FAULTS: tuple[Callable[[str], Planted], ...] = (
    bead_moved,
    bead_outside,
    wrong_centre,
    wrong_centre_that_obeys_the_rule,
    arc_mismatch,
    layer_missing,
    hole_left_out,
    bead_missing,
    wrong_unit,
    left_on_in_a_traverse,
    standstill,
    halt_in_a_bead,
    turned_off_in_a_bead,
    flipped_digit,
    other_part,
)
