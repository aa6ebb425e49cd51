"""What the leaves of a tile lose to a ball's line, written for the compiler as vectors: four rows of eight.

As take_kernels, which tells of a leaf what it lost; here what all leaves lose to one move is kept lane by
lane until the last of them, and told once.  Sums are of float32 heights in float64, which is exact in all but
odd cases, so their order is no matter; in those it is that of the leaves, whatever the threads.

cells: of a leaf what stands, the other side's surface and the place in the entries of the move that lowered
it last, CELLS of each (KEPT together).  sums (SUMS,) float64, deep (DEEPS,) float32, marks (CELLS,) int32:
what each lane lost; one that stands for the leaf, growing row by row, tells which of a lane's cells came
first.
"""

from simkit._jit import cgutils, instruction, ir, types
from simkit.stock.lose_kernels import CELLS, FLOOR, KEEPER, LEAF, ON_PATH, WIDE
from simkit.stock.take_kernels import Numbers, bits_of, both_halves, ends_of, higher, lanes_of, less, lower_of
from simkit.stock.wide_kernels import call_of, spread

KEPT = 3 * CELLS  # numbers of a leaf
# What lanes lost: in all, and of it on the right less on the left; nearest and farthest way along the path.
TOTAL, LEAN, NEAREST, FARTHEST, SUMS = (WIDE * k for k in range(5))
# The highest wood taken (of both halves), the most that a cell lost.
HIGHEST, DEEPEST, DEEPS = 0, CELLS // 2, CELLS // 2 + CELLS

_HALF = CELLS // 2  # of a leaf: as many as a vector holds
_FLOAT, _DOUBLE, _WHOLE, _LONG = ir.FloatType(), ir.DoubleType(), ir.IntType(32), ir.IntType(64)
_CELLS, _ROW, _MARKS = (
    ir.VectorType(_FLOAT, _HALF),
    ir.VectorType(_DOUBLE, WIDE),
    ir.VectorType(_WHOLE, _HALF),
)
_NONE = ir.Constant(_CELLS, None)
_LOW = ir.Constant(_CELLS, [float("-inf")] * _HALF)
_FAR = ir.Constant(_ROW, [float("inf")] * WIDE)
_LAST = 2**31 - 1


@instruction
def note_kinds(typingctx, to, first, one, two, kinds):
    """Write to sixteen places which of three kinds each is of, by two words of bits: the second decides."""

    def generate(context, builder, signature, arguments):
        b, its = builder, Numbers(context, builder, signature, arguments)
        mask = ir.VectorType(ir.IntType(1), _HALF)
        one, two = (b.bitcast(b.trunc(bits, ir.IntType(_HALF)), mask) for bits in arguments[2:4])
        kinds = [spread(b, b.extract_value(arguments[4], k), _HALF) for k in range(3)]
        noted = b.select(two, kinds[2], b.select(one, kinds[1], kinds[0]))
        b.store(noted, its.place(0, arguments[1], 0, _HALF), align=4)
        return context.get_dummy_value()

    bits = types.uint32
    return types.void(to, types.uint64, bits, bits, types.UniTuple(types.float32, 3)), generate


@instruction
def begin_move(typingctx, sums, deep, marks):
    """Nothing is lost to a move yet."""

    def generate(context, builder, signature, arguments):
        b, its = builder, Numbers(context, builder, signature, arguments)
        for first, row in ((TOTAL, 0.0), (LEAN, 0.0), (NEAREST, float("inf")), (FARTHEST, float("-inf"))):
            b.store(ir.Constant(_ROW, [row] * WIDE), its.place(0, _LONG(0), first, WIDE), align=8)
        b.store(_LOW, its.place(1, _LONG(0), HIGHEST, _HALF), align=4)
        for half in (0, _HALF):
            b.store(_NONE, its.place(1, _LONG(0), DEEPEST + half, _HALF), align=4)
            b.store(ir.Constant(_MARKS, [-1] * _HALF), its.place(2, _LONG(0), half, _HALF), align=4)
        return context.get_dummy_value()

    return types.void(sums, deep, marks), generate


