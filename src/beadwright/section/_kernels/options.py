"""How the section's loops are compiled.

A helper is called by kernels only: without wrappers for Python it compiles faster. A zero divisor gives an
infinity, as in numpy; the callers check for it.
"""

from __future__ import annotations

from numba import njit

helper = njit(cache=True, error_model="numpy", no_cfunc_wrapper=True, no_cpython_wrapper=True)
kernel = njit(cache=True, error_model="numpy", no_cfunc_wrapper=True)
