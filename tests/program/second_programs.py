"""Good programs made at random, with all the accepted words, for the two readers to agree on.

The maker runs each block on the second reader as it writes it, so it knows where the tip stands.  What both
readings would have to guess (an F in the block of its unit, P of a dwell inside a drilling cycle) it avoids.
"""

from __future__ import annotations

import cmath
import copy
import math

import numpy as np

from tests.program.second_reader import (
    CENTRE,
    CYCLES,
    INCH,
    PLANES,
    Machine,
    Reading,
    without_comments,
    words_of,
)

OFFSETS = {
    "G54": (1.0, -2.0, 0.5),
    "G55": (100.0, -5.0, 2.0),
    "G56": (-20.0, 30.0, 0.0),
    "G57": (3.0, 3.0, -3.0),
    "G58": (0.0, 0.0, 7.0),
    "G59": (-1.25, 0.0, 0.0),
    "G59.1": (0.0, 12.5, -1.0),
    "G59.2": (8.0, 8.0, 8.0),
    "G59.3": (-0.1, -0.2, -0.3),
}
HARMLESS = ("M106", "MSG")
IDLE = ["G40", "G61", "G61.1", "G64", "M7", "M8", "M9", "M48", "M49", "M0", "M1", "M60", "D1"]
KINDS = {
    "line": 8,
    "arc": 6,
    "circle": 1.5,
    "hole": 3,
    "more_holes": 3,
    "dwell": 1,
    "change": 1,
    "spindle": 1,
    "feed_mode": 1,
    "shift": 1.5,
    "home": 1.2,
    "work_zero": 1.5,
    "modes_alone": 2,
    "idle": 1,
    "length": 0.7,
}


