"""Loading the compiled kernels of all rooms at once, so that their time is told apart from the work."""

from __future__ import annotations

import functools
import importlib
import pkgutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Thread

import beadwright

KERNELS = "_kernels"
"""Name of the module or package in which every room keeps what numba compiles."""


@functools.cache
def load_kernels() -> tuple[str, ...]:
    """Import every room's kernels, once: compiled at the first time on a machine, from numba's cache after that.

    Returns
    -------
    tuple of str
        Names of the modules.
    """
    names = []
    for room in pkgutil.iter_modules(beadwright.__path__):
        # A room without kernels is not imported: the one of the CAD kernel alone would take a second.
        inside = pkgutil.iter_modules([str(Path(folder) / room.name) for folder in beadwright.__path__])
        if KERNELS in {module.name for module in inside}:
            names += _tree(f"beadwright.{room.name}.{KERNELS}")
    return tuple(names)


@contextmanager
def kernels_loading() -> Iterator[None]:
    """Load the kernels beside what is done inside, which mostly waits: for the process that reads the file."""
    loading = Thread(target=load_kernels)
    loading.start()
    try:
        yield
    finally:
        loading.join()


def _tree(name: str) -> list[str]:
    """Import a module and, if it is a package, all modules in it."""
    module = importlib.import_module(name)
    path = getattr(module, "__path__", ())
    return [name, *(deep for part in pkgutil.iter_modules(path) for deep in _tree(f"{name}.{part.name}"))]
