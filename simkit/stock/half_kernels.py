"""Half a leaf, eight cells, lowered by a list of straight moves, its heights kept in the vector unit.

The formulas are those of line_kernels, operation by operation, so the bits are too: written for the compiler
as vectors, as of loops it keeps eight heights in memory between one move and the next, and reading what was
just written under a mask waits until it has been written.
"""

from simkit._jit import cgutils, instruction, ir, types
from simkit.stock.record_kernels import LENGTH, RADIUS, RIM2, SHIFT, SLOPE, UX, UY, H, X, Y
from simkit.stock.wide_kernels import at, call_of, spread

WIDE = 8
STREAMS = 4
_DOUBLE, _LONG = ir.DoubleType(), ir.IntType(64)
_CELLS = ir.VectorType(_DOUBLE, WIDE)
_NONE = ir.Constant(_CELLS, None)


class _Formulas:
    """What the formulas need of a record, for eight cells at once."""

    def __init__(self, builder, record, cutter, x=None, y=None):
        """record: of the move; cutter: the first of all, whose cutter is the same, read again and again."""
        self.builder, self.record = builder, record
        self.sqrt = call_of(builder, "llvm.sqrt.v8f64", ir.FunctionType(_CELLS, [_CELLS]))
        self.radius, self.rim2 = (
            spread(builder, builder.load(builder.gep(cutter, [_LONG(column)])), WIDE)
            for column in (RADIUS, RIM2)
        )
        if x is None:
            return
        dx, dy = builder.fsub(x, self.wide(X)), builder.fsub(y, self.wide(Y))
        ux, uy = self.wide(UX), self.wide(UY)
        self.u = builder.fadd(builder.fmul(dx, ux), builder.fmul(dy, uy))
        self.w = builder.fsub(builder.fmul(dy, ux), builder.fmul(dx, uy))

    def number(self, column):
        return self.builder.load(self.builder.gep(self.record, [_LONG(column)]))

    def wide(self, column):
        return spread(self.builder, self.number(column), WIDE)

    def max(self, one, two):
        return self.builder.select(self.builder.fcmp_ordered(">", two, one), two, one)

    def min(self, one, two):
        return self.builder.select(self.builder.fcmp_ordered("<", two, one), two, one)

    def root(self, value):
        return self.builder.call(self.sqrt, [self.max(value, _NONE)])

    def ball(self):
        """line_kernels.line_ball: height, and where the move covers a cell."""
        return self.over(*self.nearest(*self.seen()))

    def seen(self):
        """Of a ball: how far along the move a cell is, and how deep the ball is in its plane, squared."""
        b = self.builder
        return self.u, b.fsub(b.fmul(self.radius, self.radius), b.fmul(self.w, self.w))

    def nearest(self, u, q2):
        """Of what is seen: height of the tip where the ball cuts a cell, and what the height's root is of."""
        b, shift = self.builder, self.number(SHIFT)
        place = cgutils.alloca_once_value(b, u)
        with b.if_then(b.fcmp_unordered("!=", shift, _DOUBLE(0.0))):  # of a level move nothing is taken
            b.store(b.fsub(u, b.fmul(spread(b, shift, WIDE), self.root(q2))), place)
        s = self.min(self.max(b.load(place), _NONE), self.wide(LENGTH))
        e = b.fsub(s, u)
        rest = b.fsub(q2, b.fmul(e, e))
        return b.fadd(self.wide(H), b.fmul(self.wide(SLOPE), s)), rest

    def over(self, low, rest):
        """Height of the ball over that of its tip, and where it covers a cell."""
        b = self.builder
        g = b.fadd(low, b.fsub(self.radius, self.root(rest)))
        return g, b.fcmp_ordered(">=", rest, b.fsub(_negative_zero(), self.rim2))

    def flat(self):
        """line_kernels.line_flat: height, and where the move covers a cell."""
        b, m, length = self.builder, self.wide(SLOPE), self.wide(LENGTH)
        cover2 = b.fadd(b.fmul(self.radius, self.radius), self.rim2)
        q2 = b.fsub(cover2, b.fmul(self.w, self.w))
        q = self.root(q2)
        first, last = b.fsub(self.u, q), b.fadd(self.u, q)
        is_up = b.fcmp_ordered(">=", m, _NONE)
        s = b.select(is_up, self.max(first, _NONE), self.min(last, length))
        covers = b.and_(b.fcmp_ordered(">=", q2, _NONE), b.fcmp_ordered("<=", first, length))
        return b.fadd(self.wide(H), b.fmul(m, s)), b.and_(covers, b.fcmp_ordered(">=", last, _NONE))


