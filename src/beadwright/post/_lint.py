"""The rules of RS274/NGC that a text can break, checked on the text itself.

Source: T. R. Kramer, F. M. Proctor, E. Messina, "The NIST RS274NGC Interpreter - Version 3", NISTIR 6556
(2000), section 3 (format, modal groups, arcs, order of execution). The lint reads what stands there, digit by
digit, and knows nothing of how it was made.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field

from beadwright.errors import InternalError
from beadwright.numeric import counted

MAX_LINE = 256
MAX_LINE_NUMBER = 99_999
MAX_M_WORDS = 4
MAX_FAULTS = 100

ARC_RULE_MM = 0.002
ARC_RULE_INCH = 0.0002
# Differences of printed decimals are off by some 1e-12; the rule itself is not made laxer than that.
DIGITS = 1e-11

WORD = re.compile(r"([A-Z])([-+]?(?:\d+\.?\d*|\.\d+))")
# Most lines of a program are one plain move each, and never longer than a line may be.
NUMBER = r"-?\d{1,20}\.\d{1,20}"
PLAIN_MOVE = re.compile(
    rf"G([0-3])(?: X({NUMBER}))?(?: Y({NUMBER}))?(?: Z({NUMBER}))?(?: I({NUMBER}) J({NUMBER}))?"
    rf"(?:(?<!G[0-3]) [ABC]{NUMBER})?"
)
COMMENT = re.compile(r"\([^()]*\)")
LETTERS = frozenset("ABCDFGHIJKLMNPQRSTXYZ")

# Table 4 of the report: G codes, times ten, by modal group.
GROUPS = {
    "motion": {0, 10, 20, 30, 382, 800, 810, 820, 830, 840, 850, 860, 870, 880, 890},
    "plane": {170, 180, 190},
    "distance": {900, 910},
    "feed rate": {930, 940},
    "units": {200, 210},
    "radius compensation": {400, 410, 420},
    "length offset": {430, 490},
    "canned return": {980, 990},
    "coordinate system": {540, 550, 560, 570, 580, 590, 591, 592, 593},
    "path mode": {610, 611, 640},
    "not modal": {40, 100, 280, 300, 530, 920, 921, 922, 923},
}
GROUP_OF = {code: name for name, codes in GROUPS.items() for code in codes}
M_GROUPS = {
    "stop": {0, 1, 2, 30, 60},
    "tool": {6},
    "spindle": {3, 4, 5},
    "coolant": {7, 8, 9},
    "override": {48, 49},
}
M_GROUP_OF = {code: name for name, codes in M_GROUPS.items() for code in codes}
ENDS = {2, 30}


@dataclass(frozen=True, slots=True)
class Fault:
    """A broken rule: the line, counted from 1, a short name and a sentence."""

    line: int
    rule: str
    text: str


@dataclass(slots=True)
class _Reading:
    """State local to one reading."""

    faults: list[Fault] = field(default_factory=list)
    line: int = 0
    motion: int = 1
    unit: int = 0
    absolute: bool = True
    feed: bool = False
    moved: bool = False
    ended: bool = False
    x: float = 0.0
    y: float = 0.0
    beyond: frozenset[str] = frozenset()

    def tell(self, rule: str, text: str) -> None:
        self.faults.append(Fault(self.line, rule, text))


def words_beyond(lines: Iterable[str], beyond: Collection[str] = ()) -> tuple[str, ...]:
    """M words of some lines that neither the standard has nor the controller, as told, in their order.

    Examples
    --------
    >>> words_beyond(["M64 P1", "M7", "G4 P2"], ["M65"])
    ('M64',)
    """
    codes = [int(code) for line in lines for code in re.findall(r"M([0-9]+)", line)]
    return tuple(
        dict.fromkeys(f"M{code}" for code in codes if code not in M_GROUP_OF and f"M{code}" not in beyond)
    )


def lint(text: str, *, beyond: Collection[str] = ()) -> tuple[Fault, ...]:
    r"""Faults of a program's text by the standard, at most `MAX_FAULTS`, in their order.

    Checked: length and characters of lines; comments closed and not nested; line numbers; words and their
    numbers; one G word of a group, one M word of a group, four M words, one of every other letter; units set
    once, before any motion; G64 with its P; no event on a motion's line (it would come first); moves with axis
    words and a feed; arcs with a centre within the radius rule, never with ends that coincide in radius form; the end.
    Programs in the XY plane are followed; other planes, canned cycles and offsets are faults here.

    Parameters
    ----------
    text : str
        The whole program.
    beyond : collection of str
        M words that the standard does not have and the controller does, as ``M62``.

    Examples
    --------
    >>> lint("G21\nF600\nG1 X1.0 Y0.0\nM2\n")
    ()
    >>> lint("G21\nF600\nG1 X100 M5\nM2\n")[0].rule
    'event with motion'
    """
    return follow(text, beyond=beyond)[0]


def follow(text: str, *, beyond: Collection[str] = ()) -> tuple[tuple[Fault, ...], tuple[float, float]]:
    """Faults of a program's text, as `lint` tells them, and where it ends: x, y, mm."""
    state = _Reading(beyond=frozenset(beyond))
    lines = text.split("\n")
    wrapped = _check_wrapping(lines, state)
    plain_move = PLAIN_MOVE.fullmatch
    for state.line, raw in enumerate(lines, 1):
        plain = plain_move(raw) if raw[:1] == "G" else None
        if plain is not None and state.absolute and not state.ended:
            _move(plain.groups(), state)
        else:
            _line(raw, state)
        if len(state.faults) >= MAX_FAULTS:
            break
    else:
        if not (state.ended or wrapped):
            state.tell("end", "neither M2 or M30, nor % at both ends")
    unit = 25.4 if state.unit == 200 else 1.0
    return tuple(state.faults), (state.x * unit, state.y * unit)


