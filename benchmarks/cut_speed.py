"""How fast is the cut? Ratios to plain ways of doing the same work, all in one run.

Every pair is timed in turns, the least of several runs taken, and gives the same field and owners to the
bit (asserted).  Run: python benchmarks/cut_speed.py [--quick] [--large] [--profile]
--quick: a quarter of the area, fewer runs.  --large: moves up to 10 million, cells up to 100 million (10
minutes, 6 GB).  --profile: where the time of finishing goes, and no more.  Each line: measured, wanted,
whether it holds.
"""

import argparse
import os
import resource
import sys
import time

import loads
import numba
import numpy as np
from cut_profile import PLAIN_TILE, in_turns, packed_lines, profile, roots

from simkit.frames import IDENTITY
from simkit.stock.cut import cut, warm_up
from simkit.stock.record_kernels import LENGTH, RADIUS, RIM2, SHIFT, SLOPE, UX, UY, H, X, Y

FLOPS_OF_A_HEIGHT = 23  # additions, multiplications, comparisons of line_kernels.line_ball, two roots apart
LINES = []


def tell(text, value=None, wanted=None, is_most=False):
    """Print a line; with a value, say whether it is at least (or at most) what is wanted."""
    if value is None or wanted is None:
        print(text, flush=True)
        return
    holds = value <= wanted if is_most else value >= wanted
    LINES.append((text, holds))
    word = "at most" if is_most else "at least"
    print(f"{text}  [{word} {wanted:g}: {'holds' if holds else 'DOES NOT HOLD'}]", flush=True)


def assert_same(a, b):
    """The two outcomes agree to the bit."""
    for name in ("lower", "upper", "lower_move", "upper_move"):
        assert np.array_equal(getattr(a.field, name), getattr(b.field, name)), name


def against_plain(name, moves, cutter, size, wanted, runs, cell=0.1):
    """Time the fast way against the plain one on one load; return their outcomes and times."""
    field, cutters = loads.blank(size, cell), {1: cutter}
    fast = cut(field, moves, cutters, IDENTITY)
    plain = cut(field, moves, cutters, IDENTITY, tile=PLAIN_TILE, is_plain=True)
    assert_same(fast, plain)
    times = in_turns(
        runs,
        lambda: cut(field, moves, cutters, IDENTITY),
        lambda: cut(field, moves, cutters, IDENTITY, tile=PLAIN_TILE, is_plain=True),
    )
    cells = field.upper.size
    ratio = times[1][0] / times[0][0]
    tell(
        f"{name}: {len(moves):,} moves, {times[0][0] * 1e3:.0f} ms against {times[1][0] * 1e3:.0f} ms plain: "
        f"{ratio:.1f} times as fast ({times[1][1] / times[0][1]:.1f} by processor time); a cell "
        f"{fast.evaluations / cells:.1f} heights, {fast.bound_tests / cells:.1f} bounds "
        f"({fast.group_tests / cells:.1f} of groups), "
        f"plain {plain.evaluations / cells:.0f} heights",
        ratio,
        wanted,
    )
    return fast, plain, times


@numba.njit(error_model="numpy", nogil=True)
def scalar_heights(records, xs, ys, rows, h, owner):
    """Balls along lines, one cell after the other, one thread: what no compiler has made wide."""
    for j in range(records.shape[0]):
        ax, ay, h0, radius, rim2 = (
            records[j, X],
            records[j, Y],
            records[j, H],
            records[j, RADIUS],
            records[j, RIM2],
        )
        ux, uy, length = records[j, UX], records[j, UY], records[j, LENGTH]
        m, shift = records[j, SLOPE], records[j, SHIFT]
        bx, by = ax + length * ux, ay + length * uy
        ix0 = np.searchsorted(xs, min(ax, bx) - radius - 1e-6)
        ix1 = np.searchsorted(xs, max(ax, bx) + radius + 1e-6)
        for iy in range(np.searchsorted(ys, min(ay, by) - radius), np.searchsorted(ys, max(ay, by) + radius)):
            for ix in range(ix0, ix1):
                dx, dy = xs[ix] - ax, ys[iy] - ay
                u, w = dx * ux + dy * uy, dy * ux - dx * uy
                q2 = radius * radius - w * w
                if q2 < -rim2:
                    continue
                s = u - shift * np.sqrt(max(q2, 0.0))
                s = min(max(s, 0.0), length)
                rest = q2 - (s - u) * (s - u)
                if rest < -rim2:
                    continue
                g = np.float32(h0 + m * s + (radius - np.sqrt(max(rest, 0.0))))
                if g < h[iy, ix]:
                    h[iy, ix], owner[iy, ix] = g, rows[j]


