"""Walls of two beads or three, whose beads share what the wall leaves them: narrower or wider than nominal.

At a place of the boundary whose greatest disc has the diameter R, n beads side by side have the width
(R + (n - 1) o) / n, where o is what neighbours overlap; the outer one's middle lies half of that from the boundary.
So the sides' beads are parallel to no boundary where the wall tapers: they are medial beads, and stand in place of
contour beads there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from beadwright.arcs import Lost
from beadwright.beads._bead import Bead, part_of
from beadwright.beads._listed import listed
from beadwright.beads._located import located
from beadwright.beads._meet import CHANGE, GAP, LEVEL, Own, begun, ended, meeting, meets, moved
from beadwright.beads._middle import SNAP
from beadwright.beads._sides import Stretch
from beadwright.beads._start import started_at
from beadwright.beads._vary import along_points, jointed, stepped, varied_bead
from beadwright.beads._zones import Zones
from beadwright.curves import ArcPath, length, lengths, middle_of

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

# Bead widths that a stretch must have at least, and that may lie between two for the bead to go on through.
LEAST, ACROSS = 4.0, 8.0
# A place belongs to a contour line that passes nearer than this, mm: far above the bounds of offsets.
NEAR = 1e-2
# Share of a contour line's first move that the way onto it may take: a corner behind that stays.
JOINT = 0.75


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Narrowed:
    """Beads of shared width, the contour lines that are left, and places of those taken out."""

    beads: tuple[Bead, ...]
    paths: tuple[ArcPath, ...]
    lost: tuple[Lost, ...]


def narrowed(
    paths: Sequence[ArcPath],
    sides: Sequence[Stretch],
    zones: Zones,
    *,
    rank: int,
    inside: float,
    width: float,
    height: float,
    tolerance: float,
) -> Narrowed:
    """Contour lines of one rank with those parts replaced along which beads share a wall.

    Parameters
    ----------
    paths : sequence of ArcPath
        Contour lines, half a width inside the boundary that the sides lie on.
    sides : sequence of Stretch
        Of walls of two beads or more.
    zones : Zones
        How many beads a wall takes.
    rank : int
    inside : float
        How far inside the layer's region that boundary lies, mm.
    width, height : float
        Nominal, of the bead, mm.
    tolerance : float
        Of lines and arcs, mm.

    Returns
    -------
    Narrowed
        Beads of role ``medial``. Shorter parts of a line between two such stretches belong to their bead.
    """
    found: dict[int, list[Own]] = {}
    for side in sides:
        for row, own in _on_paths(paths, side, zones, width):
            found.setdefault(row, []).append(own)
    beads: list[Bead] = []
    left: list[ArcPath] = []
    lost: list[Lost] = []
    for row, path in enumerate(paths):
        if row not in found:
            left.append(path)
            continue
        chains, rest, gone = _replaced(path, found[row], width, tolerance)
        left += rest
        lost += [
            Lost(kind="medial", at=middle_of(part), length=length(part), width=width, along=listed(part))
            for part in gone
        ]
        for chain in chains:
            way, widths = stepped(chain.path, chain.at, chain.width, width=width, room=2 * tolerance)
            beads.append(varied_bead(way, widths, rank=rank, inside=inside, height=height))
    return Narrowed(beads=tuple(beads), paths=tuple(left), lost=tuple(lost))


def _on_paths(paths: Sequence[ArcPath], side: Stretch, zones: Zones, width: float) -> list[tuple[int, Own]]:
    """Parts of contour lines along a side, each with its path's row."""
    shared = zones.shared(2 * side.radius)
    middle = side.foot + side.normal * (shared / 2)[:, None]
    on = side.foot + side.normal * (width / 2)
    row, place, apart = located(paths, on, reach=NEAR)
    row = np.where((apart <= NEAR) & (zones.number(2 * side.radius) > 0), row, -1)
    found = []
    for rows in np.split(np.arange(len(row)), np.flatnonzero(np.diff(row)) + 1):
        if row[rows[0]] < 0 or len(rows) < 2:
            continue
        path = paths[row[rows[0]]]
        whole = length(path)
        own = place[rows]
        if path.closed:
            # Lengths go on where the line's own start is passed.
            own = np.unwrap(own, period=whole)
        round_ = side.closed and len(rows) == len(row) and path.closed
        if round_:
            own[-1] = own[0] + whole
        ahead = np.diff(np.maximum.accumulate(own)) > SNAP
        if round_:
            ahead = ahead & (own[-1] - own[1:] > SNAP)
            ahead[-1] = True
        kept = np.concatenate([[True], ahead])
        rows, own = rows[kept], own[kept]
        if len(rows) > 1 and own[-1] - own[0] >= LEAST * width:
            found.append(
                (
                    int(row[rows[0]]),
                    Own(
                        begin=float(own[0]),
                        end=float(own[-1]),
                        at=middle[rows],
                        width=shared[rows],
                        place=own,
                    ),
                )
            )
    return found


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Chain:
    """A path with places along it, lengths from its start, mm, and the width at each, mm."""

    path: ArcPath
    at: Floats
    width: Floats


