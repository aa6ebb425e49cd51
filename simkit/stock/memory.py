"""Memory that is quick to touch for the first time.

The system hands memory out page by page, when it is first written; a page of 4 kB takes it up to two
microseconds: a sixth of a fast cut went there.  Where pages of 2 MB are to be had for the asking (Linux),
NumPy asks for them for arrays of 4 MB and more; those it finds room for are the ones that begin at a
multiple of their size.  Elsewhere this costs nothing but room that is never touched.

And what is freed the library of C gives back at once, as it sees fit, to be handed out again page by page: a
twentieth of a replay.  Where it can be told so (glibc), it keeps some for the next array.
"""

from __future__ import annotations

import ctypes
import math

import numpy as np

PAGE = 2**21  # bytes
ASKED = 2**22  # bytes from which NumPy asks for large pages
LEAST = PAGE // 2  # bytes: smaller arrays are left as they are

KEPT = 2**26  # bytes that are kept when they are freed, at most
OWN = 2**25  # bytes from which an array is asked of the system, and given back, on its own: the most there is
_TRIM_THRESHOLD, _MMAP_THRESHOLD = -1, -3  # of malloc.h


def _keep_freed() -> None:
    """Have the library of C keep memory that was freed, where it is one that can be told."""
    try:
        tell = ctypes.CDLL(None).mallopt
    except (AttributeError, OSError, TypeError):  # another library, or another system
        return
    tell(_TRIM_THRESHOLD, KEPT)
    tell(_MMAP_THRESHOLD, OWN)


_keep_freed()


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
