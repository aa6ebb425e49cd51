"""Sixteen cells of a row, lowered by a level move of a flat cutter: written for the compiler as vectors.

The formulas are those of line_kernels.line_flat and arc_kernels.arc_distance2, operation by operation, so the
bits are too.  As loops over the cells of a row the compiler made vectors of them that are longer than most
rows, and took what is shorter one cell after the other.

What is told of a move is kept lane by lane, sixteen cells apart, where its order decides nothing (the highest
wood, and the deepest cell with its place); sums over the cells of a column go row by row.
"""

from simkit._jit import instruction, ir, types
from simkit.stock.lose_kernels import ON_PATH
from simkit.stock.record_kernels import (
    EX,
    EY,
    LENGTH,
    RADIUS,
    RIM2,
    SENSE,
    SX,
    SY,
    UX,
    UY,
    WIDTH,
    R,
    X,
)
from simkit.stock.wide_kernels import at, call_of, spread

SPAN = 64  # columns of a tile at most: a bit for each in a whole number
CHUNK = 16
# Of a row what stood; of the lanes the highest wood taken, the most that a cell lost, and that cell's place.
STOOD, HIGH, DEEP, PLACE = 0, SPAN, SPAN + CHUNK, SPAN + 2 * CHUNK
ENDS = SPAN + 3 * CHUNK  # of a row: the first cell that loses something, and the last
ROW = ENDS + 2
# Of each column: what it lost, and of that on the right less on the left.
SUM, SIDE = 0, SPAN
KEPT = 2 * SPAN
UNSURE = 1e-8  # mm2: more than rounding makes of squares of distances, for places up to some metres away

_FLOAT, _DOUBLE, _WHOLE, _LONG = ir.FloatType(), ir.DoubleType(), ir.IntType(32), ir.IntType(64)
_CELLS, _WIDE = ir.VectorType(_FLOAT, CHUNK), ir.VectorType(_DOUBLE, CHUNK)
_PLACES = ir.VectorType(_WHOLE, CHUNK)


def _bits(b, mask):
    """A bit for each lane, as a uint64."""
    return b.zext(b.bitcast(mask, ir.IntType(CHUNK)), _LONG)


@instruction
def standing(typingctx, h, place, level):
    """Which of the sixteen cells from a place on stand higher than a level, a bit for each."""

    def generate(context, builder, signature, arguments):
        b = builder
        there, _ = at(context, b, signature.args[0], arguments[0], arguments[1], CHUNK)
        return _bits(b, b.fcmp_ordered(">", b.load(there, align=4), spread(b, arguments[2], CHUNK)))

    return types.uint64(h, types.uint64, types.float32), generate


@instruction
def find_ends(typingctx, places, bits):
    """Write the places of the lowest and the highest bit set in a uint64, one at least, to places[ENDS:]."""

    def generate(context, builder, signature, arguments):
        b, (_, asked) = builder, arguments
        whole = context.make_array(signature.args[0])(context, b, arguments[0])
        low, behind = b.cttz(asked, ir.IntType(1)(1)), b.ctlz(asked, ir.IntType(1)(1))
        for k, place in enumerate((low, b.sub(_LONG(63), behind))):
            b.store(b.trunc(place, _WHOLE), b.gep(whole.data, [_LONG(ENDS + k)]))
        return context.get_dummy_value()

    return types.void(places, types.uint64), generate


