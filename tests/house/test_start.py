"""What `examine` of a small part loads, and when: most of its time, so nothing may join unseen.

Names in place of seconds, which depend on the machine. A module that is really needed is added here, on purpose.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

PART = Path(__file__).parents[2] / "step_examples" / "turned_bollard.step"
# Notes what is loaded where the reading process begins and where the command ends.
COMMAND = """
import json, subprocess, sys
first = []
class Noted(subprocess.Popen):
    def __init__(self, *args, **kwargs):
        first.append(sorted(sys.modules))
        super().__init__(*args, **kwargs)
subprocess.Popen = Noted
sys.argv = ["beadwright", "examine", sys.argv[1], "--json", "--quiet"]
sys.stdout = sys.stderr
from beadwright.__main__ import main
try:
    main()
finally:
    print(json.dumps([*first, sorted(sys.modules)]), file=sys.__stdout__)
"""
READER = "import json, sys; import beadwright.kernel; print(json.dumps([sorted(sys.modules)]))"

COMMAND_LINE = {"annotated_doc", "annotated_types", "pydantic", "pydantic_core", "shellingham", "typer"}
COMMAND_LINE |= {"typing_extensions", "typing_inspection"}
JUDGING = {"cython_runtime", "llvmlite", "numba", "numpy", "scipy", "yaml"}
# numba asks which version of scipy there is; any part of it that works takes a tenth of a second or more
SCIPY = {"_cyutility", "_distributor_init", "_lib", "version", "__config__"}
EARLY_ROOMS = {"__main__", "cli", "errors", "numeric", "pipeline"}
ROOMS = EARLY_ROOMS | {
    "arcs",
    "beads",
    "brep",
    "compiled",
    "curves",
    "layers",
    "process",
    "section",
    "settings",
}
EARLY_STEPS = {"_examine", "_guard", "_part"}
STEPS = EARLY_STEPS | {
    "_advice",
    "_chosen",
    "_hanging",
    "_kernel_fallback",
    "_later",
    "_layer_beads",
    "_layer_work",
    "_load",
    "_poses",
    "_rules",
    "_section_findings",
    "_stages",
    "_stock",
    "_traced",
    "_united",
}


def loaded(code: str, *words: str) -> list[list[str]]:
    done = subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True, check=True)
    told: list[list[str]] = json.loads(done.stdout)
    return told


def of_others(modules: list[str]) -> set[str]:
    """Libraries that are neither Python's own nor ours."""
    names = {name.partition(".")[0] for name in modules}
    return {
        name
        for name in names - {"beadwright"}
        if name not in sys.stdlib_module_names and not name.startswith("_")
    }


def inside(modules: list[str], package: str) -> set[str]:
    """What of a package is loaded, one level deep."""
    return {
        name.removeprefix(f"{package}.").partition(".")[0]
        for name in modules
        if name.startswith(f"{package}.")
    }


@pytest.fixture(scope="module")
def examined() -> list[list[str]]:
    loaded(COMMAND, str(PART))  # compiling, on a machine's first run, loads more: it is over after this
    return loaded(COMMAND, str(PART))


def test_the_reading_process_begins_before_anything_heavy_is_loaded(examined: list[list[str]]) -> None:
    assert len(examined) == 2, "one process reads the part"
    early = examined[0]

    assert of_others(early) <= COMMAND_LINE
    assert inside(early, "beadwright") == EARLY_ROOMS
    assert inside(early, "beadwright.pipeline") == EARLY_STEPS


def test_judging_a_part_loads_no_more_than_it_takes(examined: list[list[str]]) -> None:
    late = examined[-1]

    assert of_others(late) <= COMMAND_LINE | JUDGING
    assert inside(late, "scipy") <= SCIPY
    assert inside(late, "beadwright") == ROOMS
    assert inside(late, "beadwright.pipeline") == STEPS


def test_the_reading_process_loads_the_cad_kernel_and_arrays_alone() -> None:
    (modules,) = loaded(READER)

    assert of_others(modules) == {"OCP", "numpy"}
    assert inside(modules, "beadwright") == {"brep", "curves", "errors", "kernel", "numeric"}
