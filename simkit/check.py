"""One check: cut every setup, compare, gather the evidence, let the finders judge it."""

from __future__ import annotations

import time
import weakref
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import pairwise

import numpy as np
from scipy import ndimage

from simkit.budget.budget import budget_of
from simkit.budget.faces import why_not
from simkit.compare.between import FLOOR, Unproved
from simkit.compare.closer import FINEST, Look, closer_look
from simkit.compare.cusps import cusps
from simkit.compare.cusps_paths import plan_paths
from simkit.compare.cutter_size import (
    MANY,
    OUTER,
    Beyond,
    beyond,
    beyond_wall,
    other_size,
)
from simkit.compare.deviation import Deviation, break_through, deviation
from simkit.compare.dowels import dowel_holes, pins
from simkit.compare.jig import read_jigs, seats
from simkit.compare.loose import loose_pieces
from simkit.compare.offset import SideOffset, side_offset
from simkit.compare.offset_proof import SideCut, proved_offsets, side_cut
from simkit.compare.outline import outline_step
from simkit.compare.outside import told_apart
from simkit.compare.part_only import part_columns
from simkit.compare.pose_fit import fit_poses
from simkit.compare.reach_options import feeds_of, side_reach
from simkit.compare.rims import with_rims
from simkit.compare.seam import find_seam
from simkit.compare.seam_fit import fit_shift
from simkit.compare.seam_offset import with_seam
from simkit.compare.second_look import second_look
from simkit.compare.segments import SideSweeps
from simkit.compare.standing import StandingWatch, stage_ends
from simkit.compare.sweeps import Sweeps
from simkit.compare.tips import with_tips
from simkit.compare.walls import wall_thickness
from simkit.compare.wrong_call import wrong_call
from simkit.effort.effort import effort_of
from simkit.errors import InputProblems, Place, Problem
from simkit.findings import thin_wall, witness_step
from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.findings.registry import judge
from simkit.findings.supposed import Supposed
from simkit.frames import Frame
from simkit.job.change import Change
from simkit.job.model import Job
from simkit.machine.fixtures import fixture_contacts
from simkit.machine.grazes import WoodThen, first_ways, grazes
from simkit.machine.jig import jig_contacts, standing
from simkit.machine.pins import standing_in
from simkit.machine.room import TOUCH, below_table, beyond_travel
from simkit.machine.stops import low_stops
from simkit.moves.extremes import extremes
from simkit.moves.table import Moves, join_moves
from simkit.stock.cut import cut, cut_heights
from simkit.stock.field import UNCUT, Field, Lattice, blank_field, blank_lattice
from simkit.stock.replay import Replay, replay
from simkit.stock.steps import columns_after, do_again, do_steps
from simkit.target.coarseness import coarseness
from simkit.target.envelope import Envelopes, envelopes
from simkit.target.fixture_mesh import fixture_meshes
from simkit.target.grid import TargetGrid
from simkit.target.mesh import load_target

MOST_CELLS = 200_000_000  # about 16 bytes a cell and side; beyond this a check would not fit in 8 GiB
WATCHED_CELLS = 60_000  # cells of two thirds of a millimetre on a usual blank; no thinner rib is seen
ASKED_CELLS = 40_000  # on which the sizes of a cutter are tried
LEAST_CELLS = 100  # fewer cells than this say nothing about a part

Known = Callable[[Field, slice], Replay]  # from what stands before a setup, and its rows: what it did


class NoProgress:
    """Stands in where nobody watches."""

    def stage(self, name: str) -> None:
        """Begin a stage."""

    def fraction(self, done: float) -> None:
        """Say how much of the stage is done, 0 to 1."""


@dataclass
class Timings:
    """Seconds per stage, in the order they ran."""

    seconds: dict[str, float] = field(default_factory=dict)

    @contextmanager
    def stage(self, name: str, progress) -> Iterator[None]:
        """Time a stage and show it."""
        progress.stage(name)
        started = time.perf_counter()
        try:
            yield
        finally:
            self.seconds[name] = self.seconds.get(name, 0.0) + time.perf_counter() - started


