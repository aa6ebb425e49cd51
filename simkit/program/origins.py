"""Words that say where coordinates count from, or lead to places outside them.

G43 H and G49, G53, G54 to G59.3, G92 and G92.1, G28 and G30.  Source: NISTIR 6556 (2000), sections 3.2
and 3.5; where the machine's own places lie is not known here, and a notice says what is assumed.
"""

from __future__ import annotations

from simkit.program import vocabulary as voc
from simkit.program.block import Block
from simkit.program.state import ARRIVAL, AXES, RAPID, State

MOVES_ZERO = "G92 moves the zero"  # how the notice of such a shift begins


class Origins(State):
    """The state, with the words that shift the zero."""

    # -- length offset --------------------------------------------------------------------

    def _set_length(self, block: Block) -> None:
        """Do G43, G49 and H.  Z is the height of the tip, so G43 changes no row."""
        key, at = block.key(voc.LENGTH), block.at
        if key == 430 and "H" not in at:
            index = block.g[voc.LENGTH][1]
            expected = "the number of the length behind it"
            block.problem(index, " with no H", expected, "write G43 H1, with the number of the cutter")
            return
        if "H" in at:
            value = block.values["H"]
            if value < 0.0 or value != int(value):
                expected = "the whole number of a length offset"
                block.problem(at["H"], "", expected, "write the cutter's number, such as H1")
                return
        if key == 490:
            if self._has_length:
                self._blind["Z"] = "G49"
                place = block.place(block.g[voc.LENGTH][1])
                self.lengths.append((self._row_count(), None, place.line, place.column))
            self._has_length = False
        elif key == 430 or ("H" in at and self._has_length):
            if self._z is not None and (not self.lengths or self.lengths[-1][1] != int(block.values["H"])):
                self._stale_z = f"G43 H{int(block.values['H'])}"
            if self._names_height and not self._has_length and key == 430:
                expected = "G43 before it, for the control adds the length to the zero that G92 named"
                about = " behind a G92 with Z and no length offset in force"
                remedy = "write G43 and H before the G92, or leave Z out of it"
                block.problem(block.g[voc.LENGTH][1], about, expected, remedy)
                self._lose_place()
            if not self.lengths and self._has_cut():
                text = (
                    "G43 behind cuts without a length offset: those behind it and those before it count from "
                    f"one zero only if the length {int(block.values['H'])} is none"
                )
                self._notice_once("late length", block, block.g[voc.LENGTH][1], text)
            self._has_length = True
            if self._blind.get("Z") == "G49":
                del self._blind["Z"]
            place = block.place(at["H"])
            self.lengths.append((self._row_count(), int(block.values["H"]), place.line, place.column))
            if key == 430:
                text = "G43: the tip of the cutter is taken to be at the Z that is programmed"
                self._notice_once("length", block, block.g[voc.LENGTH][1], text)
        if "H" in at and not self._has_length:
            text = f"{block.written(at['H'])} does nothing without G43"
            self._notice("H", block, at["H"], text)

    # -- zeros ----------------------------------------------------------------------------

    def _set_work_zero(self, block: Block) -> None:
        key, index = block.g[voc.WORK_ZERO]
        name = voc.written(key)
        self.work_zeros_seen.setdefault(name, block.place(index))
        offset = self.options.work_offsets.get(name, (0.0, 0.0, 0.0) if name == "G54" else None)
        if offset is None:
            if name not in self.told:
                self.told.add(name)
                expected = "the place of this work zero, for it stands in the control"
                new = f'"{name}" = [0, 0, 0]'
                line = (
                    f"{new} to the work_offsets of"
                    if self.options.work_offsets
                    else (f"work_offsets = {{ {new} }} to")
                )
                line = self.options.where_to_say(f"{line} the setup", f"--work-offset {name}=0,0,0")
                remedy = f"add {line}, with the true distance from its zero"
                block.problem(index, " (a work zero)", expected, remedy)
            # One that is in force already changes nothing.
            self._is_doubtful |= name != self._work_zero
            offset = (0.0, 0.0, 0.0)
        self._work_zero, self._work = name, list(offset)
        self._set_shift()

    def _set_g92(self, block: Block) -> None:
        """G92: the present place gets the coordinates written."""
        index = block.g[voc.GROUP_0][1]
        letters = [letter for letter in AXES if letter in block.at]
        if not letters:
            remedy = "write it as G92 X0 Y0 Z0, or delete it"
            block.problem(index, " with no axis words", "the coordinates of the present place", remedy)
            return
        for letter in letters:
            if self._at(letter) is None and (letter in self._away or letter in self._blind):
                since = self._away.get(letter) or self._blind[letter]
                about = f" where {letter} is not known since {since}"
                expected = "a known place, for G92 names the place where the cutter stands"
                remedy = "write G92 before it, or state the zero in the job file"
                block.problem(block.at[letter], about, expected, remedy)
                return
        scale = self._scale
        if scale is None:
            if any(block.values[letter] for letter in letters):
                self._need_units(block, block.at[letters[0]])
            scale = 1.0
        if "Z" in letters and not self._has_length:
            self._names_height = True
        had_all, old_shift = None not in (self._x, self._y, self._z), (*self._work, *self._g92)
        first = [letter for letter in letters if self._at(letter) is None]
        for letter in letters:
            value = block.values[letter] * scale
            old = self._at(letter)
            k = AXES.index(letter)
            if old is None:
                self._named_at_start.add(letter)
                self._put(letter, value)
                old = value
            self._g92[k] = old - value - self._work[k]
            self._blind.pop(letter, None)
        self._set_shift()
        if first:
            places = " ".join(block.written(block.at[letter])[1:-1] for letter in first)
            text = (
                f"G92 before {_joined(first)} moved: the cutter is taken to stand at {places} of this setup"
            )
            self._notice("G92 at the start", block, index, text)
        if (*self._work, *self._g92) != old_shift and len(first) < len(letters):
            text = MOVES_ZERO + ": coordinates behind it count from {} mm from the zero of this setup"
            shift = ", ".join(f"{v:g}" for v in (self._shift_x, self._shift_y, self._shift_z))
            self._notice("G92", block, index, text.format(shift))
        if not had_all and None not in (self._x, self._y, self._z):
            self._add(block, (self._x, self._y, self._z), ARRIVAL, 0.0)

    def _cancel_g92(self, block: Block) -> None:
        """G92.1: the zero is where it was before any G92."""
        index = block.g[voc.GROUP_0][1]
        if any(self._g92):
            text = "G92.1 takes the shift of G92 back: coordinates behind it count from the work zero again"
            self._notice("G92.1", block, index, text)
        self._g92, self._names_height = [0.0, 0.0, 0.0], False
        for letter in self._named_at_start:
            # The work zero of the control and the place the operator chose: nothing says how they lie.
            self._blind[letter] = "G92.1"
        self._set_shift()

    # -- machine places -------------------------------------------------------------------

    def _go_by_way(self, block: Block) -> None:
        """G28 and G30: to the place written, if any, then to a machine place."""
        index = block.g[voc.GROUP_0][1]
        letters = [letter for letter in AXES if letter in block.at]
        point = [self._x, self._y, self._z]
        for letter in letters:
            value, old = block.values[letter], self._at(letter)
            if self._scale is None and value:
                self._need_units(block, block.at[letter])
            value *= self._scale or 1.0
            if self._is_incremental:
                end = None if old is None else old + value
            else:
                end = None if letter in self._blind else value + self._shift(letter)
            point[AXES.index(letter)] = end
        if None not in point and point != [self._x, self._y, self._z]:
            has_start = None not in (self._x, self._y, self._z)
            self._add(block, point, RAPID if has_start else ARRIVAL, 0.0)
        word, height = block.written(index)[1:-1], self._z
        # The standard sends all axes, many controls those that are written: none counts as known.
        self._leave(AXES, word)
        if letters and "Z" not in letters and height is not None:
            text = _sideways(word, height) + "; X, Y and Z are unknown until they are programmed again"
        else:
            text = (
                f"{word} goes to a machine place not known here: taken as a retract that leaves the work; "
                "X, Y and Z are unknown until they are programmed again"
            )
        self._notice("machine place", block, index, text)

    def _go_to_machine_place(self, block: Block) -> None:
        """G53: the axes written go to machine coordinates."""
        index = block.g[voc.GROUP_0][1]
        letters = [letter for letter in AXES if letter in block.at]
        if self._motion not in (0, 1):
            expected = "G0 or G1 with G53, which says how to go there"
            block.problem(index, " with neither G0 nor G1 in force", expected, "write it as G53 G0 Z0")
            self._lose_place()
            return
        if not letters:
            return
        unknown = f"{_joined(letters)} {'is' if len(letters) == 1 else 'are'} unknown until programmed again"
        text = (
            "G53 goes to a machine place not known here: taken as a retract that leaves the work; " + unknown
        )
        if "Z" not in letters and self._z is not None:
            text = f"{_sideways('G53', self._z)}; {unknown}"
        self._leave(letters, "G53")
        self._notice("machine place", block, index, text)

    def _leave(self, letters, word: str) -> None:
        for letter in letters:
            self._put(letter, None)
            self._away[letter] = word

    def _put(self, letter: str, value: float | None) -> None:
        if letter == "X":
            self._x = value
        elif letter == "Y":
            self._y = value
        else:
            self._z = value

    # -- ends of motions ------------------------------------------------------------------

    def _end(self, block: Block, letter: str, old: float | None) -> float | None:
        """Return where the motion of this block ends along one axis, mm; None when not known."""
        if letter not in block.values:
            return old
        value = block.values[letter] * self._scale
        if not self._is_incremental:
            if letter in self._blind:
                word = self._blind[letter]
                text = (
                    f"{block.written(block.at[letter])} behind {word} says no place known here: "
                    f"taken as a retract that leaves the work; {letter} is unknown from here on"
                )
                self._notice(f"blind {word}", block, block.at[letter], text)
                self._away[letter] = word
                return None
            return value + self._shift(letter)
        if old is None:
            since = self._away.get(letter)
            about = (
                f" in G91 where {letter} is not known since {since}"
                if since
                else f" in G91 before any absolute {letter}"
            )
            expected = f"G90 for the first {letter}, for nothing says where the machine stands"
            remedy = "begin with rapids in G90, such as G90 G0 Z20 and G0 X0 Y0"
            self._problem_once("axes", block, block.at[letter], about, expected, remedy)
            return None
        return old + value

    def _need_start(self, block: Block, index: int) -> None:
        """See to it that a cutting move has a start, or tell that it has none."""
        unknown = [name for name, old in zip(AXES, (self._x, self._y, self._z), strict=True) if old is None]
        if not unknown:
            return
        since = {self._away[name] for name in unknown if name in self._away}
        about = f" in a cutting move that starts at an unknown {', '.join(unknown)}"
        if since:
            about += f" since {_joined(sorted(since))}"
        expected = "rapids that say where X, Y and Z are before the first cut"
        remedy = "begin the program with rapids such as G0 Z20 and G0 X0 Y0"
        if since:
            expected = "rapids that say where X, Y and Z are before the next cut"
            remedy = "write rapids such as G0 X0 Y0 and G0 Z20 before it"
        if since & {"G49", "G92.1"}:
            expected = (
                "the zeros that the other cuts count from, for where this one lies stands in the control"
            )
            remedy = "write G43 and H before it" if "G49" in since else "delete G92.1, or move it to the end"
        self._problem_once("axes", block, index, about, expected, remedy)
        self._x, self._y, self._z = self._x or 0.0, self._y or 0.0, self._z or 0.0
        self._is_doubtful = True


def _sideways(word: str, height: float) -> str:
    return (
        f"{word} goes sideways, at the Z {height:g} mm (from the setup's zero) where the tip stands, to a "
        "machine place not known here: what it meets on the way is not checked"
    )


def _joined(names) -> str:
    names = list(names)
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]
