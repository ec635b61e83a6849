"""Programs to try a machine with: the same moves in the air, and the rectangle that they stay in."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from beadwright.errors import InternalError
from beadwright.post._comments import note, number
from beadwright.post._dialect import FIELD, Dialect
from beadwright.post._lint import check_text
from beadwright.post._program import CAUTIONS
from beadwright.post._words import FEED_DECIMALS, MM, Words

# A height word, a feed word, and words of an extruder axis, as programs of ours write them.
_HEIGHT = re.compile(r"\bZ(-?[0-9.]+)")
_FEED = re.compile(r"^((?:N[0-9]+ )?F)([0-9.]+)$")
_ADVANCE = re.compile(r" [ABC]-?[0-9.]+")
_NUMBERED = re.compile(r"^N[0-9]+ ")
_MODE = re.compile(r"G9[01]")


def dry_run(
    text: str,
    *,
    words: Words,
    dialect: Dialect,
    devices: Iterable[str],
    lift: float,
    feed: float | None,
    notes: Sequence[str] = (),
) -> str:
    """A program in the air: the same X and Y words, Z raised, nothing that extrudes, heats or strikes.

    Parameters
    ----------
    text : str
        The program.
    words : Words
    dialect : Dialect
    devices : iterable of str
        Lines that switch devices; none of them is left.
    lift : float
        By how much Z is raised, mm, above 0.
    feed : float, optional
        Greatest feed, mm/s.
    notes : sequence of str
        What stands at the program's top and holds of this one, too: rules of safety that were overridden.

    Raises
    ------
    InternalError
        If a word that starts the extruder is left, or the text breaks the standard.
    """
    silent = _silenced(dialect)
    switched = set(devices)
    cap = None if feed is None else feed * 60.0 / MM[words.units]

    def raised(found: re.Match[str]) -> str:
        return f"Z{words.coordinate(float(found[1]) * MM[words.units] + lift)}"

    kept = [
        note(
            "DRY RUN of a beadwright program: the same moves in X and Y, raised, without extruder or devices"
        ),
        note(f"Every Z is {number(lift)} mm higher than in the program. The extruder must be cold and off."),
        *(note(text) for text in (*CAUTIONS[:3], *notes)),
    ]
    steps = False
    for line in text.split("\n"):
        bare = _NUMBERED.sub("", line)
        if bare[:1] != "(" and "G9" in bare:
            for mode in _MODE.findall(bare):
                steps = mode == "G91"
        if not bare or bare[0] == "(" or bare in switched or silent.fullmatch(bare):
            continue
        # An increment of the height is the same, however high it begins.
        if "Z" in line and not steps:
            line = _HEIGHT.sub(raised, line)
        told = _FEED.match(line)
        if told is not None and cap is not None and float(told[2]) > cap:
            line = f"{told[1]}{cap:.{FEED_DECIMALS}f}"
        if dialect.axis is not None:
            line = _ADVANCE.sub("", line)
        kept.append(f"{line}\n")
    made = "".join(kept)
    if dialect.on is not None and re.search(rf"^[^(\n]*\b{re.escape(dialect.on)}\b", made, re.MULTILINE):
        raise InternalError(f"the dry run still holds {dialect.on}")
    check_text(made, beyond=dialect.beyond)
    return made


def _silenced(dialect: Dialect) -> re.Pattern[str]:
    """Lines that the extruder's events write, but for modes of distance, which the moves need."""
    words = {"on": dialect.on or "", "off": dialect.off or ""}
    found = []
    events = dialect.events
    for event in (events.flow_start, events.flow_change, events.flow_stop):
        for line in () if event is None else event.lines:
            if _MODE.fullmatch(line):
                continue
            parts = FIELD.split(line)  # text, field, text, field, ...
            pattern = "".join(
                re.escape(words[part])
                if place % 2 and part in words
                else r"[-+0-9.]+"
                if place % 2
                else re.escape(part)
                for place, part in enumerate(parts)
            )
            found.append(pattern)
    if dialect.off is not None:
        found.append(re.escape(dialect.off))
    # Without an extruder's words only an empty line is silent.
    return re.compile("|".join(f"(?:{each})" for each in found))


def trace(
    low: tuple[float, float],
    high: tuple[float, float],
    height: float,
    *,
    words: Words,
    dialect: Dialect,
    path_tolerance: float | None = None,
    work_offset: str | None = None,
    notes: Sequence[str] = (),
) -> str:
    """A program that runs round the rectangle of another at its greatest traverse height, nothing switched.

    Parameters
    ----------
    low, high : (2,) float
        Corners of the rectangle, mm.
    height : float
        mm.
    words, dialect, path_tolerance, work_offset
        As of `program_text`.
    notes : sequence of str
        As of `dry_run`.
    """
    corners = [low, (high[0], low[1]), high, (low[0], high[1]), low]
    parts = [
        note(
            "TRACE of a beadwright program: its bounding rectangle at its greatest height, nothing switched on"
        ),
        note(f"X {low[0]:.4f} to {high[0]:.4f} mm, Y {low[1]:.4f} to {high[1]:.4f} mm"),
        *(note(text) for text in (*CAUTIONS[:3], *notes)),
        dialect.write(
            "program_start",
            units=words.unit_word,
            path_tolerance="" if path_tolerance is None else words.coordinate(path_tolerance),
            work_offset=work_offset or "",
            off=dialect.off or "",
        ),
        dialect.write("rise", z=words.coordinate(height)),
        *(dialect.write("traverse", x=words.coordinate(x), y=words.coordinate(y)) for x, y in corners),
        dialect.write("program_end", off=dialect.off or ""),
    ]
    made = "".join(parts)
    check_text(made, beyond=dialect.beyond)
    return made