def _replaced(
    path: ArcPath, own: list[Own], width: float, tolerance: float
) -> tuple[list[_Chain], list[ArcPath], list[ArcPath]]:
    """Chains in place of parts of a path, what is left of it, and the parts that are gone."""
    own = sorted(own, key=lambda each: each.begin)
    whole = length(path)
    if path.closed and len(own) == 1 and own[0].end - own[0].begin > whole - LEVEL:
        return [_closed(_smooth(own[0], path, tolerance, width))], [], [path]
    if path.closed:
        # The longest part between two stretches is cut in its middle, and the path walked from there.
        begins = np.array([each.begin for each in own] + [own[0].begin + whole])
        gaps = begins[1:] - np.array([each.end for each in own])
        place = int(np.argmax(gaps))
        longest = float(gaps[place])
        start = own[place].end + longest / 2
        opened = _opened(path, start % whole)
        own = [moved(each, -start) for each in own[place + 1 :]] + [
            moved(each, whole - start) for each in own[: place + 1]
        ]
    else:
        opened, longest = path, np.inf
    for row in range(len(own) - 1):
        if meets(own[row], own[row + 1], width):
            at, end = meeting(own[row], own[row + 1], width)
            own[row], own[row + 1] = ended(own[row], at, end, width), begun(own[row + 1], at, end, width)
    met = path.closed and meets(own[-1], moved(own[0], whole), width)
    if met:
        at, end = meeting(own[-1], moved(own[0], whole), width)
        own[-1] = ended(own[-1], at, end, width)
        own[0] = begun(own[0], at, end - whole, width)
    groups: list[list[Own]] = [[own[0]]]
    for each in own[1:]:
        if each.begin - groups[-1][-1].end <= ACROSS * width:
            groups[-1].append(each)
        else:
            groups.append([each])
    if longest <= ACROSS * width:
        # All of it is one bead; it begins and ends in the part that was cut, or where the last stretch meets the first.
        begin, end = (own[0].begin, own[-1].end) if met else (0.0, whole)
        return [_closed(_chain(opened, own, begin, end, width, tolerance))], [], [path]
    chains, rest, gone, done = [], [], [], 0.0
    for group in groups:
        begin, end = group[0].begin, group[-1].end
        begin = 0.0 if not path.closed and begin <= width else begin
        end = whole if not path.closed and whole - end <= width else end
        chains.append(_chain(opened, group, begin, end, width, tolerance))
        gone.append(_between(opened, begin, end))
        if begin - done > SNAP:
            rest.append(_between(opened, done, begin))
        done = end
    if whole - done > SNAP:
        rest.append(_between(opened, done, whole))
    if path.closed:
        rest = [_joined(rest[-1], rest[0]), *rest[1:-1]]
    return chains, rest, gone


def _chain(
    path: ArcPath, group: Sequence[Own], begin: float, end: float, width: float, tolerance: float
) -> _Chain:
    """One path from place to place: along its stretches, and along the contour line between them."""
    parts: list[_Chain] = []
    at = begin
    for each in group:
        if each.begin - at > GAP / 2:
            parts.append(_contour(path, at, each.begin, width, parts, each))
        parts.append(_smooth(each, path, tolerance, width))
        at = each.end
    if end - at > GAP / 2:
        parts.append(_contour(path, at, end, width, parts, None))
    return _linked(parts)


def _contour(
    path: ArcPath, begin: float, end: float, width: float, before: list[_Chain], after: Own | None
) -> _Chain:
    """The contour line between two places, shortened where it is joined to a bead beside it, never past a joint."""
    part = _between(path, begin, end)
    run = lengths(part)
    change = min(CHANGE * width, (end - begin) / 3)
    if before and abs(before[-1].width[-1] - width) > LEVEL:
        begin += min(change, JOINT * float(run[0]))
    if after is not None and abs(after.width[0] - width) > LEVEL:
        end -= min(change, JOINT * float(run[-1]))
    part = _between(path, begin, end)
    return _Chain(path=part, at=np.array([0.0, length(part)]), width=np.array([width, width]))