def check_text(text: str, *, beyond: Collection[str] = ()) -> None:
    """Let a text pass only if `lint` finds nothing.

    Raises
    ------
    InternalError
        With the first fault.
    """
    faults = lint(text, beyond=beyond)
    if faults:
        first = faults[0]
        msg = f"the text breaks {counted(len(faults), 'rule')}; line {first.line}, {first.rule}: {first.text}"
        raise InternalError(msg)


def _check_wrapping(lines: list[str], state: _Reading) -> bool:
    """Whether the program stands between two lines of a lone %."""
    lone = [i for i, raw in enumerate(lines, 1) if raw.strip() == "%"]
    first = next((i for i, raw in enumerate(lines, 1) if raw.strip()), 0)
    if lone and lone[0] == first and len(lone) == 1:
        state.line = first
        state.tell("percent", "the first line is %, so a second % must follow the program")
    return len(lone) == 2 and lone[0] == first


def _move(words: tuple[str | None, ...], state: _Reading) -> None:
    """One plain absolute move, its words given as text; the rules are those of `_motion`."""
    mode, x, y, z, i, j = words
    assert mode is not None
    state.motion = int(mode)
    if x is None or y is None or (i is None) == (mode in "23") or not (state.unit and state.feed):
        given = {k: float(v) for k, v in zip("XYZIJ", (x, y, z, i, j), strict=True) if v is not None}
        _motion(given, state)
        return
    to_x, to_y = float(x), float(y)
    if i is not None and j is not None:
        _check_radii(to_x, to_y, float(i), float(j), state)
    state.x, state.y, state.moved = to_x, to_y, True


def _line(raw: str, state: _Reading) -> None:
    """Any line: comments, words, modes, events, motion."""
    if len(raw) <= MAX_LINE and COMMENT.fullmatch(raw) and raw.isascii():
        return
    if len(raw) > MAX_LINE:
        state.tell("length", f"{len(raw)} characters, {MAX_LINE} are allowed")
    if not raw.isascii():
        state.tell("characters", "not ASCII")
    bare = _without_comments(raw, state)
    words = _words(bare, state) if bare else []
    if not words:
        return
    if state.ended:
        state.tell("end", "words after the program's end")
        return
    codes = _modes(words, state)
    given = {letter: number for letter, number in words if letter in "XYZIJKR"}
    moves = bool(given) and not codes & {40, 920}
    if moves and any(letter == "M" for letter, _ in words):
        state.tell("event with motion", "an M word acts before the motion of its own line")
    if moves:
        _motion(given, state)
    elif codes & {0, 10, 20, 30}:
        state.tell("axes", "a motion word without axis words")
    state.ended = any(letter == "M" and number in ENDS for letter, number in words)


def _without_comments(raw: str, state: _Reading) -> str:
    """The line's words, without blanks, in upper case; comments are checked and taken out."""
    plain = COMMENT.sub("", raw) if "(" in raw else raw
    if "(" not in plain:
        bare = "".join(plain.split()).upper()
        return "" if bare == "%" else bare.removeprefix("/")
    out: list[str] = []
    inside = False
    for sign in raw:
        if inside:
            if sign == "(":
                state.tell("comment", "a parenthesis inside a comment")
            inside = sign != ")"
        elif sign == "(":
            inside = True
        elif not sign.isspace():
            out.append(sign)
    if inside:
        state.tell("comment", "a comment that does not close on its line")
    bare = "".join(out).upper()
    return "" if bare == "%" else bare.removeprefix("/")


