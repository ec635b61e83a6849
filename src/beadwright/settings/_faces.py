"""How faces of a part are chosen in a job: by name, number, colour, kind, direction, size, or all."""

from __future__ import annotations

from typing import Annotated, ClassVar

from pydantic import BeforeValidator, Field

from beadwright.settings._base import Section
from beadwright.settings._quantity import Quantity


def _several(value: object) -> object:
    """Accept one value where several are wanted."""
    return (value,) if isinstance(value, (str, int)) and not isinstance(value, bool) else value


def _choice(value: object) -> object:
    """Accept ``"all"`` or a name pattern in place of a table."""
    if isinstance(value, str):
        return {"all": True} if value == "all" else {"name": value}
    return value


Names = Annotated[tuple[str, ...], BeforeValidator(_several)]
Ids = Annotated[tuple[Annotated[int, Field(ge=0)], ...], BeforeValidator(_several)]
Component = Annotated[float, Field(ge=-1e9, le=1e9)]
Size = Annotated[float, Field(ge=0.0)]


class FaceChoice(Section):
    """Faces that meet every condition that is given; of one condition any of its values will do."""

    LEAF: ClassVar[bool] = True

    name: Names | None = Field(None, description="name patterns, * any text, ? one letter, as in tool*")
    id: Ids | None = Field(None, description="face numbers, as `examine` lists them")
    colour: Names | None = Field(None, description="colours as #rrggbb")
    kind: Names | None = Field(
        None,
        description="surface kinds: plane, cylinder, cone, sphere, torus, spline, revolution, extrusion, offset",
    )
    facing: tuple[Component, Component, Component] | None = Field(
        None, description="direction that the whole face looks along on the platform, X,Y,Z"
    )
    within: Annotated[float, Quantity("angle", 0.0, 180.0)] | None = Field(
        None, description="greatest angle to `facing`, degrees; default 5"
    )
    area: tuple[Size, Size] | None = Field(None, description="least and greatest area, mm2")
    radius: tuple[Size, Size] | None = Field(None, description="least and greatest radius, mm")
    all: bool | None = Field(None, description="every face")

    def between(self) -> list[tuple[str, str]]:
        """Faults between values that are each in range."""
        faults = []
        if not (self.model_fields_set - {"within", "all"}) and not self.all:
            faults.append(("all", "no condition is given; all = true takes every face"))
        if self.facing is not None and not any(self.facing):
            faults.append(("facing", "has no direction"))
        if self.within is not None and self.facing is None:
            faults.append(("within", "is the angle to `facing`, which is not given"))
        return faults


Faces = Annotated[FaceChoice, BeforeValidator(_choice)]
