"""The measured platform: a bilinear surface, and paths that rise and fall with it.

Lengths in mm, program coordinates.
"""

from beadwright.bedmap._follow import Follower, Following, follow
from beadwright.bedmap._map import BedMap
from beadwright.bedmap._read import parse_map, read_map

__all__ = ["BedMap", "Follower", "Following", "follow", "parse_map", "read_map"]
