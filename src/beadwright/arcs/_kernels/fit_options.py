"""How the kernels of the fit are compiled."""

from __future__ import annotations

from numba import njit

# A helper is called by kernels only: without the wrappers for Python it compiles in half the time. A zero
# divisor gives an infinity, as in numpy; every result that counts is checked by the certificate.
helper = njit(cache=True, error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)
kernel = njit(cache=True, error_model="numpy")
