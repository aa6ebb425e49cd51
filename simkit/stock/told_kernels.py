"""What is told of a move in the replay, added up leaf by leaf.

Arguments that go together are those of bite_kernels.
"""

import math

import numpy as np

from simkit._jit import kernel, loop_kernel
from simkit.stock.lose_kernels import (
    AHEAD,
    AT_Y,
    BEFORE,
    BEHIND,
    CELLS,
    COLUMN,
    FLOOR,
    LEAF,
    LOST,
    MOST,
    ON_PATH,
    SIDE,
    TOTAL,
    WIDE,
    highest,
)
from simkit.stock.record_kernels import (
    EX,
    EY,
    HELIX_FORM,
    LENGTH,
    LEVEL_ARC_FORM,
    LINE_FORM,
    SENSE,
    SLOPE,
    SPREAD,
    SWEEP,
    SX,
    SY,
    THETA0,
    UX,
    UY,
    WIDTH,
    H,
    R,
    X,
    Y,
    form_of,
)

# What is told of an entry, a row of float64: what its columns lost, and of that what lay on the right less
# what lay on the left; the highest wood taken, the nearest and farthest place along the path; the most that
# one column lost, the lowest wood there, and that cell; and of steep ways the most that stood above the
# tip where the middle of the cutter came over it.
TAKEN, LEAN, TOP, NEAR, FAR, DEPTH, BOTTOM, SPOT, UNDER = range(9)
TAKES = 9
STEEP = 1.0  # rise over run
TURN = 2.0 * math.pi
ABOUT = 0.006  # an angle, for a first look (_about is within 0.005)


@loop_kernel
def _most(numbers, bits, first, cells):
    """The most of the numbers of a leaf from `first` on, in float64.

    Of whole numbers the compiler finds the most in the vector unit, of floats it may not; of negative floats
    the order of their bits is the other way round.
    """
    most = np.int64(-(2**63))
    for i in range(cells):
        number = bits[np.uint64(first) + i]
        number = np.int64(number ^ ((number >> np.int64(63)) & np.int64(2**63 - 1)))
        most = np.int64(number if number > most else most)
    bits[MOST] = np.int64(most ^ ((most >> np.int64(63)) & np.int64(2**63 - 1)))
    return numbers[MOST]


@loop_kernel
def _highest_taken(batch, bits, at, cells):
    """The highest that stood on a cell that loses something to the move at `at`."""
    for i in range(cells):
        is_lost = batch[at + i + np.uint64(LOST)] > np.float32(0.0)
        before = batch[at + i + np.uint64(BEFORE)]
        batch[at + i + np.uint64(BEFORE)] = before if is_lost else -np.float32(np.inf)
    return highest(batch, bits, at + np.uint64(BEFORE), at + np.uint64(BEFORE) + cells)


