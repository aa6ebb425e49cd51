"""What is told of a move in the replay, added up leaf by leaf.

Arguments that go together are those of bite_kernels.
"""

import math

import numpy as np

from simkit._jit import kernel, loop_kernel
from simkit.stock.bit_kernels import first_of, without_first
from simkit.stock.lose_kernels import (
    ARCS,
    ARCS_KEPT,
    AT_Y,
    BEFORE,
    CELLS,
    LEAF,
    LOST,
    ON_PATH,
    SIDE,
    TURNED,
    WIDE,
    highest,
)
from simkit.stock.record_kernels import (
    EX,
    EY,
    HELIX_FORM,
    LENGTH,
    LEVEL_ARC_FORM,
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
    is_line,
)
from simkit.stock.take_kernels import FAR, LEAN, NEAR, UNDER, take

STEEP = 1.0  # rise over run
TURN = 2.0 * math.pi
ABOUT = 0.006  # an angle, for a first look (about is within 0.005)
NEARLY = 1e-5  # tangent of an angle, for a first look in float32


@loop_kernel
def _lower_of(a, b):
    return a if a < b else b


@loop_kernel
def _higher_of(a, b):
    return a if a > b else b


@loop_kernel
def _halves(numbers, first):
    """The sums of the left and of the right half of a row of numbers, always in the same order."""
    i = np.uint64(first)
    left = (numbers[i] + numbers[i + np.uint64(1)]) + (numbers[i + np.uint64(2)] + numbers[i + np.uint64(3)])
    i += np.uint64(WIDE // 2)
    right = (numbers[i] + numbers[i + np.uint64(1)]) + (numbers[i + np.uint64(2)] + numbers[i + np.uint64(3)])
    return left, right


@loop_kernel
def _lean_columns(a, sides, places, batch, at, wide):
    """Note for each column of a leaf what its cells lost on the right of a path less what on the left.

    sides: of _sides.  wide: WIDE, as a number that the compiler does not know.
    """
    across, along, round_, base = sides
    ax, ay, row = a[X], a[Y], np.uint64(WIDE)
    first = np.uint64(AT_Y)
    y0, y1 = places[first] - ay, places[first + row] - ay
    first += np.uint64(2 * WIDE)
    y2, y3 = places[first] - ay, places[first + row] - ay
    for c in range(wide):
        i = at + c + np.uint64(LOST)
        dx = places[c] - ax
        s0 = dx * across + y0 * along + round_ * (dx * dx + y0 * y0) + base
        s1 = dx * across + y1 * along + round_ * (dx * dx + y1 * y1) + base
        s2 = dx * across + y2 * along + round_ * (dx * dx + y2 * y2) + base
        s3 = dx * across + y3 * along + round_ * (dx * dx + y3 * y3) + base
        l0, l1 = np.float64(batch[i]), np.float64(batch[i + row])
        l2, l3 = np.float64(batch[i + np.uint64(2 * WIDE)]), np.float64(batch[i + np.uint64(3 * WIDE)])
        l0 = l0 if s0 > ON_PATH else (-l0 if s0 < -ON_PATH else 0.0)
        l1 = l1 if s1 > ON_PATH else (-l1 if s1 < -ON_PATH else 0.0)
        l2 = l2 if s2 > ON_PATH else (-l2 if s2 < -ON_PATH else 0.0)
        l3 = l3 if s3 > ON_PATH else (-l3 if s3 < -ON_PATH else 0.0)
        places[c + np.uint64(SIDE)] = ((l0 + l1) + l2) + l3


@loop_kernel
def _sides(code, a):
    """What tells on which side of an arc a place is: factors of dx, dy, dx2 + dy2 and 1; right is positive.

    dx, dy: from where X and Y of the record are.  All 0 where nothing is told.
    """
    form = form_of(code)
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
def about(x, y):
    """The angle of (x, y) from the x axis, 0 to 2 pi, within ABOUT."""
    steep = abs(y) > abs(x)
    t = abs(x) / abs(y) if steep else abs(y) / max(abs(x), 1e-300)
    angle = t * (0.9724 - 0.1919 * t * t)
    angle = 0.5 * math.pi - angle if steep else angle
    angle = math.pi - angle if x < 0.0 else angle
    return 2.0 * math.pi - angle if y < 0.0 else angle


@loop_kernel
def about_from(a, dx, dy):
    """The angle of a place, seen from the centre, along an arc from where it starts, within ABOUT."""
    return about(dx * a[SX] + dy * a[SY], a[SENSE] * (dy * a[SX] - dx * a[SY]))


@loop_kernel
def on_arc(a, dx, dy, first, switch):
    """The angle of a place, seen from the centre, along an arc from where it starts: at most `switch`."""
    angle = a[SENSE] * (math.atan2(dy, dx) - first)
    angle -= TURN * math.floor(angle / TURN)
    return angle - TURN if angle > switch else angle


@loop_kernel
def arc_turn(form, a, k, places):
    """The angle where an arc starts and how far it sweeps, kept in `places` for the next leaf."""
    slot = np.uint64(ARCS) + np.uint64(3) * (np.uint64(k) % np.uint64(ARCS_KEPT))
    if places[slot] != np.float64(k):
        first = math.atan2(a[SY], a[SX])
        if form == HELIX_FORM:
            sweep = a[SWEEP]
        elif a[WIDTH] >= 2.0:
            sweep = TURN
        else:
            sweep = a[SENSE] * (math.atan2(a[EY], a[EX]) - first)
            sweep -= TURN * math.floor(sweep / TURN)
        places[slot], places[slot + np.uint64(1)], places[slot + np.uint64(2)] = k, first, sweep
    return places[slot + np.uint64(1)], places[slot + np.uint64(2)]


@loop_kernel
def _outermost(a, mx, my, batch, bits, at, places, cells):
    """Which cells that lose something lie least and farthest round an arc, or nearly so, a bit for each.

    mx, my: middle of the leaf, seen from the arc's centre, which is at least twice its size away.
    """
    none, first = -np.float32(math.inf), np.uint64(TURNED)
    second = first + np.uint64(CELLS)
    sense = a[SENSE]
    for i in range(cells):
        dx, dy = places[i] - a[X], places[i + np.uint64(AT_Y)] - a[Y]
        turned = np.float32(sense * (mx * dy - my * dx)) / np.float32(mx * dx + my * dy)
        loses = batch[at + i + np.uint64(LOST)] > np.float32(0.0)
        batch[first + i] = -turned if loses else none
        batch[second + i] = turned if loses else none
    low = highest(batch, bits, first, first + cells) - np.float32(NEARLY)
    high = highest(batch, bits, second, second + cells) - np.float32(NEARLY)
    found = np.uint32(0)
    for i in range(cells):
        bit = np.uint32(np.uint32(1) << np.uint32(i))
        is_one = (batch[first + i] >= low) | (batch[second + i] >= high)
        found = np.uint32(found | (bit if is_one else np.uint32(0)))
    return found


@kernel
def _along_arc(form, a, x, y, half, batch, bits, at, places, taken, k, cells):
    """Note the least and the greatest way along an arc, in plan from its start, to cells that lose something.

    A cell beside neither end of it counts for the nearer one; of more than one turn all counts.
    """
    first, sweep = arc_turn(form, a, k, places)
    if sweep > TURN:
        taken[k, NEAR], taken[k, FAR] = min(taken[k, NEAR], 0.0), max(taken[k, FAR], a[R] * sweep)
        return
    switch = 0.5 * (TURN + sweep)
    mx, my = x - a[X], y - a[Y]
    away = math.sqrt(mx * mx + my * my)
    middle, wide = 0.0, TURN
    if away >= 2.0 * half:
        middle, wide = on_arc(a, mx, my, first, switch), 1.05 * half / away + ON_PATH
    nearest, farthest = math.inf, -math.inf
    if middle + wide < switch and middle - wide > switch - TURN:
        is_near, is_far = a[R] * (middle - wide) < taken[k, NEAR], a[R] * (middle + wide) > taken[k, FAR]
        if not (is_near or is_far):
            return
        low_x, low_y, high_x, high_y = 0.0, 0.0, 0.0, 0.0
        is_any, some = False, _outermost(a, mx, my, batch, bits, at, places, cells)
        while some != np.uint32(0):
            i = first_of(some)
            some = without_first(some)
            dx, dy = places[i] - a[X], places[i + np.uint64(AT_Y)] - a[Y]
            # Over less than half a turn the sign of a cross product tells which angle is the greater.
            if not is_any or a[SENSE] * (low_x * dy - low_y * dx) < 0.0:
                low_x, low_y = dx, dy
            if not is_any or a[SENSE] * (high_x * dy - high_y * dx) > 0.0:
                high_x, high_y = dx, dy
            is_any = True
        if is_near:
            nearest = on_arc(a, low_x, low_y, first, switch)
        if is_far:
            farthest = on_arc(a, high_x, high_y, first, switch)
    else:
        for i in range(cells):
            if batch[at + i + np.uint64(LOST)] > np.float32(0.0):
                dx, dy = places[i] - a[X], places[i + np.uint64(AT_Y)] - a[Y]
                angle = on_arc(a, dx, dy, first, switch)
                nearest, farthest = min(nearest, angle), max(farthest, angle)
    taken[k, NEAR], taken[k, FAR] = min(taken[k, NEAR], a[R] * nearest), max(taken[k, FAR], a[R] * farthest)


@loop_kernel
def _is_between(a, x, y, half, near, far):
    """Whether a leaf surely lies between two places of an arc, all of it."""
    dx, dy = x - a[X], y - a[Y]
    away = math.sqrt(dx * dx + dy * dy)
    if away < 2.0 * half or near > far:
        return False
    angle = about_from(a, dx, dy)
    wide = 1.05 * half / away + ABOUT  # asin(t) < 1.05 t up to t = 1/2
    return (angle - wide) * a[R] > near and (angle + wide) * a[R] < far


@kernel
def is_over_middle(a, places, on_x, on_y, middle):
    """Whether the middle of a cutter comes over any cell of a leaf.

    a: a line.  places: x of the cells from on_x on, y from on_y.  middle mm: how far it reaches.
    """
    ux, uy, length, is_any = a[UX], a[UY], a[LENGTH], False
    for i in range(np.uint64(CELLS)):
        dx, dy = places[on_x + i] - a[X], places[on_y + i] - a[Y]
        u, w = dx * ux + dy * uy, dy * ux - dx * uy
        beyond = u - min(max(u, 0.0), length)
        is_any |= beyond * beyond + w * w <= middle * middle
    return is_any


@kernel
def under_middle(a, at, batch, places, middle):
    """The most that stood above the tip on a cell that loses something under the middle of a cutter.

    Arguments as of is_over_middle, which has said that there is one it comes over.
    """
    ux, uy, length, most = a[UX], a[UY], a[LENGTH], 0.0
    for i in range(np.uint64(CELLS)):
        dx, dy = places[i] - a[X], places[i + np.uint64(AT_Y)] - a[Y]
        u, w = dx * ux + dy * uy, dy * ux - dx * uy
        s = min(max(u, 0.0), length)
        is_there = (u - s) * (u - s) + w * w <= middle * middle
        if is_there and batch[at + i + np.uint64(LOST)] > np.float32(0.0):
            most = max(most, np.float64(batch[at + i + np.uint64(BEFORE)]) - (a[H] + a[SLOPE] * s))
    return most


@loop_kernel
def add_taken(code, records, j, k, field, block, taken, room, at, x, y, half, middle, cells):
    """Add what the cells of a leaf lost to record j, at `at`, to what is told of its entry k: something.

    x, y, half: middle of the leaf, and how far its cells are from there.  middle mm: as of under_middle.
    """
    nx, a = np.int64(field[0].shape[1]), records[np.uint64(j)]
    w, _, places, batch, bits = room
    base = block[0] * nx + block[2]
    ax, ay, ux, uy = a[X], a[Y], a[UX], a[UY]
    if is_line(code):
        has_sides = a[LENGTH] > 0.0
        right_x, right_y = ux if has_sides else 0.0, uy if has_sides else 0.0
        near, far = take(taken, k, places, w, batch, at, base, nx, ax, ay, ux, uy, right_x, right_y)
        taken[k, NEAR] = _lower_of(near, taken[k, NEAR])
        taken[k, FAR] = _higher_of(far, taken[k, FAR])
        if a[SLOPE] < -STEEP or not has_sides:
            side = (x - ax) * right_y - (y - ay) * right_x
            if abs(side) <= half + 1e-6 + middle and is_over_middle(
                a, places, np.uint64(0), np.uint64(AT_Y), middle
            ):
                taken[k, UNDER] = max(taken[k, UNDER], under_middle(a, at, batch, places, middle))
        return
    take(taken, k, places, w, batch, at, base, nx, ax, ay, ux, uy, 0.0, 0.0)
    _lean_columns(a, _sides(code, a), places, batch, at, cells // np.uint64(LEAF))
    left, right = _halves(places, SIDE)
    taken[k, LEAN] = (taken[k, LEAN] + left) + right
    form = form_of(code)
    if form in (LEVEL_ARC_FORM, HELIX_FORM) and not _is_between(a, x, y, half, taken[k, NEAR], taken[k, FAR]):
        _along_arc(form, a, x, y, half, batch, bits, at, places, taken, k, cells)
