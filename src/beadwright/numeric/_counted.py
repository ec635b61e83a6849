"""Numbers of things in words."""

from __future__ import annotations


def counted(count: int, one: str, many: str = "") -> str:
    """A number of things as people read it.

    Parameters
    ----------
    count : int
    one, many : str
        What one of them is called, and several; default ``one`` with an s.

    Examples
    --------
    >>> counted(1, "layer"), counted(2, "layer"), counted(0, "copy", "copies")
    ('1 layer', '2 layers', '0 copies')
    """
    return f"{count} {one if count == 1 else many or one + 's'}"
