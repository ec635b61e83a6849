"""Making numba compile in less than half the time, in a process that compiles and then ends.

numba types every ``a + b`` anew through all that ``+`` can mean, and makes machine code, fully optimised, of
every function, also of those that are called by compiled functions only and so stand once more, whole, in
each caller. Here an operation on the same types is typed once, and a function without a way in from Python
stays intermediate code, tidied only, until the kernel that calls it is optimised and made machine code as a
whole. The optimiser keeps IEEE arithmetic as it is written (no fast-math), so results are the same bits.

This reaches into numba, so it is done for versions it was tried with, in worker processes of `warm` only;
with any other version numba is left as it is, and compiling takes longer.
"""

from __future__ import annotations

import functools
import gc
from collections.abc import Callable
from typing import Any

from beadwright.compiled import TRIED

FROM_PYTHON = ("_ZN7cpython", "_ZN5cfunc")
"""How the names of a compiled function's ways in from outside begin (numba's name spaces, Itanium C++ ABI)."""

COMPILED = "_ZN"
"""How the name of every function compiled by numba begins; its own run-time library has plain names."""


@functools.cache
def quicken() -> bool:
    """Change this process for compiling; whether numba's inside was changed too.

    Garbage is kept in any case: looking for it takes a tenth of compiling, and nearly all of it lives on.
    """
    import numba

    gc.disable()
    if not numba.__version__.startswith(TRIED):
        return False
    _type_once()
    _leave_inner()
    return True


def _type_once() -> None:
    """Keep what an operation on some types was found to be, for each set of compiler options."""
    from numba.core.targetconfig import ConfigStack
    from numba.core.types.functions import BaseFunction

    search: Callable[..., Any] = BaseFunction.get_call_type

    def get_call_type(self: Any, context: Any, args: Any, kws: Any) -> Any:
        top = ConfigStack.top_or_none()
        options = {} if top is None else dict(top._values)
        known = self.__dict__.setdefault("_known", {})
        rows = known.setdefault((context, tuple(args), tuple(kws.items())), [])
        for under, signature, key in rows:
            if under == options:
                self._impl_keys[signature.args] = key  # another set of options may have put its own here
                return signature
        signature = search(self, context, args, kws)
        rows.append((options, signature, self._impl_keys[signature.args]))
        return signature

    BaseFunction.get_call_type = get_call_type  # type: ignore[method-assign]


def _leave_inner() -> None:
    """Leave functions without a way in from Python as intermediate code."""
    from numba.core.codegen import JITCodeLibrary, JITCPUCodegen

    finish = JITCodeLibrary._finalize_final_module
    optimise = JITCodeLibrary._optimize_final_module
    address = JITCodeLibrary.get_pointer_to_function
    stored = JITCodeLibrary.serialize_using_object_code
    set_environment = JITCPUCodegen.set_env

    def finalize(self: Any) -> None:
        if not _inner(self):
            finish(self)
            return
        self._finalize_dynamic_globals()
        self._verify_declare_only_symbols()
        self._finalized = True

    def optimize(self: Any) -> None:
        if not _inner(self):
            optimise(self)
            return
        passes, builder = self._codegen._module_pass_manager(
            loop_vectorize=False, slp_vectorize=False, opt=0, cost="cheap"
        )
        passes.run(self._final_module, builder)

    def pointer(self: Any, name: str) -> int:
        self._ensure_finalized()
        return 0 if _inner(self) else int(address(self, name))

    def serialize(self: Any) -> Any:
        return stored(self) if self._compiled_object is not None else self.serialize_using_bitcode()

    def set_env(self: Any, name: str, environment: Any) -> None:
        if self._engine.get_global_value_address(name):
            set_environment(self, name, environment)

    JITCodeLibrary._finalize_final_module = finalize
    JITCodeLibrary._optimize_final_module = optimize
    JITCodeLibrary.get_pointer_to_function = pointer
    JITCodeLibrary.serialize_using_object_code = serialize
    JITCPUCodegen.set_env = set_env


def _inner(library: Any) -> bool:
    """Whether a library holds functions that compiled functions call, and none that Python does."""
    names = [function.name for function in library._final_module.functions if not function.is_declaration]
    if any(name.startswith(FROM_PYTHON) for name in names):
        return False
    return any(name.startswith(COMPILED) for name in names)