def _smooth(own: Own, path: ArcPath, tolerance: float, width: float) -> _Chain:
    """Lines and arcs through the middles of a stretch; where the number of beads changes, a way across."""
    jump = np.flatnonzero(np.abs(np.diff(own.width)) > 0.1 * width)
    keep = np.ones(len(own.at), bool)
    for row in jump:
        near = (own.place[row] + own.place[row + 1]) / 2
        keep[1:-1] &= np.abs(own.place[1:-1] - near) > CHANGE * width / 2
    edge = own.place[jump] if len(jump) else np.zeros(0)
    part = np.searchsorted(edge, own.place[keep], side="left")
    at, wide, place = own.at[keep], own.width[keep], own.place[keep]
    parts = []
    for rows in np.split(np.arange(len(part)), np.flatnonzero(np.diff(part)) + 1):
        if len(rows) < 2:
            # One place alone, beside a change: a straight way from it, or to it.
            ahead = rows[0] + 1 < len(part)
            rows = np.array([rows[0], rows[0] + 1] if ahead else [rows[0] - 1, rows[0]])
        way, lies = along_points(at[rows], closed=False, tolerance=tolerance)
        ends = np.cumsum(lengths(way)) - lengths(way) / 2
        # The face that the contour line follows there.
        face = _faces(path, np.interp(ends, lies, place[rows]))
        way = ArcPath(points=way.points, bulge=way.bulge, face=face, support=way.support, closed=False)
        parts.append(_Chain(path=way, at=lies, width=wide[rows]))
    return _linked(parts)


def _faces(path: ArcPath, place: Floats) -> npt.NDArray[np.int32]:
    """Face of the move of a path at each place along it."""
    ends = np.cumsum(lengths(path))
    return np.asarray(path.face[np.searchsorted(ends[:-1], place % ends[-1], side="right")])


def _linked(parts: Sequence[_Chain]) -> _Chain:
    """Parts end to end, with straight moves where they do not meet."""
    points, bulge, face, at, wide = [parts[0].path.points], [parts[0].path.bulge], [parts[0].path.face], [
        parts[0].at], [parts[0].width]  # fmt: skip
    run = float(parts[0].at[-1])
    for part in parts[1:]:
        step = float(np.hypot(*(part.path.points[0] - points[-1][-1])))
        if step > SNAP:
            points.append(part.path.points)
            bulge += [np.zeros(1), part.path.bulge]
            face += [part.path.face[:1], part.path.face]
            run += step
        else:
            points.append(part.path.points[1:])
            bulge.append(part.path.bulge)
            face.append(part.path.face)
        at.append(run + part.at)
        wide.append(part.width)
        run += float(part.at[-1])
    every = np.concatenate(bulge)
    path = ArcPath(
        points=np.concatenate(points),
        bulge=every,
        face=np.concatenate(face),
        support=np.full(len(every), -1, np.int32),
        closed=False,
    )
    return _Chain(path=path, at=np.concatenate(at), width=np.concatenate(wide))


def _closed(chain: _Chain) -> _Chain:
    """A chain that comes back to its start, as a closed path."""
    path = chain.path
    return replace(
        chain,
        path=ArcPath(
            points=path.points[:-1], bulge=path.bulge, face=path.face, support=path.support, closed=True
        ),
    )


def _opened(path: ArcPath, place: float) -> ArcPath:
    """A closed path walked from a place, open there."""
    ends = np.cumsum(lengths(path))
    row = int(np.searchsorted(ends, place, side="right")) % len(ends)
    run = float(lengths(path)[row])
    share = (place - float(ends[row]) + run) / run
    if share >= 1 - SNAP:
        # A joint: rounding has it at the end of the move before it.
        row, share = (row + 1) % len(ends), 0.0
    walked = started_at(path, row, share if share > SNAP else 0.0)
    return ArcPath(
        points=np.concatenate([walked.points, walked.points[:1]]),
        bulge=walked.bulge,
        face=walked.face,
        support=walked.support,
        closed=False,
    )


def _between(path: ArcPath, begin: float, end: float) -> ArcPath:
    """The part of an open path between two places."""
    cut = jointed(path, [begin, end])
    ends = np.cumsum(lengths(cut))
    middle = ends - lengths(cut) / 2
    return part_of(cut, np.flatnonzero((middle > begin) & (middle < end)))


def _joined(one: ArcPath, other: ArcPath) -> ArcPath:
    """Two parts of a path, the second going on where the first ends."""
    return ArcPath(
        points=np.concatenate([one.points, other.points[1:]]),
        bulge=np.concatenate([one.bulge, other.bulge]),
        face=np.concatenate([one.face, other.face]),
        support=np.concatenate([one.support, other.support]),
        closed=False,
    )
