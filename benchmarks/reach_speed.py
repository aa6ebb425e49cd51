"""How much faster is reach by blocks and groups than the dense way, on one side of the sample?

Run: python benchmarks/reach_speed.py [CELL]
The dense way takes every offset of the cutter at every cell, in scipy.ndimage's grey morphology.  Both
answers are compared first.
"""

import sys
import time
from pathlib import Path

import numpy as np
from scipy import ndimage

from simkit.check import _target, job_lattice
from simkit.compare.reach import reach
from simkit.job.reader import read_job
from simkit.target.envelope import envelopes

SAMPLE = Path(__file__).parents[1] / "samples" / "olive_boat" / "job.toml"


def dense(heights, cutter, cell):
    """Return the closing of heights (ny, nx), NaN outside, by scipy."""
    k = int(cutter.radius / cell + 1e-9)
    q = np.arange(-k, k + 1) * cell
    r = np.hypot(q[:, None], q)
    footprint = r <= cutter.radius + 1e-9
    structure = np.where(footprint, -cutter.profile(np.minimum(r, cutter.radius)), 0.0)
    wide = np.pad(np.nan_to_num(heights, nan=-1e5), 2 * k, constant_values=-1e5)
    tips = ndimage.grey_dilation(wide, footprint=footprint, structure=structure)
    left = ndimage.grey_erosion(tips, footprint=footprint, structure=structure)
    return left[2 * k : -2 * k, 2 * k : -2 * k]


def main() -> None:
    """Print seconds of both ways for each carving cutter of the sample."""
    cell = float(sys.argv[1]) if len(sys.argv) > 1 else 0.2
    job = read_job(SAMPLE)
    lattice = job_lattice(job, cell)
    heights = envelopes(_target(job), lattice).upper
    for cutter in job.cutters.values():
        if cutter.shape == "drill":
            continue
        reach(heights, lattice, [cutter])
        started = time.perf_counter()
        found = reach(heights, lattice, [cutter])
        fast = time.perf_counter() - started
        started = time.perf_counter()
        other = dense(heights, cutter, cell)
        slow = time.perf_counter() - started
        is_in = ~np.isnan(heights)
        assert np.allclose(found[is_in], other[is_in], atol=1e-7)
        print(f"{cutter}: {heights.size:,} cells, {fast:.3f} s, dense {slow:.2f} s, {slow / fast:.0f} times")


if __name__ == "__main__":
    main()
