"""The one place that knows compiler options.

The folder for compiled kernels (of `cache`) is set here, before the first kernel is defined.
"""

from __future__ import annotations

import os

from simkit.cache import CACHE_FOLDER, can_store, could_not_store

os.environ.setdefault("NUMBA_CACHE_DIR", str(CACHE_FOLDER))

import numba
from llvmlite import binding
from llvmlite import ir as ir  # for instructions, as are cgutils and types
from numba.core import cgutils as cgutils
from numba.core import types as types
from numba.core.caching import FunctionCache
from numba.extending import intrinsic

# Private names of numba change (0.61 lacks some): with a version it was not tried with, kernels are compiled
# as numba does it, which takes half as long again.
TRIED = ((0, 68),)
IS_TRIED = numba.version_info.short in TRIED
if IS_TRIED:
    from simkit import _compiler

# numba reads the variable when it is imported; whoever imported it before us must not decide.
numba.config.CACHE_DIR = os.environ["NUMBA_CACHE_DIR"]
# Where it cannot be written numba looks for other places, the sources' folder among them, and gives up with
# an error when there is none; then better compile anew each time.
_STORES = can_store(numba.config.CACHE_DIR)
_save = FunctionCache.save_overload


def _save_if_there_is_room(self, signature, compiled) -> None:
    """Store a kernel; on a full disk it is used all the same (the index then names no file)."""
    try:
        _save(self, signature, compiled)
    except OSError:
        could_not_store()


FunctionCache.save_overload = _save_if_there_is_room


def threads() -> int:
    """Return how many threads a parallel kernel uses now."""
    return numba.get_num_threads()


# No fastmath: with it a NaN can pass isnan, and bits would depend on the vector width.
_OPTIONS = {
    "cache": _STORES,
    "nogil": True,
    "fastmath": False,
    "error_model": "numpy",
    "no_cfunc_wrapper": True,
}
# Compiling takes as long as it does mostly for what stands around a kernel.  The code that takes arguments
# from Python is made only for entries; calling any other kernel from Python ends the process
# (tests/test_warm.py sees to it that nobody does).  And only kernels that allocate count references to
# their arrays: an atomic addition for each argument and call, more than the work of a small kernel.
_INNER = _OPTIONS | {"no_cpython_wrapper": True}
entry_kernel = numba.njit(**_OPTIONS, **({"pipeline_class": _compiler.EntryCompiler} if IS_TRIED else {}))
instruction = intrinsic  # what a kernel says to the compiler in the compiler's own words
# Whether the numbers of a vector that a mask tells can be packed tight at once: elsewhere the compiler would
# take them one after the other, and a plain loop is as good.
CAN_PACK = binding.llvm_version_info >= (20,) and bool(binding.get_host_cpu_features().get("avx512f", False))


def _inner(is_late=False, **options):
    """Return a decorator of kernels that only kernels call."""
    if not IS_TRIED:
        return numba.njit(**_INNER | options)
    way = _compiler.LateCompiler if is_late else _compiler.InnerCompiler
    make = numba.njit(**_INNER | options, pipeline_class=way)

    def decorate(function):
        made = make(function)
        if _STORES:
            made._cache = _compiler.InnerCache(function)
        return made

    return decorate


kernel = _inner(_nrt=False)
working_kernel = _inner()  # called by kernels too, but allocates
# A kernel is optimised on its own, and once more in each of its callers, and in theirs.  These are left to
# the callers: large ones with one caller, of which all that is hot lies in kernels that they call.  (Not
# where a hot loop is: seeing all of it at once the compiler makes slower loops, by up to a half.)
late_kernel = _inner(is_late=True, _nrt=False)
# For what a loop over cells must not call but contain, or the compiler leaves the vector unit unused.
loop_kernel = _inner(_nrt=False, forceinline=True)
# For bounds, whose last bits decide nothing: a product and a sum may be rounded once, as one instruction.
_FUSED = {"fastmath": {"contract"}}
bound_kernel = _inner(_nrt=False, **_FUSED)
bound_loop_kernel = _inner(_nrt=False, forceinline=True, **_FUSED)


def pointer(function, signature: str):
    """Compile a plain function for one signature, and return it as something kernels take as an argument.

    A kernel that calls another has it, and all that it calls, inside: it is optimised again there, and in
    each caller of that.  Called through a pointer, a large function is compiled once.
    """
    options = {"nogil": True, "fastmath": False, "error_model": "numpy", "_nrt": False}
    return numba.cfunc(signature, cache=_STORES, **options)(function)
