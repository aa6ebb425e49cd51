"""The tables of a result as types: the seam, what the cutters reach, ridges, time and bite.  See forms.py."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

Place = tuple[float, float, float]


def told(words: str, **more: Any) -> Any:
    """Return a field with the words that describe it."""
    return field(metadata={"help": words, **more})


@dataclass(frozen=True, slots=True)
class Lie:
    """How the cuts of side 1 lie against those of side 2."""

    shift: tuple[float, float] = told("mm")
    turn_degrees: float = told("degrees")
    about: tuple[float, float] = told("mm")
    is_observable: tuple[bool, ...] = told("shift in x, in y, turn")
    bound: tuple[float | None, ...] = told("of the same three")
    rms: float = told("mm, what is left unexplained")


@dataclass(frozen=True, slots=True)
class Seam:
    """The line where the two sides meet."""

    stations: tuple[Place, ...] = told("places along it")
    contour: tuple[int, ...] = told("to which contour each belongs")
    normal: tuple[tuple[float, float], ...] = told("outward, at each station")
    offset: tuple[float, ...] = told("mm, the step at each station")
    bound: tuple[float, ...] = told("mm, of each")
    left_out: int = told("stations that tell nothing")
    worst: int | None = told("index of the station with the highest step")
    side_1_against_side_2: Lie = told("the shift that fits the steps best")


@dataclass(frozen=True, slots=True)
class Seat:
    """How the piece seats in the jig of a setup; places and shifts in the frame of the jig's board."""

    setup: str = told("the setup that names the jig")
    piece: str = told("which piece of the blank; with its middle where that is in several")
    drops_in: bool = told("whether upright walls let it in")
    room: float | None = told(
        "mm, between upright walls at the best place, negative: missing; None: no walls"
    )
    room_bound: float = told("mm")
    stands_up: float = told("mm above its stated height, negative: below")
    stands_up_bound: float = told("mm")
    shift: tuple[float, float] = told("mm, from its stated place to where it settles")
    turn_degrees: float = told("the same")
    first_contact: Place = told("where it touches first, one of the places, in the middle")
    first_contact_bound: float = told("mm, in plan")
    rests_on: Literal["table", "jig", "table and jig"] = told("what bears it")
    mass_centre: tuple[float, float] = told("where its weight acts")
    tips: float = told("mm by which that lies outside what it rests on; negative: inside")
    play_shift: tuple[float, float, float, float] | None = told("mm, to the left, right, front, back")
    play_turn: tuple[float, float] | None = told("degrees, to the left and right")
    relief: tuple[tuple[tuple[float, float], ...], ...] = told(
        "outlines of what to take off the jig, but for its holes"
    )
    relief_holes: tuple[tuple[tuple[tuple[float, float], ...], ...], ...] = told(
        "of each outline of the relief those within it of what may stay"
    )


@dataclass(frozen=True, slots=True)
class Stand:
    """How much still stands."""

    worst: float = told("mm")
    bound: float = told("mm")
    area: float = told("mm2 over the limit")


@dataclass(frozen=True, slots=True)
class ReachRow:
    """What a cutter would leave on a side."""

    cutter: str = told("in words")
    used: str = told("whether the side uses it, only the job has it, or it is a common size")
    alone: Stand | None = told("what it must leave wherever it goes")
    with_it: Stand = told("what is left once it has gone over every spot too")
    gain: float = told("mm2 over the limit that it would lower")
    stepover: float | None = told("mm, for the wanted ridge")
    feed: float | None = told("mm/min")
    minutes: float | None = told("an estimate")


@dataclass(frozen=True, slots=True)
class Waiting:
    """What later passes still cut."""

    after: str = told("the program")
    area: float = told("mm2")


@dataclass(frozen=True, slots=True)
class ReachSide:
    """What the cutters leave on a side."""

    side: int = told("1 or 2")
    area_by_cause: dict[str, float] = told("mm2 over the limit, by 'cutter' and 'program'")
    rows: tuple[ReachRow, ...] = told("as programmed first")
    waiting: tuple[Waiting, ...] = told("after each program but the last")


@dataclass(frozen=True, slots=True)
class Reach:
    """What each cutter leaves at best."""

    wanted_cusp: float = told("mm, that stepovers are for")
    note: str = told("in words")
    sides: tuple[ReachSide, ...] = told("those judged")


@dataclass(frozen=True, slots=True)
class CuspRow:
    """Ridges between the passes of one cutter in one zone of a side."""

    side: int = told("1 or 2")
    zone: str = told("name")
    cutter: str = told("in words")
    sites: int = told("traces that tell something")
    area: float = told("mm2")
    typical: float = told("mm")
    worst: float = told("mm")
    bound: float = told("mm")
    at: Place | None = told("of the worst")
    stepover: float | None = told("mm")
    direction: float | None = told("degrees")
    wanted: float = told("mm, the wanted ridge")
    wanted_stepover: float | None = told("mm")
    volume: float = told("mm3 in the ridges")
    sanding: float = told("minutes, a rough estimate")
    file: str = told("program of the worst")
    line: int | None = told("in it")


@dataclass(frozen=True, slots=True)
class Cusps:
    """Ridges between passes."""

    wanted: float = told("mm")
    note: str = told("in words")
    rows: tuple[CuspRow, ...] = told("by side, zone and cutter")


