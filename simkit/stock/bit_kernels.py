"""Which of 32 neighbours pass a test, as bits: the vector unit tests, and only what passes costs time."""

import numpy as np

from simkit._jit import instruction, ir, loop_kernel, types

DE_BRUIJN = 0x077CB531
PLACES = np.zeros(32, np.uint8)  # by the five highest bits of DE_BRUIJN * 2^k: k
for _k in range(32):
    PLACES[((DE_BRUIJN << _k) & 0xFFFFFFFF) >> 27] = _k


@loop_kernel
def first_of(bits):
    """Return the place of the lowest bit that is set in a uint32, which has one.

    Multiplied, each single bit leaves five bits of its own on top.
    Source: C. E. Leiserson, H. Prokop, K. H. Randall, Using de Bruijn Sequences to Index a 1 in a Computer
    Word, 1998.
    """
    alone = np.uint32(bits & (~bits + np.uint32(1)))
    return np.uint64(PLACES[np.uint32(alone * np.uint32(DE_BRUIJN)) >> np.uint32(27)])


@loop_kernel
def without_first(bits):
    """Return a uint32 with its lowest bit taken out."""
    return np.uint32(bits & np.uint32(bits - np.uint32(1)))


@instruction
def not_above_zero(typingctx, numbers, first):
    """Which of the sixteen float32 from `first` on are zero or less, a bit for each, as a uint32.

    Written for the compiler as it is: of a loop it makes sixteen bits that are then joined pair by pair.
    """

    def generate(context, builder, signature, arguments):
        array = context.make_array(signature.args[0])(context, builder, arguments[0])
        lanes = ir.VectorType(ir.FloatType(), 16)
        at = builder.bitcast(builder.gep(array.data, [arguments[1]]), lanes.as_pointer())
        several = builder.load(at, align=4)
        bits = builder.bitcast(builder.fcmp_ordered("<=", several, ir.Constant(lanes, None)), ir.IntType(16))
        return builder.zext(bits, ir.IntType(32))

    return types.uint32(numbers, types.uint64), generate


@instruction
def ask_for(typingctx, array, place):
    """Ask the memory for the number at a place of an array, rows one after the other, without waiting."""

    def generate(context, builder, signature, arguments):
        numbers = context.make_array(signature.args[0])(context, builder, arguments[0])
        whole, byte = ir.IntType(32), ir.IntType(8).as_pointer()
        at = builder.bitcast(builder.gep(numbers.data, [arguments[1]]), byte)
        asked = ir.FunctionType(ir.VoidType(), [byte, whole, whole, whole])
        ask = builder.module.globals.get("llvm.prefetch.p0")
        if ask is None:
            ask = ir.Function(builder.module, asked, "llvm.prefetch.p0")
        builder.call(ask, [at, whole(0), whole(3), whole(1)])
        return context.get_dummy_value()

    return types.void(array, types.uint64), generate
