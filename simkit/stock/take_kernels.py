"""What the cells of a leaf lose to one move, four rows of eight: written for the compiler as vectors.

Of loops it makes vectors too, but writes down what each of them finds for the next one to read, and what it
comes to in the end it adds up one number after the other.  Arguments are those of bite_kernels; `at`: where
the numbers of the move begin in `batch`.
"""

from simkit._jit import instruction, ir, types
from simkit.stock.lose_kernels import AT_Y, BEFORE, CELLS, FLOOR, KEEPER, LEAF, LOST, ON_PATH, WIDE
from simkit.stock.wide_kernels import at, call_of, spread

_HALF = CELLS // 2  # of a leaf: as many as a vector holds
_FLOAT, _DOUBLE, _WHOLE, _LONG = ir.FloatType(), ir.DoubleType(), ir.IntType(32), ir.IntType(64)
_CELLS, _ROW = ir.VectorType(_FLOAT, _HALF), ir.VectorType(_DOUBLE, WIDE)
_NONE = ir.Constant(_CELLS, None)
_FAR = ir.Constant(_ROW, [float("inf")] * WIDE)


def _bits(b, low, high):
    """A bit for each cell of both halves of a leaf, as a uint32."""
    low, high = (b.zext(b.bitcast(mask, ir.IntType(_HALF)), _WHOLE) for mask in (low, high))
    return b.or_(low, b.shl(high, _WHOLE(_HALF)))


def _lanes(b, lanes, one, two=None):
    """Some lanes of a vector, or of two."""
    order = ir.Constant(ir.VectorType(_WHOLE, len(lanes)), list(lanes))
    return b.shuffle_vector(one, one if two is None else two, order)


def _higher(b, one, two):
    return b.select(b.fcmp_ordered(">", one, two), one, two)


def _lower(b, one, two):
    return b.select(b.fcmp_ordered("<", one, two), one, two)


def _less(b, several):
    """Minus a vector."""
    return b.fsub(ir.Constant(several.type, [-0.0] * several.type.count), several)