def against_scalar(moves, size, fast, runs):
    """Time the fast way on one thread against a plain scalar loop on one thread."""
    field = loads.blank(size)
    records, rows, _ = packed_lines(moves, loads.BALL)
    xs, ys = field.lattice.x(), field.lattice.y()
    h, owner = field.upper.copy(), field.upper_move.copy()

    def scalar():
        h[:], owner[:] = field.upper, field.upper_move
        scalar_heights(records, xs, ys, rows, h, owner)

    scalar()
    assert np.abs(h - fast.field.upper).max() < 1e-4  # xs are not rounded to 1e-9 mm here: rims differ
    before = numba.get_num_threads()
    numba.set_num_threads(1)
    times = in_turns(runs, lambda: cut(field, moves, {1: loads.BALL}, IDENTITY), scalar)
    numba.set_num_threads(before)
    ratio = times[1][0] / times[0][0]
    tell(f"  a plain scalar loop {times[1][0] * 1e3:.0f} ms, one thread each: {ratio:.1f} times", ratio, 20)


def against_stamping(runs):
    """Dense stamping in NumPy, ten times less exact than the cut, on 12 x 12 mm."""
    field, moves = loads.blank(12.0), loads.passes(loads.wavy, 12.0, 0.2, 0.5)
    busy = time.process_time()
    dense, stamps = stamped(field, moves, 0.05)
    busy = time.process_time() - busy
    exact = cut(field, moves, {1: loads.BALL}, IDENTITY).field.upper
    off = (dense - exact)[exact < loads.THICKNESS]
    # Between stamps h apart the ball stands up to h^2 / (8 R) too high on a gentle surface: 1e-4 mm.
    assert off.min() > -2e-6
    assert np.quantile(off, 0.999) < 2e-4
    ((_, ours),) = in_turns(4 * runs, lambda: cut(field, moves, {1: loads.BALL}, IDENTITY))
    ratio = busy / ours
    tell(
        f"dense stamping in NumPy, within 2e-4 mm: {busy:.2f} s ({stamps:,} stamps) against "
        f"{ours * 1e3:.1f} ms of processor time: {ratio:.0f} times",
        ratio,
        50,
    )


def stamped(field, moves, spacing):
    """The field by stamping the ball at places `spacing` mm apart along every move."""
    lattice, radius = field.lattice, loads.BALL.radius
    upper = field.upper.astype(np.float64)
    x, y = lattice.x(), lattice.y()
    stamps = 0
    for start, end in zip(moves.start, moves.end, strict=True):
        n = max(int(np.ceil(np.linalg.norm(end - start) / spacing)), 1) + 1
        for tip in start + np.linspace(0, 1, n)[:, None] * (end - start):
            ix0, ix1 = np.searchsorted(x, [tip[0] - radius, tip[0] + radius])
            iy0, iy1 = np.searchsorted(y, [tip[1] - radius, tip[1] + radius])
            d2 = (x[ix0:ix1] - tip[0]) ** 2 + ((y[iy0:iy1] - tip[1]) ** 2)[:, None]
            ball = tip[2] + radius - np.sqrt(np.maximum(radius**2 - d2, 0))
            patch = upper[iy0:iy1, ix0:ix1]
            np.minimum(patch, np.where(d2 <= radius**2, ball, np.inf), out=patch)
            stamps += 1
    return upper, stamps


