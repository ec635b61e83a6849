"""The commands as functions: the only place that knows all rooms."""

from beadwright.pipeline._any import plan_any, plan_pieces
from beadwright.pipeline._calibrate import Calibration, calibrate
from beadwright.pipeline._cluster import cluster
from beadwright.pipeline._compare import Comparison, compare
from beadwright.pipeline._compare_table import show_comparison
from beadwright.pipeline._coupon import Coupon, coupon
from beadwright.pipeline._examine import Examination, examine
from beadwright.pipeline._export import Export, export
from beadwright.pipeline._guard import read_step
from beadwright.pipeline._init import write_settings
from beadwright.pipeline._meshway import CHORDS, MeshComparison, meshway
from beadwright.pipeline._meshway_shown import check_meshway_file, chord_list, show_meshway, write_meshway
from beadwright.pipeline._pieces import Pieces
from beadwright.pipeline._pieces_table import show_pieces
from beadwright.pipeline._plan import Progress, compile_kernels, plan, plan_part
from beadwright.pipeline._record import append_record
from beadwright.pipeline._replan import replan
from beadwright.pipeline._result import PlannedLayer, PlanResult
from beadwright.pipeline._section import PlaneSection, section_at, write_section
from beadwright.pipeline._tables import show_examination, show_plan, show_section
from beadwright.pipeline._verify import verify_options, verify_program
from beadwright.pipeline._verify_out import sheet_beside
from beadwright.pipeline._verify_table import show_verification
from beadwright.pipeline._view import view
from beadwright.pipeline._warm import Warmed
from beadwright.pipeline._ways import Way

__all__ = [
    "CHORDS",
    "Calibration",
    "Comparison",
    "Coupon",
    "Examination",
    "Export",
    "MeshComparison",
    "Pieces",
    "PlanResult",
    "PlaneSection",
    "PlannedLayer",
    "Progress",
    "Warmed",
    "Way",
    "append_record",
    "calibrate",
    "check_meshway_file",
    "chord_list",
    "cluster",
    "compare",
    "compile_kernels",
    "coupon",
    "examine",
    "export",
    "meshway",
    "plan",
    "plan_any",
    "plan_part",
    "plan_pieces",
    "read_step",
    "replan",
    "section_at",
    "sheet_beside",
    "show_comparison",
    "show_examination",
    "show_meshway",
    "show_pieces",
    "show_plan",
    "show_section",
    "show_verification",
    "verify_options",
    "verify_program",
    "view",
    "write_meshway",
    "write_section",
    "write_settings",
]
