"""How a part stands on the platform: placed, contracted, and lifted by the stock below it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from beadwright.brep import Model, placed, placement
from beadwright.pipeline._kernel_fallback import KernelFallback, kernel_fallback
from beadwright.settings import PlanSettings

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stand:
    """A part in machine coordinates.

    Attributes
    ----------
    matrix : (3, 4) float
        Placement, without the contraction.
    solid : Model
        With both.
    fallback : KernelFallback
        For its faces that cannot be cut.
    """

    matrix: Array
    solid: Model
    fallback: KernelFallback


def fixed_point(settings: PlanSettings) -> tuple[float, float, float]:
    """The point about which a part contracts: the platform below its middle, mm."""
    return (settings.at[0], settings.at[1], 0.0)


def stand(model: Model, settings: PlanSettings, lift: float = 0.0, *, stands: bool = False) -> Stand:
    """Place a part as the settings ask, its lowest point at a height.

    Parameters
    ----------
    model : Model
        As read.
    settings : PlanSettings
    lift : float
        mm.
    stands : bool
        Whether the model stands at its place already, on Z = 0: several parts set up together.

    Raises
    ------
    GeometryError
        It cannot be contracted so.
    """
    x, y, z = settings.contraction
    if stands:
        matrix = np.eye(3, 4)
        matrix[2, 3] = lift / z
    else:
        matrix = placement(model, settings.scale, settings.rotate, settings.at, lift / z)
    if x == y == z == 1.0:
        return Stand(matrix=matrix, solid=placed(model, matrix), fallback=kernel_fallback(model, matrix))
    at = fixed_point(settings)
    if x == y == z:
        whole = x * matrix
        whole[:, 3] += (1.0 - x) * np.array(at)
        return Stand(matrix=matrix, solid=placed(model, whole), fallback=kernel_fallback(model, whole))
    from beadwright.kernel import contracted

    made = contracted(model, matrix, (x, y, z), at)
    return Stand(matrix=matrix, solid=made, fallback=kernel_fallback(made, np.eye(3, 4)))