def against_booleans(per_move, n=400):
    """Booleans of swept hulls with 32 facets by manifold3d, in batches, on part of the finishing."""
    import manifold3d

    moves = loads.passes(loads.wavy, 12.0, 0.2, 0.5)[:n]
    turn = np.linspace(0, 2 * np.pi, 32, endpoint=False)
    polar = np.linspace(0, np.pi / 2, 9)[1:]
    ring = [
        np.stack(
            [3 * np.sin(p) * np.cos(turn), 3 * np.sin(p) * np.sin(turn), 0 * turn + 3 - 3 * np.cos(p)], 1
        )
        for p in polar
    ]
    shape = np.concatenate([[[0, 0, 0]], *ring, ring[-1] + [0, 0, 30]])
    start = time.perf_counter()
    swept = [
        manifold3d.Manifold.hull_points(np.concatenate([shape + a, shape + b]))
        for a, b in zip(moves.start, moves.end, strict=True)
    ]
    box = manifold3d.Manifold.cube((12.0, 12.0, loads.THICKNESS))
    left = manifold3d.Manifold.batch_boolean([box, *swept], manifold3d.OpType.Subtract)
    volume = left.volume()
    each = (time.perf_counter() - start) / n
    field = loads.blank(12.0, 0.05)
    upper = cut(field, moves, {1: loads.BALL}, IDENTITY).field.upper
    ours = float(upper.astype(float).sum()) * 0.05**2
    assert abs(ours - volume) < 0.01 * (12 * 12 * loads.THICKNESS - volume) + 1.0
    ratio = each / per_move
    tell(
        f"booleans of solids of 32 facets, {n} moves in one batch: {each * 1e3:.2f} ms a move against "
        f"{per_move * 1e6:.2f} us: {ratio:.0f} times",
        ratio,
        1000,
    )


def threads(moves, size, runs):
    """Two threads against one, binning and all."""
    field = loads.blank(size)
    most = numba.config.NUMBA_NUM_THREADS

    def with_threads(n):
        def job():
            numba.set_num_threads(n)
            cut(field, moves, {1: loads.BALL}, IDENTITY)

        return job

    (one, _), (two, _) = in_turns(2 * runs, with_threads(1), with_threads(min(2, most)))
    numba.set_num_threads(most)
    tell(f"two threads {two * 1e3:.0f} ms, one {one * 1e3:.0f} ms: {one / two:.2f} times", one / two, 1.7)


def exponent(sizes, seconds):
    """Slope of the straight line through log size, log seconds."""
    return float(np.polyfit(np.log(sizes), np.log(seconds), 1)[0])


