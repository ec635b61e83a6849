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


def answer(folder: Path) -> list[str]:
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join([str(folder), *sys.path])}
    environment.pop("NUMBA_CACHE_DIR", None)
    done = subprocess.run(
        [sys.executable, "-c", ASKED], env=environment, capture_output=True, text=True, check=True
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