def _words(bare: str, state: _Reading) -> list[tuple[str, float]]:
    """Letters with their numbers; a line number is checked and dropped."""
    found = WORD.findall(bare)
    if "".join(letter + number for letter, number in found) != bare:
        state.tell("words", f"not made of letters with numbers: {bare[:60]}")
        return []
    if found and found[0][0] == "N":
        digits = found.pop(0)[1]
        if not digits.isdecimal() or len(digits) > 5 or int(digits) > MAX_LINE_NUMBER:
            state.tell("line number", f"N{digits} is not a whole number of at most five digits")
    strange = sorted({letter for letter, _ in found} - LETTERS)
    if strange or any(letter == "N" for letter, _ in found):
        state.tell("words", f"a letter that means nothing here: {''.join(strange) or 'N'}")
    return [(letter, float(number)) for letter, number in found]


def _modes(words: list[tuple[str, float]], state: _Reading) -> set[int]:
    """Check the groups and act on modes; -> the G codes, times ten."""
    codes = [round(number * 10) for letter, number in words if letter == "G"]
    events = [round(number) for letter, number in words if letter == "M"]
    groups = Counter(GROUP_OF.get(code, "unknown") for code in codes)
    groups.update(
        f"M{code}" if f"M{code}" in state.beyond else f"M {M_GROUP_OF.get(code, 'unknown')}"
        for code in events
    )
    groups.update(letter for letter, _ in words if letter not in "GM")
    for name, count in groups.items():
        if name.endswith("unknown"):
            state.tell("words", "a G or M number that the standard does not have")
        elif count > 1:
            state.tell("group", f"two words of one kind on a line: {name}")
    if len(events) > MAX_M_WORDS:
        state.tell("group", f"{len(events)} M words on a line, {MAX_M_WORDS} are allowed")
    for code in codes:
        if GROUP_OF.get(code) == "motion":
            state.motion = code // 10 if code in {0, 10, 20, 30} else -1
        elif code in GROUPS["units"]:
            if state.unit or state.moved:
                state.tell("units", "units are set once, before any motion")
            state.unit = code
        elif code in GROUPS["distance"]:
            state.absolute = code == 900
        elif code in {180, 190, 410, 420, 430, 100, 920}:
            state.tell("not followed", f"G{code / 10:g} changes what later words mean; it is not used here")
        elif code == 640 and not any(letter == "P" for letter, _ in words):
            state.tell("path mode", "G64 without P: nothing limits what is cut off at corners")
    for letter, number in words:
        if letter == "F":
            state.feed = number > 0
    return set(codes)


def _motion(given: dict[str, float], state: _Reading) -> None:
    """One motion by the present mode."""
    if not state.unit:
        state.tell("units", "a motion before G20 or G21")
    if state.motion not in {0, 1, 2, 3}:
        state.tell("not followed", "a motion that is not G0 to G3")
        return
    if state.motion and not state.feed:
        state.tell("feed", "a feed move before any F")
    base = (0.0, 0.0) if state.absolute else (state.x, state.y)
    x = base[0] + given["X"] if "X" in given else state.x
    y = base[1] + given["Y"] if "Y" in given else state.y
    if state.motion > 1:
        _arc(x, y, given, state)
    elif given.keys() & set("IJKR"):
        state.tell("axes", "I, J, K or R without an arc")
    elif not given.keys() & set("XYZ"):
        state.tell("axes", "a motion without axis words")
    state.x, state.y, state.moved = x, y, True


def _arc(x: float, y: float, given: dict[str, float], state: _Reading) -> None:
    """The rules of a circular arc in the XY plane."""
    if not given.keys() & {"X", "Y"}:
        state.tell("arc", "an arc without X and Y")
    if "R" in given:
        if given.keys() & {"I", "J"}:
            state.tell("arc", "an arc with both a radius and a centre")
        chord = math.hypot(x - state.x, y - state.y)
        if chord == 0:
            state.tell("arc", "radius form with its end at its start")
        elif chord / 2 > abs(given["R"]) + DIGITS:
            state.tell("arc", f"a chord of {chord} is longer than the diameter {2 * abs(given['R'])}")
        return
    if not given.keys() & {"I", "J"}:
        state.tell("arc", "an arc without I, J or R")
        return
    _check_radii(x, y, given.get("I", 0.0), given.get("J", 0.0), state)


def _check_radii(x: float, y: float, i: float, j: float, state: _Reading) -> None:
    """The arc rule: the radii at both ends agree."""
    start, end = math.hypot(i, j), math.hypot(x - state.x - i, y - state.y - j)
    rule = ARC_RULE_INCH if state.unit == 200 else ARC_RULE_MM
    if start == 0:
        state.tell("arc", "an arc of radius 0")
    if abs(start - end) > rule + DIGITS:
        state.tell("arc rule", f"the radii at its ends differ by {abs(start - end):.6f}, {rule} is allowed")
