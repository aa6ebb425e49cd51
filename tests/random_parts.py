"""Random parts carved from two sides, each with the pose its second side was made for."""

from dataclasses import replace

import numpy as np

from simkit.compare.poses import all_poses, stated_pose
from simkit.cutters import Cutter
from simkit.job.model import Blank, Job, Setup
from simkit.moves.table import join_moves, make_moves
from simkit.stock.cut import cut
from simkit.stock.field import blank_field, blank_lattice
from simkit.target.envelope import Envelopes

CUTTERS = {1: Cutter(1, "flat", 6.0), 2: Cutter(2, "ball", 6.0)}


def cuts(rng, size, setup, count):
    """Random grooves and pits in blank coordinates of a table frame, no deeper than two fifths."""
    across, deep, thick = size
    start, end, tool = [], [], []
    for _ in range(count):
        a = rng.uniform((5, 5), (across - 5, deep - 5))
        b = rng.uniform((5, 5), (across - 5, deep - 5))
        low = thick - rng.uniform(1.5, 0.4 * thick)
        number = int(rng.integers(1, 3))
        start += [(*a, thick + 5), (*a, low)]
        end += [(*a, low), (*b, low)]
        tool += [number, number]
    return make_moves(programs=("p.nc",), start=start, end=end, tool=tool, setup=[setup] * len(tool))


class TurnedPart:
    """Two sides of one blank, and every way in which the second may be stated to lie: job, blank, frames."""

    @property
    def right(self):
        """The pose that the second side was made for."""
        return stated_pose(self.job.setups[1])

    def wrong_jobs(self):
        """Every other pose as the job's statement: (pose, job, frames)."""
        for pose, frame in all_poses(self.job.setups[1], self.blank, False)[1:]:
            setups = (self.job.setups[0], pose.of(self.job.setups[1]))
            yield pose, replace(self.job, setups=setups), [self.frames[0], frame]


class RandomPart(TurnedPart):
    """A part of its own for each seed.  symmetric: both sides look the same after half a turn.

    nearly mm: but one half is cut so much higher.
    """

    def __init__(self, seed, symmetric=False, cell=0.5, nearly=0.0):
        rng = np.random.default_rng(seed)
        length, width, thick = rng.uniform(50, 90), rng.uniform(35, 60), rng.uniform(14, 22)
        if seed % 3 == 0:
            width = length
        self.blank = blank = Blank(float(length), float(width), float(thick))
        second = Setup("two", (), turn="about x")
        side_2_up = [pose for pose, _ in all_poses(second, blank, False) if pose.turn != "none"]
        if width != length:
            side_2_up = [pose for pose in side_2_up if not pose.is_crosswise]
        pose = side_2_up[int(rng.integers(len(side_2_up)))]
        setups = (Setup("one", ()), pose.of(second))
        self.job = Job("", blank, CUTTERS, setups)
        parts = []
        for index, setup in enumerate(setups):
            size = (*setup.size_on_table(blank), thick)
            moves = cuts(rng, size, index, int(rng.integers(5, 12)))
            if symmetric:
                turned = np.array([size[0], size[1]])
                other = replace(moves, start=moves.start.copy(), end=moves.end.copy())
                other.start[:, :2], other.end[:, :2] = (
                    turned - moves.start[:, :2],
                    turned - moves.end[:, :2],
                )
                other.start[:, 2] += nearly
                other.end[:, 2] += nearly
                moves = join_moves([moves, other])
            to_program = setup.frame(blank).inverse().after(setup.lie(blank))
            parts.append(moves.in_frame(to_program))
        self.moves = join_moves(parts)
        edge = len(parts[0])
        self.rows = [slice(0, edge), slice(edge, len(self.moves))]
        self.frames = [setup.frame(blank) for setup in setups]
        lattice = blank_lattice(length, width, cell)
        field = blank_field(lattice, length, width, thick)
        for one, frame in zip(self.rows, self.frames, strict=True):
            field = cut(field, self.moves[one], CUTTERS, frame).field
        # What is wanted is what the right programs leave, and a little noise of a coarse mesh.
        noise = rng.normal(0, 0.02, (2, *lattice.shape))
        is_part = field.is_solid
        lower = np.where(is_part, field.lower + noise[0], np.nan)
        upper = np.where(is_part, field.upper + noise[1], np.nan)
        self.envelopes = Envelopes(lattice, lower, upper, np.zeros(lattice.shape))