class _Cells:
    """Sixteen cells of a row beside a level move; dx, dy: from where X and Y of its record are."""

    def __init__(self, builder, record, x, dy):
        self.b, self.record = builder, record
        self.dx, self.dy = builder.fsub(x, self.wide(X)), spread(builder, dy, CHUNK)
        radius = self.number(RADIUS)
        self.cover2 = self.spread(builder.fadd(builder.fmul(radius, radius), self.number(RIM2)))

    def number(self, column):
        return self.b.load(self.b.gep(self.record, [_LONG(column)]))

    def spread(self, number):
        return spread(self.b, number, CHUNK)

    def wide(self, column):
        return self.spread(self.number(column))

    def root(self, value):
        root = call_of(self.b, f"llvm.sqrt.v{CHUNK}f64", ir.FunctionType(_WIDE, [_WIDE]))
        return self.b.call(root, [value])

    def max0(self, value):
        none = ir.Constant(_WIDE, None)
        return self.b.select(self.b.fcmp_ordered("<", value, none), none, value)

    def cross(self, one, two, x, y):
        """One coordinate times y less the other times x."""
        return self.b.fsub(self.b.fmul(one, y), self.b.fmul(two, x))

    def line(self):
        """line_kernels.line_flat of a level line: where it covers a cell, and how far that is on the right.

        Covered is what lies within reach of the line, which tells line_flat's answer without its root but
        where rounding might decide; there the root is taken.
        """
        b, ux, uy, length = self.b, self.wide(UX), self.wide(UY), self.wide(LENGTH)
        u = b.fadd(b.fmul(self.dx, ux), b.fmul(self.dy, uy))
        w = b.fsub(b.fmul(self.dy, ux), b.fmul(self.dx, uy))
        along = self.max0(u)
        e = b.fsub(u, b.select(b.fcmp_ordered("<", length, along), length, along))
        beyond = b.fsub(b.fadd(b.fmul(e, e), b.fmul(w, w)), self.cover2)
        none, unsure = ir.Constant(_WIDE, None), ir.Constant(_WIDE, [UNSURE] * CHUNK)
        covers = b.fcmp_ordered("<=", beyond, none)
        is_near = b.and_(
            b.fcmp_ordered("<", beyond, unsure), b.fcmp_ordered(">", beyond, b.fsub(none, unsure))
        )
        before, is_any = b.block, b.icmp_unsigned("!=", _bits(b, is_near), _LONG(0))
        with b.if_then(is_any, likely=False):
            q2 = b.fsub(self.cover2, b.fmul(w, w))
            q = self.root(self.max0(q2))
            asked = b.fcmp_ordered(">=", q2, none)
            asked = b.and_(asked, b.fcmp_ordered("<=", b.fsub(u, q), length))
            asked = b.and_(asked, b.fcmp_ordered(">=", b.fadd(u, q), none))
            rooted = b.block
        either = b.phi(covers.type)
        either.add_incoming(covers, before)
        either.add_incoming(asked, rooted)
        beside = b.fmul(self.dy, b.fsub(ir.Constant(_WIDE, [-0.0] * CHUNK), ux))
        return either, b.fadd(b.fmul(self.dx, uy), beside)

    def arc(self):
        """arc_kernels.arc_distance2 of a level arc: as `line`, on the right in mm2."""
        b, dx, dy = self.b, self.dx, self.dy
        r, sense, width = self.number(R), self.number(SENSE), self.number(WIDTH)
        sx, sy, ex, ey = (self.wide(column) for column in (SX, SY, EX, EY))
        square = lambda value: b.fmul(value, value)  # noqa: E731
        far2 = b.fadd(square(dx), square(dy))
        away = b.fsub(self.root(far2), self.spread(r))
        first2 = b.fadd(square(b.fsub(dx, sx)), square(b.fsub(dy, sy)))
        last2 = b.fadd(square(b.fsub(dx, ex)), square(b.fsub(dy, ey)))
        none, turn = ir.Constant(_WIDE, None), self.spread(sense)
        is_after = b.fcmp_ordered(">=", b.fmul(turn, self.cross(sx, sy, dx, dy)), none)
        is_before = b.fcmp_ordered(">=", b.fmul(turn, self.cross(dx, dy, ex, ey)), none)
        is_wide = self.spread(b.fcmp_ordered(">=", width, _DOUBLE(1.0)))
        is_whole = self.spread(b.fcmp_ordered(">=", width, _DOUBLE(2.0)))
        is_beside = b.or_(b.and_(is_after, is_before), b.and_(is_wide, b.or_(is_after, is_before)))
        is_beside = b.or_(is_beside, is_whole)
        nearer = b.select(b.fcmp_ordered("<", last2, first2), last2, first2)
        covers = b.fcmp_ordered("<=", b.select(is_beside, square(away), nearer), self.cover2)
        base = b.fmul(b.fmul(b.fsub(_DOUBLE(-0.0), sense), r), r)
        return covers, b.fadd(b.fmul(turn, far2), self.spread(base))