class Maker:
    """Writes one program, block by block."""

    def __init__(self, seed: int):
        self.random = np.random.default_rng(seed)
        self.offsets = {name: OFFSETS[name] for name in OFFSETS if name != "G54" or self.chance(0.3)}
        self.skip_deleted = self.chance(0.3)
        self.unit_stated = self.pick(["mm", "in"]) if self.chance(0.1) else None
        self.has_changes = self.chance(0.85)
        self.machine = Machine(self.unit_stated, self.offsets)
        self.lines = []
        self.needs_feed = True
        self.is_height_old = (
            False  # behind a change of cutter or length: simkit wants a Z before the next cut
        )
        self.has_length = self.names_height = False
        self.decimals = 3
        self.style = self.random.uniform(0, 1, 3)

    def chance(self, share: float) -> bool:
        return bool(self.random.uniform() < share)

    def pick(self, items):
        items = list(items)
        return items[int(self.random.integers(len(items)))]

    def some(self, items, least=0) -> list:
        items = list(items)
        count = int(self.random.integers(least, len(items) + 1))
        return [items[k] for k in sorted(self.random.permutation(len(items))[:count])]

    # -- writing --

    def number(self, value: float) -> str:
        """Write a value in one of the ways a number can be written."""
        text = f"{value:.{self.decimals}f}"
        if self.chance(0.5) and "." in text:
            text = text.rstrip("0")
            text = text.rstrip(".") if self.chance(0.5) else text
        sign, digits = ("-", text[1:]) if text[0] == "-" else (self.pick(["", "", "", "+"]), text)
        if digits.startswith("0.") and len(digits) > 2 and self.chance(0.3):
            digits = digits[1:]
        elif self.chance(0.05):
            digits = "0" + digits
        return sign + digits

    def block(self, words: list[str]) -> None:
        """Write words in random order, spacing and case, some with a line number or comments."""
        self.is_height_old |= bool({"M6", "G43"} & set(words))
        # Behind a G92 that names Z with no length in force simkit refuses G43.
        self.has_length = (self.has_length or "G43" in words) and "G49" not in words
        if "G92" in words and not self.has_length and any(word[0] == "Z" for word in words):
            self.names_height = True
        self.names_height &= "G92.1" not in words
        words = [words[k] for k in self.random.permutation(len(words))]
        if self.chance(0.1):
            words = [w[0] + "0" + w[1:] if w[0] in "GM" and w[1:].isdigit() else w for w in words]
        if self.chance(0.05):
            words = [w[0] + " " + w[1:] for w in words]
        if self.chance(0.08):
            words.insert(int(self.random.integers(len(words) + 1)), self.pick(["(G0 X9)", "(a; b)", "( )"]))
        gap = "" if self.style[0] < 0.3 else self.pick([" ", " ", "  ", "\t"])
        text = gap.join(words)
        if self.style[1] < 0.2:
            text = f"N{len(self.lines) * 10 + 10}{gap}{text}"
        if self.style[2] < 0.2:
            text = text.lower()
        self.write(text + self.pick([""] * 12 + [" ; X1 (", "(end)", " "]))
        if self.chance(0.03):
            self.write(self.pick(["", "(G1 X5)", "; G1 X5", "N7", "M106 S7", "MSG X5 turn", " \t"]))

    def write(self, line: str) -> None:
        """Add a line and run it."""
        self.lines.append(line)
        if line == "%":
            return
        words = words_of(without_comments(line), HARMLESS, self.skip_deleted)
        if words:
            self.machine.run(words, len(self.lines))

    # -- what a block says beside its motion --

    def modes(self, is_few=False) -> list[str]:
        """Words that change how the rest of the block is meant; `then` is the machine behind them."""
        words = []
        if self.chance(0.15):
            words.append(self.pick(["G90", "G91"]))
        if self.chance(0.12):
            words.append(self.pick(["G90.1", "G91.1"]))
        if self.chance(0.12):
            words.append(f"G{self.pick(PLANES)}")
        if self.chance(0.08) and not is_few:
            words.append(self.pick(self.offsets))
        if self.chance(0.03) and not self.machine.named_by_operator and not is_few:
            words.append("G92.1")
        return words

    def beside(self, has_dwell=True, may_change=False) -> list[str]:
        """Words beside a motion that change nothing about where it goes."""
        words = []
        if self.chance(0.003) and has_dwell:  # the standard lets it; simkit refuses it
            words += ["G4", f"P{self.random.uniform(0, 5):.3f}"]
        if self.chance(0.08) and self.machine.feed_mode != 95:
            words += [f"S{self.random.integers(1, 20000)}"]
        if self.chance(0.08):
            words += [self.pick(["M3", "M4"])]
            words += (
                [f"T{self.random.integers(1, 9)}", "M6"]
                if self.chance(0.5) and self.has_changes and may_change
                else []
            )
        elif self.chance(0.05):
            words += [f"T{self.random.integers(1, 9)}"]
        if self.chance(0.05) and "Z" not in self.machine.lost and may_change:
            words += ["G43", "H1"]
        if self.chance(0.1):
            words.append(self.pick(["G40", "M7", "M9", "M48", "M0", "M1", "G61"]))
        return words

    def after(self, words: list[str]) -> Machine:
        """Return the machine as it would be behind a block of modes alone."""
        then = copy.copy(self.machine)
        then.reading, then.lost = Reading(), set(then.lost)
        then.run(words_of("".join(words)), 0)
        return then

    def feed_words(self, is_cut: bool, length: float = 20.0) -> list[str]:
        mode, scale = self.machine.feed_mode, self.machine.scale
        if mode == 93:
            return [f"F{self.random.uniform(0.5, 900) / length:.4f}"] if is_cut else []
        if not (is_cut and self.needs_feed) and not self.chance(0.1):
            return []
        self.needs_feed = False
        value = self.random.uniform(100, 3000) / scale / (900 if mode == 95 else 1)
        return [f"F{value:.{4 if mode == 95 else 1}f}"]

    def axis_words(self, then: Machine, place: dict) -> list[str]:
        """Words for a place in mm, as the modes have it."""
        words = []
        for axis, value in place.items():
            origin = then.zero(axis) if then.is_absolute else then.place[axis]
            words.append(axis + self.number((value - origin) / then.scale))
        return words

    def motion_word(self, number: int) -> list[str]:
        return [f"G{number}"] if self.machine.motion != number or self.chance(0.3) else []

    # -- the kinds of blocks --

    def any_block(self) -> None:
        """Write one block, or the few that belong together."""
        self.decimals = (4 if self.machine.scale == INCH else 3) if self.chance(0.5) else 9
        if None in self.machine.place.values():
            return self.find_place()
        if self.is_height_old:
            return self.find_height()
        names = list(KINDS)
        weights = np.array([KINDS[name] for name in names])
        return getattr(self, self.random.choice(names, p=weights / weights.sum()))()

    def find_place(self) -> None:
        """Rapids in any order to axes whose place is not known."""
        unknown = [axis for axis in "XYZ" if self.machine.place[axis] is None]
        words = ["G90"] if not self.machine.is_absolute else []
        words += ["G43", "H1"] if "Z" in self.machine.lost else []
        then = self.after(words)
        known = [axis for axis in "XYZ" if axis not in unknown]
        axes = [*self.some(unknown, least=1), *(self.some(known) if self.chance(0.3) else [])]
        self.block([*words, *self.motion_word(0), *self.axis_words(then, self.place_near(axes))])

    def find_height(self) -> None:
        """A rapid to a height."""
        words = [] if self.machine.is_absolute else ["G90"]
        words += ["G43", "H1"] if "Z" in self.machine.lost else []
        self.block([*words, "G0", *self.axis_words(self.after(words), self.place_near("Z"))])
        self.is_height_old = False

    def place_near(self, axes) -> dict:
        low_high = {"X": (-80, 80), "Y": (-80, 80), "Z": (-8, 25)}
        return {axis: self.random.uniform(*low_high[axis]) for axis in axes}

    def line(self) -> None:
        number = self.pick([0, 1, 1])
        words = self.modes()
        if self.chance(0.05) and self.machine.motion in CYCLES:
            words.append("G80")
        then = self.after([w for w in words if w != "G80"])
        axes = [axis for axis in self.some("XYZ", least=1) if axis not in self.machine.lost]
        if not axes:
            return
        if number == 0 and self.chance(0.06):
            words.append(self.pick(["G20", "G21"]))
            then, self.needs_feed = self.after([w for w in words if w != "G80"]), True
        motion = [f"G{number}"] if "G80" in words else self.motion_word(number)
        place = self.place_near(axes)
        feed = [] if {"G20", "G21"} & set(words) else self.feed_words(number == 1)
        self.block(
            [*words, *motion, *self.axis_words(then, place), *feed, *self.beside(may_change=number == 0)]
        )

    def arc(self) -> None:
        words = self.modes(is_few=self.decimals == 3)
        then = self.after(words)
        first, second, third = PLANES[then.plane]
        if {first, second} & then.lost:
            return
        sense = self.pick([-1, 1])
        start = complex(then.place[first], then.place[second])
        arm = cmath.rect(self.random.uniform(0.6, 30), self.random.uniform(0, math.tau))
        sweep = sense * self.random.uniform(0.06, math.tau - 0.06)
        kept = [first, second]
        if self.chance(0.15):  # one axis ends where it began: its word may be left out
            left_out = int(self.random.integers(2))
            kept.pop(left_out)
            mirrored = -arm.conjugate() if left_out else arm.conjugate()
            turn = sense * cmath.phase(mirrored / arm) % math.tau
            if not 0.06 < turn < math.tau - 0.06:
                return
            sweep = sense * turn
        centre = start - arm
        end = centre + arm * cmath.exp(1j * sweep)
        parts = {first: end.real, second: end.imag}
        place = {axis: parts[axis] for axis in kept}
        if self.chance(0.3) and third not in then.lost:
            place.update(self.place_near([third]))
        if self.chance(0.3) and abs(abs(sweep) - math.pi) > 0.05:
            radius = abs(arm) * (1 if abs(sweep) < math.pi else -1)
            words.append("R" + self.number(radius / then.scale))
        else:
            words += self.centre_words(then, centre)
        words += self.motion_word(3 if sense > 0 else 2)
        self.block(
            [*words, *self.axis_words(then, place), *self.feed_words(True, abs(arm * sweep)), *self.beside()]
        )

    def centre_words(self, then: Machine, centre: complex) -> list[str]:
        first, second, third = PLANES[then.plane]
        words = []
        for axis, value in ((first, centre.real), (second, centre.imag)):
            origin = then.zero(axis) if then.is_centre_absolute else then.place[axis]
            words.append(CENTRE[axis] + self.number((value - origin) / then.scale))
        return [*words, *([CENTRE[third] + "0"] if self.chance(0.1) else [])]

    def circle(self) -> None:
        """A full circle or a helix of one turn, its axis words written, written in part or left out."""
        words = self.modes(is_few=True)
        then = self.after(words)
        first, second, third = PLANES[then.plane]
        arm = self.pick([-1, 1, 1j, -1j]) * self.random.uniform(0.6, 30)
        start = complex(then.place[first], then.place[second])
        if then.is_centre_absolute:
            words += self.centre_words(then, start - arm)
        else:
            axis, value = (first, -arm.real) if arm.real else (second, -arm.imag)
            words.append(CENTRE[axis] + self.number(value / then.scale))
        place = self.place_near([third]) if self.chance(0.4) and third not in then.lost else {}
        if not then.is_absolute and self.chance(0.4):
            words += [axis + "0" for axis in self.some([first, second])]
        words += [f"G{self.pick([2, 3])}"]
        words += [*self.axis_words(then, place), *self.feed_words(True, abs(arm) * math.tau)]
        self.block([*words, *self.beside()])

    def hole(self) -> None:
        """The first block of a cycle."""
        if self.machine.feed_mode == 93 or "Z" in self.machine.lost:
            return
        number = self.pick(CYCLES)
        words = [
            f"G{number}",
            *self.some([self.pick(["G98", "G99"])]),
            *(["G90"] if self.chance(0.4) else []),
        ]
        words += ["G17"] if self.machine.plane != 17 or self.chance(0.1) else []
        then = self.after([w for w in words if w != f"G{number}"])
        r = then.place["Z"] + self.random.uniform(-15, 3)
        depth = self.random.uniform(0.5, 12)
        if then.is_absolute:
            words += ["R" + self.number((r - then.zero("Z")) / then.scale)]
            words += ["Z" + self.number((r - depth - then.zero("Z")) / then.scale)]
        else:
            words += ["R" + self.number((r - then.place["Z"]) / then.scale)]
            words += ["Z" + self.number(-depth / then.scale)]
        if number in (73, 83):
            words.append("Q" + self.number(depth / self.random.uniform(0.7, 8) / then.scale))
        if number in (82, 86, 89):
            words.append(f"P{self.random.uniform(0, 3):.2f}")
        words += [*self.repeats(then), *self.beside(has_dwell=False)]
        self.block([*words, *self.axis_words(then, self.place_near(self.some("XY"))), *self.feed_words(True)])

    def repeats(self, then: Machine) -> list[str]:
        return [f"L{self.random.integers(1, 4)}"] if self.chance(0.2 if then.is_absolute else 0.4) else []

    def more_holes(self) -> None:
        """Another block of the cycle in force."""
        machine = self.machine
        if machine.motion not in CYCLES or "R" not in machine.cycle or machine.feed_mode == 93:
            return self.line()
        if machine.plane != 17 or "Z" in machine.lost:
            return None
        words = [self.pick(["G98", "G99"])] if self.chance(0.1) else []
        words += self.motion_word(machine.motion)
        words += [*self.repeats(machine), *self.beside(has_dwell=False)]
        if machine.motion in (82, 86, 89) and self.chance(0.2):
            words.append(f"P{self.random.uniform(0, 3):.2f}")
        place = self.place_near(self.some("XY", least=1))
        return self.block([*words, *self.axis_words(machine, place), *self.feed_words(True)])

    def dwell(self) -> None:
        self.block(["G4", f"P{self.random.uniform(0, 5):.3f}", *self.some(["M8"])])

    def change(self) -> None:
        """A change of cutters, in one block or several."""
        self.leave_feed_per_turn()
        if not self.has_changes:
            return self.block([f"T{self.random.integers(1, 9)}"])
        tool = f"T{self.random.integers(1, 9)}"
        start = [f"S{self.random.integers(1, 20000)}", self.pick(["M3", "M3", "M4"])]
        if self.chance(0.3):
            return self.block([tool, "M6", *start])
        self.block([tool])
        self.line()
        self.block(["M6"])
        if self.chance(0.5):
            self.find_height()
        return self.block(start)

    def spindle(self) -> None:
        self.leave_feed_per_turn()
        if self.chance(0.2):
            self.block(["M5"])
            self.block(["G0", *self.axis_words(self.machine, self.place_near("XY"))])
        self.block([self.pick(["M3", "M4"]), *self.some([f"S{self.random.integers(1, 20000)}"])])

    def leave_feed_per_turn(self) -> None:
        if self.machine.feed_mode == 95:
            self.block(["G94", f"F{self.random.integers(10, 999)}"])

    def feed_mode(self) -> None:
        mode = self.pick([93, 94, 94, 95])
        if mode == 93 and self.machine.motion in CYCLES:
            self.block(["G80"])
        self.needs_feed = True
        if self.chance(0.5) and not self.machine.lost:
            words = [f"G{mode}", "G1", *self.axis_words(self.machine, self.place_near("XYZ"))]
            self.machine.feed_mode = mode
            return self.block([*words, *self.feed_words(True)])
        self.block([f"G{mode}"])
        if self.chance(0.7):
            axes = [axis for axis in "XYZ" if axis not in self.machine.lost]
            self.block(["G1", *self.axis_words(self.machine, self.place_near(axes)), *self.feed_words(True)])
        return None

    def shift(self) -> None:
        """G92 and G92.1, the latter alone or with a motion."""
        if self.chance(0.6):
            scale = self.machine.scale
            axes = [axis for axis in self.some("XYZ", least=1) if axis not in self.machine.lost]
            if axes:
                self.block(["G92", *(a + self.number(self.random.uniform(-30, 30) / scale) for a in axes)])
        elif not self.machine.named_by_operator:
            self.block(["G92.1"])

    def home(self) -> None:
        axes = self.some("XYZ", least=1)
        if self.chance(0.5):
            self.block(["G53", self.pick(["G0", "G1"]), *(axis + self.number(0) for axis in axes)])
            return
        if self.machine.lost:
            return
        words = [self.pick(["G28", "G30"])]
        if self.chance(0.5):
            words += [*(["G91"] if self.machine.is_absolute else []), *(a + "0" for a in axes)]
        elif self.chance(0.5):
            words += self.axis_words(self.machine, self.place_near(axes))
        self.block(words)

    def work_zero(self) -> None:
        self.block([self.pick(self.offsets)])

    def modes_alone(self) -> None:
        other = self.pick(["G0", "G1", "G2", "G3", "G40", "G80"])
        self.block(self.modes() or [other])

    def idle(self) -> None:
        word = self.pick(IDLE)
        words = self.some([word, *(["M8"] if word != "M9" else []), "G40"], least=1)
        self.block(list(dict.fromkeys(words)))

    def length(self) -> None:
        """A length offset; sometimes off and on again."""
        if self.names_height and not self.has_length:
            return
        self.block(["G43", "H1"])
        if self.chance(0.2):
            self.block(["G49"])
            self.block(["G0", *self.axis_words(self.machine, self.place_near("X"))])
            self.block(["G43", "H1"])

    def unit(self) -> None:
        if self.machine.motion in CYCLES:
            self.block(["G80"])
        self.block([self.pick(["G20", "G21"])])
        self.needs_feed = True


