"""Open curves that meet, joined into the fewest beads.

By Euler, a connected network with k odd nodes needs at least k / 2 trails, and one where there are none. The
fewest are found by pairing the odd nodes with imaginary edges, walking the closed trail that then exists
(C. Hierholzer, Mathematische Annalen 6 (1873) 30-32), and cutting it at the imaginary edges.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from beadwright.curves import ArcPath, reversed_path

Node = tuple[float, float]
# A chain with its direction: row and whether it is walked as it is.
Step = tuple[int, bool]


def joined(chains: Sequence[ArcPath]) -> tuple[ArcPath, ...]:
    """Chains that share end points, joined into the fewest trails; closed chains stay as they are.

    Parameters
    ----------
    chains : sequence of ArcPath
        Open ones meet where their ends are equal, bit for bit.

    Returns
    -------
    tuple of ArcPath
        First the trails, then the closed chains. Every chain is walked exactly once; a trail that returns to
        its start is a closed path.
    """
    pieces = [chain for chain in chains if not chain.closed]
    edges = [(_node(chain.points[0]), _node(chain.points[-1])) for chain in pieces]
    trails = [
        _chained([pieces[row] if ahead else reversed_path(pieces[row]) for row, ahead in trail])
        for trail in fewest_trails(edges)
    ]
    return (*trails, *(chain for chain in chains if chain.closed))


def fewest_trails(edges: Sequence[tuple[Node, Node]]) -> list[list[Step]]:
    """The fewest trails that walk every edge of a network exactly once.

    Examples
    --------
    A ring with one rib across it has two odd nodes, so one trail is enough:

    >>> west, east = (0.0, 0.0), (1.0, 0.0)
    >>> fewest_trails([(west, east), (east, west), (west, east)])
    [[(0, True), (1, True), (2, True)]]
    """
    meeting: dict[Node, list[int]] = {}
    for row, ends in enumerate(edges):
        for node in ends:
            meeting.setdefault(node, []).append(row)
    trails: list[list[Step]] = []
    seen: set[Node] = set()
    for first in meeting:
        if first in seen:
            continue
        nodes = _reached(first, edges, meeting)
        seen.update(nodes)
        odd = [node for node in nodes if len(meeting[node]) % 2]
        trails += _circuit(odd[0] if odd else first, edges, nodes, meeting, odd)
    return trails


def branches(chains: Sequence[ArcPath]) -> tuple[tuple[Node, int], ...]:
    """Points where more than two ends of open chains meet, and how many do."""
    count: dict[Node, int] = {}
    for chain in chains:
        if not chain.closed:
            for end in (0, -1):
                node = _node(chain.points[end])
                count[node] = count.get(node, 0) + 1
    return tuple((node, many) for node, many in count.items() if many > 2)


def _reached(first: Node, edges: Sequence[tuple[Node, Node]], meeting: dict[Node, list[int]]) -> list[Node]:
    """All nodes that hang together with one, in the order in which they are met."""
    found, todo = {first: None}, [first]
    while todo:
        for row in meeting[todo.pop()]:
            for node in edges[row]:
                if node not in found:
                    found[node] = None
                    todo.append(node)
    return list(found)


def _circuit(
    start: Node,
    edges: Sequence[tuple[Node, Node]],
    nodes: list[Node],
    meeting: dict[Node, list[int]],
    odd: list[Node],
) -> list[list[Step]]:
    """Hierholzer's closed trail over one connected part, cut at the imaginary edges between odd nodes."""
    imagined = list(zip(odd[::2], odd[1::2], strict=True))
    ends = [*edges, *imagined]
    # Real edges are taken first, so an imaginary one closes the walk and does not begin it.
    left = {node: list(reversed(meeting[node])) for node in nodes}
    for row, pair in enumerate(imagined, len(edges)):
        for node in pair:
            left[node].insert(0, row)
    used: set[int] = set()
    stack: list[tuple[Node, Step | None]] = [(start, None)]
    walk: list[Step] = []
    while stack:
        node, step = stack[-1]
        while left[node] and left[node][-1] in used:
            left[node].pop()
        if left[node]:
            row = left[node].pop()
            used.add(row)
            ahead = ends[row][0] == node
            stack.append((ends[row][1 if ahead else 0], (row, ahead)))
        else:
            stack.pop()
            if step is not None:
                walk.append(step)
    walk.reverse()
    cuts = [place for place, (row, _) in enumerate(walk) if row >= len(edges)]
    if not cuts:
        return [walk]
    turned = walk[cuts[0] + 1 :] + walk[: cuts[0] + 1]
    trails: list[list[Step]] = [[]]
    for row, ahead in turned:
        if row < len(edges):
            trails[-1].append((row, ahead))
        elif trails[-1]:
            trails.append([])
    return [trail for trail in trails if trail]


def _chained(parts: list[ArcPath]) -> ArcPath:
    """Open paths, each starting where the last ended, as one; closed if it returns to its start."""
    points = np.concatenate([*(part.points[:-1] for part in parts), parts[-1].points[-1:]])
    closed = len(points) > 2 and bool((points[0] == points[-1]).all())
    return ArcPath(
        points=points[:-1] if closed else points,
        bulge=np.concatenate([part.bulge for part in parts]),
        face=np.concatenate([part.face for part in parts]),
        support=np.concatenate([part.support for part in parts]),
        closed=closed,
    )


def _node(point: npt.NDArray[np.float64]) -> Node:
    """A point as a key; 0.0 and -0.0 are one."""
    return float(point[0]) + 0.0, float(point[1]) + 0.0
