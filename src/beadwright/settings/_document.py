"""Settings documents: TOML files and shipped cards, read whole before anything is judged."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path
from typing import Any

from beadwright.errors import SettingsError
from beadwright.settings._lines import Path as KeyPath
from beadwright.settings._lines import key_lines, line_of

# A settings file is written by hand: some hundred lines, and a calibration of some thousand at the most.
MAX_BYTES = 4_000_000
# Least likeness of a misspelt name to the one that is proposed instead.
LIKE = 0.6
DEFAULT_MATERIAL = "cf-abs-20"


@dataclass(frozen=True, slots=True, kw_only=True)
class Document:
    """A settings document as read.

    Attributes
    ----------
    name : str
        Of the file, without its folder; empty for options of the command.
    told : str
        What is said of values that come from it.
    values : mapping
        As TOML has them.
    lines : mapping of path to int
        Line of each key.
    folder : Path or None
        Where it stands, for files that it names.
    """

    name: str
    told: str
    values: Mapping[str, Any]
    lines: Mapping[KeyPath, int] = field(default_factory=dict)
    folder: Path | None = None

    def place(self, path: KeyPath) -> str:
        """File and line of a key, for a message."""
        line = line_of(path, self.lines)
        if not self.name:
            return ""
        return f"{self.name}:{line}: " if line else f"{self.name}: "


def read_document(file: str | Path, told: str) -> Document:
    """Read a TOML file.

    Raises
    ------
    SettingsError
        If it cannot be read, or is not TOML; the message names the file and the line.
    """
    path = Path(file)
    try:
        if path.stat().st_size > MAX_BYTES:
            raise SettingsError(f"{path.name}: more than {MAX_BYTES:,} bytes; that is no {told} file")
        text = path.read_bytes().decode("utf-8")
    except FileNotFoundError:
        raise SettingsError(
            f"{told}: there is no file {path}; beadwright init DIR writes one to begin with"
        ) from None
    except UnicodeDecodeError as error:
        raise SettingsError(f"{path.name}: byte {error.start} is not UTF-8 text") from error
    except OSError as error:
        raise SettingsError(f"{told}: {path} cannot be read: {error.strerror or error}") from error
    return parse_document(text, name=path.name, told=told, folder=path.parent)


def parse_document(text: str, *, name: str, told: str, folder: Path | None = None) -> Document:
    """Read a TOML text.

    Raises
    ------
    SettingsError
        If it is not TOML; the message names the file and the line.
    """
    text = text.replace("\r\n", "\n")
    try:
        values = tomllib.loads(text)
    except RecursionError:
        raise SettingsError(f"{name}: brackets are nested too deeply") from None
    except ValueError as error:  # TOMLDecodeError, and numbers too long for an integer
        raise SettingsError(f"{name}: this is not TOML: {error}") from error
    return Document(name=name, told=told, values=values, lines=key_lines(text), folder=folder)


def material_names() -> tuple[str, ...]:
    """Names of the shipped material cards."""
    folder = files("beadwright.settings") / "materials"
    return tuple(
        sorted(each.name.removesuffix(".toml") for each in folder.iterdir() if each.name.endswith(".toml"))
    )


def material_text(name: str) -> str:
    """Text of a shipped material card."""
    return (files("beadwright.settings") / "materials" / f"{name}.toml").read_text("utf-8")


def material_document(given: str | Path) -> Document:
    """A shipped card by its name, or a material file.

    Raises
    ------
    SettingsError
        If there is neither.
    """
    names = material_names()
    if str(given) in names:
        return parse_document(material_text(str(given)), name=f"{given}.toml", told="material")
    path = Path(given)
    if path.suffix == ".toml" or path.exists() or len(path.parts) > 1:
        return read_document(path, "material")
    near = difflib.get_close_matches(str(given), names, n=1, cutoff=LIKE)
    proposal = f"; did you mean {near[0]}?" if near else ""
    raise SettingsError(
        f"material: {given} is neither a file nor a card that comes with beadwright: {', '.join(names)}{proposal}"
    )