def check(
    job: Job, reads, cell: float, progress=None, known: Sequence[Known] = (), supposed=None
) -> tuple[Evidence, list[Finding], dict[str, float]]:
    """Return evidence, findings (worst first) and seconds per stage of one check.

    job: as read.  reads: reads[setup] = [(path, ProgramRead), ...] as program.job_programs gives them.
    cell: edge of a field cell, mm.  progress: has stage(name) and fraction(done).
    known: of the first setups, where what they did is known: they are not cut.
    supposed: of findings.supposed, for the check of a changed job.
    Raises InputProblems for a target that cannot be used or a cell size that does not suit the blank.
    """
    progress = progress or NoProgress()
    timings = Timings()
    lattice = job_lattice(job, cell)
    target = None
    if job.target is not None:
        with timings.stage("reading the target", progress):
            target = _target(job)
    meshes, jigs = fixture_meshes(job), read_jigs(job)
    evidence, findings = examine(
        job, reads, lattice, target, timings, progress, meshes, jigs, known, supposed
    )
    return evidence, findings, timings.seconds


def check_both(job: Job, change: Change, reads, cell: float, progress=None) -> tuple[tuple, tuple]:
    """Return what `check` returns for a job as it is stated, and for it with a change."""
    stated = check(job, reads, cell, progress)
    supposed = Supposed(change.words(job), tuple(stated[1]))
    return stated, check(change.of(job), reads, cell, progress, supposed=supposed)


def examine(
    job: Job,
    reads,
    lattice: Lattice,
    target,
    timings: Timings,
    progress,
    meshes=None,
    jigs=(),
    known=(),
    supposed=None,
):
    """Return evidence and findings of a job whose input is known to be usable.

    meshes: of its fixtures.  jigs: of compare.jig.  known, supposed: as for check.
    """
    evidence = _cut(job, reads, lattice, timings, progress, known)
    evidence.supposed = supposed
    evidence.meshes = meshes or {}
    if target is not None:
        with timings.stage("comparing with the target", progress):
            evidence.target, evidence.target_grid = target, TargetGrid(target)
            evidence.coarseness = coarseness(target)
            _compare(evidence)
        with timings.stage("asking what the cutters reach", progress):
            _reach(evidence)
        with timings.stage("tracing across the passes", progress):
            _cusps(evidence)
        with timings.stage("measuring walls", progress):
            _walls(evidence)
    with timings.stage("looking at the machine", progress):
        _machine(evidence, jigs)
    with timings.stage("looking for pieces that come free", progress):
        evidence.loose = _loose(evidence)
    with timings.stage("timing the moves", progress):
        evidence.effort = _effort(evidence)
    with timings.stage("watching what stands between the cuts", progress):
        evidence.stood = _stood(evidence)
    with timings.stage("lining up the sides", progress):
        _sides(evidence)
    if jigs:
        with timings.stage("laying the piece into its jig", progress):
            evidence.seats = seats(
                job,
                jigs,
                evidence.moves,
                evidence.rows,
                evidence.frames,
                evidence.starts,
                evidence.done,
                None if evidence.envelopes is None else evidence.envelopes.is_part,
            )
    with timings.stage("judging", progress):
        findings = judge(evidence, progress.fraction)
    if target is not None:
        with timings.stage("asking how much error the job bears", progress):
            evidence.budget = _budget(evidence, findings)
    return evidence, findings


