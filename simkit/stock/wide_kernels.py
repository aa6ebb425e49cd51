"""Several neighbours at once, where loops are too short or too odd for the compiler to make vectors of them.

Each says what it does for one element after the other; the compiler makes of it what the machine has.
"""

from simkit._jit import instruction, ir, types

_FLOAT, _DOUBLE, _WHOLE = ir.FloatType(), ir.DoubleType(), ir.IntType(32)


def at(context, builder, kind, value, place, n):
    """Pointer to n neighbours of an array from a place on, rows one after the other; and their type."""
    array = context.make_array(kind)(context, builder, value)
    one = {types.float32: _FLOAT, types.float64: _DOUBLE, types.int32: _WHOLE}[kind.dtype]
    several = ir.VectorType(one, n)
    return builder.bitcast(builder.gep(array.data, [place]), several.as_pointer()), several


def _converted(builder, value, several):
    """Neighbours as numbers of another type; whole numbers must be some."""
    ours, wanted = value.type.element, several.element
    if ours == wanted:
        return value
    if ours == _WHOLE:
        return builder.sitofp(value, several)
    if wanted == _WHOLE:
        return builder.fptosi(value, several)
    return builder.fpext(value, several) if wanted == _DOUBLE else builder.fptrunc(value, several)


def spread(builder, number, n):
    """n times the same number."""
    several = ir.VectorType(number.type, n)
    first = builder.insert_element(ir.Constant(several, ir.Undefined), number, _WHOLE(0))
    return builder.shuffle_vector(
        first, ir.Constant(several, ir.Undefined), ir.Constant(ir.VectorType(_WHOLE, n), [0] * n)
    )


def _two_rows(context, builder, kind, array, first, apart):
    """Four neighbours of an array from `first` on, and four from so far behind them, as one vector."""
    one, _ = at(context, builder, kind, array, first, 4)
    two, _ = at(context, builder, kind, array, builder.add(first, apart), 4)
    order = ir.Constant(ir.VectorType(_WHOLE, 8), list(range(8)))
    return builder.shuffle_vector(builder.load(one, align=4), builder.load(two, align=4), order)


@instruction
def gather_rows(typingctx, to, place, source, first, apart):
    """to[place + k] = source[first + k], to[place + 4 + k] = source[first + apart + k], for k < 4.

    In the type of `to`; arrays as if of one dimension.
    """

    def generate(context, builder, signature, arguments):
        there, wanted = at(context, builder, signature.args[0], arguments[0], arguments[1], 8)
        value = _two_rows(context, builder, signature.args[2], *arguments[2:])
        builder.store(_converted(builder, value, wanted), there, align=4)
        return context.get_dummy_value()

    return types.void(to, types.uint64, source, types.uint64, types.uint64), generate


@instruction
def scatter_rows(typingctx, to, place, apart, source, first):
    """to[place + k] = source[first + k], to[place + apart + k] = source[first + 4 + k], for k < 4."""

    def generate(context, builder, signature, arguments):
        array, kind = arguments[0], signature.args[0]
        one, four = at(context, builder, kind, array, arguments[1], 4)
        two, _ = at(context, builder, kind, array, builder.add(arguments[1], arguments[2]), 4)
        read, _ = at(context, builder, signature.args[3], arguments[3], arguments[4], 8)
        value = _converted(builder, builder.load(read, align=4), ir.VectorType(four.element, 8))
        for there, lanes in ((one, range(4)), (two, range(4, 8))):
            part = builder.shuffle_vector(value, value, ir.Constant(ir.VectorType(_WHOLE, 4), list(lanes)))
            builder.store(part, there, align=4)
        return context.get_dummy_value()

    return types.void(to, types.uint64, types.uint64, source, types.uint64), generate


@instruction
def fill_rows(typingctx, to, place, one, two):
    """to[place + k] = one, to[place + 4 + k] = two, for k < 4; float64."""

    def generate(context, builder, signature, arguments):
        there, _ = at(context, builder, signature.args[0], arguments[0], arguments[1], 8)
        order = ir.Constant(ir.VectorType(_WHOLE, 8), list(range(8)))
        halves = [spread(builder, number, 4) for number in arguments[2:]]
        builder.store(builder.shuffle_vector(*halves, order), there, align=4)
        return context.get_dummy_value()

    return types.void(to, types.uint64, types.float64, types.float64), generate


