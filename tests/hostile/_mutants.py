"""STEP files damaged on purpose, the same ones for the same seed."""

from __future__ import annotations

import random
import re
from collections.abc import Callable

_REAL = re.compile(rb"-?\d+\.\d*(?:E[+-]?\d+)?")
_WHOLE = re.compile(rb"(?<=[(,])\d+(?=[,)])")
_ID = re.compile(rb"#\d+")
_KEYWORD = re.compile(rb"(?<==)\s*[A-Z_0-9]+(?=\s*\()")
_LINE = re.compile(rb"^#\d+\s*=.*?;\s*$", re.MULTILINE | re.DOTALL)

ABSURD = (
    b"1.E308",
    b"-1.E308",
    b"1.E30",
    b"-1.E12",
    b"0.",
    b"1.E-300",
    b"-0.",
    b"NAN",
    b"1.#QNAN",
    b"INF",
    b"1.E999",
)
HUGE = (b"2147483647", b"-1", b"0", b"99999999999999999999", b"4294967296", b"25", b"1000000")


def _spot(rng: random.Random, data: bytes) -> int:
    return rng.randrange(data.index(b"DATA;"), len(data))


def _replace(data: bytes, found: re.Match[bytes], new: bytes) -> bytes:
    return data[: found.start()] + new + data[found.end() :]


def _some(
    rng: random.Random, data: bytes, pattern: re.Pattern[bytes], new: Callable[[bytes], bytes]
) -> bytes:
    """Replace one to four matches."""
    for _ in range(rng.randint(1, 4)):
        places = list(pattern.finditer(data, data.index(b"DATA;")))
        if not places:
            return data
        found = rng.choice(places)
        data = _replace(data, found, new(found.group()))
    return data


def flip_bits(rng: random.Random, data: bytes) -> bytes:
    out = bytearray(data)
    for _ in range(rng.choice((1, 2, 4, 16, 64))):
        out[rng.randrange(len(out))] ^= 1 << rng.randrange(8)
    return bytes(out)


def cut_out(rng: random.Random, data: bytes) -> bytes:
    """Leave a stretch out; mostly the end stays, so that the file looks whole."""
    begin = _spot(rng, data)
    if rng.random() < 0.2:
        return data[:begin]
    return data[:begin] + data[begin + rng.choice((1, 10, 100, 1000, 10_000)) :]


def swap_ids(rng: random.Random, data: bytes) -> bytes:
    ids = [m.group() for m in _ID.finditer(data)]
    return _some(rng, data, _ID, lambda _: rng.choice(ids))


def absurd_numbers(rng: random.Random, data: bytes) -> bytes:
    return _some(rng, data, _REAL, lambda _: rng.choice(ABSURD))


def scaled_numbers(rng: random.Random, data: bytes) -> bytes:
    """Numbers that are wrong but not absurd."""
    return _some(
        rng, data, _REAL, lambda old: b"%.17G" % (float(old) * rng.uniform(-2, 2) + rng.uniform(-9, 9))
    )


def huge_counts(rng: random.Random, data: bytes) -> bytes:
    return _some(rng, data, _WHOLE, lambda _: rng.choice(HUGE))


def swap_keywords(rng: random.Random, data: bytes) -> bytes:
    words = [m.group() for m in _KEYWORD.finditer(data)]
    return _some(rng, data, _KEYWORD, lambda _: rng.choice(words))


def drop_or_repeat(rng: random.Random, data: bytes) -> bytes:
    """Leave entities out or write them twice."""
    keep = rng.choice((b"", None))
    return _some(rng, data, _LINE, lambda old: old + b"\n" + old if keep is None else b"")


KINDS: tuple[Callable[[random.Random, bytes], bytes], ...] = (
    flip_bits,
    cut_out,
    swap_ids,
    absurd_numbers,
    scaled_numbers,
    huge_counts,
    swap_keywords,
    drop_or_repeat,
)


def mutant(data: bytes, seed: int) -> tuple[str, bytes]:
    """One damaged copy, and what was done to it."""
    rng = random.Random(seed)
    kind = KINDS[seed % len(KINDS)]
    return kind.__name__, kind(rng, data)