def job_lattice(job: Job, cell: float) -> Lattice:
    """Return the cells of a check, edge `cell` mm.  Raises InputProblems where they do not suit."""
    lattice = blank_lattice(job.blank.length, job.blank.width, cell)
    count = lattice.nx * lattice.ny
    place = Place("command line", key="--cell")
    if count > MOST_CELLS:
        fitting = np.sqrt(job.blank.length * job.blank.width / MOST_CELLS)
        raise InputProblems(
            Problem(
                place,
                f"{cell:g} mm cells, {count:,} of them over this blank",
                f"at most {MOST_CELLS:,} cells",
                f"use --cell {np.ceil(fitting * 1000) / 1000:g} or coarser",
            )
        )
    if count < LEAST_CELLS:
        raise InputProblems(
            Problem(
                place,
                f"{cell:g} mm cells, only {count} of them over this blank",
                f"at least {LEAST_CELLS} cells",
                "use finer cells",
            )
        )
    return lattice


def _target(job: Job):
    place = Place(job.file or "command line", job.lines.get("target.mesh"), key="target.mesh")
    return load_target(job.target, job.blank, place)


def _setup_slices(moves: Moves, count: int) -> list[slice]:
    """Return the rows of each setup; setups follow one another in the table."""
    edges = np.searchsorted(moves.setup, np.arange(count + 1))
    return [slice(int(first), int(last)) for first, last in pairwise(edges)]


def cut_all(
    job: Job, moves: Moves, rows: list[slice], frames: list[Frame], lattice: Lattice, done: list[list]
) -> Field:
    """Return the blank after all setups and steps, cut from a whole blank on a lattice.

    rows[setup]: its rows of `moves`; frames[setup]: program frame -> blank frame.  done[setup]: the steps
    that follow it, as stock.steps did them on the cells of a check.
    """
    field = blank_field(lattice, job.blank.length, job.blank.width, job.blank.thickness)
    for one, frame, its in zip(rows, frames, done, strict=True):
        field = cut(field, moves[one], job.cutters, frame, first_row=one.start).field
        field = do_again(field, its)
    return field


def _cut(
    job: Job, reads, lattice: Lattice, timings: Timings, progress, known: Sequence[Known] = ()
) -> Evidence:
    moves = join_moves([read.moves for setup in reads for _, read in setup])
    rows = _setup_slices(moves, len(job.setups))
    frames = [setup.frame(job.blank) for setup in job.setups]
    field = blank_field(lattice, job.blank.length, job.blank.width, job.blank.thickness)
    starts, fields, replays, done = [], [], [], []
    for index, (setup, one, frame) in enumerate(zip(job.setups, rows, frames, strict=True)):
        starts.append(field)
        is_known = index < len(known)
        words = f"taking {setup.name} as kept" if is_known else f"cutting {setup.name}"
        with timings.stage(words, progress):
            if is_known:
                met = known[index](field, one)
            else:
                met = replay(
                    field, moves[one], job.cutters, frame, first_row=one.start, progress=progress.fraction
                )
        fields.append(met.field)
        replays.append(met)
        field, its = do_steps(met.field, job, index)
        done.append(its)

    boxes = np.ascontiguousarray(_plan_boxes(job, moves, rows, frames).T)  # asked for column by column

    def recut(window: Lattice) -> Field:
        x, y = window.x(), window.y()
        low_x, high_x, low_y, high_y = boxes
        near = (low_x <= x[-1]) & (high_x >= x[0]) & (low_y <= y[-1]) & (high_y >= y[0])
        rows_near = np.flatnonzero(near)
        chosen = moves[rows_near]
        left = cut_all(job, chosen, _setup_slices(chosen, len(job.setups)), frames, window, done)
        names = np.append(rows_near, UNCUT).astype(np.int32)  # UNCUT is the last of them
        return replace(left, lower_move=names[left.lower_move], upper_move=names[left.upper_move])

    evidence = Evidence(
        job=job,
        reads=reads,
        moves=moves,
        rows=rows,
        frames=frames,
        recut=recut,
        columns=partial(columns_after, job=job, moves=moves, rows=rows, frames=frames, done=done),
        field=field,
        starts=starts,
        fields=fields,
        replays=replays,
        done=done,
    )
    # By a weak reference: what is held in a ring is freed late, and this is some hundred MB.
    evidence.may_exceed = partial(_may_exceed, weakref.proxy(evidence))
    return evidence


