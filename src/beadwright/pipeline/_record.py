"""The job record: entries that are appended and never rewritten, and one page of them to print."""

from __future__ import annotations

import datetime as dt
import hashlib
import itertools
import json
import os
import secrets
import textwrap
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from beadwright.errors import OutputError
from beadwright.pipeline._output import told

FORMAT = "beadwright job record 1"
FILE, PAGE = "job_record.json", "job_record.txt"
EMPTY = "not recorded"
WIDTH = 78

FIELDS = {
    "part": "part",
    "part_sha256": "part SHA-256",
    "revision": "revision",
    "program_sha256": "program SHA-256",
    "version": "beadwright",
    "machine": "machine",
    "nozzle": "nozzle bore, mm",
    "calibration": "screw calibrated",
    "lag": "lag calibrated",
    "material": "material",
    "lot": "feedstock lot",
    "drying": "drying",
    "sheet": "sheet",
    "operator": "operator",
    "start": "start",
    "stop": "stop",
}
"""What a job record tells, in the order of its page."""

LISTS = {"deviation": "deviations", "sign": "signed off by"}
"""What may be recorded more than once."""


def new_record(entry: Mapping[str, str]) -> dict[str, Any]:
    """A record with its first entry, which has no time: it is that of the plan's own files."""
    return {"format": FORMAT, "entries": [_entry(dict(entry), [])]}


def _entry(told: Mapping[str, str], before: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """An entry that holds the hash of the one before, so that a change of that one shows."""
    return {**told, "before": _hash(before[-1]) if before else ""}


def _hash(entry: Mapping[str, Any]) -> str:
    return hashlib.sha256(json.dumps(entry, sort_keys=True, ensure_ascii=False).encode()).hexdigest()


def record_text(record: Mapping[str, Any]) -> str:
    """A record as JSON text."""
    return json.dumps(record, indent=1, ensure_ascii=False) + "\n"


def record_page(record: Mapping[str, Any]) -> str:
    """One page to print: the latest that was recorded of everything, what is empty as such, lines to sign."""
    entries = record["entries"]
    latest: dict[str, str] = {}
    for entry in entries:
        latest.update({key: value for key, value in entry.items() if value})
    lines = ["JOB RECORD", "=" * WIDTH]
    for key, title in FIELDS.items():
        wrapped = textwrap.wrap(latest.get(key, EMPTY), WIDTH - 22) or [EMPTY]
        lines += [f"{title if place == 0 else '':<20}  {text}" for place, text in enumerate(wrapped)]
    for key, title in LISTS.items():
        found = [f"{entry.get('when', '')} {entry[key]}".strip() for entry in entries if entry.get(key)]
        lines += ["-" * WIDTH, title]
        for text in found or [EMPTY]:
            lines += textwrap.wrap(text, WIDTH - 2, initial_indent="  ", subsequent_indent="    ")
    lines += ["-" * WIDTH, f"entries: {len(entries)}, hash of the last: {_hash(entries[-1])[:16]}", ""]
    lines += [
        f"{who:<20}  {'_' * 34}  date {'_' * 14}" for who in ("operator", "inspected by", "released by")
    ]
    return "\n".join(lines) + "\n"


def append_record(
    folder: str | Path, entry: Mapping[str, str], *, when: dt.datetime | None = None
) -> dict[str, Any]:
    """Append an entry to the job record of an output folder.

    Parameters
    ----------
    folder : str or Path
        As `plan` wrote it with a release.
    entry : mapping of str to str
        By the keys of `FIELDS` and `LISTS`.
    when : datetime, optional
        Default now.

    Returns
    -------
    dict
        The record as it is now.

    Raises
    ------
    OutputError
        If there is no record, an earlier entry was changed by hand, or nothing is told.
    """
    path = Path(folder)
    record = read_record(path)
    given = {key: value for key, value in entry.items() if value}
    unknown = sorted(given.keys() - FIELDS.keys() - LISTS.keys())
    if unknown or not given:
        known = ", ".join([*FIELDS, *LISTS])
        raise OutputError(
            f"record: {f'{unknown[0]} is no field' if unknown else 'nothing is told'}; known are {known}"
        )
    time = (when or dt.datetime.now(dt.UTC)).isoformat(timespec="seconds")
    entries = record["entries"]
    record = {**record, "entries": [*entries, _entry({"when": time, **given}, entries)]}
    for name, text in ((FILE, record_text(record)), (PAGE, record_page(record))):
        temporary = path / f".{name}.{secrets.token_hex(4)}.part"
        try:
            with told(f"cannot write {name}"):
                temporary.write_text(text, encoding="utf-8", newline="\n")
                os.replace(temporary, path / name)
        finally:
            temporary.unlink(missing_ok=True)
    return record


def read_record(folder: Path) -> dict[str, Any]:
    """The record of a folder, its chain of hashes checked.

    Raises
    ------
    OutputError
        If there is none, or an entry was changed.
    """
    file = folder / FILE
    try:
        record = json.loads(file.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise OutputError(f"{folder} holds no {FILE}; plan --release writes one") from None
    except (OSError, ValueError) as error:
        raise OutputError(f"{file} cannot be read: {error}") from error
    entries = record.get("entries") if isinstance(record, dict) and record.get("format") == FORMAT else None
    if not isinstance(entries, list) or not entries or not all(isinstance(each, dict) for each in entries):
        raise OutputError(f"{file} is no job record of beadwright")
    for place, (before, entry) in enumerate(itertools.pairwise(entries), 2):
        if entry.get("before") != _hash(before):
            raise OutputError(
                f"{file}: entry {place - 1} was changed after entry {place} was made; it stays as it is"
            )
    return {**record}