@instruction
def shave(
    typingctx, keeper, slots, begin, end, heights, firsts, ons, cells, batch, sums, deep, marks, places, line,
    sides, changed, on_changed,
):  # fmt: skip
    """Lower leaves to the heights of the slots [begin, end), one after the other, and add up what they lose.

    keeper float32: what stands for the move.  slots: which leaf each is of; heights: where those of slot 0
    are in `batch`.  ons (of each leaf, two): where x and y of its cells begin in `places`.  line: a place
    that the path begins at, and its direction; sides: what tells right from left, as of take_kernels.take.
    changed int32: from on_changed on, for each sixteen leaves a bit for those that became lower anywhere.
    """

    def generate(context, builder, signature, arguments):
        b = builder
        keeper, begin, end, on_heights, on_changed = (arguments[k] for k in (0, 2, 3, 4, 16))
        its, kept = Numbers(context, b, signature, arguments), spread(b, keeper, _HALF)
        x, y, ux, uy = (b.extract_value(arguments[13], k) for k in range(4))
        right_x, right_y = (b.extract_value(arguments[14], k) for k in range(2))
        wide = lambda number: spread(b, number, WIDE)  # noqa: E731
        ahead, least = wide(b.fsub(_DOUBLE(-0.0), right_x)), ir.Constant(_ROW, [ON_PATH] * WIDE)
        rows = [range(WIDE), range(WIDE, 2 * WIDE)]
        # Kept in variables of their own, which become registers.
        where = (
            [(9, first, WIDE) for first in (TOTAL, LEAN, NEAREST, FARTHEST)] + [(10, HIGHEST, _HALF)]
            + [(k, first + half, _HALF) for k, first in ((10, DEEPEST), (11, 0)) for half in (0, _HALF)]
        )  # fmt: skip
        stores = [its.place(k, _LONG(0), first, count) for k, first, count in where]
        aligned = [8 if k == 9 else 4 for k, _, _ in where]
        own = [
            cgutils.alloca_once_value(b, b.load(store, align=align))
            for store, align in zip(stores, aligned, strict=True)
        ]
        total, lean, near, far, top, *rest = own
        with cgutils.for_range(b, b.sub(end, begin), intp=_LONG) as loop:
            slot = b.add(begin, loop.index)
            leaf = b.fptoui(b.load(its.on(1, slot, 0)), _LONG)
            on, at = b.mul(leaf, _LONG(KEPT)), b.add(on_heights, b.mul(slot, _LONG(CELLS)))
            on_x, on_y = (b.zext(b.load(its.on(6, b.shl(leaf, _LONG(1)), k)), _LONG) for k in range(2))
            mark = spread(b, b.load(its.on(5, leaf, 0)), _HALF)
            losing, halves, stood, lowered = [], [], [], []
            for k, half in enumerate((0, _HALF)):
                before, to = its.load(7, on, half, _HALF), its.load(8, at, half, _HALF)
                bottom = higher(b, to, its.load(7, on, FLOOR + half, _HALF))
                lost = b.fsub(before, bottom)
                loses, is_lower = b.fcmp_ordered(">", lost, _NONE), b.fcmp_ordered("<", to, before)
                lost = b.select(loses, lost, _NONE)
                losing.append(loses)
                halves.append(lost)
                lowered.append(is_lower)
                stood.append(b.select(loses, before, _LOW))
                b.store(b.select(is_lower, to, before), its.place(7, on, half, _HALF), align=4)
                on_keeper = its.place(7, on, KEEPER + half, _HALF)
                b.store(b.select(is_lower, kept, b.load(on_keeper, align=4)), on_keeper, align=4)
                # The deepest cell of each lane, the first one on ties.
                deepest, marked = (b.load(one) for one in rest[k::2])
                is_first = b.and_(b.fcmp_ordered("==", lost, deepest), b.icmp_signed("<", mark, marked))
                is_it = b.or_(b.fcmp_ordered(">", lost, deepest), is_first)
                b.store(b.select(is_it, lost, deepest), rest[k])
                b.store(b.select(is_it, mark, marked), rest[k + 2])
            b.store(higher(b, higher(b, *stood), b.load(top)), top)
            dx = b.fsub(its.load(12, on_x, 0, WIDE), wide(x))
            beside, along = b.fmul(dx, wide(right_y)), b.fmul(dx, wide(ux))
            all_of, leans, nearest, farthest = b.load(total), b.load(lean), _FAR, less(b, _FAR)
            for r in range(LEAF):
                dy = b.fsub(its.load(12, on_y, r * WIDE, WIDE), wide(y))
                lost = b.fpext(lanes_of(b, rows[r % 2], halves[r // 2]), _ROW)
                loses, way = lanes_of(b, rows[r % 2], losing[r // 2]), b.fmul(dy, wide(uy))
                nearest = b.select(loses, lower_of(b, way, nearest), nearest)
                farthest = b.select(loses, higher(b, way, farthest), farthest)
                side = b.fadd(beside, b.fmul(dy, ahead))
                is_right = b.fcmp_ordered(">", side, least)
                is_left = b.fcmp_ordered("<", side, less(b, least))
                all_of = b.fadd(all_of, lost)
                leans = b.select(is_right, b.fadd(leans, lost), leans)
                leans = b.select(is_left, b.fsub(leans, lost), leans)
            b.store(all_of, total)
            b.store(leans, lean)
            # As take_kernels.take: the least of the rows tells the least of a column.
            b.store(lower_of(b, b.fadd(along, nearest), b.load(near)), near)
            b.store(higher(b, b.fadd(along, farthest), b.load(far)), far)
            there = its.on(15, b.add(on_changed, b.lshr(leaf, _LONG(4))), 0)
            bit = b.shl(_WHOLE(1), b.trunc(b.and_(leaf, _LONG(_HALF - 1)), _WHOLE))
            is_any = b.icmp_unsigned("!=", bits_of(b, *lowered), _WHOLE(0))
            b.store(b.or_(b.load(there), b.select(is_any, bit, _WHOLE(0))), there)
        for variable, store, align in zip(own, stores, aligned, strict=True):
            b.store(b.load(variable), store, align=align)
        return context.get_dummy_value()

    whole, number = types.uint64, types.float64
    kinds = (
        types.float32, slots, whole, whole, whole, firsts, ons, cells, batch, sums, deep, marks, places,
        types.UniTuple(number, 4), types.UniTuple(number, 2), changed, whole,
    )  # fmt: skip
    return types.void(*kinds), generate


@instruction
def told_of_move(typingctx, sums, deep, marks, size):
    """What a move took: in all, right less left, nearest and farthest way, highest, depth, and which cell.

    size: cells in a row of the tile; which cell, row by row, is that of the leaf's mark and the place in it.
    All float64.
    """

    def generate(context, builder, signature, arguments):
        b, its = builder, Numbers(context, builder, signature, arguments)
        total, leans, near, far = (
            its.load(0, _LONG(0), first, WIDE) for first in (TOTAL, LEAN, NEAREST, FARTHEST)
        )
        left, right = both_halves(b, total, leans)
        both = b.fadd(left, right)
        sums = [b.extract_element(both, _WHOLE(k)) for k in range(2)]
        ends = ends_of(b, near, far)
        most = call_of(b, "llvm.vector.reduce.fmax.v16f32", ir.FunctionType(_FLOAT, [_CELLS]))
        first = call_of(b, "llvm.vector.reduce.smin.v16i32", ir.FunctionType(_WHOLE, [_MARKS]))
        flags = ("nnan", "nsz")
        top = b.call(most, [its.load(1, _LONG(0), HIGHEST, _HALF)], fastmath=flags)
        depths = [its.load(1, _LONG(0), DEEPEST + half, _HALF) for half in (0, _HALF)]
        depth = b.call(most, [higher(b, *depths)], fastmath=flags)
        wide = spread(b, b.trunc(arguments[3], _WHOLE), _HALF)
        which, last = [], ir.Constant(_MARKS, [_LAST] * _HALF)
        for half in range(2):
            rows = ir.Constant(_MARKS, [(half * _HALF + k) // WIDE for k in range(_HALF)])
            columns = ir.Constant(_MARKS, [k % WIDE for k in range(_HALF)])
            mark = b.add(b.add(its.load(2, _LONG(0), half * _HALF, _HALF), columns), b.mul(rows, wide))
            is_it = b.fcmp_ordered("==", depths[half], spread(b, depth, _HALF))
            which.append(b.select(is_it, mark, last))
        one, two = which
        cell = b.call(first, [b.select(b.icmp_signed("<", one, two), one, two)])
        numbers = [*sums, *ends, b.fpext(top, _DOUBLE), b.fpext(depth, _DOUBLE), b.sitofp(cell, _DOUBLE)]
        return context.make_tuple(b, signature.return_type, numbers)

    return types.UniTuple(types.float64, 7)(sums, deep, marks, types.int64), generate


@instruction
def plane_of(typingctx, cells, on, steepest):
    """The slopes between a leaf's corners along x and y, cell by cell, and how high it stands over them.

    That counts from the middle; where a slope is no number, or not below `steepest`, both are 0.
    """

    def generate(context, builder, signature, arguments):
        b, its, on = builder, Numbers(context, builder, signature, arguments), arguments[1]
        halves = [its.load(0, on, half, _HALF) for half in (0, _HALF)]
        one, two = (b.extract_element(halves[0], _WHOLE(k)) for k in (0, WIDE - 1))
        three, four = (b.extract_element(halves[1], _WHOLE(k)) for k in (WIDE, 2 * WIDE - 1))
        slope_x = b.fadd(b.fsub(two, one), b.fsub(four, three))
        slope_y = b.fadd(b.fsub(three, one), b.fsub(four, two))
        slope_x = b.fmul(slope_x, _FLOAT(0.5 / (WIDE - 1)))
        slope_y = b.fmul(slope_y, _FLOAT(0.5 / (LEAF - 1)))
        size = call_of(b, "llvm.fabs.f32", ir.FunctionType(_FLOAT, [_FLOAT]))
        are_some = [b.fcmp_ordered("<", b.call(size, [one]), arguments[2]) for one in (slope_x, slope_y)]
        is_some = b.and_(*are_some)
        slope_x, slope_y = (b.select(is_some, one, _FLOAT(0.0)) for one in (slope_x, slope_y))
        over = []
        for half in range(2):
            columns = ir.Constant(_CELLS, [k % WIDE - 0.5 * (WIDE - 1) for k in range(_HALF)])
            rows = ir.Constant(_CELLS, [2 * half + k // WIDE - 0.5 * (LEAF - 1) for k in range(_HALF)])
            rise = b.fadd(b.fmul(spread(b, slope_x, _HALF), columns), b.fmul(spread(b, slope_y, _HALF), rows))
            over.append(b.fsub(halves[half], rise))
        most = call_of(b, "llvm.vector.reduce.fmax.v16f32", ir.FunctionType(_FLOAT, [_CELLS]))
        most = b.call(most, [higher(b, *over)], fastmath=("nnan", "nsz"))
        return context.make_tuple(b, signature.return_type, [slope_x, slope_y, most])

    one = types.float32
    return types.UniTuple(one, 3)(cells, types.uint64, one), generate
