"""What is in force while a program is read, and where its rows, problems and notices go."""

from __future__ import annotations

from array import array
from collections.abc import Mapping
from dataclasses import dataclass, field

from simkit.errors import Place, Problem
from simkit.program import refusals
from simkit.program.block import Block
from simkit.program.notices import Notices
from simkit.units import MM_PER_UNIT

PROBLEM_LIMIT = 50
ROW = ("x", "y", "z", "code", "feed", "line", "centre x", "centre y", "sweep")
# "centre x", "centre y": in the order of the arc's plane (moves.table.PLANE_AXES).  Values of "code": ARC
# in plane 17, 18 and 19 in turn.  ARRIVAL: a rapid whose start is not known; as a move it has no length.
RAPID, FEED, ARC, ARC_ZX, ARC_YZ, ARRIVAL = 0.0, 1.0, 2.0, 3.0, 4.0, 5.0
AXES = "XYZ"
OFF, ON, NO_SPEED = range(3)  # of the spindle; NO_SPEED: switched on with S0, so it stands


@dataclass(frozen=True, slots=True)
class Options:
    """What the job, or the person who asks, says about how a program is meant.

    work_offsets: work zero ("G55") -> (x, y, z) mm from the setup's zero; G54 is the setup's zero unless
        it is named here.  skip_deleted: blocks with / are passed over instead of run.
    harmless_words: "M106", "MSG": they, and what belongs to them on their line, do nothing.
    arc_tolerance: mm, by how much an arc may contradict itself; None: what its decimals explain.
    spindle_by_hand: the spindle is switched on by hand, so no M3 is missed.
    needs_cutter: a cutting move with no cutter chosen is a problem; else it is told and has number 0.
    has_job_file: a job file says all this; else the options of the command line do, and messages name them.
    """

    work_offsets: Mapping[str, tuple[float, float, float]] = field(default_factory=dict)
    skip_deleted: bool = False
    harmless_words: tuple[str, ...] = ()
    arc_tolerance: float | None = None
    spindle_by_hand: bool = False
    needs_cutter: bool = True
    has_job_file: bool = True

    def where_to_say(self, in_job: str, in_words: str) -> str:
        """Return how a message tells what to write: into the job file, or as an option."""
        return in_job if self.has_job_file else in_words


