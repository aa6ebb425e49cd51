"""The surface of the solid that a field holds, as flat faces with a class each; NumPy only."""

from __future__ import annotations

import numpy as np

from simkit.report import colours
from simkit.report.wall_lines import corner_shifts

HOLDS = -1  # class of a face of wood outside the target's outline; the same as colours.NO_TARGET
RESIN = len(colours.CLASSES)  # class of a face of resin within the limits, or outside the outline
OVER_RESIN = RESIN + 1  # of a face beyond a limit that is resin: this and its class
FAR = 1e6  # mm: farther up or down than any column
STEEP = 8.0  # rise per run; neighbours further apart than this are parted by a wall, not by a slope
# So are neighbours this far apart, rise per run, where those before and after are so many times nearer.
JUMP, TIMES = 1.5, 4.0


def surface(lower, upper, class_lower, class_upper, cell, origin=(0.0, 0.0), target=None, is_lined=False):
    """Return the closed surface round all columns: (quads (n, 4, 3) float32 mm, classes (n,) int8).

    lower, upper (ny, nx) mm, blank frame; class_lower, class_upper (ny, nx) as colours.class_index
    gives them, RESIN, or OVER_RESIN and such a class.  cell mm, origin (x, y) mm of the first cell.
    Corners go counter-clockwise seen from outside; a corner may coincide with the next.
    target: (lower, upper) (ny, nx) mm of the target in each column, none where upper <= lower; then the walls
    have colours as far as they stand off it (see wall_pieces).  None: a wall has a class beyond the limits
    only where the wood on both sides of it does.
    is_lined: walls that run askew to the cells are lines between the columns, not the teeth of their corners;
    see wall_lines.  Corners then lie up to half a cell off along x and y, at the height of the slope there.
    Accuracy: the corners of a cell take the mean height of the neighbours that no wall (see `walls`) parts
    from it, so heights are those of the field within one cell; what the quads enclose is
    the sum of columns with these corners, closed without gaps (own derivation, volume checked in tests).
    """
    upper, lower = np.asarray(upper, np.float64), np.asarray(lower, np.float64)
    is_solid = np.pad(upper > lower, 1)
    ends = [np.pad(end, 1) for end in (upper, lower)]
    shifts = _shifts(ends, is_solid, cell) if is_lined else None
    top, bottom = (_corners(end, is_solid, cell, shifts) for end in ends)
    top = np.maximum(top, bottom)
    classes = [np.pad(c, 1, constant_values=HOLDS) for c in (class_lower, class_upper)]

    iy, ix = np.nonzero(is_solid)
    quads = [
        _lay(top[iy, ix][:, [0, 1, 3, 2]], iy[:, None] + [0, 0, 1, 1], ix[:, None] + [0, 1, 1, 0]),
        _lay(bottom[iy, ix][:, [0, 2, 3, 1]], iy[:, None] + [0, 1, 1, 0], ix[:, None] + [0, 0, 1, 1]),
    ]
    found = [classes[1][iy, ix], classes[0][iy, ix]]
    classes = [_dry(c) for c in classes]  # walls do not tell resin
    wanted = None if target is None else wanted_columns(*(np.pad(end, 1) for end in target))
    for step in ((0, 1), (1, 0)):
        for quad, index in _walls(top, bottom, is_solid, classes, step, wanted):
            quads.append(quad)
            found.append(index)
    quads = np.concatenate(quads)
    if shifts is not None:
        x, y = quads[..., 0].astype(int), quads[..., 1].astype(int)
        quads[..., :2] += shifts[y, x]
    quads[..., :2] = (quads[..., :2] - 1) * cell + np.asarray(origin)
    return quads.astype(np.float32), np.concatenate(found).astype(np.int8)