def _plan_boxes(job: Job, moves: Moves, rows: list[slice], frames: list[Frame]) -> np.ndarray:
    """Return for each move a box (x low, x high, y low, y high) mm, blank frame, that holds all it cuts."""
    boxes = np.empty((len(moves), 4))
    for one, frame in zip(rows, frames, strict=True):
        seen = moves[one].in_frame(frame)
        low, high = extremes(seen)
        boxes[one, 0::2], boxes[one, 1::2] = low[:, :2], high[:, :2]
    reach = max(cutter.radius for cutter in job.cutters.values()) + 1e-6
    return boxes + np.array([-reach, reach, -reach, reach])


def _compare(evidence: Evidence) -> None:
    """Fill in everything that holds the field against the target."""
    field, grid, zones = evidence.field, evidence.target_grid, evidence.zones
    evidence.envelopes = envelopes(grid, field.lattice)
    threshold = min(min(rule.gouge, rule.leftover) for rule in zones.rules) / 2
    for side in _sides_cut(evidence):
        first = deviation(
            field, evidence.envelopes, grid, side, threshold, zones.allowance(field.lattice, side)
        )
        found = second_look(
            first,
            field,
            evidence.envelopes.side(side),
            grid,
            evidence.recut,
            *zones.limits(field.lattice, side),
            zone=zones.index(field.lattice, side),
            allowance=partial(zones.allowance, side=side),
            unproved=partial(_unproved, evidence, side),
            unclear=_unclear(evidence, side),
        )
        found = _with_tips(evidence, found, side)
        if len({frame.up for frame in evidence.frames}) > 1:
            around, gouge = evidence.envelopes.side(side), zones.limits(field.lattice, side)[0]
            left = zones.allowance(field.lattice, side)
            found = with_rims(found, grid, around, evidence.columns, gouge, None if left is None else left[0])
        evidence.deviations[side] = found
    evidence.break_through = break_through(field, evidence.envelopes)
    for side in evidence.deviations:
        offset = _offset(evidence, side)
        evidence.offsets += [offset] if offset else []
    evidence.offsets = _proved(evidence, threshold)
    evidence.outside = outline_step(field, evidence.envelopes)
    evidence.wood_outside = told_apart(field, evidence.envelopes, evidence.outside)
    if not any(offset.is_the_cause for offset in evidence.offsets):
        _other_cutters(evidence, threshold)


def _offset(evidence: Evidence, side: int, is_far: bool = False) -> SideOffset | None:
    """Return the shift that brings the cut of a side nearest to the target: compare.offset."""
    zones, lattice = evidence.zones, evidence.field.lattice
    limits, left = zones.limits(lattice, side), zones.allowance(lattice, side)
    found = evidence.deviations[side]
    return side_offset(evidence.field, evidence.envelopes, found, *limits, left, is_far)


def _proved(evidence: Evidence, threshold: float) -> list[SideOffset]:
    """Return the shifts of the sides, refuted where the side does not come right when it is cut without."""
    job, zones, moves = evidence.job, evidence.zones, evidence.moves
    lattice = blank_lattice(job.blank.length, job.blank.width, _coarse_cell(evidence, ASKED_CELLS))
    around = None

    def again(shifts: Mapping[int, tuple[float, float, float]]) -> dict[int, SideCut]:
        nonlocal around
        around = envelopes(evidence.target_grid, lattice) if around is None else around
        frames = [
            replace(one, offset=one.offset - shifts.get(1 if one.up > 0 else 2, (0.0, 0.0, 0.0)))
            for one in evidence.frames
        ]
        field, found = _cut_again(evidence, around, threshold, frames=frames)
        return {side: side_cut(field, one, *zones.limits(lattice, side)) for side, one in found.items()}

    run = np.unique(np.column_stack([moves.setup, moves.tool]), axis=0, return_inverse=True)[1].ravel()
    return proved_offsets(evidence.offsets, again, run, partial(_offset, evidence, is_far=True))


