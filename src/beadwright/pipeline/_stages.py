"""Where the time goes: seconds by stage, compiling apart."""

from __future__ import annotations

import contextlib
import resource
import sys
import time
from collections.abc import Iterator, Mapping
from pathlib import Path

COMPILE = "compile"
"""Stage of compiling numeric kernels, which is paid once a machine and taken out of the other stages."""


class Stages:
    """A stop-watch with a name for each stage; stages may be measured many times and do not overlap."""

    def __init__(self) -> None:
        self._seconds: dict[str, float] = {}
        self._begun = time.perf_counter()

    @contextlib.contextmanager
    def measure(self, stage: str) -> Iterator[None]:
        """Add the time of a block to a stage, less what was compiled in it, which goes to `COMPILE`."""
        begun, compiled = time.perf_counter(), self._seconds.get(COMPILE, 0.0)
        try:
            with _compiling(self):
                yield
        finally:
            compiled = self._seconds.get(COMPILE, 0.0) - compiled
            self.add(stage, time.perf_counter() - begun - compiled)

    def add(self, stage: str, seconds: float) -> None:
        """Add seconds to a stage."""
        self._seconds[stage] = self._seconds.get(stage, 0.0) + seconds

    def merge(self, other: Mapping[str, float]) -> None:
        """Add the stages of another watch, for example of a worker."""
        for stage, seconds in other.items():
            self.add(stage, seconds)

    def total(self) -> float:
        """Seconds since this watch was made."""
        return time.perf_counter() - self._begun

    def seconds(self) -> dict[str, float]:
        """Seconds by stage so far."""
        return dict(self._seconds)


@contextlib.contextmanager
def _compiling(stages: Stages) -> Iterator[None]:
    """Count what numba compiles in a block (loading from its cache is not compiling).

    Not where numba is not loaded yet: reading the file, which would wait for it, compiles nothing.
    """
    if "numba" not in sys.modules:
        yield
        return
    from numba.core.event import install_timer

    with install_timer("numba:compile", lambda seconds: stages.add(COMPILE, seconds)):
        yield


def peak_memory_mb() -> float:
    """Greatest resident memory of this process so far, MB.

    On Linux from the kernel's own mark: what `getrusage` says of a child begins with its parent's.
    """
    status = Path("/proc/self/status")
    if status.exists():
        mark = next(line for line in status.read_text().splitlines() if line.startswith("VmHWM:"))
        return round(int(mark.split()[1]) * 1024 / 1e6, 1)
    unit = 1.0 if sys.platform == "darwin" else 1024.0
    return round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit / 1e6, 1)
