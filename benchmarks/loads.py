"""Work for the benchmarks of the cut: programs of every kind over a blank of size x size mm."""

import numpy as np

from simkit.cutters import Cutter
from simkit.moves.table import ARC, make_moves
from simkit.stock.field import blank_field, blank_lattice

THICKNESS = 30.0
BALL = Cutter(1, "ball", 6.0)
FLAT = Cutter(1, "flat", 6.0)
BULL = Cutter(1, "bull-nose", 6.0, corner=1.0)
TAPERED = Cutter(1, "tapered ball", 6.0, tip=2.0, taper=6.0, cutting_length=30.0)
VEE = Cutter(1, "vee", 12.0, point=90.0)
DRILL = Cutter(1, "drill", 5.0)


def blank(size, cell=0.1):
    """A whole blank of size x size mm."""
    return blank_field(blank_lattice(size, size, cell), size, size, THICKNESS)


def wavy(x, y):
    """A curved surface, slopes up to 0.55."""
    return 15 + 5 * np.sin(x / 9) * np.cos(y / 11)


def floor(x, y):
    """A flat floor: every pass at the same height, so that many moves nearly draw."""
    return 12.0 + 0.0 * x


def wall(x, y):
    """A steep wall across the passes, 20 mm down over 8 mm."""
    return 25.0 - 20.0 * np.clip((x % 40 - 16) / 8, 0.0, 1.0)


def passes(surface, size, stepover, step):
    """Passes to and fro over a surface, in straight moves of `step` mm."""
    x = np.arange(0, size + step / 2, step)
    tips = []
    for k, y in enumerate(np.arange(0, size, stepover)):
        along = x if k % 2 == 0 else x[::-1]
        tips.append(np.stack([along, np.full_like(along, y), surface(along, y)], 1))
    tips = np.concatenate(tips)
    return make_moves(start=tips[:-1], end=tips[1:], tool=np.ones(len(tips) - 1))


def roughing(size):
    """Six layers of 2.5 mm, 40 % stepover of a 6 mm cutter, moves of 5 mm."""
    return join([passes(lambda x, y, z=z: z + 0 * x, size, 2.4, 5.0) for z in 27.5 - 2.5 * np.arange(6)])


def join(tables):
    """One table after the other."""
    start = np.concatenate([table.start for table in tables])
    end = np.concatenate([table.end for table in tables])
    return make_moves(start=start, end=end, tool=np.ones(len(start)))


def arcs(size, n=4000, seed=1):
    """Level arcs and helices of all radii."""
    rng = np.random.default_rng(seed)
    centre = rng.uniform(0, size, (n, 2))
    r, first = rng.uniform(1, 12, n), rng.uniform(0, 6.28, n)
    sweep = rng.uniform(0.3, 6.28, n) * rng.choice([-1, 1], n)
    z0 = wavy(*centre.T)
    z1 = z0 - np.where(rng.random(n) < 0.3, rng.uniform(0, 2, n), 0.0)
    ends = [
        np.stack([centre[:, 0] + r * np.cos(a), centre[:, 1] + r * np.sin(a), z], 1)
        for a, z in ((first, z0), (first + sweep, z1))
    ]
    return make_moves(
        kind=np.full(n, ARC), start=ends[0], end=ends[1], centre=centre, sweep=sweep, tool=np.ones(n)
    )


def drilling(size, pitch=6.0, pecks=5):
    """Holes in a grid, each in pecks: down at feed, up and down again as a rapid."""
    rows = []
    for x in np.arange(pitch, size - 1, pitch):
        for y in np.arange(pitch, size - 1, pitch):
            clear, bottom = 32.0, 30.0
            for _ in range(pecks):
                rows.append((True, x, y, clear, bottom + 0.5))
                rows.append((False, x, y, bottom + 0.5, bottom - 4.0))
                bottom -= 4.0
                rows.append((True, x, y, bottom, clear))
    rapid, x, y, z0, z1 = map(np.array, zip(*rows, strict=True))
    return make_moves(
        rapid=rapid, start=np.stack([x, y, z0], 1), end=np.stack([x, y, z1], 1), tool=np.ones(len(x))
    )


def plunges(size, n=10_000, seed=2):
    """Plunges to a curved surface at places all over."""
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(0, size, (2, n))
    z = wavy(x, y)
    return make_moves(start=np.stack([x, y, z + 20], 1), end=np.stack([x, y, z], 1), tool=np.ones(n))


def with_rapids(moves, every, height, size):
    """The same moves, every so many of them followed by a rapid across at a height."""
    at = np.arange(every, len(moves), every)
    start = np.insert(moves.start, at, moves.end[at - 1] * [1, 1, 0] + [0, 0, height], axis=0)
    end = np.insert(moves.end, at, [size / 2, size / 2, height], axis=0)
    rapid = np.insert(np.zeros(len(moves), bool), at, True)
    return make_moves(rapid=rapid, start=start, end=end, tool=np.ones(len(start)))
