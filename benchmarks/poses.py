"""Is every wrong pose found and the right one named?  Random parts, every other pose as the job's statement.

Run: python benchmarks/poses.py [PARTS]
Prints one line for each part: poses tried, found with the right one named, told wrongly, not told apart
(nearly symmetric), and whether the right statement stays without a finding; last the time for one check.
"""

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from simkit.compare.pose_fit import fit_poses
from tests.random_parts import RandomPart


def is_same(one, other) -> bool:
    """Return whether two frames are one map."""
    return np.allclose(one.matrix, other.matrix) and np.allclose(one.offset, other.offset)


def main() -> None:
    """Print the table."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 24
    print(f"{'part':>4} {'blank':>14} {'right pose':32} wrong named  else alike right is")
    totals, spent = np.zeros(4, int), []
    for seed in range(count):
        part = RandomPart(seed)
        second = fit_poses(part.job, part.moves, part.rows, part.frames, part.envelopes)[1]
        alike = {one.pose for one in second.alike}
        row = np.zeros(4, int)
        for pose, job, frames in part.wrong_jobs():
            row[0] += 1
            if pose in alike:
                row[3] += 1
                continue
            started = time.perf_counter()
            better = fit_poses(job, part.moves, part.rows, frames, part.envelopes)[1].better
            spent.append(time.perf_counter() - started)
            found = better is not None and is_same(
                better.pose.of(job.setups[1]).frame(part.blank), part.frames[1]
            )
            row[1 if found else 2] += 1
        totals += row
        size = f"{part.blank.length:.0f}x{part.blank.width:.0f}x{part.blank.thickness:.0f}"
        right = f"{part.right.turn}, {part.right.swing}, {part.right.corner}"
        state = "told wrong" if second.better is not None else "confirmed"
        print(
            f"{seed:4} {size:>14} {right:32} {row[0]:5} {row[1]:5} {row[2]:5} {row[3]:5} {state}", flush=True
        )
    print(f"all: {totals[0]} wrong, {totals[1]} named, {totals[2]} not, {totals[3]} alike")
    print(f"one check of all poses: {np.median(spent):.3f} s, at most {max(spent):.3f} s")


if __name__ == "__main__":
    main()
