"""What is summed up over moves for the time of programs, compiled: as passes.py, its twin, to the bit."""

import math

import numpy as np

from simkit._jit import entry_kernel
from simkit.effort import passes
from simkit.effort.stretch_kernels import _place_of


@entry_kernel
def cutter_sums(
    program, tool, numbers, rapid, feed, speed, length, seconds, top, wanted, held, wood, first, found
):  # fmt: skip
    """As passes.cutter_sums."""
    first[:] = -1
    found[:] = 0.0
    k = np.int64(-1)
    for i in range(len(tool)):
        p = program[i]
        k = _place_of(numbers, tool[i], k)
        if first[p, k] < 0:
            first[p, k] = i
        is_new = i == 0 or tool[i] != tool[i - 1]
        if is_new and tool[i] > 0:
            found[p, k, passes.CHANGES] += 1.0
        is_other = i == 0 or is_new or program[i - 1] != p or np.sign(speed[i]) != np.sign(speed[i - 1])
        if is_other and speed[i] != 0.0:
            found[p, k, passes.STARTS] += 1.0
        if rapid[i]:
            found[p, k, passes.RAPIDS] += seconds[i]
            continue
        found[p, k, passes.CUTTING] += seconds[i]
        if len(wood):
            found[p, k, passes.IN_WOOD] += seconds[i] * wood[i]
        found[p, k, passes.LENGTH] += length[i]
        if feed[i] > 0.0:
            found[p, k, passes.AT_FEED] += length[i] / (feed[i] / 60.0)
        if not (top[i] >= passes.NOT_REACHED * wanted[i] or seconds[i] == 0.0):
            found[p, k, passes.NOT_REACHED_LENGTH] += length[i]
        elif held[i] != passes.FREE:
            found[p, k, passes.HELD] += 1.0


@entry_kernel
def split(tool, start, end, rapid, lowest, numbers, usual, ints, floats):
    """As passes.split."""
    count, k = np.int64(0), np.int64(-1)
    was_safe, was_safe_before = False, False
    for i in range(len(tool)):
        k = _place_of(numbers, tool[i], k)
        if i == 0 or tool[i] != tool[i - 1] or (was_safe and not was_safe_before):
            ints[count, passes.BEGIN], ints[count, passes.FIRST], ints[count, passes.LAST] = i, -1, -1
            floats[count, passes.LOW] = floats[count, passes.LEAST_X] = floats[count, passes.LEAST_Y] = (
                math.inf
            )
            floats[count, passes.MOST_X] = floats[count, passes.MOST_Y] = -math.inf
            count += 1
        was_safe, was_safe_before = end[i, 2] >= usual[k] - passes.EQUAL, was_safe
        if rapid[i]:
            continue
        own = count - 1
        if ints[own, passes.FIRST] < 0:
            ints[own, passes.FIRST] = i
        ints[own, passes.LAST] = i
        floats[own, passes.LOW] = min(floats[own, passes.LOW], lowest[i])
        floats[own, passes.LEAST_X] = min(floats[own, passes.LEAST_X], min(start[i, 0], end[i, 0]))
        floats[own, passes.LEAST_Y] = min(floats[own, passes.LEAST_Y], min(start[i, 1], end[i, 1]))
        floats[own, passes.MOST_X] = max(floats[own, passes.MOST_X], max(start[i, 0], end[i, 0]))
        floats[own, passes.MOST_Y] = max(floats[own, passes.MOST_Y], max(start[i, 1], end[i, 1]))
    return count


@entry_kernel
def totals(begin, of, rapid, seconds, wood, found):
    """As passes.totals."""
    found[:] = 0.0
    for s in range(len(begin)):
        k = of[s]
        if k < 0:
            continue
        for i in range(begin[s], begin[s + 1] if s + 1 < len(begin) else len(seconds)):
            if rapid[i]:
                found[2, k] += seconds[i]
                continue
            found[0, k] += seconds[i]
            if len(wood):
                found[1, k] += seconds[i] * wood[i]