@loop_kernel
def _sums(numbers, first, cells):
    """The sums of the left and of the right half of a leaf from `first` on, always in the same order."""
    first, at, wide = np.uint64(first), np.uint64(COLUMN), np.uint64(WIDE)
    for c in range(cells // np.uint64(LEAF)):
        i = first + c
        numbers[at + c] = ((numbers[i] + numbers[i + wide]) + numbers[i + wide + wide]) + numbers[
            i + wide + wide + wide
        ]
    left = (numbers[COLUMN] + numbers[COLUMN + 1]) + (numbers[COLUMN + 2] + numbers[COLUMN + 3])
    right = (numbers[COLUMN + 4] + numbers[COLUMN + 5]) + (numbers[COLUMN + 6] + numbers[COLUMN + 7])
    return left, right


@loop_kernel
def _sides(code, a):
    """What tells on which side of a path a place is: factors of dx, dy, dx2 + dy2 and 1; right is positive.

    dx, dy: from where X and Y of the record are.  All 0 where nothing is told.
    """
    form = form_of(code)
    if form == LINE_FORM:
        return (a[UY], -a[UX], 0.0, 0.0) if a[LENGTH] > 0.0 else (0.0, 0.0, 0.0, 0.0)
    if form in (LEVEL_ARC_FORM, HELIX_FORM):
        return 0.0, 0.0, a[SENSE], -a[SENSE] * a[R] * a[R]
    if a[SPREAD] == 0.0:
        # An upright arc runs along a straight line in plan, and back where it bulges beyond its ends.
        first, last = a[THETA0], a[THETA0] + a[SWEEP]
        low, high = min(first, last) + 1e-9, max(first, last) - 1e-9
        if math.floor(low / math.pi) == math.floor(high / math.pi):
            sense = 1.0 if math.cos(last) > math.cos(first) else -1.0
            return sense * a[UY], -sense * a[UX], 0.0, 0.0
    return 0.0, 0.0, 0.0, 0.0


@loop_kernel
def _about(x, y):
    """The angle of (x, y) from the x axis, 0 to 2 pi, within ABOUT."""
    steep = abs(y) > abs(x)
    t = abs(x) / abs(y) if steep else abs(y) / max(abs(x), 1e-300)
    angle = t * (0.9724 - 0.1919 * t * t)
    angle = 0.5 * math.pi - angle if steep else angle
    angle = math.pi - angle if x < 0.0 else angle
    return 2.0 * math.pi - angle if y < 0.0 else angle


@loop_kernel
def _on_arc(a, dx, dy, first, switch):
    """The angle of a place, seen from the centre, along an arc from where it starts: at most `switch`."""
    angle = a[SENSE] * (math.atan2(dy, dx) - first)
    angle -= TURN * math.floor(angle / TURN)
    return angle - TURN if angle > switch else angle


@kernel
def _along_arc(form, a, x, y, half, batch, at, places, taken, k):
    """Note the least and the greatest way along an arc, in plan from its start, to cells that lose something.

    A cell beside neither end of it counts for the nearer one; of more than one turn all counts.
    """
    first = math.atan2(a[SY], a[SX])
    if form == HELIX_FORM:
        sweep = a[SWEEP]
    elif a[WIDTH] >= 2.0:
        sweep = TURN
    else:
        sweep = a[SENSE] * (math.atan2(a[EY], a[EX]) - first)
        sweep -= TURN * math.floor(sweep / TURN)
    if sweep > TURN:
        taken[k, NEAR], taken[k, FAR] = min(taken[k, NEAR], 0.0), max(taken[k, FAR], a[R] * sweep)
        return
    switch = 0.5 * (TURN + sweep)
    mx, my = x - a[X], y - a[Y]
    away = math.sqrt(mx * mx + my * my)
    middle, wide = 0.0, TURN
    if away >= 2.0 * half:
        middle, wide = _on_arc(a, mx, my, first, switch), 1.05 * half / away + ON_PATH
    is_whole = middle + wide < switch and middle - wide > switch - TURN
    nearest, farthest = math.inf, -math.inf
    low_x, low_y, high_x, high_y = 0.0, 0.0, 0.0, 0.0
    is_any = False
    for i in range(np.uint64(CELLS)):
        if not batch[at + i + np.uint64(LOST)] > np.float32(0.0):
            continue
        dx, dy = places[i] - a[X], places[i + np.uint64(AT_Y)] - a[Y]
        if not is_whole:
            angle = _on_arc(a, dx, dy, first, switch)
            nearest, farthest = min(nearest, angle), max(farthest, angle)
        elif not is_any:
            low_x, low_y, high_x, high_y, is_any = dx, dy, dx, dy, True
        else:
            # Over less than half a turn the sign of a cross product tells which angle is the greater.
            if a[SENSE] * (low_x * dy - low_y * dx) < 0.0:
                low_x, low_y = dx, dy
            if a[SENSE] * (high_x * dy - high_y * dx) > 0.0:
                high_x, high_y = dx, dy
    if is_any:
        nearest, farthest = (
            _on_arc(a, low_x, low_y, first, switch),
            _on_arc(a, high_x, high_y, first, switch),
        )
    taken[k, NEAR], taken[k, FAR] = min(taken[k, NEAR], a[R] * nearest), max(taken[k, FAR], a[R] * farthest)


@loop_kernel
def _is_between(a, x, y, half, near, far):
    """Whether a leaf surely lies between two places of an arc, all of it."""
    dx, dy = x - a[X], y - a[Y]
    away = math.sqrt(dx * dx + dy * dy)
    if away < 2.0 * half or near > far:
        return False
    angle = _about(dx * a[SX] + dy * a[SY], a[SENSE] * (dy * a[SX] - dx * a[SY]))
    wide = 1.05 * half / away + ABOUT  # asin(t) < 1.05 t up to t = 1/2
    return (angle - wide) * a[R] > near and (angle + wide) * a[R] < far


@kernel
def _under_middle(a, at, batch, places, middle):
    """The most that stood above the tip on a cell that loses something and that its middle comes over.

    a: a line.  middle mm: how far from the axis of the cutter that reaches.
    """
    ux, uy, length = a[UX], a[UY], a[LENGTH]
    most = 0.0
    for i in range(np.uint64(CELLS)):
        dx, dy = places[i] - a[X], places[i + np.uint64(AT_Y)] - a[Y]
        u, w = dx * ux + dy * uy, dy * ux - dx * uy
        s = min(max(u, 0.0), length)
        is_there = (u - s) * (u - s) + w * w <= middle * middle
        if is_there and batch[at + i + np.uint64(LOST)] > np.float32(0.0):
            most = max(most, np.float64(batch[at + i + np.uint64(BEFORE)]) - (a[H] + a[SLOPE] * s))
    return most


@loop_kernel
def add_taken(code, a, k, deepest, field, block, taken, room, at, x, y, half, middle, cells):
    """Add what the cells of a leaf lost to one move, at `at`, to what is told of its entry k.

    deepest: the most that one lost.  x, y, half: middle of the leaf, and how far its cells are from there.
    middle mm: as of _under_middle.
    """
    nx = np.int64(field[0].shape[1])
    iy0, _, ix0, _ = block
    w, _, places, batch, bits, place_bits = room
    ax, ay, ux, uy = a[X], a[Y], a[UX], a[UY]
    form, around = form_of(code), half + 1e-6
    for i in range(cells):
        places[i + np.uint64(TOTAL)] = np.float64(batch[at + i + np.uint64(LOST)])
    left, right = _sums(places, TOTAL, cells)
    taken[k, TAKEN] = (taken[k, TAKEN] + left) + right
    taken[k, TOP] = max(taken[k, TOP], np.float64(_highest_taken(batch, bits, at, cells)))
    across, along, round_, base = _sides(code, a)
    side = (x - ax) * across + (y - ay) * along
    if form == LINE_FORM and (a[SLOPE] < -STEEP or a[LENGTH] == 0.0) and abs(side) <= around + middle:
        taken[k, UNDER] = max(taken[k, UNDER], _under_middle(a, at, batch, places, middle))
    if form == LINE_FORM and abs(side) > around:
        sense = 1.0 if side > 0.0 else -1.0
        taken[k, LEAN] = (taken[k, LEAN] + sense * left) + sense * right
    else:
        for i in range(cells):
            dx, dy = places[i] - ax, places[i + np.uint64(AT_Y)] - ay
            side = dx * across + dy * along + round_ * (dx * dx + dy * dy) + base
            lost = places[i + np.uint64(TOTAL)]
            places[i + np.uint64(SIDE)] = lost if side > ON_PATH else (-lost if side < -ON_PATH else 0.0)
        left, right = _sums(places, SIDE, cells)
        taken[k, LEAN] = (taken[k, LEAN] + left) + right
    u = (x - ax) * ux + (y - ay) * uy
    if form == LINE_FORM:
        if u - around < taken[k, NEAR] or u + around > taken[k, FAR]:
            for i in range(cells):
                u = (places[i] - ax) * ux + (places[i + np.uint64(AT_Y)] - ay) * uy
                is_lost = places[i + np.uint64(TOTAL)] > 0.0
                # The least way along is the most the other way.
                places[i + np.uint64(AHEAD)] = u if is_lost else -math.inf
                places[i + np.uint64(BEHIND)] = -u if is_lost else -math.inf
            taken[k, NEAR] = min(taken[k, NEAR], -_most(places, place_bits, BEHIND, cells))
            taken[k, FAR] = max(taken[k, FAR], _most(places, place_bits, AHEAD, cells))
    elif form in (LEVEL_ARC_FORM, HELIX_FORM) and not _is_between(
        a, x, y, half, taken[k, NEAR], taken[k, FAR]
    ):
        _along_arc(form, a, x, y, half, batch, at, places, taken, k)
    if deepest >= taken[k, DEPTH]:
        for i in range(np.uint64(CELLS)):
            if batch[at + i + np.uint64(LOST)] == deepest:
                spot = np.float64((iy0 + np.int64(i) // WIDE) * nx + ix0 + np.int64(i) % WIDE)
                if deepest > taken[k, DEPTH] or spot < taken[k, SPOT]:
                    taken[k, DEPTH], taken[k, SPOT] = deepest, spot
                    taken[k, BOTTOM] = max(batch[at + i], w[i + np.uint64(FLOOR)])
                break
