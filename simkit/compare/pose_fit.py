"""Which pose fits: the cut of one setup, seen in every pose, against the part and the cuts of the others.

A pose moves the cut of a setup as a whole, so it is cut once in its own program frame and looked up in
every other pose; only the poses that matter are then cut exactly.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from simkit.compare.poses import Pose, all_poses, is_seen_at_once
from simkit.frames import IDENTITY, Frame
from simkit.job.model import Job
from simkit.moves.extremes import extremes
from simkit.moves.table import Moves
from simkit.stock.cut import cut
from simkit.stock.field import UNCUT, Field, Lattice, blank_field
from simkit.target.envelope import Envelopes

COLUMNS = 25_000  # of the blank, about: a feature of a few square millimetres decides
CLIP = 5.0  # mm: a column counts at most this, so that a few deep ones cannot decide
DEAD = 0.25  # mm: a pose is not worse in a column for less
LEAST = 10.0  # mm times columns: what a pose must be worse by in all ...
LEAST_SHARE = 5e-4  # ... and this much times all columns
FAR_BETTER = 4.0  # times as much of the part as is worse must be better
TOO_DEEP = 1.0  # mm below the part: a pose that does so in more than GOUGED of what it cuts is none
GOUGED = 0.05
ENOUGH = 0.5  # of what the pose that meets most of the part, and does not go into it, cuts
FREED = 0.5  # of the wood that stands beside the part: a cut that takes so much frees it from the blank
TOO_FAR = 0.5  # of the thickness: a cut that goes so far below the blank is not meant
MOST_FREEING = 4  # poses that go round the part, cut exactly beyond the nearest ones
NARROW = 0.9  # of the narrowest cutter: how far from the outline wood counts as beside it
FEW = 0.01  # of the columns: a pose misses by what these exceed
CLOSE, NEAR = 1.5, 0.3  # a pose with an error below CLOSE times the least + NEAR mm is cut exactly
MOST_EXACT = 8


@dataclass(frozen=True)
class PoseScore:
    """How one pose fits.

    error: mean over the part's columns of the vertical difference to the part, both sides, each side of a
    column clipped at CLIP, mm.  miss mm: what a hundredth of the columns differ by at least, on their worse
    side.  cut: columns of the part that the setup cuts into the blank.  gouged: those of them where it goes
    TOO_DEEP into the part, walls taken to stand a column farther, for a zero off by less is another matter.
    into: those of the latter that do not lie at its outline.  freed: share of the wood beside the outline, so
    far as other setups leave it, that this one takes, 0 to 1; around: columns there that it cuts.
    worst: (ny, nx)-ordered difference of the worse side of each column, clipped,
    mm (n,).  is_exact: cut in this pose, not looked up.
    Error: exact poses as the cut; looked up ones are taken from at most 0.4 of a column beside.
    """

    pose: Pose
    error: float
    miss: float
    cut: int
    gouged: int
    worst: np.ndarray
    is_exact: bool
    into: int = 0
    freed: float = 0.0
    around: int = 0

    @property
    def is_carving(self) -> bool:
        """Whether the cut takes something off the faces of the part, and stays out of it."""
        return self.cut > 0 and self.gouged <= GOUGED * self.cut

    @property
    def is_freeing(self) -> bool:
        """Whether the cut goes round the part, and stays out of it."""
        return self.freed >= FREED and self.into <= GOUGED * self.around

    @property
    def is_usable(self) -> bool:
        """Whether the cut meets the part, on its faces or all round it, and stays out of it."""
        return self.is_carving or self.is_freeing

    @property
    def met(self) -> int:
        """Columns of the part, and beside it where it is freed, that the setup cuts."""
        return self.cut + (self.around if self.is_freeing else 0)


@dataclass(frozen=True)
class PoseFit:
    """Which pose of one setup fits.

    setup: index.  stated: the job's pose.  better: the pose that fits instead, None when the stated one
    holds or none does.  alike: poses that fit as well as the one that fits (a symmetric or nearly
    symmetric part).  next_best: the best of those that can be told from it, None when none was tried.
    """

    setup: int
    stated: PoseScore
    better: PoseScore | None
    alike: tuple[PoseScore, ...]
    next_best: PoseScore | None

    @property
    def is_told_apart(self) -> bool:
        """Whether the part shows which pose is right."""
        return not self.alike


@dataclass(frozen=True)
class Columns:
    """The part's columns on a coarse lattice of the blank.

    lattice: its centres are centres of the field's cells.  is_part (ny, nx) bool.  is_asked (ny, nx) bool:
    these columns and those close beside the outline; part, inner (m,) bool: which of them are the
    part's, and which of those do not lie at the outline.  upper, lower (n,): the part in its own, mm.
    deepest, highest (n,): its lowest upper and highest lower surface there and in the columns next to it, mm.
    size: length, width, thickness of the blank, mm.  bottom, top: its faces at the end of
    the job, mm.
    """

    lattice: Lattice
    is_part: np.ndarray
    is_asked: np.ndarray
    part: np.ndarray
    inner: np.ndarray
    upper: np.ndarray
    lower: np.ndarray
    deepest: np.ndarray
    highest: np.ndarray
    size: tuple[float, float, float]
    bottom: float
    top: float


def part_columns_of(
    job: Job, envelopes: Envelopes, is_poured=None, most: int = COLUMNS, beside: float = 0.0
) -> Columns:
    """Return every so many columns of the envelopes, about `most` for the whole blank.

    is_poured (ny, nx) bool: those that are left out, None for none.  beside mm: how far from the outline
    columns are beside it; at least the next ones are.
    """
    size = (job.blank.length, job.blank.width, job.blank.thickness)
    fine = envelopes.lattice
    step = max(1, round(np.sqrt(fine.nx * fine.ny / most)))
    first = step // 2
    pick = (slice(first, None, step), slice(first, None, step))
    shape = tuple(len(range(first, n, step)) for n in (fine.ny, fine.nx))
    # The middle of a coarse cell is the middle of the cell picked.
    low = [at + (first + 0.5) * fine.cell - step * fine.cell / 2 for at in fine.origin]
    lattice = Lattice((low[0], low[1]), step * fine.cell, shape[1], shape[0])
    is_part = envelopes.is_part[pick].copy()
    is_blank = ((lattice.y() > 0) & (lattice.y() < size[1]))[:, None] & (
        (lattice.x() > 0) & (lattice.x() < size[0])
    )
    if is_poured is not None:
        is_blank &= ~is_poured[pick]
    # No farther from the outline than from the centre of a column of the part.
    far = ndimage.distance_transform_edt(~is_part, sampling=lattice.cell)
    is_asked = (far <= max(beside, 1.01 * lattice.cell)) & is_blank
    inner = ndimage.binary_erosion(is_part, np.ones((3, 3)), border_value=1)[is_asked]
    is_part &= is_blank
    bottom, top = job.last_body.low[2], job.last_body.high[2]
    uppers = np.where(is_part, envelopes.upper[pick], np.inf)
    lowers = np.where(is_part, envelopes.lower[pick], -np.inf)
    deepest = ndimage.minimum_filter(uppers, 3, mode="nearest")[is_part]
    highest = ndimage.maximum_filter(lowers, 3, mode="nearest")[is_part]
    part = is_part[is_asked]
    part_of = (part, inner[part], uppers[is_part], lowers[is_part], deepest, highest)
    return Columns(lattice, is_part, is_asked, *part_of, size, bottom, top)


def fit_poses(
    job: Job,
    moves: Moves,
    rows: list[slice],
    frames: list[Frame],
    envelopes: Envelopes,
    is_poured: np.ndarray | None = None,
) -> list:
    """Return for each setup which pose fits the part, a list of PoseFit in the order of the setups.

    moves, rows, frames: of the whole job, as cut.  envelopes: of the part.  is_poured (ny, nx) bool: cells
    that resin filled; what lies there tells nothing of the cuts before it, and is not asked.
    The others lie as the job states while one setup is tried in every pose.  A pose is better when it is
    better by more than DEAD in FAR_BETTER times as much of the part as it is worse in, stays out of the
    part, and meets at least half as much of it as the stated one and as any that stays out of it.  Where a
    setup cuts out the part and leaves its faces alone, the pose fits in which it takes at least half (FREED)
    of the wood that other setups leave close beside the outline.  A setup that does neither, or all of whose
    cut other setups cut deeper, shows no pose.
    """
    used = [job.cutters[int(tool)] for tool in np.unique(moves.tool)]
    narrow = min((cutter.diameter for cutter in used if cutter.shape != "drill"), default=0.0)
    columns = part_columns_of(job, envelopes, is_poured, beside=NARROW * narrow)
    if not len(columns.upper):
        return []
    cutting = [moves[one][~moves.rapid[one]] for one in rows]
    own = [_own(columns, some, job, frame) for some, frame in zip(cutting, frames, strict=True)]
    fits = []
    for index, setup in enumerate(job.setups):
        base = [columns.top, columns.bottom]
        for other, (frame, heights) in enumerate(zip(frames, own, strict=True)):
            if other != index and frame.up > 0:
                base[0] = np.minimum(base[0], heights)
            elif other != index:
                base[1] = np.maximum(base[1], heights)
        tried = all_poses(setup, job.blank, index == 0)
        stated = _score(columns, base, tried[0][0], frames[index].up, own[index], True)
        if not len(cutting[index]) or (index == 0 and stated.is_usable):
            fits.append(PoseFit(index, stated, None, (), None))
            continue
        fits.append(_fit(columns, base, cutting[index], job, index, tried, stated))
    return fits


def is_better(one: PoseScore, other: PoseScore) -> bool:
    """Return whether a pose fits the part far better than another, column by column."""
    gained = float(np.clip(other.worst - one.worst - DEAD, 0.0, None).sum())
    lost = float(np.clip(one.worst - other.worst - DEAD, 0.0, None).sum())
    return gained >= max(LEAST, LEAST_SHARE * len(one.worst)) and gained >= FAR_BETTER * lost


def _fit(columns: Columns, base: list, moves: Moves, job: Job, index: int, tried: list, stated: PoseScore):
    """Return the PoseFit of one setup; tried: poses and their frames, the stated one first."""
    seen = _Seen(columns, moves, job)
    ranked = [
        (_score(columns, base, pose, frame.up, seen.heights(frame), False), pose, frame, nth)
        for nth, (pose, frame) in enumerate(tried)
    ][1:]
    # Stable: of equal ones that with fewer changes first; last those that meet nothing.
    ranked.sort(key=lambda one: (not one[0].met, one[0].error))
    # Poses that go into the part may well meet more of it than the right one: a small pocket, and outlines.
    enough = ENOUGH * max(score.met for score in (stated, *(one[0] for one in ranked if one[0].is_usable)))

    def exact(one) -> tuple[PoseScore, int]:
        _, pose, frame, nth = one
        return _score(columns, base, pose, frame.up, _own(columns, moves, job, frame), True), nth

    least = min(stated.error, ranked[0][0].error)
    count = sum(one[0].error <= CLOSE * least + NEAR for one in ranked[:MOST_EXACT])
    # Looked up, a cut along the outline seems to go into it by a part of a column, and to miss by that.
    freeing = [one for one in ranked[count:] if one[0].is_freeing][:MOST_FREEING]
    taken = {one[3] for one in freeing}
    ranked = ranked[:count] + freeing + [one for one in ranked[count:] if one[3] not in taken]
    count += len(freeing)
    scores = [(stated, 0), *map(exact, ranked[:count])]
    usable = [one for one in scores if one[0].is_usable and one[0].met >= enough]
    best = min(usable, key=lambda one: (one[0].error, one[1]), default=None)
    is_other = best is not None and best[1] != 0 and _is_instead(best[0], stated)
    if not is_other and not stated.is_usable:
        return PoseFit(index, stated, None, (), None)
    right = best if is_other else scores[0]
    fitting = [one for one in usable if one is right or not is_better(right[0], one[0])]
    if is_other:
        # Of poses that fit alike the one that changes least in what the job says.
        right = min(fitting, key=lambda one: one[1])

    def is_noticed(pose: Pose) -> bool:
        return is_seen_at_once(pose, right[0].pose, job.blank)

    alike = tuple(score for score, nth in fitting if nth != right[1] and not is_noticed(score.pose))
    taken = {nth for _, nth in fitting} | {right[1]}
    others = [one for one in scores if one[1] not in taken and not is_noticed(one[0].pose)]
    others = [one for one in others if one[0].met >= enough]
    if not others:
        # One that cuts beside the blank says little, where there is another.
        rest = [one for one in ranked[count:] if not is_noticed(one[1])]
        rest.sort(key=lambda one: one[0].met < enough)
        others = list(map(exact, rest[:1]))
    next_best = min(others, key=lambda one: one[0].error, default=(None,))[0]
    return PoseFit(index, stated, right[0] if is_other else None, alike, next_best)


def _is_instead(one: PoseScore, stated: PoseScore) -> bool:
    """Return whether a pose that stays out of the part is to be told instead of the stated one.

    A cut beside the blank spoils no part, and frees none.
    """
    if is_better(one, stated):
        return True
    return one.is_freeing and not stated.is_usable and not is_better(stated, one)


def _score(columns: Columns, base: list, pose: Pose, up: int, own: np.ndarray, is_exact: bool) -> PoseScore:
    """Return how a pose fits; base: upper and lower surface without this setup; own (m,): its cut, mm."""
    freed, around = _freed(columns, base, up, own)
    upper, lower = (one[columns.part] if np.ndim(one) else one for one in base)
    own = np.clip(own[columns.part], columns.bottom, columns.top)
    if up > 0:
        upper, depth = np.minimum(upper, own), columns.deepest - own
        cut_ = own < columns.top - DEAD
    else:
        lower, depth = np.maximum(lower, own), own - columns.highest
        cut_ = own > columns.bottom + DEAD
    above, below = np.abs(upper - columns.upper), np.abs(lower - columns.lower)
    worst = np.maximum(above, below)
    # The middle of the few largest.
    nth = max(len(worst) - 1 - int(FEW * len(worst)), 0)
    is_into = cut_ & (depth > TOO_DEEP)
    return PoseScore(
        pose=pose,
        error=float(np.minimum(above, CLIP).mean() + np.minimum(below, CLIP).mean()),
        miss=float(np.partition(worst, nth)[nth]),
        cut=int(np.count_nonzero(cut_)),
        gouged=int(np.count_nonzero(is_into)),
        worst=np.minimum(worst, CLIP).astype(np.float32),
        is_exact=is_exact,
        into=int(np.count_nonzero(is_into & columns.inner)),
        freed=freed,
        around=around,
    )


def _freed(columns: Columns, base: list, up: int, own: np.ndarray) -> tuple[float, int]:
    """Return what share of the wood beside the outline a cut takes, and how many columns it cuts there.

    As for `_score`.  Where others leave no wood there, columns that are cut by half the thickness count.
    A cut that goes far below the blank as it lies takes none: its zero is on the other face.
    """
    beside, thick = ~columns.part, columns.top - columns.bottom
    if not beside.any():
        return 0.0, 0
    upper, lower = (one[beside] if np.ndim(one) else one for one in base)
    own = own[beside]
    depth = columns.top - own if up > 0 else own - columns.bottom
    is_cut = depth > DEAD
    around = int(np.count_nonzero(is_cut))
    if not around or np.median(depth[is_cut]) > (1 + TOO_FAR) * thick:
        return 0.0, around
    own = np.clip(own, columns.bottom, columns.top)
    stood = np.broadcast_to(np.clip(upper - lower, 0.0, None), own.shape)
    left = np.clip(np.minimum(upper, own) - lower if up > 0 else upper - np.maximum(lower, own), 0.0, None)
    wood = float(stood.sum())
    if wood < LEAST:
        return float(np.mean(depth > thick / 2)), around
    return 1.0 - float(left.sum()) / wood, around


def _own(columns: Columns, moves: Moves, job: Job, frame: Frame) -> np.ndarray:
    """Return the surface that one setup alone leaves of the blank in the columns asked, mm (m,)."""
    field = cut(blank_field(columns.lattice, *columns.size), moves, job.cutters, frame).field
    return (field.upper if frame.up > 0 else field.lower)[columns.is_asked].astype(np.float64)


class _Seen:
    """The cut of one setup in its own program frame, to be looked up in any pose."""

    def __init__(self, columns: Columns, moves: Moves, job: Job):
        low, high = extremes(moves)
        reach = max(job.cutters[int(tool)].radius for tool in np.unique(moves.tool))
        self.columns = columns
        cell = columns.lattice.cell / 2
        # Nothing outside the blank matters, wherever the zero is.
        far = 2 * max(columns.size)
        low, high = np.clip(low.min(axis=0), -far, far), np.clip(high.max(axis=0), -far, far)
        count = np.ceil((high[:2] - low[:2] + 2 * reach) / cell).astype(int) + 1
        self.lattice = Lattice((low[0] - reach, low[1] - reach), cell, int(count[0]), int(count[1]))
        shape = self.lattice.shape
        top = np.full(shape, high[2] + 1000.0, np.float32)
        none = np.full(shape, UNCUT, np.int32)
        field = Field(self.lattice, np.full(shape, -np.inf, np.float32), top, none, none)
        field = cut(field, moves, job.cutters, IDENTITY).field
        heights = np.where(field.upper_move == UNCUT, np.inf, field.upper.astype(np.float64))
        # A rim of nothing, for places beyond the moves.
        self.padded = np.pad(heights, 1, constant_values=np.inf)

    def heights(self, frame: Frame) -> np.ndarray:
        """Return the surface in the columns asked with the program frame lying so, mm (m,)."""
        back = frame.inverse()
        x, y = self.columns.lattice.x(), self.columns.lattice.y()
        is_swung = abs(back.matrix[0, 0]) < 0.5
        along = [y, x] if is_swung else [x, y]
        index = []
        for axis, places in enumerate(along):
            sense = back.matrix[axis, 1 - axis if is_swung else axis]
            steps = (sense * places + back.offset[axis] - self.lattice.origin[axis]) / self.lattice.cell
            most = (self.lattice.nx, self.lattice.ny)[axis]
            index.append(np.clip(np.floor(steps) + 1, 0, most + 1).astype(np.int64))
        seen = self.padded[np.ix_(index[1], index[0])]
        seen = (seen.T if is_swung else seen)[self.columns.is_asked]
        return frame.up * seen + frame.offset[2]