def _take(context, b, signature, arguments, is_arc):
    """Lower sixteen cells: see take_line."""
    _, _, _, up, _, place, ix, records, j, dy, level, keeper, _, _, _, column, nth = arguments
    kinds = signature.args
    there = lambda k, first: at(context, b, kinds[k], arguments[k], first, CHUNK)[0]  # noqa: E731
    table = context.make_array(kinds[7])(context, b, records)
    width = b.extract_value(table.shape, 1)
    record = b.gep(table.data, [b.mul(j, width)])
    cells = _Cells(b, record, b.load(there(4, ix), align=8), dy)
    covers, s = cells.arc() if is_arc else cells.line()
    low, none = spread(b, level, CHUNK), ir.Constant(_CELLS, None)
    on_h, on_owner = there(0, place), there(1, place)
    stands = b.load(on_h, align=4)
    is_lower = b.and_(covers, b.fcmp_ordered("<", low, stands))
    ground = b.fmul(spread(b, up, CHUNK), b.load(there(2, place), align=4))
    to = b.select(b.fcmp_ordered(">", low, ground), low, ground)
    lost = b.fsub(stands, to)
    loses = b.and_(is_lower, b.fcmp_ordered(">", lost, none))
    b.store(b.select(is_lower, low, stands), on_h, align=4)
    b.store(b.select(is_lower, spread(b, keeper, CHUNK), b.load(on_owner, align=4)), on_owner, align=4)
    found = _bits(b, loses)
    with b.if_then(b.icmp_unsigned("!=", found, _LONG(0))):
        lost = b.select(loses, lost, none)
        kept = there(12, b.add(column, _LONG(STOOD)))  # some cells may lie in two chunks
        b.store(b.select(loses, stands, b.load(kept, align=4)), kept, align=4)
        kept = there(12, _LONG(HIGH))
        high = b.load(kept, align=4)
        b.store(b.select(b.and_(loses, b.fcmp_ordered(">", stands, high)), stands, high), kept, align=4)
        kept, kept_place = there(12, _LONG(DEEP)), there(13, _LONG(PLACE))
        deep = b.load(kept, align=4)
        is_deeper = b.fcmp_ordered(">", lost, deep)
        b.store(b.select(is_deeper, lost, deep), kept, align=4)
        places = b.add(spread(b, nth, CHUNK), ir.Constant(_PLACES, list(range(CHUNK))))
        b.store(b.select(is_deeper, places, b.load(kept_place, align=4)), kept_place, align=4)
        more = b.fpext(lost, _WIDE)
        kept = there(14, b.add(column, _LONG(SUM)))
        b.store(b.fadd(b.load(kept, align=8), more), kept, align=8)
        kept, on_path = there(14, b.add(column, _LONG(SIDE))), ir.Constant(_WIDE, [ON_PATH] * CHUNK)
        left = b.fcmp_ordered("<", s, ir.Constant(_WIDE, [-ON_PATH] * CHUNK))
        less = b.fsub(ir.Constant(_WIDE, [-0.0] * CHUNK), more)
        more = b.select(b.fcmp_ordered(">", s, on_path), more, b.select(left, less, ir.Constant(_WIDE, None)))
        b.store(b.fadd(b.load(kept, align=8), more), kept, align=8)
    return found


def _signature(h, owner, floor, xs, records, row, bits, columns):
    u, number, cell = types.uint64, types.float64, types.float32
    return types.uint64(
        h, owner, floor, cell, xs, u, u, records, u, number, cell, types.int32, row, bits, columns, u,
        types.int32,
    )  # fmt: skip


@instruction
def take_line(
    typingctx, h, owner, floor, up, xs, place, ix, records, j, dy, level, keeper, row, bits, columns,
    column, nth,
):  # fmt: skip
    """Lower sixteen cells by a level line of a flat cutter; return which lose something, a bit for each.

    h, owner, floor, up, xs: as of bite_kernels; place: of the first cell in them, ix its column.  records, j:
    the move; dy: of the row, from where Y of its record is; level: its height; keeper: its row.
    row (ROW,) float32, bits the same as whole numbers, columns (KEPT,) float64: what is told of the move;
    column: of the first cell in the tile; nth: its place there, SPAN times its row and its column.
    """

    def generate(context, builder, signature, arguments):
        return _take(context, builder, signature, arguments, False)

    return _signature(h, owner, floor, xs, records, row, bits, columns), generate


@instruction
def take_arc(
    typingctx, h, owner, floor, up, xs, place, ix, records, j, dy, level, keeper, row, bits, columns,
    column, nth,
):  # fmt: skip
    """As take_line, by a level arc."""

    def generate(context, builder, signature, arguments):
        return _take(context, builder, signature, arguments, True)

    return _signature(h, owner, floor, xs, records, row, bits, columns), generate
