"""The CAD kernel's section of one face, where the section room cannot cut it: counted, never silent."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from beadwright.brep import Model


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class KernelFallback:
    """Row of a face and height (mm, placed) to the kernel's curves as (k, 2) points; pickles.

    Attributes
    ----------
    model : Model
        As read, without its tables: only the kernel's own bytes are needed.
    face_ids : tuple of int
        Of each row.
    matrix : (3, 4) float
        The placement.
    """

    model: Model
    face_ids: tuple[int, ...]
    matrix: npt.NDArray[np.float64]

    def __call__(self, row: int, height: float) -> Sequence[npt.ArrayLike]:
        """Cut one face; the CAD kernel is loaded at the first call."""
        from beadwright.kernel import face_section

        return face_section(self.model, self.face_ids[row], height, self.matrix)


def kernel_fallback(model: Model, matrix: npt.NDArray[np.float64]) -> KernelFallback:
    """What a plan hands to `section.cut` for the faces of a model under a placement.

    Parameters
    ----------
    model : Model
        As read, unplaced.
    matrix : (3, 4) float
    """
    bare = replace(
        model, vertices=np.zeros((0, 3)), edges=(), faces=(), shells=(), solids=(), healing=(), findings=()
    )
    return KernelFallback(model=bare, face_ids=tuple(face.id for face in model.faces), matrix=matrix)
