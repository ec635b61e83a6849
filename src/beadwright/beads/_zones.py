"""How many beads side by side a wall takes, and how wide each is then."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class WallRange:
    """How thick a wall one bead or two can make, mm.

    Attributes
    ----------
    least, most : float
        Of one bead.
    two : float
        Least thickness that two beads can make.
    """

    least: float
    most: float
    two: float


def wall_range(*, width: float, spacing: float, bore: float) -> WallRange:
    """Limits of one bead, max(0.8 w, bore) to min(1.3 w, 1.5 bore), and of two at their spacing.

    Speed and flow change a bead's width by no more than that, and a bead narrower than the nozzle's bore, or
    much wider, does not hold. Two beads overlap by as much as two of the nominal width do at their spacing.

    Examples
    --------
    The default bead, tamped:

    >>> wall_range(width=8.4, spacing=8.4, bore=7.62)
    WallRange(least=7.62, most=10.92, two=15.24)
    """
    # Rounded far below any bound, so that the numbers read as the trade has them.
    least, most = round(max(0.8 * width, bore), 9), round(min(1.3 * width, 1.5 * bore), 9)
    return WallRange(least=least, most=most, two=2 * least - (width - spacing))


@dataclass(frozen=True, slots=True, kw_only=True)
class Zones:
    """Numbers of beads by thickness of a wall, where their widths may vary.

    Attributes
    ----------
    limits : WallRange
    overlap : float
        Of neighbours, mm.
    cuts : tuple of float
        Thicknesses at which the number changes, mm, in rising order.
    beads : tuple of int
        Numbers between them: one entry more than cuts; 0 where contour beads of the nominal width do.
    """

    limits: WallRange
    overlap: float
    cuts: tuple[float, ...]
    beads: tuple[int, ...]

    @property
    def widened(self) -> float:
        """Thickness above which three beads are widened, mm; that from which contour beads do where none are."""
        return self.cuts[-2] if self.beads[-3:] == (0, 3, 0) else self.top

    @property
    def top(self) -> float:
        """Thickness from which contour beads do, mm."""
        return self.cuts[-1]

    def number(self, thick: Floats) -> npt.NDArray[np.int64]:
        """Beads side by side at some thicknesses."""
        return np.asarray(self.beads)[np.searchsorted(self.cuts, thick, side="right")]

    def shared(self, thick: Floats, count: int | None = None) -> Floats:
        """Width of each of a number of beads at some thicknesses, mm: equal shares, within the limits of one bead.

        By default as many as the thickness takes.
        """
        many = np.maximum(self.number(thick) if count is None else count, 1)
        share = (thick + (many - 1) * self.overlap) / many
        return np.asarray(np.clip(share, self.limits.least, self.limits.most))


def zones(
    limits: WallRange, *, width: float, spacing: float, last: bool, beyond: WallRange | None = None
) -> Zones:
    """Numbers of beads by thickness.

    Two beads are narrowed below two nominal widths, and widened above, where no bead of a next rank fits
    between them yet; where that would leave more than three narrowed ones overlap, it is three. Where two contour
    beads would leave too much for one bead and too little for two, three are widened.

    Parameters
    ----------
    limits : WallRange
    width, spacing : float
        Of contour beads, mm.
    last : bool
        Whether no contour beads lie inside: then what is left by two, if it is more than one bead takes, belongs to
        the fill.
    beyond : WallRange, optional
        Of beads of the next rank, where they are of another width.

    Examples
    --------
    >>> zones(wall_range(width=8.4, spacing=8.4, bore=7.62), width=8.4, spacing=8.4, last=False).cuts
    (10.92, 22.35, 24.42, 27.72, 32.04)
    """
    overlap = width - spacing
    two, three = 2 * limits.most - overlap, 3 * limits.least - 2 * overlap
    after = beyond or limits
    whole = round(2 * spacing + after.least, 9)
    change = round((two + three) / 2, 9)
    inner = ((change, 2),) if change < whole else ()
    steps = ((limits.most, 1), *inner, (whole, 3 if inner else 2))
    low = round(2 * spacing + after.most, 9)
    high = round(min(2 * spacing + after.two, 3 * limits.most - 2 * overlap), 9)
    if not last and low < high:
        steps = (*steps, (low, 0), (high, 3))
    return Zones(
        limits=limits,
        overlap=overlap,
        cuts=tuple(cut for cut, _ in steps),
        beads=(*(count for _, count in steps), 0),
    )
