"""Which beads, where, in which order, where they start.

Lengths in mm, machine coordinates.
"""

from beadwright.beads._arrange import Arranged, SiteRule, Trail, arrange
from beadwright.beads._base import Pad, base_beads
from beadwright.beads._bead import Bead, Order, Role, Side
from beadwright.beads._contour import AS_ASKED, NOTHING, LayerBeads, Refilled, contour_beads
from beadwright.beads._corners import Corner, Tight, sharpest_corner, tightest_bend
from beadwright.beads._coverage import Coverage, coverage, covering_loss
from beadwright.beads._decks import Deck, deck_region
from beadwright.beads._fill import FillPlan, fill_beads
from beadwright.beads._gaps import NO_GAPS, Gaps
from beadwright.beads._merge import Merged, merged
from beadwright.beads._ranks import Ranks, WidthStep
from beadwright.beads._refill import Allowance
from beadwright.beads._rise import Level, Stretch, stepped, stretches
from beadwright.beads._rounded import rounded
from beadwright.beads._vary import jointed
from beadwright.beads._voids import Voids, hollow_cells
from beadwright.beads._wall import wall_beads
from beadwright.beads._ways import Below, Ways
from beadwright.beads._zones import WallRange, wall_range

__all__ = [
    "AS_ASKED",
    "NOTHING",
    "NO_GAPS",
    "Allowance",
    "Arranged",
    "Bead",
    "Below",
    "Corner",
    "Coverage",
    "Deck",
    "FillPlan",
    "Gaps",
    "LayerBeads",
    "Level",
    "Merged",
    "Order",
    "Pad",
    "Ranks",
    "Refilled",
    "Role",
    "Side",
    "SiteRule",
    "Stretch",
    "Tight",
    "Trail",
    "Voids",
    "WallRange",
    "Ways",
    "WidthStep",
    "arrange",
    "base_beads",
    "contour_beads",
    "coverage",
    "covering_loss",
    "deck_region",
    "fill_beads",
    "hollow_cells",
    "jointed",
    "merged",
    "rounded",
    "sharpest_corner",
    "stepped",
    "stretches",
    "tightest_bend",
    "wall_beads",
    "wall_range",
]
