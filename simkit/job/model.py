"""What a job is, once it has been read and found usable.  All lengths mm, all paths resolved."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass, field
from pathlib import Path

from simkit.cutters import Cutter
from simkit.frames import IDENTITY, Frame, shift, swung, turned
from simkit.job.budget import BudgetSpec
from simkit.job.steps import Body, Step, body_after, stands_over

CORNERS = ("left front", "right front", "left back", "right back", "centre")
FACES = ("top", "bottom")
WORK_ZEROS = ("G54", "G55", "G56", "G57", "G58", "G59", "G59.1", "G59.2", "G59.3")
BLOCK_DELETE = ("run", "skip")
PROGRAM_UNITS = ("mm", "in")
GRAINS = ("along x", "along y")
HARDNESSES = ("soft", "hard")
JOINED = ("along x", "along y", "along z")
RINGS = ("flat", "rift", "quarter")
HOLDINGS = ("tape", "vacuum", "clamp", "screw", "dowel")
FROM_BELOW = ("tape", "vacuum")  # these hold what lies on the table, the others what they cover
ANCHORS = ("origin", "low corner", "centre")
# ISO 286-1 and -2, by steps of diameters, mm: the hole is 0 to IT7 too wide, the pin between its deviation
# (g or h) and IT6 below that too narrow.  IT7 up to 6 mm from a reprint, all else from memory.
FIT_STEPS = (3.0, 6.0, 10.0, 18.0, 30.0)  # over one, up to and including the next
_IT6, _IT7 = (0.008, 0.009, 0.011, 0.013), (0.012, 0.015, 0.018, 0.021)
FITS = {"H7/g6": (0.004, 0.005, 0.006, 0.007), "H7/h6": (0.0, 0.0, 0.0, 0.0)}  # the pin's deviation


def clearance(fit: str, diameter: float) -> tuple[float, float] | None:
    """Return the least and the most clearance of a fit, mm; None where the diameter is in no step."""
    if not FIT_STEPS[0] < diameter <= FIT_STEPS[-1]:
        return None
    step = bisect_left(FIT_STEPS, diameter) - 1
    least = FITS[fit][step]
    return least, least + _IT6[step] + _IT7[step]


@dataclass(frozen=True, slots=True)
class Blank:
    """The prepared block of wood before the first cut.

    grain: one of GRAINS, "" when not stated.  hardness: one of HARDNESSES.
    cutting_force N/mm2: force for each square millimetre of chip section, None when not stated.
    """

    length: float
    width: float
    thickness: float
    species: str = ""
    grain: str = ""
    hardness: str = "hard"
    cutting_force: float | None = None


@dataclass(frozen=True, slots=True)
class Zero:
    """Where a program's X0 Y0 Z0 is, as the operator sees the blank lying in that setup.

    corner: one of CORNERS.  face: "top" of the blank as it lies, or "bottom" (the table).
    offset (x, y, z) mm: from there to the zero.
    """

    corner: str = "left front"
    face: str = "top"
    offset: tuple[float, float, float] = (0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Setup:
    """The blank held in one pose, with a work zero, and the programs run in it.

    turn: how the blank lies, against side 1 facing up ("none", "about x", "about y").  swing: how it is
        swung round on the table after that, of frames.SWINGS.
    cutter: number of the cutter for programs that call none.
    pins: places (x, y) mm, table frame, of the dowel pins of this setup; None when not stated, the
        pins then stand where the job's dowel holes were in the first setup.
    pin_height: mm over the table, None when not stated: they are not looked at then.
    work_offsets: work zero ("G55") -> (x, y, z) mm from `zero`, for programs that call it; G54 is `zero`
        itself unless it is named.
    program_units: "mm" or "in" for programs that state neither G21 nor G20; None refuses them.
    spoilboard: mm that cutters may go below the lower face of the blank as it lies; None when not stated.
    machine_zero: `zero` in machine coordinates, mm, None when not stated.
    jig: the job file of the jig that the blank is laid into, None without one.  jig_at: the left front bottom
        corner of the blank as it lies, from that of the jig's board: right, back, up, mm.
    jig_play: mm that the piece may shift in it from end to end, None when not judged.
    misplacement: of the cuts against where they should land, in the table frame.
    before: all steps done to the blank before this setup.
    """

    name: str
    programs: tuple[Path, ...]
    turn: str = "none"
    zero: Zero = Zero()
    cutter: int | None = None
    pins: tuple[tuple[float, float], ...] | None = None
    pin_height: float | None = None
    work_offsets: dict[str, tuple[float, float, float]] = field(default_factory=dict)
    program_units: str | None = None
    spoilboard: float | None = None
    machine_zero: tuple[float, float, float] | None = None
    swing: str = "none"
    jig: Path | None = None
    jig_at: tuple[float, float, float] = (0.0, 0.0, 0.0)
    jig_play: float | None = None
    misplacement: Frame = field(default=IDENTITY, compare=False)
    before: tuple[Step, ...] = field(default=(), repr=False)

    def stands_on_pins(self, first: Setup) -> bool:
        """Return whether the blank lies on dowel pins: as stated, or if it lies otherwise than at first.

        first: the job's first setup.  As long as the blank lies as there, holes are drilled or wait for pins.
        """
        is_stated = self.pins is not None or self.pin_height is not None
        return is_stated or (self.turn, self.swing) != (first.turn, first.swing)

    def body(self, blank: Blank) -> Body:
        """Return the box that the blank fills when this setup begins; blank: as it was at first."""
        return body_after(blank.length, blank.width, blank.thickness, self.before)

    @property
    def side_up(self) -> int:
        """The side of the blank that lies up, 1 or 2."""
        return 1 if self.turn == "none" else 2

    def highest(self, blank: Blank) -> float:
        """Return how high the blank, and resin over its upper face, may stand over the table, mm."""
        return self.body(blank).thickness + stands_over(self.before, self.side_up)

    def to_table(self, blank: Blank) -> Frame:
        """Return the map from this setup's program frame to its table frame."""
        across, deep = self.size_on_table(blank)
        x = {"left": 0.0, "right": across}.get(self.zero.corner.split()[0], across / 2)
        y = {"front": 0.0, "back": deep}.get(self.zero.corner.split()[-1], deep / 2)
        z = self.body(blank).thickness if self.zero.face == "top" else 0.0
        dx, dy, dz = self.zero.offset
        return shift(x + dx, y + dy, z + dz)

    def lie(self, blank: Blank) -> Frame:
        """Return the map from this setup's table frame to the blank frame, as the blank should lie."""
        body = self.body(blank)
        over = turned(self.turn, body.length, body.width, body.thickness)
        lying = over.after(swung(self.swing, body.length, body.width))
        return shift(*body.low).after(lying) if any(body.low) else lying

    def size_on_table(self, blank: Blank) -> tuple[float, float]:
        """Return how far the blank reaches to the right and to the back as it lies, mm."""
        body = self.body(blank)
        is_crosswise = self.swing.startswith("quarter")
        return (body.width, body.length) if is_crosswise else (body.length, body.width)

    def frame(self, blank: Blank) -> Frame:
        """Return the map from this setup's program frame to the blank frame."""
        return self.lie(blank).after(self.misplacement).after(self.to_table(blank))


