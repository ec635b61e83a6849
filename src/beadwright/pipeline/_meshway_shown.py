"""Both ways side by side: on the terminal, as a picture, as JSON."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from beadwright.errors import OutputError, SettingsError
from beadwright.pipeline._json import as_text
from beadwright.pipeline._meshway import MeshComparison
from beadwright.pipeline._ways import Way
from beadwright.report import WayPoint, ways_picture, write_whole

TITLES = ("way", "triangles", "error", "moves", "kB", "moves/s", "joints", "dips", "s", "MB")
# Between two columns of a table without lines, characters.
GAP = 2
PICTURES = (".svg", ".png", ".pdf")


def chord_list(text: str) -> tuple[float, ...]:
    """Numbers with commas between.

    Raises
    ------
    SettingsError
        They are none.
    """
    try:
        return tuple(float(each) for each in text.split(","))
    except ValueError:
        raise SettingsError(f"--chord: expected numbers of mm with commas between, got {text!r}") from None


def show_meshway(found: MeshComparison) -> None:
    """Print both ways, on standard error."""
    console = Console(stderr=True)
    console.print(
        f"{found.model.file}: {found.layers} of {found.of} layers, {found.contours} contour beads each,"
        f" {found.feed:g} mm/s; error in mm against the exact offset, itself good to {found.reference:.2g} mm",
        highlight=False,
        soft_wrap=True,
    )
    rows = [found.exact, *found.meshes]
    if found.match is not None and found.match not in rows:
        rows.append(found.match)
    for table in _tables([_cells(way) for way in rows], console.width):
        console.print(table)
    for way in rows:
        if way.missing > 0:
            console.print(
                f"{way.name}: {way.missing:.1f} mm of bead are missing", style="yellow", highlight=False
            )
        if way.short > max(0.1, 3 * way.error):
            console.print(
                f"{way.name}: a bead ends {way.short:.1f} mm short of the exact one, in a wall nearly two offsets"
                " wide",
                style="yellow",
                highlight=False,
                soft_wrap=True,
            )
        if way.open_length > 0:
            console.print(
                f"{way.name}: {way.open_length:.1f} mm of section did not close and were left out",
                style="yellow",
                highlight=False,
            )
    console.print(
        "moves/s: in the busiest tenth of a second; joints: turns of more than 0.1 degree that no corner of the"
        " CAD asks for; dips: joints where the machine must fall below nine tenths of the feed; s: of computing",
        style="dim",
        highlight=False,
        soft_wrap=True,
    )
    console.print(f"proven for the solid itself: within {found.bound:.4g} mm", highlight=False)
    if found.match is not None:
        console.print(
            f"the same bound by triangles: {found.match.name}, {found.match.triangles} triangles,"
            f" {found.match.moves / max(1, found.exact.moves):.3g} times the moves",
            highlight=False,
        )
    if found.predicted is not None:
        console.print(
            "the same bound by triangles would take a chord of some"
            f" {found.predicted['chord_mm']:.2g} mm, {found.predicted['triangles']:.3g} triangles and"
            f" {found.predicted['moves']:.3g} moves (predicted by the square-root law, not made)",
            highlight=False,
            soft_wrap=True,
        )
    console.print(found.good_enough(), highlight=False, soft_wrap=True)


def _tables(rows: list[list[str]], width: int) -> Iterator[Table]:
    """All columns, in as many tables below each other as the terminal's width takes; each names the ways."""
    columns = list(zip(TITLES, *rows, strict=True))
    wide = [max(map(len, column)) for column in columns]
    wide[0] = min(wide[0], width // 2)  # a file's name may be longer than any terminal
    first = 1
    while first < len(columns):
        last, used = first + 1, wide[0] + GAP + wide[first]
        while last < len(columns) and used + GAP + wide[last] <= width:
            used, last = used + GAP + wide[last], last + 1
        table = Table(box=None, pad_edge=False)
        shown = [columns[0], *columns[first:last]]
        table.add_column(TITLES[0], max_width=wide[0], overflow="fold")
        for title, *_ in shown[1:]:
            table.add_column(title, justify="right", no_wrap=True)
        for row in list(zip(*shown, strict=True))[1:]:
            table.add_row(*map(escape, row))
        yield table
        first = last


def _cells(way: Way) -> list[str]:
    return [
        way.name,
        str(way.triangles) if way.triangles else "none",
        f"{way.error:.4f}" if way.moves else "none",
        str(way.moves),
        f"{way.size / 1000:.1f}",
        f"{way.blocks:.0f}",
        str(way.joints),
        str(way.dips),
        f"{way.seconds['total']:.2f}",
        f"{way.memory:.0f}",
    ]


def check_meshway_file(path: str | Path) -> None:
    """Refuse a name by which no comparison is written, before any work is done for it.

    Raises
    ------
    OutputError
        Its ending is another, or its folder is not there.
    """
    path = Path(path)
    if path.suffix.lower() not in {*PICTURES, ".json"}:
        raise OutputError(f"{path}: both ways are written as {', '.join(PICTURES)} or .json")
    if not path.parent.is_dir():
        raise OutputError(f"{path}: there is no folder {path.parent}; make it first")


def write_meshway(found: MeshComparison, path: str | Path) -> Path:
    """Write the comparison as its file's ending says: a picture, or all of it as .json.

    Raises
    ------
    OutputError
        Another ending, or the file cannot be written.
    """
    path = Path(path)
    check_meshway_file(path)
    if path.suffix.lower() == ".json":
        return write_whole(path, as_text(found.as_dict()).encode())
    ways = [way for way in found.meshes if way.moves]
    if found.match is not None and found.match not in ways:
        ways.append(found.match)
    data = ways_picture(
        [WayPoint(name=way.name, moves=way.moves, error=way.error) for way in ways],
        WayPoint(name=found.exact.name, moves=found.exact.moves, error=found.exact.error),
        bound=found.bound,
        title=f"{found.model.file}: {found.layers} layers, {found.contours} contour beads",
        kind=path.suffix.lower()[1:],
    )
    return write_whole(path, data)