def _cut_again(
    evidence: Evidence, around: Envelopes, threshold: float, job=None, moves=None, frames=None
) -> tuple[Field, dict[int, Deviation]]:
    """Return the field and the deviations of the sides cut on other cells, those of `around`.

    job, moves, frames: what is another than in the check.
    """
    lattice = around.lattice
    field = cut_all(
        job or evidence.job,
        evidence.moves if moves is None else moves,
        evidence.rows,
        frames or evidence.frames,
        lattice,
        evidence.done,
    )
    left = {side: evidence.zones.allowance(lattice, side) for side in evidence.deviations}
    return field, {
        side: deviation(field, around, evidence.target_grid, side, threshold, one)
        for side, one in left.items()
    }


def _other_cutters(evidence: Evidence, threshold: float) -> None:
    """Fill in which cutter seems to be another than called, or of another diameter than stated.

    Asked where much is off; the diameter where no call explains it, or where both may.
    """
    job, zones, grid = evidence.job, evidence.zones, evidence.target_grid

    def seen(field: Field, around, deviations, steps) -> dict[int, Beyond]:
        limits = {side: zones.limits(field.lattice, side) for side in deviations}
        told = {side: beyond(field, found, *limits[side]) for side, found in deviations.items()}
        least = np.minimum.reduce(list(limits.values()))
        return told | {OUTER: beyond_wall(field, steps, around.is_part, *least)}

    now = seen(evidence.field, evidence.envelopes, evidence.deviations, evidence.outside)
    if all(one.part <= MANY for one in now.values()):
        return
    lattice = blank_lattice(job.blank.length, job.blank.width, _coarse_cell(evidence, ASKED_CELLS))
    around = envelopes(grid, lattice)

    def again(cutters, tool=evidence.moves.tool) -> dict[int, Beyond]:
        field, found = _cut_again(
            evidence,
            around,
            threshold,
            job=replace(job, cutters=dict(cutters)),
            moves=replace(evidence.moves, tool=tool),
        )
        return seen(field, around, found, outline_step(field, around))

    before = again(job.cutters)
    evidence.wrong_call = wrong_call(
        job.cutters, evidence.moves, evidence.calls, before, lambda tool: again(job.cutters, tool)
    )
    if evidence.wrong_call is None or evidence.wrong_call.is_all:
        evidence.other_size = other_size(job.cutters, evidence.moves.tool, before, again)


def _unproved(evidence: Evidence, side: int, is_gouge: bool, is_asked: np.ndarray) -> Unproved:
    """Return where over the asked cells a limit may be broken between the samples."""
    most = evidence.zones.limits(evidence.field.lattice, side)[0 if is_gouge else 1]
    return evidence.may_exceed(side, is_gouge, most, is_asked, with_faces=True)


def _unclear(evidence: Evidence, side: int) -> np.ndarray:
    """Return the cells of which the proof between the samples does not tell all, bool (ny, nx).

    Under lips, where nothing is left (of both sides' doing), and where something is left on purpose.
    """
    field, envelopes = evidence.field, evidence.envelopes
    is_unclear = (envelopes.void > 0) | (~field.is_solid & envelopes.is_part)
    left = evidence.zones.allowance(field.lattice, side)
    if left is not None:
        is_unclear |= (left != 0).any(axis=0)
    return ndimage.binary_dilation(is_unclear, np.ones((3, 3)))


def _with_tips(evidence: Evidence, found: Deviation, side: int) -> Deviation:
    """Return a deviation that knows what is narrow and off in cells of which the proof does not tell all."""
    zones, lattice = evidence.zones, evidence.field.lattice
    number = zones.index(lattice, side)

    def look_at(is_gouge: bool, cell, place, finest: float = FINEST) -> Look:
        return closer_look(
            evidence.recut,
            evidence.field,
            evidence.target_grid,
            side,
            cell,
            is_gouge,
            finest,
            allowance=partial(zones.allowance, side=side),
            counts=lambda window: zones.index(window, side) == number[cell],
            place=place,
        )

    is_unclear = _unclear(evidence, side) & ~np.isnan(evidence.envelopes.side(side))
    limits = dict(zip((True, False), zones.limits(lattice, side), strict=True))
    left = zones.allowance(lattice, side)
    return with_tips(found, evidence.target_grid, evidence.columns, is_unclear, limits, left, look_at)


