"""A measured platform as structured comments, so that a program alone says what its first layers follow."""

from __future__ import annotations

from collections.abc import Iterator

from beadwright.bedmap import BedMap
from beadwright.post._comments import number, structured, value

# Numbers on one line: 8 of at most 24 characters stay below the length that a line may have.
NUMBERS = 8


def bed_lines(bed: BedMap, layers: int) -> list[str]:
    """What the map is, its grid lines and its heights, row by row, a few numbers a line.

    ``(bed_map columns=3 rows=2 layers=3 file=... sha256=...)``; then ``(bed_map x=0 mm=...)``, grid lines of X from the
    one of that number on; ``(bed_map y=0 mm=...)``; and ``(bed_map row=0 column=0 mm=...)``, heights from there on.
    """
    told = [
        structured(
            "bed_map",
            (
                ("columns", str(len(bed.x))),
                ("rows", str(len(bed.y))),
                ("layers", str(layers)),
                ("file", value(bed.file[:60])),
                ("sha256", bed.sha256),
            ),
        )
    ]
    for name, lines in (("x", bed.x), ("y", bed.y)):
        told += [
            structured("bed_map", ((name, str(at)), ("mm", own))) for at, own in _in_parts(lines.tolist())
        ]
    for row, heights in enumerate(bed.z.tolist()):
        told += [
            structured("bed_map", (("row", str(row)), ("column", str(at)), ("mm", own)))
            for at, own in _in_parts(heights)
        ]
    return told


def _in_parts(values: list[float]) -> Iterator[tuple[int, str]]:
    """Numbers with commas between, some at a time, each time with the index of the first."""
    for first in range(0, len(values), NUMBERS):
        yield first, ",".join(number(v) for v in values[first : first + NUMBERS])
