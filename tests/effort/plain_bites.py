"""What bites are summed up of, by NumPy alone: the twin of effort/stretch_kernels.py."""

import numpy as np

from simkit.effort.chips import effective_radius
from simkit.effort.motion import NOTHING, is_apart
from simkit.effort.stretch_kernels import STEEP
from simkit.moves.table import ARC


def parts_in_wood(moves, met, cutters):
    """As in_wood.parts_in_wood."""
    volume, along, tops = met.volume, met.along, met.top
    span = np.zeros((len(moves), 2))
    rows = np.flatnonzero(volume > 0)
    if not len(rows):
        return span
    start, end = moves.start, moves.end
    z0, z1, top = start[rows, 2], end[rows, 2], tops[rows]
    rise = z1 - z0
    crossing = np.clip((top - z0) / np.where(np.abs(rise) > NOTHING, rise, 1.0), 0.0, 1.0)
    is_arc = moves.kind[rows] == ARC
    is_even = ~is_arc | (moves.plane[rows] == 17)  # the height grows evenly along it
    down, up = is_even & (rise < -NOTHING), is_even & (rise > NOTHING)
    begin, stop = np.where(down, crossing, 0.0), np.where(up, crossing, 1.0)
    x, y = end[rows, 0] - start[rows, 0], end[rows, 1] - start[rows, 1]
    level, arm = np.sqrt(x * x + y * y), np.full(len(rows), np.inf)
    arcs = np.flatnonzero(is_arc & is_even)
    if len(arcs):
        which = rows[arcs]
        arm[arcs] = np.sqrt(((start[which, :2] - moves.centre[which]) ** 2).sum(axis=1))
        level[arcs] = arm[arcs] * np.abs(moves.sweep[which])
    first, last, tool = along[rows, 0], along[rows, 1], moves.tool[rows]
    is_told = np.isfinite(first) & (level > NOTHING)
    lowest = np.minimum(z0, z1)
    for number, cutter in cutters.items():
        mine = np.flatnonzero(is_told & (tool == number))
        radius = effective_radius(cutter, top[mine] - lowest[mine])
        round_ = np.flatnonzero(np.isfinite(arm[mine]))
        if len(round_):
            turning = arm[mine[round_]]
            angle = np.where(
                radius[round_] <= turning, np.arcsin(np.minimum(radius[round_] / turning, 1.0)), np.pi
            )
            radius[round_] = angle * turning
        begin[mine] = np.maximum(begin[mine], (first[mine] - radius) / level[mine])
        stop[mine] = np.minimum(stop[mine], (last[mine] + radius * down[mine]) / level[mine])
    # What lies behind the beginning by rounding alone is no length.
    span[rows, 0], span[rows, 1] = np.clip(begin, 0.0, 1.0), np.clip(np.maximum(stop, begin), 0.0, 1.0)
    return span


def stretches(moves, length, is_pass, widest):
    """Return the stretch (n,) of each move, -1 for none, and the first move of each stretch."""
    n = len(moves)
    is_own = ~moves.rapid & (length > NOTHING)
    begins = np.ones(n, bool)
    if n > 1:
        apart = is_apart(moves)
        for column in (moves.tool, moves.program, moves.speed, moves.feed, is_pass, is_own):
            with np.errstate(invalid="ignore"):
                apart |= column[1:] != column[:-1]
        begins[1:] = apart
    begins |= length >= widest
    so_far = np.concatenate([[0.0], np.cumsum(np.where(is_own, length, 0.0))])[:-1]
    run = np.cumsum(begins) - 1
    along = so_far - so_far[np.flatnonzero(begins)][run] if n else so_far
    # A move belongs to the stretch in which it begins; those that begin behind a long one start anew.
    part = np.floor(along / np.maximum(widest, 1e-6) + 1e-9)
    starts = begins.copy()
    if n > 1:
        starts[1:] |= part[1:] != part[:-1]
    stretch = np.cumsum(starts & is_own) - 1
    of = np.where(is_own, stretch, -1)
    return of, np.flatnonzero(starts & is_own)


def share_in_wood(span, of, count, length, cell):
    """Return which part of each move (n,) lies between the first and the last wood of its stretch.

    Moves shorter than a cell take nothing now and then: a cell more on both sides where there are several.
    """
    behind = np.cumsum(length)
    ahead = behind - length
    taken = np.flatnonzero((of >= 0) & (span[:, 1] > 0))
    begin, end = np.full(count + 1, np.inf), np.full(count + 1, -np.inf)  # the last one: of no stretch
    np.minimum.at(begin, of[taken], (ahead + length * span[:, 0])[taken])
    np.maximum.at(end, of[taken], (ahead + length * span[:, 1])[taken])
    more = cell * (np.bincount(of[of >= 0], minlength=count + 1) > 1)
    both = np.minimum(behind, (end + more)[of]) - np.maximum(ahead, (begin - more)[of])
    return np.clip(both / np.where(length > 0, length, 1.0), 0.0, 1.0)


def takes_most(group, volume, count):
    """Return for each of `count` groups the row that takes most, the first one on ties."""
    largest = np.full(count, -np.inf)
    np.maximum.at(largest, group, volume)
    own = np.flatnonzero(volume == largest[group])
    # The first one comes last, and is what stays.
    most = np.zeros(count, np.int64)
    most[group[own][::-1]] = own[::-1]
    return most


def summed(moves, met, times, cutters, cell):
    """As bite.summed: (of, first, is_pass, share, row, sums by name)."""
    length, seconds = moves.length(), times.seconds
    rise = moves.end[:, 2] - moves.start[:, 2]
    level = np.sqrt(np.maximum(length**2 - rise**2, 0.0))
    is_pass = level * STEEP >= np.abs(rise)
    widest = np.zeros(len(moves))
    for number, cutter in cutters.items():
        widest[moves.tool == number] = 2.0 * cutter.radius
    of, first = stretches(moves, length, is_pass, widest)
    share = share_in_wood(parts_in_wood(moves, met, cutters), of, len(first), length, cell)
    count = len(first)
    group = of + 1  # 0: of no stretch

    def total(values):
        return np.bincount(group, values, minlength=count + 1)[1:]

    def most(values):
        found = np.zeros(count + 1)
        np.maximum.at(found, group, values)
        return found[1:]

    fall = np.maximum(-rise, 0.0)
    sums = {
        "LONG": total(length),
        "SECONDS": total(seconds),
        "VOLUME": total(met.volume),
        "WOOD_LONG": total(length * share),
        "WOOD_SECONDS": total(seconds * share),
        "DOWN": total(fall * share),
        "WOOD_LEVEL": total(level * share),
        "RIGHT": total(met.right),
        "UNDER": total(np.minimum(met.under, fall)),
        "TOP": most(times.top),
        "DEPTH": most(met.depth.astype(np.float64)),
    }
    return of, first, is_pass[first], share, takes_most(group, met.volume, count + 1)[1:], sums
