"""What a plane curve, a loop, a region and an arc path is; length, area, moments, distance.

Lengths in mm, angles in rad, counter-clockwise positive. Material lies left of every loop.
"""

from beadwright.curves._arc_measure import (
    bounding_box,
    depths,
    inside,
    middle_of,
    region_area,
    region_length,
    winding,
)
from beadwright.curves._distance import distances, samples
from beadwright.curves._ends import Ends, ends_of
from beadwright.curves._hull import hull
from beadwright.curves._loop_measure import chain_measures
from beadwright.curves._loops import CurveKind, CurveLoops
from beadwright.curves._measure import chord_runs, chords, length, lengths, move_lengths, signed_area
from beadwright.curves._moments import region_moments
from beadwright.curves._of_paths import curves_of
from beadwright.curves._part import cut_at, first_part, joined, reversed_path
from beadwright.curves._path import ArcPath, ArcRegion
from beadwright.curves._pieces import pieces_of
from beadwright.curves._places import nearest_place, part_of_way, points_at
from beadwright.curves._subset import kept_chains

__all__ = [
    "ArcPath",
    "ArcRegion",
    "CurveKind",
    "CurveLoops",
    "Ends",
    "bounding_box",
    "chain_measures",
    "chord_runs",
    "chords",
    "curves_of",
    "cut_at",
    "depths",
    "distances",
    "ends_of",
    "first_part",
    "hull",
    "inside",
    "joined",
    "kept_chains",
    "length",
    "lengths",
    "middle_of",
    "move_lengths",
    "nearest_place",
    "part_of_way",
    "pieces_of",
    "points_at",
    "region_area",
    "region_length",
    "region_moments",
    "reversed_path",
    "samples",
    "signed_area",
    "winding",
]