def coloured(quads, classes, size, cell) -> np.ndarray:
    """Return the colour of each face (n, 3) uint8; resin that is off is dotted.

    quads (n, 4, 3) mm; classes (n,); size mm, of the whole, sets how wide the dots are;
    never under one cell (mm), or they would be lost between the faces.  What is too deep is hatched where it
    is drawn (hatch_shader).
    """
    more = [colours.rgb(colour) for colour in (colours.RESIN, colours.HOLDING)]
    palette = np.vstack([colours.class_rgb(), np.array(more, np.uint8)])
    plain = np.where(classes >= OVER_RESIN, classes - OVER_RESIN, classes)
    faces = palette[plain]  # HOLDS, -1, takes the last row
    x, y = quads[:, :, :2].mean(1).T
    period = max(size / 200, 4 * cell)
    row = np.floor(y / period)
    is_dot = (
        (classes >= OVER_RESIN) & (y % period < period / 2) & ((x + row * period) % (2 * period) < period / 2)
    )
    is_dark = faces.mean(axis=1) < 140
    faces[is_dot & is_dark], faces[is_dot & ~is_dark] = colours.rgb(colours.RESIN), colours.rgb(colours.INK)
    return faces


def walls(height, is_solid, cell):
    """Return where a wall of one surface parts a column from its next, along x and along y, bool each.

    height (ny, nx) mm; is_solid (ny, nx).  Shapes (ny, nx - 1) and (ny - 1, nx); what is not solid has none.
    A wall is steeper than STEEP; or steeper than JUMP, and TIMES as steep as what is before and after it.
    """
    found = []
    for axis in (1, 0):
        size = height.shape[axis]
        here, there = (np.take(is_solid, range(*span), axis) for span in ((size - 1,), (1, size)))
        step = np.where(here & there, np.abs(np.diff(height, axis=axis)), 0.0)
        widths = [(1, 1) if one == axis else (0, 0) for one in (0, 1)]
        beside = np.pad(step, widths)
        beside = np.maximum(*(np.take(beside, range(*span), axis) for span in ((size - 1,), (2, size + 1))))
        found.append((step > STEEP * cell) | ((step > JUMP * cell) & (step > TIMES * beside)))
    return found


def with_resin(class_lower, class_upper, resin) -> None:
    """Let classes tell resin, in place: RESIN, or OVER_RESIN and the class where that is beyond a limit.

    class_lower, class_upper (ny, nx) int8; resin {1: ..., 2: ...}: where a side's surface is resin, bool.
    """
    for side, index in ((1, class_upper), (2, class_lower)):
        is_plain = (index == colours.WITHIN) | (index == colours.NO_TARGET)
        index[resin[side]] = np.where(is_plain, RESIN, index + OVER_RESIN)[resin[side]]


def _dry(classes):
    """Return classes without what they tell of resin."""
    classes = np.where(classes == RESIN, colours.WITHIN, classes)
    return np.where(classes >= OVER_RESIN, classes - OVER_RESIN, classes)


def _shifts(ends, is_solid, cell):
    """How far the corners of columns move for walls to be lines; ends: heights above and below."""
    sides = [walls(end, is_solid, cell) for end in ends]
    beside = sides[0][0] | sides[1][0] | (is_solid[:, :-1] != is_solid[:, 1:])
    before = sides[0][1] | sides[1][1] | (is_solid[:-1] != is_solid[1:])
    return corner_shifts(beside, before)


