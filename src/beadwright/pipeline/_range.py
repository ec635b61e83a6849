"""Layers A:B, as commands that read a plan or a program take them."""

from __future__ import annotations

from beadwright.errors import SettingsError


def layer_range(told: str) -> tuple[int, int | None]:
    """First layer and the one after the last of ``A:B``; None where nothing follows the colon.

    Raises
    ------
    SettingsError
        It is not of that form, or holds no layer.
    """
    first, colon, end = (part.strip() for part in told.partition(":"))
    if not colon or not (first or "0").isdecimal() or not (end or "0").isdecimal():
        raise SettingsError(f"--layers: expected A:B, layers A up to B - 1, got {told!r}")
    low, high = int(first or 0), int(end) if end else None
    if high is not None and high <= low:
        raise SettingsError(
            f"--layers {told}: there is no layer from {low} up to {high - 1}; B must be above A"
        )
    return low, high