@dataclass(frozen=True, slots=True)
class TargetSpec:
    """The wanted part as a mesh file and where it sits in the blank.

    units: of the mesh.  rotate: degrees about x, then y, then z.  anchor: the point of the rotated
    mesh (its own origin, the low corner or the centre of its bounding box) that lies at `at`, mm,
    blank frame.
    lacking mm: so much thinner than stated the blank is supposed to be (`simkit whatif`); as far as that the
    part may stand out of it.
    """

    mesh: Path
    units: str = "mm"
    rotate: tuple[float, float, float] = (0.0, 0.0, 0.0)
    anchor: str = "origin"
    at: tuple[float, float, float] = (0.0, 0.0, 0.0)
    lacking: float = 0.0


@dataclass(frozen=True, slots=True)
class Dowel:
    """A dowel hole through the blank: at (x, y) mm in the blank frame, diameter mm.

    hole, pin: measured diameters of the hole and of the pin that goes into it, mm, None when not measured.
    fit: of FITS, hole and pin made to it, for what was not measured; "" when not stated.
    """

    name: str
    at: tuple[float, float]
    diameter: float
    hole: float | None = None
    pin: float | None = None
    fit: str = ""

    def play(self, drilled: float) -> tuple[float, float] | None:
        """Return the least and the most by which the hole is wider than its pin, mm; None: not known.

        drilled mm: diameter of the hole as its cutter made it, taken when the hole was not measured.
        """
        if self.pin is None and self.fit:
            return clearance(self.fit, self.diameter)
        if self.pin is None:
            return None
        wider = (self.hole if self.hole is not None else drilled) - self.pin
        return wider, wider