def _may_exceed(
    evidence: Evidence,
    side: int,
    is_gouge: bool,
    most: np.ndarray,
    is_asked: np.ndarray,
    floor: float = FLOOR,
    with_faces: bool = False,
) -> Unproved:
    """Return where a deviation may be larger than `most` (ny, nx) mm: compare.between.Unproved."""
    field, grid = evidence.field, evidence.target_grid
    if side not in evidence.sweeps:
        evidence.sweeps[side] = _sweeps(evidence, side)
    sweeps = evidence.sweeps[side]
    left = evidence.zones.allowance(field.lattice, side)
    left = np.zeros((2, 1, 1)) if left is None else left
    if is_gouge:
        return sweeps.gouges(grid, most - left[0], is_asked, floor, with_faces)
    owner = field.upper_move if side == 1 else field.lower_move
    is_asked = is_asked & field.is_solid
    return sweeps.leftover(grid, most + left[1], owner, is_asked, floor, with_faces)


def _sweeps(evidence: Evidence, side: int) -> SideSweeps:
    """Return the moves that cut one side."""
    up, lattice = 1 if side == 1 else -1, evidence.field.lattice

    def sweeps(first: int, start: float) -> Sweeps:
        parts = [
            (evidence.moves[one], frame, one.start)
            for one, frame in zip(evidence.rows[first:], evidence.frames[first:], strict=True)
            if frame.up == up and one.stop > one.start
        ]
        return Sweeps(parts, evidence.job.cutters, lattice, side, start)

    face = up * evidence.job.last_body.face(up) + 0.0  # no minus before a zero
    return SideSweeps(sweeps(0, face), sweeps, evidence.done, lattice)


def _sides_cut(evidence: Evidence) -> list[int]:
    """Return the sides that some setup cuts; a side that none cuts is not judged as leftover."""
    ups = {frame.up for frame in evidence.frames}
    return [side for side, up in ((1, 1), (2, -1)) if up in ups]


def _reach(evidence: Evidence) -> None:
    """Ask what the cutters of the job, and common sizes, would leave on each side."""
    job, lattice = evidence.job, evidence.field.lattice
    cutters = [cutter for cutter in job.cutters.values() if cutter.shape != "drill"]
    for side, deviations in evidence.deviations.items():
        used = [cutter.number for cutter in evidence.carving(side)]
        evidence.reach[side] = side_reach(
            deviations,
            evidence.envelopes,
            evidence.target_grid,
            cutters,
            used,
            evidence.zones.limits(lattice, side)[1],
            job.limits.cusp,
            feeds_of(evidence.moves, used),
            evidence.zones.allowance(lattice, side),
        )


def _cusps(evidence: Evidence) -> None:
    """Trace across the passes of each side."""
    paths = plan_paths(evidence.moves, evidence.rows, evidence.frames)
    for side in evidence.deviations:
        carving = evidence.carving(side)
        if not carving:
            continue
        evidence.cusps[side] = cusps(
            evidence.field,
            evidence.envelopes,
            side,
            paths,
            _owners_heights(evidence, side),
            evidence.reach[side].is_corner,
            max(cutter.diameter for cutter in carving),
            evidence.job.limits.leftover,
        )