@dataclass(frozen=True, slots=True)
class HeldFeed:
    """Feed moves that the machine runs slower than their F."""

    by: Literal["X", "Y", "Z", "arc"] = told("the axis, or the turn of an arc")
    feed: float = told("mm/min, the highest F")
    reached: float = told("mm/min, the most there")
    part: float = told("of the way of the cutter's feed moves")


@dataclass(frozen=True, slots=True)
class CutterTime:
    """Where the time of one cutter in a program goes, minutes."""

    cutter: int | None = told("number")
    minutes: float = told("in all")
    in_wood: float | None = told("of cutting")
    air: float | None = told("of cutting")
    cutting: float = told("in feed moves")
    rapids: float = told("in rapids")
    standing: float = told("changes of cutter, spindle starts")
    changes: int = told("how many")
    spindle_starts: int = told("how many")
    feed_not_reached: float = told("part of the way on which moves are too short to reach their feed")
    held: tuple[HeldFeed, ...] = told("moves that an axis keeps below their F, however long")
    lost: float = told("minutes lost by both")


@dataclass(frozen=True, slots=True)
class Operation:
    """What a program does between two retracts to the safe height with one cutter, minutes."""

    cutter: int | None = told("number")
    first: int = told("line of its first feed move")
    last: int = told("line of its last one")
    lowest: float = told("mm, z of the program")
    stretches: int = told("how many, one behind the other, are taken together: of one depth, or in levels")
    levels: int = told("how many depths, each deeper than the one before and over the same place")
    minutes: float = told("in all, standing not counted")
    in_wood: float | None = told("of the feed moves")
    air: float | None = told("of the feed moves")
    rapids: float = told("in rapids")


@dataclass(frozen=True, slots=True)
class OtherOperations:
    """Operations that are not told one by one."""

    count: int = told("how many")
    minutes: float = told("of all of them")


@dataclass(frozen=True, slots=True)
class ProgramTime:
    """Where the time of a program goes, minutes."""

    program: str = told("file")
    minutes: float = told("in all")
    dwell: float = told("of these in dwells")
    cutters: tuple[CutterTime, ...] = told("in order")
    operations: tuple[Operation, ...] = told("the longest, in order")
    other_operations: OtherOperations = told("the rest")


@dataclass(frozen=True, slots=True)
class Time:
    """How long the work takes, minutes."""

    minutes: float = told("in all")
    programs: tuple[ProgramTime, ...] = told("one each")
    machine: dict[str, Any] = told("the figures it was reckoned with")
    note: str = told("what was assumed")


@dataclass(frozen=True, slots=True)
class Held:
    """What tape and vacuum hold of a piece when a setup has run, by the figures of the job: a caution."""

    setup: str = told("name")
    piece: str = told("what it is called")
    by: tuple[str, ...] = told("tape, vacuum")
    also: tuple[str, ...] = told("what else holds it, not counted")
    area: float = told("mm2 left under the piece")
    area_bound: float = told("mm2")
    bears: float | None = told("N, area times grip; None where a grip is not stated")
    bears_bound: float | None = told("N")
    force: float | None = told("N, the largest cutting force along passes, an estimate")
    force_is_mean: bool | None = told("the mean of a turn, not that of one moment")
    file: str | None = told("program of that force")
    line: int | None = told("in it")


@dataclass(frozen=True, slots=True)
class BiteRow:
    """What a cutter bites off in a setup; None where it makes no whole pass, or nothing is known."""

    setup: str = told("name")
    cutter: str = told("in words")
    volume: float = told("mm3")
    depth: float = told("mm, the deepest")
    width: float | None = told("mm, the widest")
    width_bound: float | None = told("mm")
    engagement: float | None = told("degrees")
    mean_width: float | None = told("mm")
    per_tooth: tuple[float, float] | None = told("mm, least and most feed for each edge")
    chip_range: tuple[float, float] | None = told("mm, stated or usual")
    chip_range_stated: bool = told("the job states it")
    thickest_chip: float | None = told("mm, across the edge")
    mean_chip: float | None = told("mm, across the edge")
    removal: float = told("mm3/min, the most")
    removal_bound: float = told("mm3/min")
    climb: float | None = told("part of the volume")
    conventional: float | None = told("part of the volume")
    power: float | None = told("W, an estimate")
    force: float | None = told("N, an estimate")
    file: str = told("program of the most removal")
    line: int = told("in it")


@dataclass(frozen=True, slots=True)
class Bite:
    """What the cutters bite off."""

    usual_source: str = told("of usual chip loads")
    hardness: str = told("of the wood")
    rows: tuple[BiteRow, ...] = told("by setup and cutter")
    not_judged: tuple[str, ...] = told("what is not judged of which cutter, and why")


@dataclass(frozen=True, slots=True)
class Along:
    """What happens along a program, stretch by stretch; lists of equal length."""

    program: str = told("file")
    minutes: tuple[float, ...] = told("since its start")
    removal: tuple[float, ...] = told("mm3/min")
    per_tooth: tuple[float | None, ...] = told("mm")
    thickest_chip: tuple[float | None, ...] = told("mm")
    climb: tuple[int, ...] = told("1 climbing, -1 conventional, 0 neither")
    feed: tuple[float, ...] = told("mm/min reached")
    cutter: tuple[int, ...] = told("numbers")
    line: tuple[int, ...] = told("of the program")


@dataclass(frozen=True, slots=True)
class Faster:
    """Something that could be faster."""

    kind: str = told("of advice")
    words: str = told("one sentence")
    minutes: float = told("that it costs, an estimate")
