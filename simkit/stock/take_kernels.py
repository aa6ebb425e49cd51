"""What the cells of a leaf lose to one move, four rows of eight: written for the compiler as vectors.

Of loops it makes vectors too, but writes down what each of them finds for the next one to read, and what it
comes to in the end it adds up one number after the other.  Arguments are those of bite_kernels; `at`: where
the numbers of the move begin in `batch`.
"""

from simkit._jit import instruction, ir, types
from simkit.stock.lose_kernels import AT_Y, BEFORE, CELLS, FLOOR, KEEPER, LEAF, LOST, ON_PATH, WIDE
from simkit.stock.wide_kernels import at, call_of, spread

# What is told of an entry, a row of float64: what its columns lost, and of that what lay on the right less
# what lay on the left; the highest wood taken, the nearest and farthest place along the path; the most that
# one column lost, the lowest wood there, and that cell; and of steep ways the most that stood above the
# tip where the middle of the cutter came over it.
TAKEN, LEAN, TOP, NEAR, FAR, DEPTH, BOTTOM, SPOT, UNDER = range(9)
TAKES = 9

_HALF = CELLS // 2  # of a leaf: as many as a vector holds
_FLOAT, _DOUBLE, _WHOLE, _LONG = ir.FloatType(), ir.DoubleType(), ir.IntType(32), ir.IntType(64)
_CELLS, _ROW = ir.VectorType(_FLOAT, _HALF), ir.VectorType(_DOUBLE, WIDE)
_NONE = ir.Constant(_CELLS, None)
_FAR = ir.Constant(_ROW, [float("inf")] * WIDE)


def bits_of(b, low, high):
    """A bit for each cell of both halves of a leaf, as a uint32."""
    low, high = (b.zext(b.bitcast(mask, ir.IntType(_HALF)), _WHOLE) for mask in (low, high))
    return b.or_(low, b.shl(high, _WHOLE(_HALF)))


def lanes_of(b, lanes, one, two=None):
    """Some lanes of a vector, or of two."""
    order = ir.Constant(ir.VectorType(_WHOLE, len(lanes)), list(lanes))
    return b.shuffle_vector(one, one if two is None else two, order)


def higher(b, one, two):
    return b.select(b.fcmp_ordered(">", one, two), one, two)


def lower_of(b, one, two):
    return b.select(b.fcmp_ordered("<", one, two), one, two)


def less(b, several):
    """Minus a vector."""
    return b.fsub(ir.Constant(several.type, [-0.0] * several.type.count), several)


