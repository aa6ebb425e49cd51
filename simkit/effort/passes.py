"""What program_time.py and operations.py sum up over moves, with NumPy: the twin of pass_kernels.py.

Both write the same numbers, to the bit: each sum is made move by move, in their order.  This one is for
reading programs, which goes without compiled code, and to hold the other against.
"""

from __future__ import annotations

import numpy as np

FREE, NOT_REACHED, EQUAL = -1, 0.999, 1e-3  # as in motion.py; mm: heights nearer than this are one
# What is summed up of a cutter in a program: seconds, mm, and how many.
CUTTING, IN_WOOD, RAPIDS, LENGTH, NOT_REACHED_LENGTH, AT_FEED, CHANGES, STARTS, HELD = range(9)
SUMS = 9
# Of a stretch between retracts: lowest z of its feed moves, and the box of their ends.
LOW, LEAST_X, LEAST_Y, MOST_X, MOST_Y = range(5)
BEGIN, FIRST, LAST = range(3)  # its first move, the first that feeds and the last, -1 for none


def cutter_sums(
    program, tool, numbers, rapid, feed, speed, length, seconds, top, wanted, held, wood, first, found
):
    """Write what each cutter does in each program: found (programs, k, SUMS).

    program, tool, rapid, feed, speed, length, seconds, top, wanted, held (n,): of moves in the order in which
    they run.  numbers (k,): the tools, growing.  wood (n,): the part of each in wood, empty when not known.
    first (programs, k): written, its first move there, -1 for none.
    Changes and starts: before a move, the cutter is changed to, also to the first one, tool 0 being
    none; the spindle is started, for it stands after M6 and at each end.
    """
    count, n = first.size, len(tool)
    key = program.astype(np.int64) * len(numbers) + np.searchsorted(numbers, tool)

    def total(which, values):
        # What does not count adds nothing, which is done sooner than it is left out.
        found.reshape(count, SUMS)[:, which] = np.bincount(key, values, minlength=count)

    first.ravel()[:] = -1
    first.ravel()[key[::-1]] = np.arange(n)[::-1]  # the last one written stays
    is_feed = ~rapid
    fed, ways = seconds * is_feed, length * is_feed
    reaches = (top >= NOT_REACHED * wanted) | (seconds == 0)
    total(CUTTING, fed)
    total(IN_WOOD, fed * wood if len(wood) else np.zeros(n))
    total(RAPIDS, seconds * rapid)
    total(LENGTH, ways)
    total(NOT_REACHED_LENGTH, ways * ~reaches)
    total(AT_FEED, ways / (np.where(feed > 0, feed, np.inf) / 60.0))
    is_new, starts = np.ones(n, bool), np.ones(n, bool)
    is_new[1:] = tool[1:] != tool[:-1]
    starts[1:] = (np.sign(speed[1:]) != np.sign(speed[:-1])) | is_new[1:] | (program[1:] != program[:-1])
    total(CHANGES, is_new & (tool > 0))
    total(STARTS, starts & (speed != 0))
    total(HELD, is_feed & reaches & (held != FREE))


def split(tool, start, end, rapid, lowest, numbers, usual, ints, floats) -> int:
    """Write the stretches between retracts of the moves of one program; return how many there are.

    tool, start, end, rapid, lowest (n,): of the moves.  numbers, usual (k,): the tools, growing, and the safe
    height of each, inf for none.  Written, as many rows as there are: ints (n, 3), floats (n, 5), inf and
    -inf where nothing feeds.
    """
    is_safe = end[:, 2] >= usual[np.searchsorted(numbers, tool)] - EQUAL
    # The first move up there is the end of one; what goes on up there is the way to the next.
    begins = np.ones(len(tool), bool)
    begins[1:] = (tool[1:] != tool[:-1]) | (is_safe[:-1] & ~np.append(False, is_safe[:-2]))
    of = np.cumsum(begins) - 1
    begin = np.flatnonzero(begins)
    count = len(begin)
    ints[:count, BEGIN], ints[:count, FIRST:], floats[:count] = begin, -1, np.inf
    floats[:count, MOST_X:] = -np.inf
    feeds = np.flatnonzero(~rapid)
    if len(feeds):
        at = np.flatnonzero(np.append(True, of[feeds[1:]] > of[feeds[:-1]]))
        own = of[feeds[at]]
        ints[own, FIRST], ints[own, LAST] = feeds[at], feeds[np.append(at[1:], len(feeds)) - 1]
        floats[own, LOW] = np.minimum.reduceat(lowest[feeds], at)
        for axis in (0, 1):
            a, b = start[feeds, axis], end[feeds, axis]
            floats[own, LEAST_X + axis] = np.minimum.reduceat(np.minimum(a, b), at)
            floats[own, MOST_X + axis] = np.maximum.reduceat(np.maximum(a, b), at)
    return count


def totals(begin, of, rapid, seconds, wood, found) -> None:
    """Write the seconds of operations: found (3, k), of feed moves, of these in wood, and of rapids.

    begin, of (s,): the first move of each stretch, and its operation, -1 for none.  rapid, seconds (n,): of
    the moves; wood (n,): the part of each in wood, empty when not known.
    """
    count = found.shape[1]
    each = np.repeat(of + 1, np.diff(np.append(begin, len(seconds))))  # moves of no operation at 0
    fed = seconds * ~rapid
    for row, values in zip(
        found, (fed, fed * wood if len(wood) else 0.0 * fed, seconds * rapid), strict=True
    ):
        row[:] = np.bincount(each, values, minlength=count + 1)[1:]
