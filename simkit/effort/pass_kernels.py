"""What is summed up over moves for the time of programs, compiled: as passes.py, its twin, to the bit."""

import math

import numpy as np

from simkit._jit import entry_kernel, loop_kernel
from simkit.effort import passes
from simkit.effort.stretch_kernels import _place_of


@entry_kernel
def cutter_sums(
    program, tool, numbers, rapid, feed, speed, length, seconds, top, wanted, held, wood, first, found
):  # fmt: skip
    """As passes.cutter_sums."""
    first[:] = -1
    found[:] = 0.0
    k, i, n, last_feed, speed_of = np.int64(-1), 0, len(tool), 0.0, 0.0
    while i < n:
        # All moves of a cutter that follow each other: sums in memory would wait for themselves.
        p, number, is_changed = program[i], tool[i], i == 0 or tool[i] != tool[i - 1]
        k = _place_of(numbers, number, k)
        own = found[p, k]
        if first[p, k] < 0:
            first[p, k] = i
        own[passes.CHANGES] += 1.0 if is_changed and number > 0 else 0.0
        cutting, in_wood, rapids = own[passes.CUTTING], own[passes.IN_WOOD], own[passes.RAPIDS]
        long, late, at_feed = own[passes.LENGTH], own[passes.NOT_REACHED_LENGTH], own[passes.AT_FEED]
        begin = i
        while i < n and program[i] == p and tool[i] == number:
            if speed[i] != 0.0 and (i == begin or np.sign(speed[i]) != np.sign(speed[i - 1])):
                own[passes.STARTS] += 1.0
            if rapid[i]:
                rapids += seconds[i]
            else:
                cutting += seconds[i]
                if len(wood):
                    in_wood += seconds[i] * wood[i]
                long += length[i]
                if feed[i] > 0.0:
                    if feed[i] != last_feed:
                        last_feed, speed_of = feed[i], feed[i] / 60.0
                    at_feed += length[i] / speed_of
                if not (top[i] >= passes.NOT_REACHED * wanted[i] or seconds[i] == 0.0):
                    late += length[i]
                elif held[i] != passes.FREE:
                    own[passes.HELD] += 1.0
            i += 1
        own[passes.CUTTING], own[passes.IN_WOOD], own[passes.RAPIDS] = cutting, in_wood, rapids
        own[passes.LENGTH], own[passes.NOT_REACHED_LENGTH], own[passes.AT_FEED] = long, late, at_feed


@loop_kernel
def _keep(floats, own, low, x0, y0, x1, y1):
    """Write the numbers of a stretch, if there is one."""
    if own >= 0:
        floats[own, passes.LOW], floats[own, passes.LEAST_X], floats[own, passes.LEAST_Y] = low, x0, y0
        floats[own, passes.MOST_X], floats[own, passes.MOST_Y] = x1, y1


@entry_kernel
def split(tool, start, end, rapid, lowest, numbers, usual, ints, floats):
    """As passes.split."""
    count, k = np.int64(0), np.int64(-1)
    was_safe, was_safe_before = False, False
    low, x0, y0, x1, y1 = math.inf, math.inf, math.inf, -math.inf, -math.inf
    for i in range(len(tool)):
        k = _place_of(numbers, tool[i], k)
        if i == 0 or tool[i] != tool[i - 1] or (was_safe and not was_safe_before):
            ints[count, passes.BEGIN], ints[count, passes.FIRST], ints[count, passes.LAST] = i, -1, -1
            _keep(floats, count - 1, low, x0, y0, x1, y1)
            low, x0, y0, x1, y1 = math.inf, math.inf, math.inf, -math.inf, -math.inf
            count += 1
        was_safe, was_safe_before = end[i, 2] >= usual[k] - passes.EQUAL, was_safe
        if rapid[i]:
            continue
        own = count - 1
        if ints[own, passes.FIRST] < 0:
            ints[own, passes.FIRST] = i
        ints[own, passes.LAST] = i
        low = min(low, lowest[i])
        x0, x1 = min(x0, min(start[i, 0], end[i, 0])), max(x1, max(start[i, 0], end[i, 0]))
        y0, y1 = min(y0, min(start[i, 1], end[i, 1])), max(y1, max(start[i, 1], end[i, 1]))
    _keep(floats, count - 1, low, x0, y0, x1, y1)
    return count


@entry_kernel
def totals(begin, of, rapid, seconds, wood, found):
    """As passes.totals."""
    found[:] = 0.0
    for s in range(len(begin)):
        k = of[s]
        if k < 0:
            continue
        # Taken up where the last stretch of the operation left them; see cutter_sums.
        fed, in_wood, lifted = found[0, k], found[1, k], found[2, k]
        for i in range(begin[s], begin[s + 1] if s + 1 < len(begin) else len(seconds)):
            if rapid[i]:
                lifted += seconds[i]
                continue
            fed += seconds[i]
            if len(wood):
                in_wood += seconds[i] * wood[i]
        found[0, k], found[1, k], found[2, k] = fed, in_wood, lifted