@instruction
def shift_eight(typingctx, to, place, source, first, origin):
    """to[place + k] = source[first + k] - origin for k < 8: float64, rounded to the type of `to`."""

    def generate(context, builder, signature, arguments):
        there, wanted = at(context, builder, signature.args[0], arguments[0], arguments[1], 8)
        read, _ = at(context, builder, signature.args[2], arguments[2], arguments[3], 8)
        value = builder.fsub(builder.load(read, align=4), spread(builder, arguments[4], 8))
        builder.store(_converted(builder, value, wanted), there, align=4)
        return context.get_dummy_value()

    return types.void(to, types.uint64, source, types.uint64, types.float64), generate


@instruction
def shift_sixteen(typingctx, to, place, source, first, shift):
    """to[place + k] = source[first + k] + shift for k < 16; float32 all."""

    def generate(context, builder, signature, arguments):
        there, _ = at(context, builder, signature.args[0], arguments[0], arguments[1], 16)
        read, _ = at(context, builder, signature.args[2], arguments[2], arguments[3], 16)
        value = builder.fadd(builder.load(read, align=4), spread(builder, arguments[4], 16))
        builder.store(value, there, align=4)
        return context.get_dummy_value()

    return types.void(to, types.uint64, source, types.uint64, types.float32), generate


@instruction
def fill_sixteen(typingctx, to, place, start, step):
    """to[place + k] = start + k step for k < 16; float32 all."""

    def generate(context, builder, signature, arguments):
        there, several = at(context, builder, signature.args[0], arguments[0], arguments[1], 16)
        run = ir.Constant(several, [float(k) for k in range(16)])
        value = builder.fadd(
            spread(builder, arguments[2], 16), builder.fmul(run, spread(builder, arguments[3], 16))
        )
        builder.store(value, there, align=4)
        return context.get_dummy_value()

    return types.void(to, types.uint64, types.float32, types.float32), generate


def call_of(builder, name, kind):
    """A function of the compiler's own."""
    return builder.module.globals.get(name) or ir.Function(builder.module, kind, name)


@instruction
def count_of(typingctx, bits):
    """How many bits of a uint32 are set, as a uint64."""

    def generate(context, builder, signature, arguments):
        count = call_of(builder, "llvm.ctpop.i32", ir.FunctionType(_WHOLE, [_WHOLE]))
        return builder.zext(builder.call(count, arguments), ir.IntType(64))

    return types.uint64(types.uint32), generate


def _packed(context, builder, kind, array, first, bits):
    """Those of sixteen numbers whose bit is set, in their order, and then any."""
    read, several = at(context, builder, kind, array, first, 16)
    mask = ir.VectorType(ir.IntType(1), 16)
    whole = ir.FunctionType(several, [several, mask, several])
    pack = call_of(builder, "llvm.experimental.vector.compress.v16f32", whole)
    bits = builder.bitcast(builder.trunc(bits, ir.IntType(16)), mask)
    return builder.call(pack, [builder.load(read, align=4), bits, ir.Constant(several, ir.Undefined)])


@instruction
def pack_lanes(typingctx, numbers, first, bits, to, place, room):
    """Copy the first `room` of the sixteen float32 from `first` on whose bit is set to to[place] and behind.

    bits: as many at least.  What stands behind stays.
    """

    def generate(context, builder, signature, arguments):
        there, several = at(context, builder, signature.args[3], arguments[3], arguments[4], 16)
        packed = _packed(context, builder, signature.args[0], *arguments[:3])
        written = builder.sub(builder.shl(_WHOLE(1), builder.trunc(arguments[5], _WHOLE)), _WHOLE(1))
        mask = ir.VectorType(ir.IntType(1), 16)
        written = builder.bitcast(builder.trunc(written, ir.IntType(16)), mask)
        takes = [several, several.as_pointer(), _WHOLE, mask]
        store = call_of(builder, "llvm.masked.store.v16f32.p0", ir.FunctionType(ir.VoidType(), takes))
        builder.call(store, [packed, there, _WHOLE(4), written])
        return context.get_dummy_value()

    return types.void(numbers, types.uint64, types.uint32, to, types.uint64, types.uint64), generate