def _negative_zero():
    return ir.Constant(_CELLS, [-0.0] * WIDE)


def _lower(context, builder, signature, arguments, is_ball):
    """Lower eight cells by the moves of a list: see lower_half_ball."""
    b = builder
    names, first_name, count, rows, records, w, place, apart = arguments
    kinds = signature.args
    array = lambda k: context.make_array(kinds[k])(context, b, arguments[k])  # noqa: E731
    names, rows, records = array(0), array(3), array(4)
    columns = cgutils.unpack_tuple(b, records.shape)[1]
    cells = [at(context, b, kinds[5], w, b.add(place, b.mul(apart, _LONG(k))), WIDE)[0] for k in range(4)]
    x, y, height, keeper = (b.load(one, align=8) for one in cells)
    state = cgutils.alloca_once_value(b, height), cgutils.alloca_once_value(b, keeper)
    several = ir.VectorType(ir.FloatType(), WIDE)
    with cgutils.for_range(b, count) as loop:
        name = b.load(b.gep(names.data, [b.add(first_name, loop.index)]))
        j = b.fptosi(name, _LONG)
        formulas = _Formulas(b, b.gep(records.data, [b.mul(j, columns)]), records.data, x, y)
        g, covers = formulas.ball() if is_ball else formulas.flat()
        g = b.select(covers, g, ir.Constant(_CELLS, [float("inf")] * WIDE))
        g = b.fpext(b.fptrunc(g, several), _CELLS)
        row = spread(b, b.sitofp(b.load(b.gep(rows.data, [j])), _DOUBLE), WIDE)
        before, kept = (b.load(one) for one in state)
        is_under = b.fcmp_ordered("<", g, before)
        draws = b.and_(b.fcmp_ordered("==", g, before), b.fcmp_ordered("<", row, kept))
        b.store(b.select(is_under, g, before), state[0])
        b.store(b.select(b.or_(is_under, draws), row, kept), state[1])
    for one, where in zip(state, cells[2:], strict=True):
        b.store(b.load(one), where, align=8)
    return context.get_dummy_value()