def _both_highest(b, one, two):
    """The highest lanes of two vectors of cells."""
    low, high = range(_HALF // 2), range(_HALF // 2, _HALF)
    sides = [lanes_of(b, [*part, *(k + _HALF for k in part)], one, two) for part in (low, high)]
    both = higher(b, *sides)
    for apart in (4, 2, 1):
        both = higher(b, both, lanes_of(b, [k ^ apart for k in range(_HALF)], both))
    return b.extract_element(both, _WHOLE(0)), b.extract_element(both, _WHOLE(_HALF // 2))


def both_halves(b, one, two):
    """The sums of the left halves of two rows, and of the right ones, as told_kernels._halves adds up."""
    even = lanes_of(b, (0, 8, 2, 10, 4, 12, 6, 14), one, two)
    both = b.fadd(even, lanes_of(b, (1, 9, 3, 11, 5, 13, 7, 15), one, two))
    both = b.fadd(both, lanes_of(b, (2, 3, 0, 1, 6, 7, 4, 5), both))
    return lanes_of(b, (0, 1), both), lanes_of(b, (4, 5), both)


def ends_of(b, near, far):
    """The least of one row, and the most of another: both at once, for that is minus the least of less."""
    size = WIDE // 2
    far = less(b, far)
    near, far = (
        lower_of(b, lanes_of(b, range(size), row), lanes_of(b, range(size, WIDE), row)) for row in (near, far)
    )
    both = lanes_of(b, range(WIDE), near, far)
    for lanes in ((2, 3, 0, 1, 6, 7, 4, 5), (1, 0, 3, 2, 5, 4, 7, 6)):
        both = lower_of(b, both, lanes_of(b, lanes, both))
    far = b.extract_element(both, _WHOLE(size))
    return b.extract_element(both, _WHOLE(0)), b.fsub(_DOUBLE(-0.0), far)


class Numbers:
    """Numbers of the arrays among the arguments of an instruction."""

    def __init__(self, context, builder, signature, arguments):
        self.context, self.b, self.kinds, self.arguments = context, builder, signature.args, arguments

    def place(self, k, first, offset, count):
        """Where so many numbers of argument k are, so far behind a place."""
        first = self.b.add(first, _LONG(offset))
        return at(self.context, self.b, self.kinds[k], self.arguments[k], first, count)[0]

    def load(self, k, first, offset, count):
        """These numbers."""
        align = 8 if self.kinds[k].dtype == types.float64 else 4
        return self.b.load(self.place(k, first, offset, count), align=align)

    def on(self, k, first, offset):
        """Where one of them is."""
        array = self.context.make_array(self.kinds[k])(self.context, self.b, self.arguments[k])
        return self.b.gep(array.data, [self.b.add(first, _LONG(offset))])


@instruction
def lower(typingctx, keeper, w, batch, at):
    """Lower the cells of a leaf to the heights of a move; return which lose something, a bit for each.

    Written beside the heights: what each loses and what stood there.  What lies below the other side's
    surface is no wood.  keeper float32: by which move, as w tells it.
    """

    def generate(context, builder, signature, arguments):
        b, (keeper, _, _, place) = builder, arguments
        its, none, kept = Numbers(context, b, signature, arguments), _NONE, spread(b, keeper, _HALF)
        losing = []
        for first in (0, _HALF):
            stood, to = its.load(1, _LONG(0), first, _HALF), its.load(2, place, first, _HALF)
            lost = b.fsub(stood, higher(b, to, its.load(1, _LONG(0), FLOOR + first, _HALF)))
            loses, is_lower = b.fcmp_ordered(">", lost, none), b.fcmp_ordered("<", to, stood)
            losing.append(loses)
            b.store(b.select(loses, lost, none), its.place(2, place, LOST + first, _HALF), align=4)
            b.store(stood, its.place(2, place, BEFORE + first, _HALF), align=4)
            b.store(b.select(is_lower, to, stood), its.place(1, _LONG(0), first, _HALF), align=4)
            on_keeper = its.place(1, _LONG(0), KEEPER + first, _HALF)
            b.store(b.select(is_lower, kept, b.load(on_keeper, align=4)), on_keeper, align=4)
        return bits_of(b, *losing)

    return types.uint32(types.float32, w, batch, types.uint64), generate


@instruction
def take(typingctx, taken, k, places, w, batch, at, base, nx, x, y, ux, uy, right_x, right_y):
    """Add what a leaf lost to a move to what is told of its entry k, but NEAR, FAR and UNDER; something.

    base: place of the leaf's first cell, iy * nx + ix.  Of what was lost counts as right what lies on that
    side of a line through (x, y) in the direction (right_x, right_y), as left what lies on the other; nothing
    where that is (0, 0).  Returns the least and the most way to a cell that lost something along a line from
    (x, y) in the direction (ux, uy).

    Of a column the way is a number of its own and one of the row; the sum of two grows with each of them,
    rounding and all, so the least and the most of the rows tell.
    """

    def generate(context, builder, signature, arguments):
        b, (_, k, _, _, _, place, base, nx, x, y, ux, uy, right_x, right_y) = builder, arguments
        its, wide = Numbers(context, b, signature, arguments), lambda number: spread(b, number, WIDE)
        halves = [its.load(4, place, LOST + first, _HALF) for first in (0, _HALF)]
        losing = [b.fcmp_ordered(">", half, _NONE) for half in halves]
        rows = [range(WIDE), range(WIDE, 2 * WIDE)]
        dx = b.fsub(its.load(2, _LONG(0), 0, WIDE), wide(x))
        beside, ahead, along = (
            b.fmul(dx, wide(right_y)),
            wide(b.fsub(_DOUBLE(-0.0), right_x)),
            b.fmul(dx, wide(ux)),
        )
        least, none = ir.Constant(_ROW, [ON_PATH] * WIDE), ir.Constant(_ROW, None)
        total, leans, near, far = None, None, _FAR, less(b, _FAR)
        for r in range(LEAF):
            dy = wide(b.fsub(b.load(its.on(2, _LONG(0), AT_Y + r * WIDE)), y))
            own = b.fpext(lanes_of(b, rows[r % 2], halves[r // 2]), _ROW)
            loses, way = lanes_of(b, rows[r % 2], losing[r // 2]), b.fmul(dy, wide(uy))
            near = lower_of(b, b.select(loses, way, _FAR), near)
            far = higher(b, b.select(loses, way, less(b, _FAR)), far)
            side = b.fadd(beside, b.fmul(dy, ahead))
            left = b.select(b.fcmp_ordered("<", side, less(b, least)), less(b, own), none)
            lean = b.select(b.fcmp_ordered(">", side, least), own, left)
            total, leans = (own, lean) if r == 0 else (b.fadd(total, own), b.fadd(leans, lean))
        kept = b.mul(k, _LONG(TAKES))
        on_sums = its.place(0, kept, TAKEN, 2)
        for half in both_halves(b, total, leans):
            b.store(b.fadd(b.load(on_sums, align=8), half), on_sums, align=8)
        low = ir.Constant(_CELLS, [float("-inf")] * _HALF)
        stood = [
            b.select(loses, its.load(4, place, BEFORE + first, _HALF), low)
            for loses, first in zip(losing, (0, _HALF), strict=True)
        ]
        top, deepest = _both_highest(b, higher(b, *stood), higher(b, *halves))
        on_top = its.on(0, kept, TOP)
        b.store(higher(b, b.fpext(top, _DOUBLE), b.load(on_top)), on_top)
        # The deepest cell, the first one on ties: kept in vectors, or the compiler would make it a question.
        is_it = [b.fcmp_ordered("==", half, spread(b, deepest, _HALF)) for half in halves]
        count = call_of(b, "llvm.cttz.i32", ir.FunctionType(_WHOLE, [_WHOLE, ir.IntType(1)]))
        i = b.zext(b.call(count, [bits_of(b, *is_it), ir.IntType(1)(1)]), _LONG)
        spot = b.add(b.mul(b.lshr(i, _LONG(3)), nx), b.add(b.and_(i, _LONG(WIDE - 1)), base))
        bottom = higher(b, b.load(its.on(4, b.add(place, i), 0)), b.load(its.on(3, i, FLOOR)))
        on_deepest = its.place(0, kept, DEPTH, 4)
        before = b.load(on_deepest, align=8)
        now = before
        for lane, number in enumerate(
            (b.fpext(deepest, _DOUBLE), b.fpext(bottom, _DOUBLE), b.sitofp(spot, _DOUBLE))
        ):
            now = b.insert_element(now, number, _WHOLE(lane))
        depths, spots = ([lanes_of(b, (lane,) * 4, its) for its in (now, before)] for lane in (0, 2))
        is_nearer = b.and_(b.fcmp_ordered("==", *depths), b.fcmp_ordered("<", *spots))
        is_deeper = b.or_(b.fcmp_ordered(">", *depths), is_nearer)
        b.store(b.select(is_deeper, now, before), on_deepest, align=8)
        ends = ends_of(b, b.fadd(along, near), b.fadd(along, far))
        return context.make_tuple(b, signature.return_type, ends)

    number, whole = types.float64, types.uint64
    told = types.UniTuple(number, 2)
    kinds = (taken, whole, places, w, batch, whole, types.int64, types.int64, *(number,) * 6)
    return told(*kinds), generate
