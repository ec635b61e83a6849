"""Programs written by hand, so that nothing of ours stands between a fault and the verifier."""

from __future__ import annotations

from dataclasses import dataclass

from beadwright.brep import Model


@dataclass(frozen=True)
class HandBead:
    """Moves as text after the start point; everything else as the contract words it."""

    start: tuple[float, float]
    moves: tuple[str, ...]
    role: str = "contour"
    rank: int = 1
    offset: float = 5.0
    width: float = 10.0
    closed: int = 1


def told(model: Model, layers: list[list[HandBead]], *, height: float = 4.0) -> str:
    """A program with structured comments; the part stands as its file has it."""
    beads = sum(map(len, layers))
    out = [
        f"(program contract=1 units=mm layers={len(layers)} beads={beads} contours=1 decimals=4"
        f" part=hand.step part_sha256={model.sha256} on=M3 off=M5)",
        "(placement row=0 m=1.0,0.0,0.0,0.0)",
        "(placement row=1 m=0.0,1.0,0.0,0.0)",
        "(placement row=2 m=0.0,0.0,1.0,0.0)",
        "(contraction x=1.0 y=1.0 z=1.0 at=0.0,0.0,0.0)",
        *("G21", "G17", "G90", "G94", "G61", "F6000.0"),
    ]
    number = 0
    for k, layer in enumerate(layers):
        z0, z = k * height, (k + 1) * height
        out += [
            f"(layer index={k} z0={z0} z={z} height={height} section_z={(z0 + z) / 2} rule=neutral stock=0.0)",
            "(bound model=0.0 section=0.0 fit=0.0 region=0.0 rounding=0.0001 total=0.0001)",
        ]
        for bead in layer:
            x, y = bead.start
            out += [
                f"G0 Z{z + 20}",
                f"G0 X{x} Y{y}",
                f"G1 Z{z}",
                f"(bead index={number} role={bead.role} rank={bead.rank} loop=0 hole=0 offset={bead.offset}"
                f" width={bead.width} height={height} closed={bead.closed})",
                "M3",
                *bead.moves,
                "M5",
                "(end bead)",
            ]
            number += 1
        out.append("(end layer)")
    return "\n".join([*out, "(end program)", "M2", ""])


def bare(beads: list[HandBead], z: float, *, axis: str = "") -> list[str]:
    """Moves of one layer without any comment; with an axis, its advance is the length by a factor of no meaning."""
    out = []
    for bead in beads:
        x, y = bead.start
        out += [f"G0 Z{z + 20}", f"G0 X{x} Y{y}", f"G1 Z{z}"]
        if axis:
            out += [f"{move} {axis}{0.5}" for move in bead.moves]
        else:
            out += ["M3", *bead.moves, "M5"]
    return out


def square(half: float, *, offset: float = 5.0, width: float = 10.0) -> HandBead:
    """A closed square counter-clockwise about the origin."""
    h = half
    moves = (f"G1 X{h} Y{-h}", f"G1 X{h} Y{h}", f"G1 X{-h} Y{h}", f"G1 X{-h} Y{-h}")
    return HandBead(start=(-h, -h), moves=moves, offset=offset, width=width)


def ring(radius: float, *, hole: bool = False, offset: float = 5.0, width: float = 10.0) -> HandBead:
    """A closed circle about the origin: two half turns, material on the left."""
    r, turn = radius, "G2" if hole else "G3"
    moves = (f"{turn} X{-r} Y0.0 I{-r} J0.0", f"{turn} X{r} Y0.0 I{r} J0.0")
    return HandBead(start=(r, 0.0), moves=moves, offset=offset, width=width)
