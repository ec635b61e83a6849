"""Which beads, where, in which order, where they start.

Lengths in mm, machine coordinates.
"""

from beadwright.beads._arrange import Arranged, Trail, arrange
from beadwright.beads._bead import Bead, Order, Role, Side

__all__ = ["Arranged", "Bead", "Order", "Role", "Side", "Trail", "arrange"]
