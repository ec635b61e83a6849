"""The commands as functions: the only place that knows all rooms.

Every name is loaded when it is first used: a worker, or a command, then loads what it needs and no more.
"""

import importlib

_HOMES = {
    "CHORDS": "_meshway",
    "Calibration": "_calibrate",
    "Comparison": "_compare",
    "Coupon": "_coupon",
    "Examination": "_examine",
    "Export": "_export",
    "MeshComparison": "_meshway",
    "Pieces": "_pieces",
    "PlanResult": "_result",
    "PlaneSection": "_section",
    "PlannedLayer": "_result",
    "Progress": "_plan",
    "Warmed": "_warm",
    "Way": "_ways",
    "append_record": "_record",
    "calibrate": "_calibrate",
    "check_meshway_file": "_meshway_shown",
    "chord_list": "_meshway_shown",
    "cluster": "_cluster",
    "compare": "_compare",
    "compile_kernels": "_plan",
    "coupon": "_coupon",
    "examine": "_examine",
    "export": "_export",
    "meshway": "_meshway",
    "plan": "_plan",
    "plan_any": "_any",
    "plan_part": "_plan",
    "plan_pieces": "_any",
    "read_step": "_guard",
    "replan": "_replan",
    "section_at": "_section",
    "sheet_beside": "_verify_out",
    "show_comparison": "_compare_table",
    "show_examination": "_tables",
    "show_meshway": "_meshway_shown",
    "show_pieces": "_pieces_table",
    "show_plan": "_plan_table",
    "show_section": "_tables",
    "show_verification": "_verify_table",
    "verify_options": "_verify",
    "verify_program": "_verify",
    "view": "_view",
    "write_meshway": "_meshway_shown",
    "write_section": "_section",
    "write_settings": "_init",
}
"""Public names and the modules they come from; their types stand in ``__init__.pyi``."""

__all__ = [*_HOMES]


def __getattr__(name: str) -> object:
    """Load a public name when it is first used (PEP 562)."""
    home = _HOMES.get(name)
    if home is None:
        raise AttributeError(f"module 'beadwright.pipeline' has no attribute {name!r}")
    value = getattr(importlib.import_module(f"beadwright.pipeline.{home}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    """Public names, loaded or not."""
    return sorted(__all__)
