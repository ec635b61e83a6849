"""How loops are compiled, and when what was compiled before is still good.

numba keeps compiled code beside the source and asks only whether the *function's own file* has changed. A kernel holds
the code of all that it calls, from other files too; after an update in place it would go on with theirs as they were.
So the stamp here is that of every file of the function's `_kernels` folder: kernels call no others.

What is kept is loaded without all that numba can compile: 0.3 s of every process, and scipy's linear algebra with it.
"""

from __future__ import annotations

import functools
import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numba
from numba import njit, types

TRIED = ("0.68.",)
"""Versions of numba whose inside is known to be as this module and `warm` take it to be; others stay as they are."""
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
        if numba.__version__.startswith(TRIED):
            _quick_to_load(made._cache)
            _once(made)
    return made


def _once(made: Any) -> None:
    """Have a function that another calls with constants compiled as for any values, not once more for each of them."""
    inner = made.get_call_template

    def get_call_template(args: Any, kws: Any) -> Any:
        return inner(
            tuple(types.unliteral(each) for each in args),
            {name: types.unliteral(each) for name, each in kws.items()},
        )

    made.get_call_template = get_call_template


def _quick_to_load(cache: Any) -> None:
    """Have a function's cache set up numba's run-time library alone before it loads what was compiled.

    numba sets up the typing of everything first. A compiler does that for itself when there is something to compile.
    """
    from numba.core.runtime.nrt import rtsys

    def load_overload(signature: Any, target: Any) -> Any:
        rtsys.initialize(target)
        with cache._guard_against_spurious_io_errors():
            return cache._load_overload(signature, target)

    cache.load_overload = load_overload


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