class State:
    """Modal state, and what a run collects.

    name, lines: as split_lines gives them.  units: "mm", "in" or None, in force until the program
    states its own.  stated_cutter: the one that cuts where the program names none.
    rows: array of float64, len(ROW) numbers per move, mm and mm/min; each move starts where the one before
    ended.  tool_words, changes: (row, tool, line, column) of every T and M6.  spindle: (row, signed
    rev/min, OFF, ON or NO_SPEED), in force from that row on.  lengths: (row, H, line, column), H None
    from G49 on.  told: what is missing in the program and already told, or hidden behind another
    problem.
    """

    def __init__(
        self,
        name: str,
        lines: list[str],
        units: str | None,
        options: Options | None = None,
        stated_cutter: int | None = None,
    ):
        self.name = name
        self.lines = lines
        self.options = options or Options()
        self.rows = array("d")
        self.problems: list[Problem] = []
        self.notices = Notices()
        self.units_seen: dict[str, int] = {}  # and the line that first states each
        self.work_zeros_seen: dict[str, Place] = {}  # at their first word
        self.tool_words: list[tuple[int, int, int, int]] = []
        self.changes: list[tuple[int, int, int, int]] = []
        self.spindle: list[tuple[int, float, int]] = []
        self.lengths: list[tuple[int, int | None, int, int]] = []
        self.dwell = 0.0  # sum of all P
        self.rests: list[int] = []  # rows so far at every dwell
        self.exact_stops: list[tuple[int, bool]] = []  # rows so far, whether G61.1 is in force from there on
        self.aslant: list[int] = []  # lines of arrivals that do not come straight down over a known X and Y
        self.opening: list[tuple[int, float | None, float | None, float | None, int | None]] = []
        self.leaning: list[int] = []  # lines of cycles that take their G, R, Z, P or Q from an earlier block
        self.deleted_count = 0
        self.largest_mismatch = 0.0
        self.largest_mismatch_line: int | None = None
        self.has_end = False
        self.block_count = 0
        self.told: set[str] = set()
        self.unknown_words: list[str] = []  # that the job may call harmless
        self._is_unit_used = False
        self._speed: float | None = None  # of S; None: set by hand
        self.speeds_called: list[tuple[float, int, int]] = []  # S, line, column of each that changes it
        self._turning = 0
        self._coolants: set[str] = set()  # M7 and M8, those that are on
        self._path = ""  # G61, G61.1 or G64, the last one
        self._path_tolerance: float | None = None  # P of that G64, mm
        self._stated_cutter = stated_cutter
        self.call_line: int | None = None  # of the first subprogram called
        self.has_unread = False  # text that could not be read, so anything may be missing
        self._tool: int | None = None
        self._is_doubtful = False  # the position may be wrong, for a problem stands before

        # ==== What decides how a block of G0, G1, G2 or G3 is read. ================================
        # A compiled reader mirrors these; `leaves_common` says when it may read on.
        self._x: float | None = None  # the tip, mm from the setup's zero; None where not known
        self._y: float | None = None
        self._z: float | None = None
        self._unit = units
        self._scale = MM_PER_UNIT[units] if units else None
        self._is_incremental: bool | None = None  # G91; None: neither G90 nor G91 yet
        # Absolute words count from here: work zero (G54 to G59.3) and G92 together, mm.
        # An end point is value * scale + shift, in this order, in G90; old + value * scale in G91.
        self._shift_x = 0.0
        self._shift_y = 0.0
        self._shift_z = 0.0
        self._stale_z = ""  # what has changed the cutter or its length since Z was programmed
        self._blind: dict[str, str] = {}  # axis -> word since which its absolute words say no known place
        self._motion: int | None = None  # 0 to 3, or a cycle (73 to 89); None after G80; REFUSED_MOTION
        self._plane = 17
        self._is_centre_absolute = False  # G90.1
        self._feed_mode = 94
        self._feed: float | None = None  # mm/min in G94, mm per turn in G95, None in G93
        # arc tolerance: options.arc_tolerance, when it is not None, in place of arcs.tolerance
        # ==== end ==================================================================================

        self._is_ended = False  # G80 has ended a motion
        self._feed_loss = ""  # what made the last F void
        self._work_zero = "G54"
        self._work = list(self.options.work_offsets.get("G54", (0.0, 0.0, 0.0)))
        self._g92 = [0.0, 0.0, 0.0]
        self._named_at_start: set[str] = set()  # axes whose zero G92 stated before they moved
        self._away: dict[str, str] = {}  # axis -> word that took it to a machine place
        self._has_length = False
        self._names_height = False  # G92 named Z with no length in force
        self._set_shift()

    @property
    def leaves_common(self) -> bool:
        """Tell whether the modes leave lines, rapids and arcs to a short way of reading them."""
        return not self._blind and not self._stale_z and (self._motion is None or 0 <= self._motion <= 3)

    @property
    def place(self) -> tuple[float | None, float | None, float | None]:
        """Where the tip stands, mm from the setup's zero; None where that is not known."""
        return self._x, self._y, self._z

    @property
    def place_lost_by(self) -> str:
        """The word that took Z to a place not known here; "" when none did."""
        return self._away.get("Z", "") if self._z is None else ""

    def _set_shift(self) -> None:
        self._shift_x, self._shift_y, self._shift_z = (
            work + shift for work, shift in zip(self._work, self._g92, strict=True)
        )

    def _shift(self, letter: str) -> float:
        return {"X": self._shift_x, "Y": self._shift_y, "Z": self._shift_z}[letter]

    def _at(self, letter: str) -> float | None:
        return {"X": self._x, "Y": self._y, "Z": self._z}[letter]

    def _problem_once(
        self, kind: str, block: Block, index: int, about: str, expected: str, remedy: str
    ) -> None:
        """Tell of something missing in the program, at the first word that needs it."""
        if not block.is_spoilt and kind not in self.told:
            self.told.add(kind)
            found = block.written(index) + about
            self.problems.append(Problem(block.place(index), found, expected, remedy))

    def _notice_once(self, kind: str, block: Block, index: int, text: str) -> None:
        """Tell of something that holds from here on, at the first word that says so."""
        if kind not in self.notices:
            self.notices.once(kind, block.place(index), text)

    def _notice(self, kind: str, block: Block, index: int, text: str) -> None:
        """Tell of something that holds for this word alone."""
        self.notices.add(kind, block.place(index), text)

    def _has_cut(self) -> bool:
        """Tell whether a cutting move was read."""
        return any(code not in (RAPID, ARRIVAL) for code in self.rows[ROW.index("code") :: len(ROW)])

    def _row_count(self) -> int:
        return len(self.rows) // len(ROW)

    def _add(
        self, block: Block, end, code: float, feed: float, centre=(0.0, 0.0), sweep: float = 0.0
    ) -> None:
        self.rows.extend((*end, code, feed, block.number, *centre, sweep))

    def _need_units(self, block: Block, index: int) -> None:
        expected = "G21 (mm) or G20 (inch) first, for a forgotten inch makes everything 25.4 times wrong"
        place = self.options.where_to_say("program_units in the job", "give --units mm or --units in")
        remedy = f"write G21 or G20 at the top of the program, or {place}"
        self._problem_once("units", block, index, " before the units are set", expected, remedy)

    def _harmless_remedy(self, word: str) -> str:
        """Return what makes an unknown word count as harmless, as a clause in the imperative."""
        if word not in self.unknown_words:
            self.unknown_words.append(word)
        # One line for all of them, for the job file takes a key once.
        line = refusals.harmless_line(*self.options.harmless_words, *self.unknown_words)
        return "if it moves nothing, " + self.options.where_to_say(line, f"add --harmless {word}")

    def _lose_place(self) -> None:
        """Hold nothing against later blocks that the motion not read here may have settled."""
        self._is_doubtful = True
        self.told |= {"axes", "mode"}
