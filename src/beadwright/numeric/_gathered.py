"""What hangs together in a graph."""

from __future__ import annotations

from collections.abc import Iterable, Mapping


def gathered(beside: Mapping[int, Iterable[int]]) -> list[tuple[int, ...]]:
    """Connected components of a graph.

    Parameters
    ----------
    beside : mapping of int to ints
        Each node's neighbours, in both directions.

    Returns
    -------
    list of tuple of int
        Nodes of each component, ascending; components by their least node.

    Examples
    --------
    >>> gathered({0: [2], 1: [], 2: [0]})
    [(0, 2), (1,)]
    """
    met: set[int] = set()
    found = []
    for first in sorted(beside):
        if first in met:
            continue
        own, todo = {first}, [first]
        while todo:
            new = set(beside[todo.pop()]) - own
            own |= new
            todo += new
        met |= own
        found.append(tuple(sorted(own)))
    return found
