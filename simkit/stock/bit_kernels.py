"""Which of 32 neighbours pass a test, as bits: the vector unit tests, and only what passes costs time."""

import numpy as np

from simkit._jit import loop_kernel

DE_BRUIJN = 0x077CB531
PLACES = np.zeros(32, np.uint8)  # by the five highest bits of DE_BRUIJN * 2^k: k
for _k in range(32):
    PLACES[((DE_BRUIJN << _k) & 0xFFFFFFFF) >> 27] = _k


@loop_kernel
def first_of(bits):
    """Return the place of the lowest bit that is set in a uint32, which has one.

    Multiplied, each single bit leaves five bits of its own on top.
    Source: C. E. Leiserson, H. Prokop, K. H. Randall, Using de Bruijn Sequences to Index a 1 in a Computer
    Word, 1998.
    """
    alone = np.uint32(bits & (~bits + np.uint32(1)))
    return np.uint64(PLACES[np.uint32(alone * np.uint32(DE_BRUIJN)) >> np.uint32(27)])


@loop_kernel
def without_first(bits):
    """Return a uint32 with its lowest bit taken out."""
    return np.uint32(bits & np.uint32(bits - np.uint32(1)))