@dataclass(frozen=True, slots=True)
class Limits:
    """What the person accepts, mm.

    gouge: cut into the part.  leftover: standing proud of it.  thinnest_wall.  witness_step: at the
    seam of the two sides.  dowel_miss: hole to pin.  slenderness: of a standing feature, its height as a
    multiple of its thickness (no unit).  cusp: highest ridge between passes, None when it is not judged.
    skin: what is thinner holds no piece.
    """

    gouge: float = 0.1
    leftover: float = 0.3
    thinnest_wall: float = 3.0
    witness_step: float = 0.2
    dowel_miss: float = 0.1
    cusp: float | None = None
    slenderness: float = 8.0  # common practice, no source
    finish_allowance: float = 0.0
    skin: float = 0.5  # common practice, no source


WHOLE_PART = "whole part"  # the name of what lies in no zone


@dataclass(frozen=True, slots=True)
class Zone:
    """A place in plan with its own limits; where zones overlap the later one of the job counts.

    outline: places (x, y) mm, blank frame, a closed polygon that does not cross itself.
    side: 1 or 2, None for both.  gouge, leftover, finish_allowance mm: None takes that of the whole
    part.  judged: False where the shape does not matter.
    """

    name: str
    outline: tuple[tuple[float, float], ...]
    side: int | None = None
    gouge: float | None = None
    leftover: float | None = None
    finish_allowance: float | None = None
    judged: bool = True


@dataclass(frozen=True, slots=True)
class Accepted:
    """A finding that the person lets stand, with the reason.

    id: as the check told it, "" when kind and box name it.  kind, side: as told, "" and None when not
    stated.  box (x low, y low, x high, y high) mm, blank frame.  value: the size accepted, mm.
    moves: fingerprint of the moves that cut in the box, "" when not stated.
    """

    reason: str
    id: str = ""
    kind: str = ""
    side: int | None = None
    box: tuple[float, float, float, float] | None = None
    value: float | None = None
    moves: str = ""


@dataclass(frozen=True, slots=True)
class Machine:
    """What the check needs of the machine.

    low, high (x, y, z) mm: ends of its travel in machine coordinates, None when not stated.
    clearance mm: to be kept from fixtures.
    speed (x, y, z) mm/min, acceleration (x, y, z) mm/s^2: the most that each axis does.
    rounding mm: by how much it may round a corner.  spindle_start, cutter_change: seconds for each.
    spindle (lowest, highest) rev/min, None when not stated.
    """

    low: tuple[float, float, float] | None = None
    high: tuple[float, float, float] | None = None
    clearance: float = 2.0  # common practice, no source
    # Common practice for small routers, no source: a machine has its own, on its settings page.
    speed: tuple[float, float, float] = (8000.0, 8000.0, 4000.0)
    acceleration: tuple[float, float, float] = (500.0, 500.0, 300.0)
    rounding: float = 0.02
    spindle_start: float = 4.0
    cutter_change: float = 60.0
    spindle: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Fixture:
    """Something that stands on the table, solid from `bottom` up to `height` mm: a box, or round.

    box: two opposite corners (x, y) mm in plan, table frame; or at (x, y) mm and diameter mm.
    setups: names of those in which it stands, none of them named: in all.
    bottom: mm over the table, its lowest place; what stays below it passes under it.
    mesh: a file with its form inside the box, in `units`, solid below what is seen from above.
    """

    name: str
    height: float
    setups: tuple[str, ...] = ()
    box: tuple[tuple[float, float], ...] | None = None
    at: tuple[float, float] | None = None
    diameter: float | None = None
    mesh: Path | None = None
    units: str = "mm"
    bottom: float = 0.0

    @property
    def box_in_plan(self) -> tuple[float, float, float, float]:
        """Return x low, x high, y low, y high, mm."""
        if self.box is not None:
            (ax, ay), (bx, by) = self.box
            return min(ax, bx), max(ax, bx), min(ay, by), max(ay, by)
        (x, y), r = self.at, self.diameter / 2
        return x - r, x + r, y - r, y + r

    def stands_in(self, setup: Setup) -> bool:
        """Return whether it stands there in a setup."""
        return not self.setups or setup.name in self.setups


