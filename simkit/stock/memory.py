"""Memory that is quick to touch for the first time.

The system hands memory out page by page, when it is first written; a page of 4 kB takes it up to two
microseconds: a sixth of a fast cut went there.  Where pages of 2 MB are to be had for the asking (Linux),
NumPy asks for them for arrays of 4 MB and more; those it finds room for are the ones that begin at a
multiple of their size.  Elsewhere this costs nothing but room that is never touched.
"""

from __future__ import annotations

import math

import numpy as np

PAGE = 2**21  # bytes
ASKED = 2**22  # bytes from which NumPy asks for large pages
LEAST = PAGE // 2  # bytes: smaller arrays are left as they are


def new_array(shape: int | tuple[int, ...], dtype) -> np.ndarray:
    """Return an array as of np.empty, in large pages where that may be and pays."""
    dtype = np.dtype(dtype)
    length = dtype.itemsize * (math.prod(shape) if isinstance(shape, tuple) else shape)
    if length < LEAST:
        return np.empty(shape, dtype)
    # The last page too, where most of it is used.
    whole = -(-length // PAGE) * PAGE if length % PAGE > PAGE // 2 else length
    room = np.empty(max(whole + PAGE, ASKED), np.uint8)
    first = -room.ctypes.data % PAGE
    return room[first : first + length].view(dtype).reshape(shape)
