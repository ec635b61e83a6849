"""From a CAD solid to an arc-move program for a large-format bead extruder, with a proven error bound.

>>> import beadwright
>>> result = beadwright.plan("part.step", "out", width=8.4, height=4.0)  # doctest: +SKIP
>>> section = beadwright.section_at("part.step", z=120.0)  # doctest: +SKIP

Lengths in mm. Every name is loaded when it is first used, so importing the package is quick.
"""

import importlib

__version__ = "0.1.0"

_HOMES = {
    "BeadwrightError": "beadwright.errors",
    "Examination": "beadwright.pipeline",
    "Finding": "beadwright.numeric",
    "GeometryError": "beadwright.errors",
    "InputError": "beadwright.errors",
    "InternalError": "beadwright.errors",
    "Model": "beadwright.brep",
    "OutputError": "beadwright.errors",
    "Pieces": "beadwright.pipeline",
    "PlanResult": "beadwright.pipeline",
    "PlaneSection": "beadwright.pipeline",
    "SettingsError": "beadwright.errors",
    "StepError": "beadwright.errors",
    "examine": "beadwright.pipeline",
    "plan": "beadwright.pipeline",
    "plan_pieces": "beadwright.pipeline",
    "read_step": "beadwright.pipeline",
    "section_at": "beadwright.pipeline",
    "write_section": "beadwright.pipeline",
}
"""Public names and the rooms they come from; their types stand in ``__init__.pyi``."""

__all__ = ["__version__", *_HOMES]


def __getattr__(name: str) -> object:
    """Load a public name when it is first used (PEP 562)."""
    home = _HOMES.get(name)
    if home is None:
        raise AttributeError(f"module 'beadwright' has no attribute {name!r}")
    value = getattr(importlib.import_module(home), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    """Public names, loaded or not."""
    return sorted(__all__)