@dataclass(frozen=True, slots=True)
class Holding:
    """What keeps the wood in place: kind of HOLDINGS, over an outline in plan, table frame.

    box: two opposite corners (x, y) mm; or outline: corners (x, y) mm; or at (x, y) mm and diameter mm.
    setups: names of those in which it holds, none of them named: in all.
    grip N/mm2: sideways force that tape or vacuum bears for each square millimetre, None when not stated.
    """

    kind: str
    setups: tuple[str, ...] = ()
    box: tuple[tuple[float, float], ...] | None = None
    outline: tuple[tuple[float, float], ...] | None = None
    at: tuple[float, float] | None = None
    diameter: float | None = None
    grip: float | None = None

    def stands_in(self, setup: Setup) -> bool:
        """Return whether it holds in a setup."""
        return not self.setups or setup.name in self.setups


@dataclass(frozen=True)
class Layup:
    """The boards a blank is glued up from, side by side along `joined` (of JOINED), from the low end on.

    boards: size of each along that direction, mm, in the blank that is ready to cut.  rings: of RINGS,
    "" when not stated.  run: of GRAINS, the direction of their length, another than `joined`.
    jointing mm: taken off each face that is glued.  planing mm: off each outer face.  saw mm: its kerf.
    ends mm: sawn off each end.
    """

    joined: str
    boards: tuple[float, ...]
    rings: str = ""
    jointing: float = 0.5  # these four: common practice, no source
    planing: float = 1.5
    saw: float = 3.0
    ends: float = 10.0
    run: str = "along x"

    @property
    def axis(self) -> int:
        """The axis along which the boards lie side by side: 0, 1 or 2 for x, y or z."""
        return JOINED.index(self.joined)

    def across(self, blank: Blank) -> float:
        """Return the size of the blank square to that direction and to the boards' length, mm."""
        if self.axis != 2:
            return blank.thickness
        return blank.width if self.run == "along x" else blank.length

    def is_edge_to_edge(self, board: float, blank: Blank) -> bool:
        """Return whether a board of `boards` is wider along `joined` than it is thick across it."""
        return board > self.across(blank)


@dataclass(frozen=True)
class Job:
    """Everything a check needs to know but the text of the programs and the triangles.

    name: for people.  file: the job file as the user wrote it, or "" when there is none.
    lines, columns: key path -> where it stands in the job file, for findings and messages that point there
        ("setups[1].turn" -> 31).
    unit: the unit plain numbers of the job file are in.
    harmless_words: words of programs that do nothing on this control ("M106", "MSG").
    block_delete: "run" or "skip", for blocks with /.  arc_tolerance: mm, by how much an arc may contradict
        itself; None: what its decimals explain.  spindle_by_hand: no M3 is missed in the programs.
    zones: in the order of the file.  accepted: findings that do not fail the check.
    machine, fixtures: what is on and round the table.  holding: what keeps the wood in place.
    layup: the boards of the blank, None when not stated.
    budget: the errors reckoned with when the second side is cut, None when none is stated.
    steps: what is done to the blank between the setups and after the last, in order.
    """

    name: str
    blank: Blank
    cutters: dict[int, Cutter]
    setups: tuple[Setup, ...]
    target: TargetSpec | None = None
    dowels: tuple[Dowel, ...] = ()
    limits: Limits = Limits()
    file: str = ""
    unit: str = "mm"
    harmless_words: tuple[str, ...] = ()
    block_delete: str = "run"
    arc_tolerance: float | None = None
    spindle_by_hand: bool = False
    zones: tuple[Zone, ...] = ()
    accepted: tuple[Accepted, ...] = ()
    machine: Machine = Machine()
    fixtures: tuple[Fixture, ...] = ()
    holding: tuple[Holding, ...] = ()
    layup: Layup | None = None
    budget: BudgetSpec | None = None
    lines: dict[str, int] = field(default_factory=dict)
    columns: dict[str, int] = field(default_factory=dict)
    steps: tuple[Step, ...] = ()

    def body(self, done: int) -> Body:
        """Return the box that the blank fills after the first `done` steps."""
        blank = self.blank
        return body_after(blank.length, blank.width, blank.thickness, self.steps[:done])

    def steps_after(self, index: int) -> list[tuple[int, Step]]:
        """Return the steps done after a setup has run, each with its number in `steps`."""
        return [(number, step) for number, step in enumerate(self.steps) if step.after == index]

    @property
    def last_body(self) -> Body:
        """The box that the blank fills at the end of the job."""
        return self.body(len(self.steps))