@instruction
def lower_halves_ball(typingctx, names, places, count, rows, records, w, apart, some):
    """Lower halves of leaves, eight cells each, by straight moves of a ball, one after the other.

    names, places float32: `count` moves, a multiple of STREAMS, and where in w x of the cells is that each
    lowers; `apart` behind each other then y, heights and rows that cut them.  some (16 count,) float64: room.
    One list for several halves: where the moves of a half end is nothing that the processor has to foresee.
    And three loops, one up to the first root, one to the second, one behind it: a height takes a hundred
    cycles from its first number to its last, and what waits for numbers takes up room that the processor
    has for some hundred operations; so it sees two or three heights at once if each is computed whole, and a
    dozen if they go together from step to step.  The last loop takes STREAMS parts of the list in turns, for
    what lowers a half after another move waits until that has been written.
    """

    def generate(context, builder, signature, arguments):
        b = builder
        names, places, count, rows, records, w, apart, some = arguments
        kinds = signature.args
        array = lambda k: context.make_array(kinds[k])(context, b, arguments[k])  # noqa: E731
        names, places, rows, records = array(0), array(1), array(3), array(4)
        columns = cgutils.unpack_tuple(b, records.shape)[1]
        several = ir.VectorType(ir.FloatType(), WIDE)

        def cells(k, which):
            place = b.fptosi(b.load(b.gep(places.data, [k])), _LONG)
            return [at(context, b, kinds[5], w, b.add(place, b.mul(apart, _LONG(c))), WIDE)[0] for c in which]

        def kept(k):
            first = b.mul(k, _LONG(2 * WIDE))
            return [at(context, b, kinds[7], some, b.add(first, _LONG(WIDE * c)), WIDE)[0] for c in (0, 1)]

        def record(k):
            j = b.fptosi(b.load(b.gep(names.data, [k])), _LONG)
            return j, b.gep(records.data, [b.mul(j, columns)])

        with cgutils.for_range(b, count) as loop:
            x, y = (b.load(one, align=8) for one in cells(loop.index, (0, 1)))
            formulas = _Formulas(b, record(loop.index)[1], records.data, x, y)
            for value, there in zip(formulas.seen(), kept(loop.index), strict=True):
                b.store(value, there, align=8)
        with cgutils.for_range(b, count) as loop:
            u, q2 = (b.load(one, align=8) for one in kept(loop.index))
            formulas = _Formulas(b, record(loop.index)[1], records.data)
            for value, there in zip(formulas.nearest(u, q2), kept(loop.index), strict=True):
                b.store(value, there, align=8)
        part = b.udiv(count, _LONG(STREAMS))
        with cgutils.for_range(b, part) as loop:
            for stream in range(STREAMS):
                k = b.add(loop.index, b.mul(part, _LONG(stream)))
                low, rest = (b.load(one, align=8) for one in kept(k))
                g, covers = _Formulas(b, records.data, records.data).over(low, rest)
                g = b.select(covers, g, ir.Constant(_CELLS, [float("inf")] * WIDE))
                g = b.fpext(b.fptrunc(g, several), _CELLS)
                row = spread(b, b.sitofp(b.load(b.gep(rows.data, [record(k)[0]])), _DOUBLE), WIDE)
                state = cells(k, (2, 3))
                before, keeper = (b.load(one, align=8) for one in state)
                is_under = b.fcmp_ordered("<", g, before)
                draws = b.and_(b.fcmp_ordered("==", g, before), b.fcmp_ordered("<", row, keeper))
                b.store(b.select(is_under, g, before), state[0], align=8)
                b.store(b.select(b.or_(is_under, draws), row, keeper), state[1], align=8)
        return context.get_dummy_value()

    return types.void(names, places, types.int64, rows, records, w, types.uint64, some), generate


@instruction
def heights_of_ball(typingctx, j, records, places, first, apart, g, at_g):
    """Write the heights of a ball's straight move j at eight places to g[at_g] and behind, float32.

    places: x from `first` on, `apart` behind y.
    """

    def generate(context, builder, signature, arguments):
        b = builder
        j, records, places, first, apart, g, at_g = arguments
        kinds = signature.args
        records = context.make_array(kinds[1])(context, b, records)
        columns = cgutils.unpack_tuple(b, records.shape)[1]
        x, y = (
            b.load(at(context, b, kinds[2], places, one, WIDE)[0], align=8)
            for one in (first, b.add(first, apart))
        )
        formulas = _Formulas(b, b.gep(records.data, [b.mul(j, columns)]), records.data, x, y)
        height, covers = formulas.ball()
        height = b.select(covers, height, ir.Constant(_CELLS, [float("inf")] * WIDE))
        there, several = at(context, b, kinds[5], g, at_g, WIDE)
        b.store(b.fptrunc(height, several), there, align=4)
        return context.get_dummy_value()

    whole = types.uint64
    return types.void(types.int64, records, places, whole, whole, g, whole), generate


_TAKES = (types.uint64, types.int64)


@instruction
def lower_half_ball(
    typingctx, names, first_name, count, rows, records, w, place, apart
):  # fmt: skip
    """Lower eight cells by straight moves of a ball.

    names float32: from first_name on `count` moves.  w float64: from `place` on x of the
    cells, `apart` behind each other then y, heights and rows that cut them.
    """

    def generate(context, builder, signature, arguments):
        return _lower(context, builder, signature, arguments, True)

    more = (rows, records, w, types.uint64, types.uint64)
    return types.void(names, *_TAKES, *more), generate


@instruction
def lower_half_flat(
    typingctx, names, first_name, count, rows, records, w, place, apart
):  # fmt: skip
    """As lower_half_ball, of a flat cutter."""

    def generate(context, builder, signature, arguments):
        return _lower(context, builder, signature, arguments, False)

    more = (rows, records, w, types.uint64, types.uint64)
    return types.void(names, *_TAKES, *more), generate
