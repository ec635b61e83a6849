"""What stands at the top of a program."""

from __future__ import annotations

from dataclasses import dataclass

from beadwright.bedmap import BedMap

Row = tuple[float, float, float, float]
Placement = tuple[Row, Row, Row]

AS_READ: Placement = ((1.0, 0.0, 0.0, 0.0), (0.0, 1.0, 0.0, 0.0), (0.0, 0.0, 1.0, 0.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """One setting as resolved: its name, value, where the value came from, and how far a figure can be trusted."""

    name: str
    value: str
    source: str
    standing: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CopyHead:
    """One of several copies: the name of its file, its SHA-256, and from the file (mm, as read) to the machine."""

    part: str
    part_sha256: str
    placement: Placement


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """What stands at the top of a program.

    Attributes
    ----------
    part : str
        Name of the file, without its folder.
    part_sha256 : str
        Of the file as given, 64 hex digits.
    contours : int
        Contour beads asked for; 0 for walls.
    placement : 3 rows of 4 floats
        Model (mm, as read) to machine: a similarity.
    contraction : (3,) float
        Factors applied to the placed solid about `contraction_at`, before any section.
    contraction_at : (3,) float
        The fixed point, mm.
    later : tuple of tuple of int
        Features that are printed full and cut later: ids of the faces of each.
    copies : tuple of CopyHead
        All copies, where there are several; the placement is then that of the first.
    bed : BedMap or None
        The measured platform.
    bed_layers : int
        How many layers share its heights.
    settings : tuple of Setting
        As resolved.
    first : int
        Index of the first layer, 0 unless only a part of the plan is written.
    partial : bool
        Whether it is a part of the plan, even where that begins with layer 0.
    axis_at : float
        Where the extruder axis stands before the program, in its unit.
    lag : bool
        Whether the leads of the extruder's lag, as measured, are in the program.
    heats : bool
        Whether its devices switch heaters.
    notes : tuple of str
        Sentences for the reader, one a line; plain ASCII.
    """

    part: str
    part_sha256: str
    contours: int
    placement: Placement = AS_READ
    contraction: tuple[float, float, float] = (1.0, 1.0, 1.0)
    contraction_at: tuple[float, float, float] = (0.0, 0.0, 0.0)
    later: tuple[tuple[int, ...], ...] = ()
    copies: tuple[CopyHead, ...] = ()
    bed: BedMap | None = None
    bed_layers: int = 0
    settings: tuple[Setting, ...] = ()
    first: int = 0
    partial: bool = False
    axis_at: float = 0.0
    lag: bool = False
    heats: bool = False
    notes: tuple[str, ...] = ()
