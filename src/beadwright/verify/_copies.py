"""Several copies in one program: what it says of each, and all of them as one model for the referee."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from beadwright.brep import Model, placed, several
from beadwright.errors import InputError
from beadwright.kernel import gathered
from beadwright.numeric import Finding
from beadwright.verify._result import Notes
from beadwright.verify._told import Told, ToldCopy, matrix_of, told_head

Floats = npt.NDArray[np.float64]

# A similarity's rows are square to each other to double precision.
SIMILAR = 1e-12


def told_copies(text: str) -> tuple[ToldCopy, ...]:
    """The copies that a program's head tells, by their index; none for one part.

    Raises
    ------
    InputError
        An index is missing, or a copy is not placed by three rows.
    """
    told = told_head(text)
    if sorted(told.copies) != list(range(len(told.copies))):
        raise InputError("the (copy lines do not count from 0 without a gap")
    copies = tuple(told.copies[index] for index in range(len(told.copies)))
    for index, copy in enumerate(copies):
        if matrix_of(copy.rows) is None:
            raise InputError(f"copy {index} is not placed by three rows of four numbers")
    return copies


def placements(copies: Sequence[ToldCopy], models: Sequence[Model]) -> tuple[tuple[int, Floats], ...]:
    """For each copy which of the models it is, by the SHA-256 of the file, and where it stands.

    Raises
    ------
    InputError
        The program prints a file that is not among the models.
    """
    rows = {model.sha256: row for row, model in enumerate(models)}
    one = len({copy.sha256 for copy in copies}) == 1 == len(models)
    found = []
    for index, copy in enumerate(copies):
        row = 0 if one else rows.get(copy.sha256)
        if row is None:
            raise InputError(
                f"copy {index} is made from {copy.part}, SHA-256 {copy.sha256[:12]}..., which is not among the files"
                " given; add that very file with --part"
            )
        matrix = matrix_of(copy.rows)
        assert matrix is not None
        found.append((row, matrix))
    return tuple(found)


def set_up(models: Sequence[Model], where: Sequence[tuple[int, Floats]]) -> Model:
    """All copies as one model in machine coordinates, before any contraction; shapes moved by the CAD kernel.

    Raises
    ------
    GeometryError
        A copy is placed by more than a similarity.
    """
    shapes = gathered([(models[row].kernel_bytes, matrix) for row, matrix in where])
    return several([placed(models[row], matrix) for row, matrix in where], shapes)


def check_copies(told: Told, notes: Notes) -> None:
    """The placement is that of the first copy, and each copy is placed by a similarity."""
    if not told.copies:
        return
    first = told.copies.get(0)
    if first is None or first.rows != told.rows:
        text = "the placement is not that of copy 0"
        notes.add(Finding(code="placement", level="error", text=text), told.header_line)
    for index, copy in told.copies.items():
        matrix = matrix_of(copy.rows)
        off = np.inf
        if matrix is not None:
            square = matrix[:, :3] @ matrix[:, :3].T
            off = float(np.abs(square / (np.trace(square) / 3) - np.eye(3)).max())
        if off > SIMILAR:
            text = f"copy {index} is placed by more than a rotation, a scale and a shift"
            notes.add(Finding(code="placement", level="error", text=text), told.header_line)
