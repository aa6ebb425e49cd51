"""A second look at long moves: is a short part of one a slot deeper than its cutter may cut?

What a move bites off is known as a mean over its length.  So moves that somewhere are deeper than
`slot_depth` are cut into pieces, and run once more, with all that comes near, over the wood they met.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from simkit.cutters import Cutter
from simkit.effort.bite import SLOT, Bites
from simkit.effort.chips import full_section
from simkit.effort.motion import NOTHING
from simkit.effort.rows import rows_by
from simkit.frames import Frame
from simkit.moves.chords import places_on
from simkit.moves.extremes import extremes
from simkit.moves.table import Moves
from simkit.stock.field import Field
from simkit.stock.replay import replay

NEAR = 1e-3  # mm: depths come in float32
PIECE = 0.25  # of the diameter
LEAST_CELLS = 5  # along a piece: fewer say little about its section
LONG = 1.0  # diameters: shorter moves are judged with their stretch


@dataclass(frozen=True)
class DeepSlots:
    """Pieces of moves that cut over the whole width, deeper than slot_depth.

    row (k,): the move, of the setup's.  depth (k,) mm: the most that one column lost.  length (k,) mm: of the
    piece.  at (k, 3) mm: where, blank frame.
    """

    row: np.ndarray
    depth: np.ndarray
    length: np.ndarray
    at: np.ndarray


def limit_of(cutter: Cutter) -> float:
    """Return the deepest slot that a cutter may cut, mm; infinite where it is not judged."""
    if cutter.slot_depth is None or cutter.shape == "drill":
        return np.inf
    return cutter.slot_depth * cutter.diameter


def is_deep_slot(own: Bites, cutters: Mapping[int, Cutter]) -> np.ndarray:
    """Return whether each stretch (m,) as a whole is a slot deeper than its cutter may cut."""
    limit = np.zeros(len(own.tool))
    for number in np.unique(own.tool):
        limit[own.tool == number] = limit_of(cutters[int(number)])
    return own.in_wood & own.is_slot & (own.depth > limit + NEAR)


def deep_slots(
    moves: Moves, depth: np.ndarray, own: Bites, before: Field, cutters: Mapping[int, Cutter], frame: Frame
) -> DeepSlots:
    """Return the deep slots within moves of one setup that as a whole are none.

    moves (n): of the setup, program frame.  depth (n,) mm: the most that one column lost to each.  own: what
    they bite off.  before: the blank before the setup.  frame: program frame -> blank frame.
    A piece is a slot where it takes SLOT of the section of one as deep as its middle.
    Error: a slot shorter than a piece, a quarter of the diameter or LEAST_CELLS cells, may be missed;
    its depth is exact at cell centres.
    """
    none = DeepSlots(np.empty(0, np.int64), np.empty(0), np.empty(0), np.empty((0, 3)))
    if not any(
        (own.is_pass[rows] & (own.depth[rows] > limit_of(cutters[number]) + NEAR)).any()
        for number, rows in rows_by(own.tool).items()
    ):
        return none  # no stretch is as deep, so none of its moves
    limit, diameter = np.full(len(moves), np.inf), np.zeros(len(moves))
    for number, cutter in cutters.items():
        mine = moves.tool == number
        limit[mine], diameter[mine] = limit_of(cutter), cutter.diameter
    asked = ~moves.rapid & (depth > limit + NEAR)
    asked &= (moves.length() > LONG * diameter) & ~np.append(is_deep_slot(own, cutters), False)[own.of]
    # Steeper than it is long, it is a way down or up.
    asked &= np.append(own.is_pass, False)[own.of]
    if not asked.any():
        return none
    size = np.maximum(PIECE * diameter, LEAST_CELLS * before.lattice.cell)
    window, near = _around(moves, asked, before, cutters, frame)
    pieces, of = _cut_up(moves[near], np.where(asked, size, np.inf)[near])
    met = replay(window, pieces, cutters, frame)
    row = near[of]
    length = pieces.length()
    section = met.volume / np.where(length > NOTHING, length, 1.0)
    slope = 0.5 * np.abs(pieces.end - pieces.start)[:, 2]
    is_slot = np.zeros(len(row), bool)
    for number in np.unique(pieces.tool):
        cutter, mine = cutters[int(number)], pieces.tool == number
        as_deep = full_section(cutter, met.depth[mine].astype(np.float64) - slope[mine])
        is_slot[mine] = section[mine] >= SLOT * as_deep
    found = np.flatnonzero(asked[row] & is_slot & (met.depth > limit[row] + NEAR))
    return DeepSlots(row[found], met.depth[found].astype(np.float64), length[found], met.at[found])


def _around(moves: Moves, asked, before: Field, cutters, frame: Frame) -> tuple[Field, np.ndarray]:
    """Return the part of a field that the moves asked about touch, and the rows of all that come near it."""
    radius = np.zeros(len(moves))
    for number, cutter in cutters.items():
        radius[moves.tool == number] = cutter.radius
    low, high = (places[:, :2] for places in extremes(moves.in_frame(frame)))
    low, high = low - radius[:, None], high + radius[:, None]
    lattice = before.lattice
    iy0, ix0 = lattice.cell_at(*low[asked].min(axis=0))
    iy1, ix1 = lattice.cell_at(*high[asked].max(axis=0))
    own = lattice.window(int(iy0), int(iy1) + 1, int(ix0), int(ix1) + 1)
    box = (slice(int(iy0), int(iy1) + 1), slice(int(ix0), int(ix1) + 1))
    window = Field(
        own, *(getattr(before, name)[box] for name in ("lower", "upper", "lower_move", "upper_move"))
    )
    corner = np.array(own.origin)
    end = corner + np.array([own.nx, own.ny]) * own.cell
    return window, np.flatnonzero(((low <= end) & (high >= corner)).all(axis=1))


def _cut_up(moves: Moves, size: np.ndarray) -> tuple[Moves, np.ndarray]:
    """Return moves in even pieces no longer than `size` (n,) mm, arcs as arcs, and of which move each is."""
    count = np.maximum(np.ceil(moves.length() / size), 1).astype(np.int64)
    of = np.repeat(np.arange(len(moves)), count)
    nth = np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count)
    pieces = moves[of]
    start, end = places_on(moves, of, nth / count[of]), places_on(moves, of, (nth + 1) / count[of])
    is_first, is_last = (nth == 0)[:, None], (nth + 1 == count[of])[:, None]
    start, end = np.where(is_first, pieces.start, start), np.where(is_last, pieces.end, end)
    return replace(pieces, start=start, end=end, sweep=pieces.sweep / count[of]), of
