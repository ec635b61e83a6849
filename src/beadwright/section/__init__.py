"""Planes x solid -> exact closed chains of curves, each with its face. Lengths in mm, angles in rad."""

from beadwright.section._cut import cut
from beadwright.section._cutter import Cutter, prepare, take_plane
from beadwright.section._events import face_events
from beadwright.section._heights import Intervals, Side, TakenPlane
from beadwright.section._section import Chord, Counters, NearTangent, Section
from beadwright.section._verify import Verified, verify_loops

__all__ = [
    "Chord",
    "Counters",
    "Cutter",
    "Intervals",
    "NearTangent",
    "Section",
    "Side",
    "TakenPlane",
    "Verified",
    "cut",
    "face_events",
    "prepare",
    "take_plane",
    "verify_loops",
]
