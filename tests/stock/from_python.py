"""Kernels that only kernels call, made callable for a test."""

import numba


def from_python(kernel):
    """Return a kernel compiled with what takes arguments from Python, and kept out of the cache."""
    return numba.njit(error_model="numpy")(kernel.py_func)
