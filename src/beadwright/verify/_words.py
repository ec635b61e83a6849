"""One line of text: what a controller reads of it, and which rules of a line it breaks."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass

from beadwright.verify._expression import Parameters, evaluate
from beadwright.verify._standard import (
    GROUP_OF_G,
    GROUP_OF_M,
    LETTERS,
    MAX_LINE,
    MAX_M_WORDS,
    MAX_N_DIGITS,
    NEAR_CODE,
)

NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)")
WORD = re.compile(r"([A-Z])([-+]?(?:\d+\.?\d*|\.\d+))")


@dataclass(frozen=True, slots=True)
class Broken:
    """A rule of the standard that a line breaks: a short name and a sentence."""

    rule: str
    text: str


@dataclass(frozen=True, slots=True)
class Line:
    """A line taken apart.

    Attributes
    ----------
    comments : tuple of str
        In their order, without the parentheses.
    words : tuple of (str, float)
        In their order, the line number left out.
    g, m : tuple of int
        G numbers times ten, M numbers.
    settings : tuple of (int, float)
        Parameters set, ``#3=15``; they take effect after the whole line is read (3.3.2.2).
    broken : tuple of Broken
        What the line breaks by itself, whatever stands before it.
    """

    comments: tuple[str, ...]
    words: tuple[tuple[str, float], ...]
    g: tuple[int, ...]
    m: tuple[int, ...]
    settings: tuple[tuple[int, float], ...]
    broken: tuple[Broken, ...]

    def value(self, letter: str) -> float | None:
        """Number of a letter's word; None without one."""
        for name, number in self.words:
            if name == letter:
                return number
        return None

    def holds(self, wanted: tuple[tuple[str, float], ...]) -> bool:
        """Whether all of some words stand on the line."""
        return all(word in self.words for word in wanted)


def split(raw: str, parameters: Parameters, extra: str = "") -> Line:
    """Take a line apart (NISTIR 6556, 3.3).

    Parameters
    ----------
    raw : str
        Without its line break.
    parameters : mapping of int to float
        Values of numbered parameters before this line.
    extra : str
        Letters outside the standard that are taken as words all the same, an extruder's axis say.
    """
    broken: list[Broken] = []
    if len(raw) > MAX_LINE:
        broken.append(Broken("length", f"{len(raw)} characters, {MAX_LINE} are allowed"))
    if not raw.isascii():
        broken.append(Broken("characters", "a character outside ASCII"))
    bare, comments = _without_comments(raw, broken)
    bare = bare.removeprefix("/")
    if bare.startswith("N"):
        bare = _without_number(bare, broken)
    words, settings = _words(bare, parameters, broken)
    strange = sorted({name for name, _ in words} - LETTERS - set(extra))
    if strange:
        broken.append(Broken("letter", f"the standard has no word {', '.join(strange)}"))
    g = tuple(_code(number, 10.0, "G", broken) for name, number in words if name == "G")
    m = tuple(_code(number, 1.0, "M", broken) for name, number in words if name == "M")
    _groups(words, g, m, broken)
    return Line(comments, words, g, m, settings, tuple(broken))


def _without_comments(raw: str, broken: list[Broken]) -> tuple[str, tuple[str, ...]]:
    """The words without blanks in upper case, and the comments."""
    if "(" not in raw and ")" not in raw and ";" not in raw:
        return "".join(raw.split()).upper(), ()
    out: list[str] = []
    comments: list[str] = []
    inside: list[str] | None = None
    for place, sign in enumerate(raw):
        if inside is not None:
            if sign == ")":
                comments.append("".join(inside))
                inside = None
                continue
            if sign == "(":
                broken.append(Broken("comment", "a parenthesis inside a comment"))
            inside.append(sign)
        elif sign == "(":
            inside = []
        elif sign == ")":
            broken.append(Broken("comment", "a parenthesis closes that was not opened"))
        elif sign == ";":
            broken.append(Broken("semicolon", "the standard knows no comment after a semicolon"))
            comments.append(raw[place + 1 :].strip())
            break
        elif not sign.isspace():
            out.append(sign)
    if inside is not None:
        broken.append(Broken("comment", "a comment that does not close on its line"))
        comments.append("".join(inside))
    return "".join(out).upper(), tuple(comments)


def _without_number(bare: str, broken: list[Broken]) -> str:
    """The line without its number, which is a whole number of at most five digits."""
    digits = NUMBER.match(bare, 1)
    told = digits.group() if digits else ""
    if not told.isdecimal() or len(told) > MAX_N_DIGITS:
        broken.append(
            Broken("line number", f"N{told} is not a whole number of at most {MAX_N_DIGITS} digits")
        )
    return bare[1 + len(told) :]


def _words(
    bare: str, parameters: Parameters, broken: list[Broken]
) -> tuple[tuple[tuple[str, float], ...], tuple[tuple[int, float], ...]]:
    """Letters with their numbers, and parameters that are set."""
    plain = WORD.findall(bare)
    if sum(len(number) for _, number in plain) + len(plain) == len(bare):
        return tuple((name, float(number)) for name, number in plain), ()
    words: list[tuple[str, float]] = []
    settings: list[tuple[int, float]] = []
    place = 0
    try:
        while place < len(bare):
            sign = bare[place]
            value, after = evaluate(bare, place + 1, parameters)
            if sign == "#":
                if bare[after : after + 1] != "=":
                    raise ValueError("a parameter is named but not set")
                index = round(value)
                value, after = evaluate(bare, after + 1, parameters)
                settings.append((index, value))
            elif sign.isalpha():
                words.append((sign, value))
            else:
                raise ValueError(f"{sign!r} begins no word")
            place = after
    except ValueError as reason:
        broken.append(Broken("words", f"not made of letters with numbers: {bare[:60]} ({reason})"))
        return (), ()
    return tuple(words), tuple(settings)


def _code(number: float, factor: float, letter: str, broken: list[Broken]) -> int:
    """A G or M number as a whole number."""
    nearest = round(number * factor)
    if abs(number * factor - nearest) > NEAR_CODE * factor:
        broken.append(Broken("code", f"{letter}{number:g} is near no code"))
    return nearest


def _groups(
    words: tuple[tuple[str, float], ...], g: tuple[int, ...], m: tuple[int, ...], broken: list[Broken]
) -> None:
    """One G word of a group, one M word of a group, four M words, one word of every other letter."""
    if len(words) < 2 and not (g or m):
        return
    counts = Counter(GROUP_OF_G.get(code, "") for code in g)
    for code in g:
        if code not in GROUP_OF_G:
            broken.append(Broken("code", f"the standard has no G{code / 10:g}"))
    for code in m:
        if code not in GROUP_OF_M:
            broken.append(Broken("code", f"the standard has no M{code}"))
    # Mist and flood may be on together (3.6.4): of M7, M8, M9 only a repetition is refused here.
    counts.update(GROUP_OF_M.get(code, "") for code in set(m) if code not in {7, 8})
    counts.update(f"letter {name}" for name, _ in words if name not in "GM")
    for name, count in counts.items():
        if name and count > 1:
            broken.append(Broken("group", f"two words of one kind on a line: {name}"))
    if len(m) != len(set(m)):
        broken.append(Broken("group", "an M word twice on a line"))
    if len(m) > MAX_M_WORDS:
        broken.append(Broken("group", f"{len(m)} M words on a line, {MAX_M_WORDS} are allowed"))
