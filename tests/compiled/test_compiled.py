"""Compiled code that was kept is taken again only while all that it holds is as it was."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

CALLED = "from beadwright.compiled import helper\n\n@helper\ndef share(x):\n    return {0} * x\n"
CALLER = """from beadwright.compiled import kernel
from _kernels.called import share

@kernel
def double(x):
    return 2.0 * share(x)
"""
ASKED = "from _kernels.caller import double; print(double(1.0), sum(double.stats.cache_hits.values()))"


def answer(folder: Path, asked: str = ASKED) -> list[str]:
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join([str(folder), *sys.path])}
    environment.pop("NUMBA_CACHE_DIR", None)
    done = subprocess.run(
        [sys.executable, "-c", asked], env=environment, capture_output=True, text=True, check=True
    )
    return done.stdout.split()


def test_a_kernel_is_compiled_anew_when_what_it_calls_has_changed(tmp_path: Path) -> None:
    room = tmp_path / "_kernels"
    room.mkdir()
    (room / "caller.py").write_text(CALLER)
    (room / "called.py").write_text(CALLED.format(1.0))

    assert answer(tmp_path) == ["2.0", "0"]
    assert answer(tmp_path) == ["2.0", "1"]
    (room / "called.py").write_text(CALLED.format(3.0))
    assert answer(tmp_path) == ["6.0", "0"]


OTHER = """from beadwright.compiled import kernel
from _kernels.called import share

@kernel
def spread(points):
    out = points.copy()
    for i in range(len(out)):
        out[i] = share(out[i]) + len(set([i, i + 1]))
    return out
"""
BOTH = """import numpy as np
from _kernels.caller import double
from _kernels.other import spread
print(double(1.0), spread(np.ones(3)).tolist(), sum(double.stats.cache_hits.values()))
"""


def test_a_kernel_that_is_kept_and_one_that_is_not_work_in_one_process(tmp_path: Path) -> None:
    # what is kept is loaded without the typing of everything; the compiler that comes after it sets that up
    room = tmp_path / "_kernels"
    room.mkdir()
    (room / "caller.py").write_text(CALLER)
    (room / "called.py").write_text(CALLED.format(1.0))
    (room / "other.py").write_text(OTHER)

    assert answer(tmp_path)[1] == "0"
    assert answer(tmp_path, BOTH) == ["2.0", "[3.0,", "3.0,", "3.0]", "1"]
    assert answer(tmp_path, BOTH) == ["2.0", "[3.0,", "3.0,", "3.0]", "1"]


CONSTANTS = """from beadwright.compiled import kernel
from _kernels.called import share

@kernel
def several(x, n):
    return share(x) + share(n) + share(0) + share(2) + share(False)
"""
COUNTED = """from _kernels.constants import several
from _kernels.called import share
print(several(1.0, 3), *share.signatures)
"""


def test_a_function_that_is_called_with_constants_is_compiled_once_for_each_type(tmp_path: Path) -> None:
    room = tmp_path / "_kernels"
    room.mkdir()
    (room / "constants.py").write_text(CONSTANTS)
    (room / "called.py").write_text(CALLED.format(1.0))

    value, *types = answer(tmp_path, COUNTED)

    assert value == "6.0"
    assert sorted(types) == ["(bool,)", "(float64,)", "(int64,)"]