def _corners(height, is_solid, cell, shifts=None):
    """Height of each cell's corners (ny, nx, 4) in the order (0, 0), (0, 1), (1, 0), (1, 1) of y, x.

    shifts (ny + 1, nx + 1, 2): how far the corners move, in cells; heights are then read off the slopes of
    the cells round a corner, not at their middles.
    """
    along_x, along_y = walls(height, is_solid, cell)
    # Whether a column goes on without a wall into the next, for each of the four ways (oy, ox).
    joins = {}
    for axis, parted in ((1, along_x), (0, along_y)):
        after = np.zeros(height.shape, bool)
        first, last = ((slice(None), slice(None, -1)), (slice(None), slice(1, None)))
        first, last = (first, last) if axis == 1 else (first[::-1], last[::-1])
        after[first] = is_solid[first] & is_solid[last] & ~parted
        joins[(0, 1) if axis == 1 else (1, 0)] = after
        joins[(0, -1) if axis == 1 else (-1, 0)] = np.roll(after, 1, axis)
    corners = np.zeros((*height.shape, 4))
    slope = None if shifts is None else [_slope(height, joins, axis) for axis in (1, 0)]
    ny, nx = height.shape
    for c in range(4):
        dy, dx = (-1 if c < 2 else 1), (-1 if c % 2 == 0 else 1)
        up, aside = joins[dy, 0], joins[0, dx]
        over = (up & np.roll(aside, -dy, 0)) | (aside & np.roll(up, -dx, 1))  # by one way or the other
        moved = None if shifts is None else shifts[(dy > 0) : (dy > 0) + ny, (dx > 0) : (dx > 0) + nx]
        total, count = np.zeros(height.shape), np.zeros(height.shape)
        for (oy, ox), is_joined in (((0, 0), is_solid), ((dy, 0), up), ((0, dx), aside), ((dy, dx), over)):
            near = np.roll(height, (-oy, -ox), (0, 1))
            if moved is not None:
                for part, way, out in ((0, dx, ox), (1, dy, oy)):
                    rise = np.roll(slope[part], (-oy, -ox), (0, 1))
                    near = near + rise * (way / 2 - out + moved[..., part])
            total = total + np.where(is_joined, near, 0)
            count = count + is_joined
        corners[..., c] = total / np.maximum(count, 1)
    return corners


def _slope(height, joins, axis):
    """Rise of each cell along an axis, per cell: the mean to the neighbours it goes on into, 0 without."""
    total, count = np.zeros(height.shape), np.zeros(height.shape)
    for step in (1, -1):
        is_joined = joins[(0, step) if axis == 1 else (step, 0)]
        total += np.where(is_joined, step * (np.roll(height, -step, axis) - height), 0.0)
        count += is_joined
    return total / np.maximum(count, 1)


def _lay(z, y, x):
    return np.stack(np.broadcast_arrays(x, y, z), -1).astype(np.float64)


def _walls(top, bottom, is_solid, classes, step, wanted):
    """Yield (quads, classes) of the upright faces between each cell and its next along `step` (y, x).

    wanted: of wanted_columns, or None.
    """
    sy, sx = step
    here, there = (slice(None, -sy or None), slice(None, -sx or None)), (slice(sy, None), slice(sx, None))
    mine, its = ([1, 3], [0, 2]) if sx else ([2, 3], [0, 1])  # corners on the shared edge
    a_top, a_low = top[here][..., mine], bottom[here][..., mine]
    b_top, b_low = top[there][..., its], bottom[there][..., its]
    a, b = is_solid[here], is_solid[there]
    meets = a & b & (np.maximum(a_low, b_low) < np.minimum(a_top, b_top)).all(-1)
    rows, columns = np.indices(a.shape)
    ends_y = np.stack([rows + sy, rows + 1], -1)
    ends_x = np.stack([columns + sx, columns + 1], -1)
    sense = 1 if sx else -1  # which way round the edge's two ends go

    def faces(where, low, high, index):
        """Faces from `low` up to `high`, seen from the `there` side (inside out when high < low)."""
        y, x, low, high = ends_y[where], ends_x[where], low[where], high[where]
        order = [0, 1, 1, 0] if sense > 0 else [1, 0, 0, 1]
        z = np.concatenate([low[:, order[:2]], high[:, order[2:]]], 1)
        return _lay(z, y[:, order], x[:, order]), index[where]

    def pieces(where, low, high, parts):
        """Yield `faces` cut along the levels of parts, as wall_pieces and end_pieces give them."""
        for begin, end, index in parts:
            first, last = (np.clip(z, begin[..., None], end[..., None]) for z in (low, high))
            yield faces(where & (np.abs(last - first) > 1e-9).any(-1), first, last, index)

    for level, index, is_upper in ((top, classes[1], True), (bottom, classes[0], False)):
        first, second = level[here][..., mine], level[there][..., its]
        differs = meets & (np.abs(first - second) > 1e-9).any(-1)
        ends = (second, first) if is_upper else (first, second)
        if wanted is None:
            yield faces(differs, *ends, _wall_class(index[here], index[there]))
            continue
        is_mine = (first.sum(-1) > second.sum(-1)) == is_upper  # whose wood the wall is the face of
        level = wanted[1] if is_upper else wanted[0]
        own, other = (
            [np.where(is_mine == side, one[here], one[there]) for one in (index, level)]
            for side in (True, False)
        )
        yield from pieces(differs, *ends, wall_pieces(own, other, is_upper))
    # Where the neighbour is cut right through though the target is there, its wall says so.
    for where, low, high, mine, its in ((a, a_low, a_top, here, there), (b, b_top, b_low, there, here)):
        through = colours.worse(classes[0][its], classes[1][its])  # the side that did not cut it is within
        is_through = ~is_solid[its] & (through >= 0) & (through < colours.WITHIN)
        if wanted is None:
            plain = np.where(classes[1][mine] == HOLDS, HOLDS, colours.WITHIN)
            yield faces(where & ~meets, low, high, np.where(is_through, through, plain))
            continue
        own, gone = [one[mine] for one in (*classes, *wanted)], [through, *(one[its] for one in wanted)]
        yield from pieces(where & ~meets, low, high, end_pieces(own, gone, is_through))


