"""Dialect files: shipped ones by name, own ones by path, each tried on a small program before it is used."""

from __future__ import annotations

import difflib
import functools
from collections.abc import Mapping
from dataclasses import replace
from importlib.resources import files
from pathlib import Path
from typing import Any

from beadwright.errors import SettingsError
from beadwright.post._dialect import Dialect
from beadwright.post._lint import follow
from beadwright.post._words import Words
from beadwright.settings import Document, load, parse_document, read_document

STANDARD = "rs274"
# A dialect may rest on one that rests on another, but not for ever.
MAX_BASES = 8
LIKE = 0.6


def dialect_names() -> tuple[str, ...]:
    """Names of the shipped dialects."""
    folder = files("beadwright.post") / "dialects"
    return tuple(
        sorted(each.name.removesuffix(".toml") for each in folder.iterdir() if each.name.endswith(".toml"))
    )


def load_dialect(given: str | Path, *, folder: Path | None = None) -> Dialect:
    """A shipped dialect by its name, or a dialect file.

    Parameters
    ----------
    given : str or Path
        A name, or a file ending with ``.toml``.
    folder : Path, optional
        Where a relative file is looked for first.

    Raises
    ------
    SettingsError
        If there is none, an event is missing, a field unknown, or what it writes breaks the standard.
    """
    document = _whole(_document(given, folder), 0)
    dialect = load(Dialect, document)
    _try(dialect, document.name)
    return dialect


@functools.lru_cache(maxsize=1)
def standard() -> Dialect:
    """The dialect of the standard to its letter."""
    return load_dialect(STANDARD)


def _document(given: str | Path, folder: Path | None) -> Document:
    names = dialect_names()
    if str(given) in names:
        text = (files("beadwright.post") / "dialects" / f"{given}.toml").read_text("utf-8")
        return parse_document(text, name=f"{given}.toml", told="dialect")
    path = Path(given)
    if path.suffix != ".toml":
        near = difflib.get_close_matches(str(given), names, n=1, cutoff=LIKE)
        proposal = f"; did you mean {near[0]}?" if near else ""
        raise SettingsError(
            f"dialect: {given} is no .toml file and does not come with beadwright: {', '.join(names)}{proposal}"
        )
    beside = folder / path if folder is not None else path
    return read_document(beside if beside.exists() else path, "dialect")


def _whole(document: Document, depth: int) -> Document:
    """A document with all that the one it rests on says and it does not."""
    values = dict(document.values)
    base = values.pop("based_on", None)
    if base is None:
        return replace(document, values=values)
    if not isinstance(base, str) or depth >= MAX_BASES:
        raise SettingsError(
            f"{document.place(('based_on',))}based_on: must name another dialect, not {base!r}"
        )
    below = _whole(_document(base, document.folder), depth + 1)
    return replace(document, values=_over(below.values, values))


def _over(below: Mapping[str, Any], above: Mapping[str, Any]) -> dict[str, Any]:
    """Tables laid over each other; an event is replaced line by line, its halt time with its motion."""
    result = dict(below)
    for name, value in above.items():
        old = result.get(name)
        if isinstance(old, Mapping) and isinstance(value, Mapping):
            kept = {k: v for k, v in old.items() if k != "halt_time"} if "motion" in value else old
            result[name] = _over(kept, value)
        else:
            result[name] = value
    return result


def _try(dialect: Dialect, name: str) -> None:
    """Write a square with two round corners and read it: the standard must hold and the end be where it is."""
    words = Words(units=dialect.units, decimals=dialect.decimals or (5 if dialect.units == "inch" else 4))
    trial = sample(dialect, words)
    faults, end = follow(trial, beyond=dialect.beyond)
    if faults:
        lines = trial.split("\n")
        told = [
            f"{name}: it writes {lines[each.line - 1]!r}, which breaks the standard, {each.rule}: {each.text}"
            for each in faults[:5]
        ]
        raise SettingsError("\n  ".join(told))
    off = max(abs(a - b) for a, b in zip(end, (30.0, 40.0), strict=True))
    if off > 2 * words.place:
        raise SettingsError(
            f"{name}: a trial program ends at {end[0]:g}, {end[1]:g} mm in place of 30, 40 mm; do the lines of"
            f" bead moves fit to distance = {dialect.distance!r}?"
        )


def sample(dialect: Dialect, words: Words) -> str:
    """A small program that meets every event: a line, an arc of each sense, and back."""

    def at(value: float) -> str:
        return words.coordinate(value)

    def move(name: str, to: tuple[float, float], by: tuple[float, float], a: float, **more: str) -> str:
        fields = {"x": at(to[0]), "y": at(to[1]), "dx": at(by[0]), "dy": at(by[1])}
        return dialect.write(name, **fields, a=f"{a:.4f}", da="1.0000", **more)

    parts = [
        dialect.write(
            "program_start",
            units=words.unit_word,
            path_tolerance=at(0.1),
            work_offset="G54",
            off=dialect.off or "",
        ),
        dialect.write("message", text="trial"),
        dialect.write("rise", z=at(24.0)),
        dialect.write("traverse", x=at(10.0), y=at(20.0)),
        dialect.write("feed", feed=words.feed(100.0)),
        dialect.write("lower", z=at(4.0)),
        dialect.write("flow_start", on=dialect.on or "", rpm="80.0"),
        move("line", (60.0, 20.0), (50.0, 0.0), 1.0),
        dialect.write("flow_change", rpm="85.0"),
    ]
    if dialect.arcs != "lines":
        arc = {"i": at(0.0), "j": at(10.0), "r": at(10.0)}
        parts.append(move("arc_counterclockwise", (70.0, 30.0), (10.0, 10.0), 2.0, **arc))
        arc = {"i": at(10.0), "j": at(0.0), "r": at(10.0)}
        parts.append(move("arc_clockwise", (80.0, 40.0), (10.0, 10.0), 3.0, **arc))
        back = (-50.0, 0.0)
    else:
        back = (-30.0, 20.0)
    parts += [
        move("line", (30.0, 40.0), back, 4.0),
        dialect.write("flow_stop", off=dialect.off or ""),
        dialect.write("lift", z=at(24.0)),
        dialect.write("dwell", seconds="1.0"),
        dialect.write("stop"),
        dialect.write("program_end", off=dialect.off or ""),
    ]
    return "".join(parts)
