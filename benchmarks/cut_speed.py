"""How many heights a second does the cut evaluate, and how does it compare with stamping in NumPy?

Finishing of a curved surface: 100 x 100 mm, 0.1 mm cells, 6 mm ball, passes 0.2 mm apart, moves of
0.5 mm.  The same answer is asserted before anything is timed.  Run: python benchmarks/cut_speed.py
"""

import resource
import sys
import time

import numba
import numpy as np

from simkit.cutters import Cutter
from simkit.frames import IDENTITY
from simkit.moves.table import make_moves
from simkit.stock.cut import cut, warm_up
from simkit.stock.field import blank_field, blank_lattice

CELL, STEPOVER, STEP, THICKNESS = 0.1, 0.2, 0.5, 30.0
CUTTERS = {1: Cutter(1, "ball", 6.0)}


def finishing(size):
    """Passes to and fro over a wavy surface of size x size mm."""
    x = np.arange(0, size + STEP / 2, STEP)
    tips = []
    for k, y in enumerate(np.arange(0, size, STEPOVER)):
        along = x if k % 2 == 0 else x[::-1]
        z = 15 + 5 * np.sin(along / 9) * np.cos(y / 11)
        tips.append(np.stack([along, np.full_like(along, y), z], 1))
    tips = np.concatenate(tips)
    return make_moves(start=tips[:-1], end=tips[1:], tool=np.ones(len(tips) - 1))


def stamped(field, moves, spacing):
    """The field by stamping the ball at places `spacing` mm apart along every move, dense NumPy."""
    lattice, radius = field.lattice, CUTTERS[1].radius
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


def best_of(n, job):
    """The least seconds of n runs, and the least processor seconds (all threads together)."""
    times = []
    for _ in range(n):
        start, busy = time.perf_counter(), time.process_time()
        job()
        times.append((time.perf_counter() - start, time.process_time() - busy))
    return tuple(np.min(times, axis=0))


def blank(size):
    """A whole blank of size x size mm."""
    return blank_field(blank_lattice(size, size, CELL), size, size, THICKNESS)


def main():
    """Print the figures."""
    warm_up()
    small, few = blank(12.0), finishing(12.0)
    # Between two stamps h apart the ball stands up to h^2 / (8 R) too high on a gentle surface: 0.05 mm
    # apart that is 1e-4 mm, so the stamping is ten times less exact than the cut even so.
    busy = time.process_time()
    dense, stamps = stamped(small, few, 0.05)
    stamping = time.process_time() - busy
    exact = cut(small, few, CUTTERS, IDENTITY).field.upper
    is_cut = exact < THICKNESS
    off = (dense - exact)[is_cut]
    assert off.min() > -2e-6, off.min()
    assert np.quantile(off, 0.999) < 2e-4, np.quantile(off, 0.999)
    _, tiled = best_of(5, lambda: cut(small, few, CUTTERS, IDENTITY))
    print(
        f"12 x 12 mm, {len(few):,} moves: NumPy stamping {stamping:.2f} s ({stamps:,} stamps, within 2e-4 mm)"
    )
    print(
        f"  the cut {tiled * 1e3:.1f} ms: {stamping / tiled:.0f} times as fast (processor time, all threads)"
    )

    whole, moves = blank(100.0), finishing(100.0)
    threads = numba.config.NUMBA_NUM_THREADS
    seconds = {}
    for count in sorted({1, threads}):
        numba.set_num_threads(count)
        seconds[count] = best_of(3, lambda: cut(whole, moves, CUTTERS, IDENTITY))
    out = cut(whole, moves, CUTTERS, IDENTITY)
    cells = out.field.upper.size
    print(f"100 x 100 mm, {CELL} mm cells, {len(moves):,} moves:")
    for count, (taken, busy) in seconds.items():
        rate, own = out.evaluations / taken / 1e9, out.evaluations / busy / 1e9
        print(f"  {count} threads {taken:.2f} s, {rate:.3f} G evaluations a second")
        print(f"    {busy:.2f} s of processor time, {own:.3f} G a second of it (tells on a busy machine)")
    print(f"  {threads} threads are {seconds[1][0] / seconds[threads][0]:.2f} times as fast as one")
    print(f"  {out.evaluations:,} evaluations, {out.evaluations / cells:.0f} a cell")
    window = whole.lattice.window(500, 510, 500, 510, divide=8)
    near = blank_field(window, 100.0, 100.0, THICKNESS)
    again, _ = best_of(5, lambda: cut(near, moves, CUTTERS, IDENTITY))
    print(f"  second look at 1 x 1 mm with {window.cell:g} mm cells: {again * 1e3:.1f} ms")
    unit = 1 if sys.platform == "darwin" else 1024
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit / 2**20:.0f} MB")


if __name__ == "__main__":
    main()
