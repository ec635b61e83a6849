"""What a layer covers at some faces, where that differs from the rest."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import BeforeValidator, Field

from beadwright.settings._base import Section
from beadwright.settings._faces import Faces


class FaceRule(Section):
    """What layers cover at some faces: all of the part in the layer, nothing but the part, or its middle."""

    LEAF: ClassVar[bool] = True

    faces: Faces = Field(description="the faces that have it")
    rule: Literal["neutral", "outer", "inner"] = Field(
        description="outer: all that the part covers there anywhere in the layer; inner: what it covers everywhere in"
        " it; neutral: the section at mid height"
    )


def _several(value: object) -> object:
    return (value,) if isinstance(value, dict) else value


FaceRules = Annotated[tuple[FaceRule, ...], BeforeValidator(_several)]