def growth(is_large, runs):
    """How the time grows with the number of moves and of cells."""
    counts = [10_000, 100_000, 1_000_000] + ([10_000_000] if is_large else [])
    seconds = []
    field = loads.blank(100.0)
    for n in counts:
        step = 100.0 / np.sqrt(n * 0.4)
        moves = loads.passes(loads.wavy, 100.0, 0.4 * step, step)
        ((taken, _),) = in_turns(
            1 if n > 10**6 else runs, lambda f=field, m=moves: cut(f, m, {1: loads.BALL}, IDENTITY)
        )
        seconds.append(taken)
        tell(
            f"  {len(moves):,} moves on 1,000,000 cells: {taken:.3f} s, "
            f"{taken / len(moves) * 1e6:.2f} us a move"
        )
        del moves
    tell(f"cost grows as moves ^ {exponent(counts, seconds):.2f}", exponent(counts, seconds), 1.1, True)
    sizes = [1_000_000, 4_000_000, 16_000_000] + ([100_000_000] if is_large else [])
    seconds = []
    moves = loads.passes(loads.wavy, 100.0, 0.2, 0.5)
    for n in sizes:
        field = loads.blank(100.0, 100.0 / np.sqrt(n))
        # The first cut of a size also waits for memory that nobody has touched: a virtual machine has to ask
        # its host for that.  Told, but no matter of how much there is to do.
        ((first, _),) = in_turns(1, lambda f=field, m=moves: cut(f, m, {1: loads.BALL}, IDENTITY))
        ((taken, _),) = in_turns(
            2 if n > 10**7 else runs, lambda f=field, m=moves: cut(f, m, {1: loads.BALL}, IDENTITY)
        )
        seconds.append(taken)
        tell(
            f"  {len(moves):,} moves on {field.upper.size:,} cells: {taken:.3f} s, "
            f"{taken / n * 1e9:.0f} ns a cell; the first time {first:.3f} s"
        )
        del field
    tell(f"cost grows as cells ^ {exponent(sizes, seconds):.2f}", exponent(sizes, seconds), 1.1, True)


def memory(is_large):
    """Peak memory of one big cut, in a process of its own."""
    n, size = (10_000_000, 1000.0) if is_large else (1_000_000, 316.2)
    pid = os.fork()
    if pid == 0:
        field = loads.blank(size)
        step = np.sqrt(size * size / n / 0.4)
        moves = loads.passes(loads.wavy, size, 0.4 * step, step)
        unit = 1 if sys.platform == "darwin" else 1024
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit
        t = time.perf_counter()
        cut(field, moves, {1: loads.BALL}, IDENTITY)
        t = time.perf_counter() - t
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit
        cells = field.upper.size
        tell(
            f"memory: {cells:,} cells, {len(moves):,} moves, {t:.1f} s: peak {peak / 2**30:.2f} GiB, of it "
            f"{before / 2**30:.2f} before the cut (field 16 bytes a cell, moves 107 bytes each)",
            peak / 2**30,
            6.0,
            True,
        )
        os._exit(0)
    os.waitpid(pid, 0)


@numba.njit(error_model="numpy", nogil=True)
def copied(a, b):
    """Memory read and written."""
    for i in range(a.shape[0]):
        b[i] = a[i] + 1.0


def limits(fast, plain, times, cells, runs):
    """How far the inner loops are from what the machine could do, one thread."""
    x = np.linspace(1, 2, 512)
    roots(x, 1)
    ((_, t),) = in_turns(3 * runs, lambda: roots(x, 20_000))
    per_root = t / 20_000 / 512
    a, b = np.ones(20_000_000), np.ones(20_000_000)
    copied(a, b)
    ((t, _),) = in_turns(runs, lambda: copied(a, b))
    bandwidth = 16 * len(a) / t
    peak = 1.0 / (2.0 * per_root)
    rate = plain.evaluations / times[1][1]
    tell(
        f"one thread: {1e9 * per_root:.2f} ns for a square root in the vector unit, so at most "
        f"{peak / 1e9:.2f} G heights of a ball a second (two roots each; {FLOPS_OF_A_HEIGHT} operations "
        f"fit beside them); the plain way makes {rate / 1e9:.2f} G a second of processor time: "
        f"{100 * rate / peak:.0f} %"
    )
    wall = plain.evaluations / times[1][0]
    tell(f"the plain way makes {wall / 1e9:.2f} G heights a second on all threads", wall / 1e9, 0.4)
    total = (fast.evaluations * 2 * per_root + fast.bound_tests * per_root) / times[0][1]
    tell(
        f"the fast way: {fast.evaluations / times[0][1] / 1e9:.3f} G heights and "
        f"{fast.bound_tests / times[0][1] / 1e9:.3f} G bounds a second of processor time; its roots alone "
        f"would take {100 * total:.0f} % of that (a bound has two roots of half the width, half the cost)"
    )
    moved = cells * 16 / times[0][0]
    tell(
        f"memory: {bandwidth / 2**30:.1f} GiB/s measured; the cut reads and writes each cell once, "
        f"{moved / 2**30:.3f} GiB/s, {100 * moved / bandwidth:.1f} % of that"
    )