def wanted_columns(lower, upper):
    """Return where the target of each column begins and ends, (lower, upper) mm; without one, (FAR, -FAR).

    All of such a column stands off the target.
    """
    is_there = upper > lower
    return np.where(is_there, lower, FAR), np.where(is_there, upper, -FAR)


def wall_pieces(own, other, is_upper):
    """Return three times (begin, end, class): how walls between columns are parted by height, and coloured.

    own, other: each (class, level of the target mm) of one surface, of any shape: of the columns whose wood
    the walls are the faces of, and of the columns before them.  is_upper: of which surface.
    What stands over the target of its own column is left standing as far as that column is; what lies lower
    than the target of the column before it was cut into that, and is as much too deep as it is.
    """
    (mine, level), (its, before) = own, other
    sense = 1.0 if is_upper else -1.0
    free = np.where(mine > colours.WITHIN, sense * level, FAR)  # from here on up: left standing
    cut = np.where((its >= 0) & (its < colours.WITHIN), sense * before, -FAR)  # up to here: too deep
    cut = np.minimum(cut, free)
    plain = np.where(mine == HOLDS, HOLDS, colours.WITHIN)
    everywhere = np.full(np.shape(free), FAR)
    parts = ((-everywhere, cut, its), (cut, free, plain), (free, everywhere, mine))
    if is_upper:
        return parts
    return tuple((-end, -begin, index) for begin, end, index in parts)


def end_pieces(own, gone, is_through):
    """Return such pieces of walls before which nothing is left.

    own: class below, class above, lower and upper end of the target mm.  gone: class, and ends of the target,
    of the column before them; is_through: where that is cut through though the target is there.
    """
    below, above, low, high = own
    is_through = is_through & (gone[1] <= gone[2])
    plain = np.where(above == HOLDS, HOLDS, colours.WITHIN)
    beneath, over = (np.where(index > colours.WITHIN, index, plain) for index in (below, above))
    # A column without a target ends before it begins: all of it lies over the target.
    low = np.where(is_through, gone[1], np.where(low > high, -FAR, low))
    high = np.where(is_through, gone[2], high)
    everywhere = np.full(np.shape(low), FAR)
    between = np.where(is_through, gone[0], plain)
    return (-everywhere, low, beneath), (low, high, between), (high, everywhere, over)


def _wall_class(first, second):
    """Class of a wall between two classes of one level: beyond the limits only where both are."""
    both = ((first > colours.WITHIN) & (second > colours.WITHIN)) | (
        (first < colours.WITHIN) & (second < colours.WITHIN) & (first >= 0) & (second >= 0)
    )
    lesser = np.where(np.abs(first - colours.WITHIN) <= np.abs(second - colours.WITHIN), first, second)
    return np.where(both, lesser, np.where(first == HOLDS, HOLDS, colours.WITHIN)).astype(np.int8)