def _highest(b, several):
    """The highest lane of a vector."""
    while (count := several.type.count // 2) > 0:
        low, high = _lanes(b, range(count), several), _lanes(b, range(count, 2 * count), several)
        several = _higher(b, low, high)
    return b.extract_element(several, _WHOLE(0))


def _halves(b, row):
    """The sums of the left and of the right half of a row, in the order of told_kernels._halves."""
    for lanes in ((1, 0, 3, 2, 5, 4, 7, 6), (2, 3, 0, 1, 6, 7, 4, 5)):
        row = b.fadd(row, _lanes(b, lanes, row))
    return b.extract_element(row, _WHOLE(0)), b.extract_element(row, _WHOLE(WIDE // 2))


def _ends(b, near, far):
    """The least of one row, and the most of another: both at once, for that is minus the least of less."""
    size = WIDE // 2
    far = _less(b, far)
    near, far = (
        _lower(b, _lanes(b, range(size), row), _lanes(b, range(size, WIDE), row)) for row in (near, far)
    )
    both = _lanes(b, range(WIDE), near, far)
    for lanes in ((2, 3, 0, 1, 6, 7, 4, 5), (1, 0, 3, 2, 5, 4, 7, 6)):
        both = _lower(b, both, _lanes(b, lanes, both))
    far = b.extract_element(both, _WHOLE(size))
    return b.extract_element(both, _WHOLE(0)), b.fsub(_DOUBLE(-0.0), far)


class _Numbers:
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

    def column(self, k, offset):
        """The first number of each row of a leaf, as often as a row has cells."""
        return [
            spread(
                self.b, self.b.extract_element(self.load(k, _LONG(0), offset + r * WIDE, 1), _WHOLE(0)), WIDE
            )
            for r in range(LEAF)
        ]


@instruction
def lower(typingctx, keeper, w, batch, at):
    """Lower the cells of a leaf to the heights of a move; return which lose something, a bit for each.

    Written beside the heights: what each loses and what stood there.  What lies below the other side's
    surface is no wood.  keeper float32: by which move, as w tells it.
    """

    def generate(context, builder, signature, arguments):
        b, (keeper, _, _, place) = builder, arguments
        its, none, kept = _Numbers(context, b, signature, arguments), _NONE, spread(b, keeper, _HALF)
        losing = []
        for first in (0, _HALF):
            stood, to = its.load(1, _LONG(0), first, _HALF), its.load(2, place, first, _HALF)
            lost = b.fsub(stood, _higher(b, to, its.load(1, _LONG(0), FLOOR + first, _HALF)))
            loses, is_lower = b.fcmp_ordered(">", lost, none), b.fcmp_ordered("<", to, stood)
            losing.append(loses)
            b.store(b.select(loses, lost, none), its.place(2, place, LOST + first, _HALF), align=4)
            b.store(stood, its.place(2, place, BEFORE + first, _HALF), align=4)
            b.store(b.select(is_lower, to, stood), its.place(1, _LONG(0), first, _HALF), align=4)
            on_keeper = its.place(1, _LONG(0), KEEPER + first, _HALF)
            b.store(b.select(is_lower, kept, b.load(on_keeper, align=4)), on_keeper, align=4)
        return _bits(b, *losing)

    return types.uint32(types.float32, w, batch, types.uint64), generate


@instruction
def lost(typingctx, places, batch, at, x, y, ux, uy):
    """What a leaf lost to a move, of which some cell lost something.

    Returns: what the cells lost in all, of the left and of the right half; the highest that stood where
    something was lost; the least and the most way to such a cell along a line from (x, y) in the direction
    (ux, uy); and the most that one lost, and the first cell that did.

    Of a column the way is a number of its own and one of the row; the sum of two grows with each of them,
    rounding and all, so the least and the most of the rows tell.
    """

    def generate(context, builder, signature, arguments):
        b, (_, _, place, x, y, ux, uy) = builder, arguments
        its, wide = _Numbers(context, b, signature, arguments), lambda number: spread(b, number, WIDE)
        halves = [its.load(1, place, LOST + first, _HALF) for first in (0, _HALF)]
        losing = [b.fcmp_ordered(">", half, _NONE) for half in halves]
        low = ir.Constant(_CELLS, [float("-inf")] * _HALF)
        stood = [
            b.select(loses, its.load(1, place, BEFORE + first, _HALF), low)
            for loses, first in zip(losing, (0, _HALF), strict=True)
        ]
        top = b.fpext(_highest(b, _higher(b, *stood)), _DOUBLE)
        deepest = _highest(b, _higher(b, *halves))
        is_it = [b.fcmp_ordered("==", half, spread(b, deepest, _HALF)) for half in halves]
        count = call_of(b, "llvm.cttz.i32", ir.FunctionType(_WHOLE, [_WHOLE, ir.IntType(1)]))
        first = b.zext(b.call(count, [_bits(b, *is_it), ir.IntType(1)(1)]), _LONG)
        rows = [range(0, WIDE), range(WIDE, 2 * WIDE)]
        total, near, far = None, _FAR, _less(b, _FAR)
        ways = [b.fmul(b.fsub(row, wide(y)), wide(uy)) for row in its.column(0, AT_Y)]
        for r, way in enumerate(ways):
            own = b.fpext(_lanes(b, rows[r % 2], halves[r // 2]), _ROW)
            loses = _lanes(b, rows[r % 2], losing[r // 2])
            total = own if total is None else b.fadd(total, own)
            near = _lower(b, b.select(loses, way, _FAR), near)
            far = _higher(b, b.select(loses, way, _less(b, _FAR)), far)
        along = b.fmul(b.fsub(its.load(0, _LONG(0), 0, WIDE), wide(x)), wide(ux))
        found = [*_halves(b, total), top, *_ends(b, b.fadd(along, near), b.fadd(along, far))]
        return context.make_tuple(b, signature.return_type, [*found, deepest, first])

    number = types.float64
    told = types.Tuple((number,) * 5 + (types.float32, types.uint64))
    return told(places, batch, types.uint64, number, number, number, number), generate


@instruction
def lean_of_line(typingctx, places, batch, at, x, y, ux, uy):
    """What a leaf lost on the right of a line less what on the left, of its left and of its right half.

    x, y, ux, uy: as of `lost`.
    """

    def generate(context, builder, signature, arguments):
        b, (_, _, place, x, y, ux, uy) = builder, arguments
        its, wide = _Numbers(context, b, signature, arguments), lambda number: spread(b, number, WIDE)
        across, along = wide(uy), wide(b.fsub(_DOUBLE(-0.0), ux))
        beside = b.fmul(b.fsub(its.load(0, _LONG(0), 0, WIDE), wide(x)), across)
        least, total = ir.Constant(_ROW, [ON_PATH] * WIDE), None
        for r, row in enumerate(its.column(0, AT_Y)):
            side = b.fadd(beside, b.fmul(b.fsub(row, wide(y)), along))
            own = b.fpext(its.load(1, place, LOST + r * WIDE, WIDE), _ROW)
            left = b.select(
                b.fcmp_ordered("<", side, _less(b, least)), _less(b, own), ir.Constant(_ROW, None)
            )
            own = b.select(b.fcmp_ordered(">", side, least), own, left)
            total = own if total is None else b.fadd(total, own)
        return context.make_tuple(b, signature.return_type, _halves(b, total))

    number = types.float64
    told = types.UniTuple(number, 2)
    return told(places, batch, types.uint64, number, number, number, number), generate