def _owners_heights(evidence: Evidence, side: int):
    """Return a function: heights (n,) of one side at points (n, 2), by the moves that own a cell of it.

    A move that owns no cell could lower a place between cells: these heights are never too low.
    """
    if evidence.job.steps:
        return lambda points: evidence.heights(points)[1 if side == 1 else 0]
    owner = evidence.field.upper_move if side == 1 else evidence.field.lower_move
    is_owner = np.zeros(len(evidence.moves), bool)
    is_owner[owner[owner >= 0]] = True
    parts = []
    for one, frame in zip(evidence.rows, evidence.frames, strict=True):
        rows = one.start + np.flatnonzero(is_owner[one])
        if len(rows):
            parts.append((evidence.moves[rows], frame))
    start = evidence.job.blank.thickness if side == 1 else 0.0

    def heights(points: np.ndarray) -> np.ndarray:
        found = np.full(len(points), start)
        for moves, frame in parts:
            found, _ = cut_heights(points, moves, evidence.job.cutters, frame, found)
        return found

    return heights


def _walls(evidence: Evidence) -> None:
    """Measure wall thickness of the cut and of the target up to half as much again as the limit."""
    limit = evidence.job.limits.thinnest_wall
    if limit <= 0:
        return
    lattice, field, envelopes = evidence.field.lattice, evidence.field, evidence.envelopes
    # Above 0.4 mm between looks a wall of a millimetre could be stepped over.
    stride = max(1, int(0.4 / lattice.cell))
    band = lattice.cell
    lower, upper = part_columns(field.lower, field.upper, envelopes, band)
    evidence.walls = wall_thickness(lattice, lower, upper, 1.5 * limit, stride)
    evidence.target_walls = wall_thickness(lattice, envelopes.lower, envelopes.upper, 1.5 * limit, stride)


def _machine(evidence: Evidence, jigs) -> None:
    """Hold the moves against table, travel, fixtures and jig, and what stands where they stop.

    jigs: of compare.jig.
    """
    job, blank = evidence.job, evidence.job.blank
    reach = {number: cutter.radius for number, cutter in job.cutters.items()}
    aslant = {(read.name, line) for own in evidence.reads for _, read in own for line in read.aslant}
    for index, (setup, one, frame, before, after) in enumerate(
        zip(job.setups, evidence.rows, evidence.frames, evidence.starts, evidence.fields, strict=True)
    ):
        moves = evidence.moves
        evidence.stops.append(low_stops(moves, one, frame, before, after, blank, reach, aslant))
        wood = WoodThen(moves, one, frame, job.cutters, _standing_before(evidence, index))
        told = moves.rapid[one] & (evidence.replays[index].depth > TOUCH)
        evidence.grazes.append(grazes(wood, before, told))
        evidence.first_ways.append(first_ways(wood, evidence.reads[index], 0.5 * before.lattice.cell))
        evidence.below_table.append(below_table(moves, one, frame, setup.body(blank), setup.spoilboard))
        travel = []
        if setup.machine_zero is not None:
            travel = beyond_travel(moves, one, job.machine, setup.machine_zero)
        evidence.beyond_travel.append(travel)
        to_table = setup.to_table(blank)
        clearance, cell = job.machine.clearance, before.lattice.cell
        met = fixture_contacts(
            moves, one, to_table, job.cutters, standing_in(job, index), clearance, cell, evidence.meshes
        )
        for jig in jigs:
            if jig.setup == index:
                stands = standing(setup, jig.job, jig.top, before, setup.lie(blank))
                met += jig_contacts(moves, one, to_table, job.cutters, stands, clearance, cell)
        evidence.fixture_contacts.append(met)


