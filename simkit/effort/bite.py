"""What each move bites off: depth, width, chip and removal rate, from the volumes of the replay.

Feed moves of less than a diameter are looked at together, stretch by stretch, for a move of a third of
a millimetre touches a handful of cells.  A longer one stands for itself.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from simkit.cutters import Cutter
from simkit.effort import stretch_kernels as kernels
from simkit.effort.chips import (
    edge_lean,
    edge_length,
    effective_radius,
    engagement_angle,
    feed_per_tooth,
    full_section,
    largest_chip,
    mean_chip,
    ramp_volume,
)
from simkit.effort.in_wood import outline_rows, parts_in_wood
from simkit.effort.motion import MoveTimes
from simkit.effort.rows import rows_by
from simkit.moves.table import Moves
from simkit.stock.memory import new_array
from simkit.stock.replay import Replay

SLOT = 0.9  # of the section of a slot as deep: from here on it counts as one, a bound of cells below it
ONE_SIDE = 0.95  # of the volume, likewise: cells along the path are neither
SKIN = 0.1  # mm under the middle of a cutter that are scraped away, a guess
LEAN = 0.5  # of the volume: right less left; with three quarters of the wood on one side it is told


@dataclass(frozen=True)
class Bites:
    """m stretches of feed moves of one setup: neighbours of one cutter, about a diameter long together.

    row (m,): the move of the stretch that takes most.  of (n,): which stretch a move of the setup belongs
    to, -1 for rapids.  tool (m,).  is_pass (m,): runs along more than up or down.  length (m,) mm.
    seconds (m,).  share (n,): of each move of the setup, 0 to 1, the part of its length in wood, as
        effort.in_wood tells it.
    volume (m,) mm3: exact at cell centres.
    depth (m,) mm: a_p, the most that one column lost.  Exact at cell centres.
    diameter (m,) mm: of the cutter at that depth above its tip.
    section (m,) mm2: volume / length in wood.  full (m,) mm2: that of a slot as deep.
    width (m,) mm: a_e, that of a rectangle as deep and of the same section.  In wood of even height it is the
        width of the cut; else no wider than it is.
    bound (m,) mm: of width, half a cell along the rim of what is taken.
    per_tooth (m,) mm: f_z at the feed as programmed, NaN with the spindle standing or the edges unknown.
    reached (m,) mm: the same at the highest speed on any of its moves.
    seen (m,) mm: thickest chip at the speed reached on the average, as seen from above.
    thickest, mean (m,) mm: the same across the edge, which leans on balls and vees, and its mean over the
        edge and the arc of contact.  On the way down, where the edges at the tip lie level, as seen.
    removal (m,) mm3/min at the time it takes in wood.
    wood_on (m,): +1 where three quarters of what it takes or more stood on the right of the path, -1 left, 0
        neither, or no pass.
    down, level (m,) mm: how far it comes down in wood in all, and its length in plan there.
    whole (m,) mm3: what its cutter would take coming down so in whole wood, from its surface.
    under (m,) mm: how much of a steep way down stood in wood under the middle of the cutter, of
        stock.replay, all its moves together.
    one_sided (m,): all that it takes stood on one side of its path.
    is_whole (m,): long enough (half a diameter, in wood if there is any) for width and removal rate to mean
        something.
    """

    row: np.ndarray
    of: np.ndarray
    tool: np.ndarray
    is_pass: np.ndarray
    length: np.ndarray
    seconds: np.ndarray
    share: np.ndarray
    volume: np.ndarray
    depth: np.ndarray
    diameter: np.ndarray
    section: np.ndarray
    full: np.ndarray
    width: np.ndarray
    bound: np.ndarray
    per_tooth: np.ndarray
    reached: np.ndarray
    seen: np.ndarray
    thickest: np.ndarray
    mean: np.ndarray
    removal: np.ndarray
    wood_on: np.ndarray
    down: np.ndarray
    level: np.ndarray
    whole: np.ndarray
    under: np.ndarray
    one_sided: np.ndarray
    is_whole: np.ndarray

    @property
    def in_wood(self) -> np.ndarray:
        """Whether a stretch (m,) takes anything."""
        return self.volume > 0

    @property
    def is_ramp(self) -> np.ndarray:
        """Whether a stretch (m,) comes down in wood by more than a hundredth of its way there."""
        return self.down > 0.01 * np.hypot(self.down, self.level)

    @property
    def is_plunge(self) -> np.ndarray:
        """Whether a stretch (m,) comes down into wood under the cutter, not along a wall beside it.

        Steeper than it is long: where wood stands under the middle of the cutter, be it a thin rib or a
        corner, and not where a hole was made for it.  On other ways down the edges ahead clear the middle, so
        an estimate: it takes at least half of what the cutter would take coming down so in whole wood, which
        beside a straight wall is where the wood reaches the middle; what stands on one side alone does not.
        """
        by_volume = (self.volume >= 0.5 * self.whole) & ~self.one_sided
        return (self.down > 0) & np.where(self.is_pass, by_volume, self.under > SKIN)

    @property
    def plunge_angle(self) -> np.ndarray:
        """How steeply a stretch (m,) comes down, degrees from level."""
        return np.degrees(np.arctan2(self.down, self.level))

    @property
    def is_slot(self) -> np.ndarray:
        """Whether a stretch (m,) cuts with the whole width of its cutter, so far as cells tell."""
        return self.is_pass & self.is_whole & (self.section >= SLOT * self.full) & self.in_wood

    @property
    def engaged(self) -> np.ndarray:
        """The angle (m,) over which an edge cuts at the surface, rad: pi in a slot, of whatever shape.

        Else that of its width, exact for upright edges; a ball beside its last pass some tenth too little.
        """
        return np.where(self.is_slot, np.pi, engagement_angle(self.width, self.diameter))

    def climbs(self, speed: np.ndarray) -> np.ndarray:
        """Return +1 where a stretch (m,) climbs, -1 where it cuts conventionally, 0 where it is not told.

        speed (m,) rev/min, positive clockwise from above: with the wood on the right the edges then go
        backwards there, with the feed of the wood, so it climbs.
        """
        return (self.wood_on * np.sign(speed)).astype(np.int64)


def bites(
    moves: Moves,
    met: Replay,
    times: MoveTimes,
    cutters: Mapping[int, Cutter],
    cell: float,
    sums: tuple | None = None,
) -> Bites:
    """Return what the stretches of one setup bite off.

    moves (n): of the setup, program frame.  met: their replay.  times: of these n moves.
    cell mm: of the replay's field.  sums: of summed, where they are at hand.
    """
    of, first, passing, share, row, found = sums or summed(moves, met, times, cutters, cell)
    count = len(first)
    long, time, volume = found[kernels.LONG], found[kernels.SECONDS], found[kernels.VOLUME]
    wood_long, wood_time = found[kernels.WOOD_LONG], found[kernels.WOOD_SECONDS]
    down, wood_level, right = found[kernels.DOWN], found[kernels.WOOD_LEVEL], found[kernels.RIGHT]
    top, depth = found[kernels.TOP], found[kernels.DEPTH]
    tool, speed, feed = moves.tool[first], moves.speed[row], moves.feed[row]
    by_tool = [(cutters[number], rows) for number, rows in rows_by(tool).items() if number in cutters]
    widest = np.zeros(count)
    for cutter, mine in by_tool:
        widest[mine] = 2.0 * cutter.radius
    # Less than half a diameter says nothing of a width: a sliver would make it any width.
    least = np.minimum(0.5 * widest, long)
    is_short = wood_long < least
    wood_time = np.where(is_short, time * least / np.where(long > 0, long, 1.0), wood_time)
    wood_long = np.maximum(wood_long, least)
    diameter, full, whole = np.zeros(count), np.zeros(count), np.zeros(count)
    lean, mean_lean = np.ones(count), np.ones(count)
    chips = np.full((3, count), np.nan)
    feeds = np.stack([feed, 60.0 * top, 60.0 * long / np.where(time > 0, time, 1.0)])
    across = passing & (depth > 0)
    for cutter, mine in by_tool:
        diameter[mine] = 2.0 * effective_radius(cutter, depth[mine])
        full[mine] = full_section(cutter, depth[mine])
        whole[mine] = ramp_volume(cutter, down[mine], wood_level[mine])
        some = np.flatnonzero(across[mine])
        some = some + mine.start if isinstance(mine, slice) else mine[some]
        deep = depth[some]
        lean[some] = edge_lean(cutter, deep)
        mean_lean[some] = deep / edge_length(cutter, deep)
        if cutter.flutes:
            chips[:, mine] = feed_per_tooth(feeds[:, mine], speed[mine], cutter.flutes)
    per_tooth, highest, actual = chips
    section = volume / np.where(wood_long > 0, wood_long, 1.0)
    width = np.where(depth > 0, section / np.where(depth > 0, depth, 1.0), 0.0)
    width = np.minimum(width, diameter)
    bound = cell * (1.0 + 0.5 * np.pi * diameter / np.where(wood_long > 0, wood_long, 1.0))
    seen = largest_chip(actual, width, diameter)
    told = passing & (np.abs(right) >= LEAN * volume)
    return Bites(
        row=row,
        of=of,
        tool=tool,
        is_pass=passing,
        length=long,
        seconds=time,
        share=share,
        volume=volume,
        depth=depth,
        diameter=diameter,
        section=section,
        full=full,
        width=width,
        bound=bound,
        per_tooth=per_tooth,
        reached=highest,
        seen=seen,
        thickest=seen * lean,
        mean=mean_chip(actual, width, diameter) * mean_lean,
        removal=60.0 * volume / np.where(wood_time > 0, wood_time, 1.0) * (wood_time > 0),
        wood_on=np.where(told, np.sign(right), 0.0).astype(np.int64),
        down=down,
        level=wood_level,
        whole=whole,
        under=found[kernels.UNDER],
        one_sided=np.abs(right) >= ONE_SIDE * volume,
        is_whole=(~is_short | (volume == 0)) & (long >= 0.5 * widest),
    )


def summed(moves: Moves, met: Replay, times: MoveTimes, cutters: Mapping[int, Cutter], cell: float):
    """Return what the stretches are summed up of: of, first, is_pass, share, row, sums.

    of, share (n,): as of Bites.  first, is_pass, row (m,): first move of each stretch, and as of Bites.  sums
    (SUMS, m): of stretch_kernels.
    """
    n = len(moves)
    length = moves.length()
    span = parts_in_wood(moves, met, cutters)
    numbers, outlines = outline_rows(cutters)
    of, first, members = (new_array(n, np.int64) for _ in range(3))
    share, is_pass, ends = new_array(n, float), np.empty(n, bool), new_array((n, 2), float)
    count = kernels.stretches(
        moves.start, moves.end, length, moves.rapid, (moves.program, moves.tool), moves.speed, moves.feed,
        numbers, outlines, span, of, first, is_pass, ends, members,
    )  # fmt: skip
    row, sums = np.empty(count, np.int64), np.empty((kernels.SUMS, count))
    kernels.sums(
        moves.start, moves.end, length, times.seconds, times.top, met.volume, met.right, met.under, met.depth,
        of, ends, members, cell, share, row, sums,
    )  # fmt: skip
    return of, first[:count].copy(), is_pass[:count].copy(), share, row, sums