@instruction
def under_ceiling(typingctx, lists, places, half_x, half_y, slope_x, slope_y, ceiling):
    """Which of sixteen planes come under another over a block, a bit for each, as a uint32.

    places: where the first of their heights is, of their slopes along x and along y; float32 all.  A plane's
    least over the block, seen from that of the slopes and the height `ceiling`, is zero or less.
    """

    def generate(context, builder, signature, arguments):
        kind = signature.args[0]
        load = lambda k: builder.load(  # noqa: E731
            at(context, builder, kind, arguments[0], builder.extract_value(arguments[1], k), 16)[0], align=4
        )
        half_x, half_y, slope_x, slope_y, ceiling = (spread(builder, one, 16) for one in arguments[2:])
        several = half_x.type
        size = call_of(builder, "llvm.fabs.v16f32", ir.FunctionType(several, [several]))
        lean_x = builder.call(size, [builder.fsub(load(1), slope_x)])
        lean_y = builder.call(size, [builder.fsub(load(2), slope_y)])
        fall = builder.fadd(builder.fmul(half_x, lean_x), builder.fmul(half_y, lean_y))
        least = builder.fsub(builder.fsub(load(0), fall), ceiling)
        bits = builder.bitcast(builder.fcmp_ordered("<=", least, ir.Constant(several, None)), ir.IntType(16))
        return builder.zext(bits, ir.IntType(32))

    one = types.float32
    return types.uint32(lists, types.UniTuple(types.uint64, 3), one, one, one, one, one), generate


@instruction
def pack_sixteen(typingctx, numbers, first, bits, to, place):
    """As pack_lanes, all of them; what stands in the sixteen places from to[place] on is lost."""

    def generate(context, builder, signature, arguments):
        there, _ = at(context, builder, signature.args[3], arguments[3], arguments[4], 16)
        builder.store(_packed(context, builder, signature.args[0], *arguments[:3]), there, align=4)
        return context.get_dummy_value()

    return types.void(numbers, types.uint64, types.uint32, to, types.uint64), generate


@instruction
def any_below(typingctx, numbers, first, limit):
    """Whether one of the sixteen float32 from `first` on is below a limit."""

    def generate(context, builder, signature, arguments):
        read, _ = at(context, builder, signature.args[0], arguments[0], arguments[1], 16)
        below = builder.fcmp_ordered("<", builder.load(read, align=4), spread(builder, arguments[2], 16))
        return builder.icmp_unsigned("!=", builder.bitcast(below, ir.IntType(16)), ir.IntType(16)(0))

    return types.boolean(numbers, types.uint64, types.float32), generate


@instruction
def sum_of_sixteen(typingctx, numbers, first):
    """The sum of the sixteen float32 from `first` on, in any order: for bounds alone."""

    def generate(context, builder, signature, arguments):
        read, several = at(context, builder, signature.args[0], arguments[0], arguments[1], 16)
        add = call_of(builder, "llvm.vector.reduce.fadd.v16f32", ir.FunctionType(_FLOAT, [_FLOAT, several]))
        return builder.call(add, [_FLOAT(0.0), builder.load(read, align=4)], fastmath=("reassoc",))

    return types.float32(numbers, types.uint64), generate


@instruction
def least_of_sixteen(typingctx, numbers, first):
    """The least of the sixteen float32 from `first` on, none of which may be NaN."""

    def generate(context, builder, signature, arguments):
        read, several = at(context, builder, signature.args[0], arguments[0], arguments[1], 16)
        least = call_of(builder, "llvm.vector.reduce.fmin.v16f32", ir.FunctionType(_FLOAT, [several]))
        return builder.call(least, [builder.load(read, align=4)], fastmath=("nnan", "nsz"))

    return types.float32(numbers, types.uint64), generate


@instruction
def lane_of_least(typingctx, numbers, first):
    """Which of the sixteen float32 from `first` on is the least, the first of several; none may be NaN."""

    def generate(context, builder, signature, arguments):
        read, several = at(context, builder, signature.args[0], arguments[0], arguments[1], 16)
        value, half = builder.load(read, align=4), ir.IntType(16)
        reduce = call_of(builder, "llvm.vector.reduce.fmin.v16f32", ir.FunctionType(_FLOAT, [several]))
        least = builder.call(reduce, [value], fastmath=("nnan", "nsz"))
        bits = builder.bitcast(builder.fcmp_ordered("==", value, spread(builder, least, 16)), half)
        place = call_of(builder, "llvm.cttz.i16", ir.FunctionType(half, [half, ir.IntType(1)]))
        return builder.zext(builder.call(place, [bits, ir.IntType(1)(0)]), ir.IntType(64))

    return types.uint64(numbers, types.uint64), generate