def _standing_before(evidence: Evidence, index: int):
    """Return a function: what stands before a setup at points (n, 2), its height and whether it does."""
    job, up = evidence.job, evidence.frames[index].up

    def start(points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        left = columns_after(
            points,
            job,
            evidence.moves,
            evidence.rows[:index],
            evidence.frames[:index],
            evidence.done[:index],
        )
        stands = (left.upper > left.lower) & (points > 0).all(axis=1)
        stands &= (points < (job.blank.length, job.blank.width)).all(axis=1)
        return (left.upper if up > 0 else left.lower), stands

    return start


def _loose(evidence: Evidence):
    """Return the pieces that come free while the job runs."""
    is_part = None if evidence.envelopes is None else evidence.envelopes.is_part
    return loose_pieces(
        evidence.job,
        evidence.moves,
        evidence.rows,
        evidence.frames,
        evidence.starts,
        evidence.fields,
        evidence.done,
        is_part,
    )


def _effort(evidence: Evidence):
    """Return how long the moves take and what they bite off."""
    dwells = [read.dwell for setup in evidence.reads for _, read in setup]
    return effort_of(
        evidence.job,
        evidence.moves,
        evidence.rows,
        evidence.frames,
        evidence.replays,
        dwells,
        evidence.starts,
    )


def _stood(evidence: Evidence) -> list:
    """Return what stood tall and thin at some moment of the job: the blank is cut again, run by run."""
    job, moves = evidence.job, evidence.moves
    lattice = blank_lattice(job.blank.length, job.blank.width, _coarse_cell(evidence, WATCHED_CELLS))
    # What is a little below the limit on coarse cells may be beyond it within its bound.
    ratio = max(job.limits.slenderness / 1.3, 1.0)
    watch = StandingWatch(ratio, job.blank.thickness / ratio)
    field = blank_field(lattice, job.blank.length, job.blank.width, job.blank.thickness)
    first = setup = 0
    for last in stage_ends(moves.tool, evidence.rows):
        for index in range(setup, int(moves.setup[first])):
            field = do_again(field, evidence.done[index])
        setup = int(moves.setup[first])
        frame = evidence.frames[setup]
        field = cut(field, moves[first:last], job.cutters, frame, first_row=first).field
        watch.look(field, last - 1)
        first = last
    return watch.stood()


def _coarse_cell(evidence: Evidence, count: int) -> float:
    """Return the edge of cells of which about `count` cover the blank, no finer than the field's."""
    blank = evidence.job.blank
    return float(max(evidence.field.lattice.cell, np.sqrt(blank.length * blank.width / count)))


def _sides(evidence: Evidence) -> None:
    """Line up the sides: dowel holes and pins, the turn that fits, the seam."""
    job = evidence.job
    evidence.holes = dowel_holes(
        job.dowels, evidence.fields[0], evidence.moves, evidence.rows, evidence.frames, job.cutters
    )
    evidence.pins = pins(evidence.holes, job.setups, job.blank)
    if evidence.target is None:
        return  # the frame's inner wall could not be told from the part's outer one
    evidence.poses = fit_poses(
        job, evidence.moves, evidence.rows, evidence.frames, evidence.envelopes, evidence.is_poured
    )
    if len({frame.up for frame in evidence.frames}) < 2:
        return
    evidence.seam = find_seam(
        evidence.field, evidence.envelopes.is_part, evidence.heights, wanted=evidence.target_grid.heights
    )
    if evidence.seam is not None and evidence.seam.worst is not None:
        fit = fit_shift(evidence.seam)
        evidence.offsets = with_seam(evidence.offsets, fit)
        step = abs(float(evidence.seam.offset[evidence.seam.worst]))
        if step > job.limits.witness_step and fit.explains(evidence.seam, evidence.seam.worst):
            # A wrong cutter stands off alike on all walls of a side; a shift does not.
            evidence.other_size = evidence.wrong_call = None


def _budget(evidence: Evidence, findings: list[Finding]):
    """Return how much error of the second side the job bears, None where that means nothing or is open."""
    if evidence.seam is None or why_not(evidence):
        return None
    if any(finding.kind == "wrong-turn" for finding in findings):
        return None
    walls = None
    if evidence.walls is not None:
        walls, evidence.may_lose = thin_wall.is_judged(evidence), thin_wall.may_lose(evidence)
    stands = [finding for finding in findings if finding.severity == "accepted" and finding.box is not None]
    return budget_of(evidence, walls, witness_step.is_judged(evidence), stands)