def made_program(seed: int) -> tuple[str, dict]:
    """Return the text of a program, and what else its readers have to know."""
    maker = Maker(seed)
    head = [
        *([] if maker.unit_stated else [maker.pick(["G20", "G21"])]),
        "G90",
        *maker.some(["G17", "G40", "G49", "G80", "G94", "G0"]),
    ]
    if maker.chance(0.4):
        maker.write("%")
    maker.block(head)
    cutter = None if maker.chance(0.8) else int(maker.random.integers(1, 9))
    if cutter is None or maker.chance(0.3):
        maker.block([f"T{maker.random.integers(1, 9)}", *(["M6"] if maker.has_changes else [])])
    maker.block([f"S{maker.random.integers(1, 20000)}", maker.pick(["M3", "M4"])])
    if maker.chance(0.15):
        maker.block(["G92", *(axis + maker.number(maker.random.uniform(-9, 9)) for axis in "XYZ")])
    for _ in range(int(maker.random.integers(10, 40))):
        maker.any_block()
        if maker.chance(0.05):
            maker.unit()
        if maker.chance(0.03) and None not in maker.machine.place.values() and not maker.machine.lost:
            line = "/G0" + "".join(maker.axis_words(maker.machine, maker.place_near("XYZ")))
            maker.write(line)
    maker.write(maker.pick(["M30", "M2", "m30", "%", "M30 G53 G0 Z0"]))
    text = maker.pick(["", "", "\ufeff"]) + maker.pick(["\n", "\r\n", "\r"]).join([*maker.lines, ""])
    stated = {"units": maker.unit_stated, "cutter": cutter}
    return text, {**stated, "work_offsets": maker.offsets, "skip_deleted": maker.skip_deleted}
