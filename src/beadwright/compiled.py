"""How loops are compiled, and when what was compiled before is still good.

numba keeps compiled code beside the source and asks only whether the *function's own file* has changed. A kernel holds
the code of all that it calls, from other files too; after an update in place it would go on with theirs as they were.
So the stamp here is that of every file of the function's `_kernels` folder: kernels call no others.
"""

from __future__ import annotations

import functools
import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

from numba import njit

_OPTIONS: dict[str, Any] = {"cache": True, "error_model": "numpy", "no_cfunc_wrapper": True}


def kernel(function: Callable[..., Any]) -> Any:
    """Compile a loop that Python calls; a zero divisor gives an infinity, as in numpy."""
    return _stamped(njit(**_OPTIONS)(function))


def helper(function: Callable[..., Any]) -> Any:
    """Compile what only kernels call: without a way in from Python it takes half the time."""
    return _stamped(njit(**_OPTIONS, no_cpython_wrapper=True)(function))


def _stamped(made: Any) -> Any:
    file = getattr(getattr(made, "_cache", None), "_cache_file", None)
    if file is not None:  # no cache where compiling is turned off
        file._source_stamp = stamp(Path(made.py_func.__code__.co_filename))
    return made


def stamp(source: Path) -> str:
    """What stands in all files whose code may be in a kernel of a file: of its `_kernels` folder, or itself."""
    return _stamp_of(source.parent if source.parent.name == "_kernels" else source)


@functools.cache
def _stamp_of(place: Path) -> str:
    files = sorted(place.glob("*.py")) if place.is_dir() else [place]
    told = hashlib.sha256()
    for file in files:
        told.update(file.name.encode() + b"\0" + hashlib.sha256(file.read_bytes()).digest())
    return told.hexdigest()