def main():
    """Print the figures."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--quick", action="store_true")
    words.add_argument("--large", action="store_true")
    words.add_argument("--profile", action="store_true")
    asked = words.parse_args()
    size, runs = (50.0, 3) if asked.quick else (100.0, 7)
    warm_up()
    scale = f"{size:g} x {size:g} mm, 0.1 mm cells, {numba.config.NUMBA_NUM_THREADS} threads"
    tell(f"{scale}; plain: every move at every cell it covers, vectorised, binned, the same threads")

    finishing = loads.passes(loads.wavy, size, 0.2, 0.5)
    if asked.profile:
        for name, cutter, moves in (
            ("fine finishing", loads.BALL, finishing),
            ("flat floor", loads.BALL, loads.passes(loads.floor, size, 0.2, 0.5)),
            ("steep walls", loads.BALL, loads.passes(loads.wall, size, 0.2, 0.5)),
            ("sloped moves of a flat cutter", loads.FLAT, finishing),
        ):
            profile(name, moves, cutter, size, runs)
        return
    fast, plain, times = against_plain("fine finishing, 6 mm ball", finishing, loads.BALL, size, 12, runs)
    cells = fast.field.upper.size
    tell(f"  {fast.evaluations / cells:.1f} heights a cell", fast.evaluations / cells, 12, True)
    against_scalar(finishing, size, fast, 2)
    per_move = times[0][0] / len(finishing)
    floors = [("fine finishing", loads.BALL, finishing)]
    for name, surface in (("flat floor", loads.floor), ("steep walls", loads.wall)):
        moves = loads.passes(surface, size, 0.2, 0.5)
        against_plain(f"the same on {name}", moves, loads.BALL, size, 10, runs)
        floors.append((name, loads.BALL, moves))
    against_plain("roughing, 6 mm flat, 6 layers", loads.roughing(size), loads.FLAT, size, 3, runs)
    some = max(runs // 2, 2)
    for name, cutter in (
        ("sloped moves of a flat cutter", loads.FLAT),
        ("bull-nose finishing", loads.BULL),
        ("tapered ball finishing", loads.TAPERED),
        ("vee finishing", loads.VEE),
    ):
        against_plain(name, finishing, cutter, size, 6, 1 if cutter.code == 3 else some)
        if cutter is loads.FLAT:
            floors.append((name, cutter, finishing))
    against_plain("arcs and helices, ball", loads.arcs(size), loads.BALL, size, 1, some)
    against_plain("arcs and helices, flat", loads.arcs(size), loads.FLAT, size, 1, some)
    against_plain("drilling in pecks, contacts of rapids", loads.drilling(size), loads.DRILL, size, 1, some)
    against_plain("plunges, ball", loads.plunges(size), loads.BALL, size, 1, some)
    high = loads.with_rapids(finishing, 200, 31.0, size)
    low = loads.with_rapids(finishing, len(finishing) // 10, 16.0, size)
    against_plain("finishing, 500 rapids above the top", high, loads.BALL, size, 1, some)
    against_plain("finishing, 10 rapids through the wood", low, loads.BALL, size, 1, some)
    threads(finishing, size, runs)
    against_stamping(runs)
    against_booleans(per_move)
    limits(fast, plain, times, cells, runs)
    for name, cutter, moves in floors:
        profile(name, moves, cutter, size, runs)
    growth(asked.large, some)
    memory(asked.large)
    failed = [text for text, holds in LINES if not holds]
    tell(f"{len(LINES) - len(failed)} of {len(LINES)} hold")


if __name__ == "__main__":
    main()
