"""The words of one line, sorted by what they are, before anything is done with them.

Refuses here what is wrong in any program: unknown words, repeated words, two words of one modal group,
and words that belong to no other in their block.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from simkit.errors import Place, Problem
from simkit.program import refusals
from simkit.program import vocabulary as voc
from simkit.program.arc_planes import PLANES
from simkit.program.words import Word, quoted, scan

LARGEST_NUMBER = 1e7  # beyond any machine; keeps sums and int32 columns safe
REFUSED_MOTION = -1  # motion mode: set by a word that was refused
MOST_M_WORDS = 4  # in one block, NISTIR 6556
MOST_WORDS = 100  # in one block: two of each letter and some more; what is longer is no program


@dataclass(slots=True)
class Block:
    """One line that holds words.

    words: letter and number, such as "X-1.5".  problems: those of the whole program, added to.
    After sort(): at, letter -> index of its word; values, letter -> number; g and m, modal group ->
    (key, index of its word); refused: what was refused.  is_spoilt: a problem stands in this block, so
    what it would have done is not certain.
    """

    file: str
    number: int
    line: str
    words: list[str]
    problems: list[Problem]
    is_spoilt: bool = False
    at: dict[str, int] = field(default_factory=dict)
    values: dict[str, float] = field(default_factory=dict)
    g: dict[int, tuple[int, int]] = field(default_factory=dict)
    m: dict[int, tuple[int, int]] = field(default_factory=dict)
    refused: list[refusals.Refusal] = field(default_factory=list)
    _scanned: list[Word] | None = None

    def _word(self, index: int) -> Word:
        if self._scanned is None:
            self._scanned = scan(self.line)[0]
        return self._scanned[index]

    def place(self, index: int) -> Place:
        """Return where a word of this block stands."""
        return Place(self.file, self.number, self._word(index).start + 1)

    def written(self, index: int) -> str:
        """Return a word of this block as it was written, in quotes."""
        word = self._word(index)
        return quoted(self.line[word.start : word.end])

    def problem(self, index: int, about: str, expected: str, remedy: str) -> None:
        """Tell of the word at `index`; `about` is said right behind the word."""
        found = self.written(index) + about
        self.problems.append(Problem(self.place(index), found, expected, remedy))
        self.is_spoilt = True

    def key(self, group: int) -> int | None:
        """Return the key of the G word of a modal group, None when there is none."""
        return self.g[group][0] if group in self.g else None

    def sort(self, harmless_remedy: Callable[[str], str]) -> None:
        """Fill at, values, g, m and refused from the words.

        harmless_remedy: of an unknown M word, what makes it count as harmless.
        """
        m_count = 0
        if len(self.words) > MOST_WORDS:
            about, expected = (
                f", word number {MOST_WORDS + 1} of a block",
                f"at most {MOST_WORDS} words in a block",
            )
            self.problem(
                MOST_WORDS, about, expected, "check where this file comes from; post the program again"
            )
            self.words = []  # what each of them would say helps nobody
        for index, word in enumerate(self.words):
            letter = word[0]
            if letter == "G":
                self._sort_code(index, self.g, voc.G_GROUPS, refusals.REFUSED_G)
            elif letter == "M":
                m_count += 1
                self._sort_code(index, self.m, voc.M_GROUPS, refusals.REFUSED_M, harmless_remedy)
                if m_count == MOST_M_WORDS + 1:
                    expected = f"at most {MOST_M_WORDS} M words in a block"
                    self.problem(index, f", M word number {m_count} here", expected, "write two blocks")
            elif letter == "N":
                self._check_line_number(index, word)
            elif letter in refusals.REFUSED_LETTERS:
                self._refuse(index, refusals.REFUSED_LETTERS[letter])
            elif letter in self.at:
                self._second(index, letter)
            else:
                self.at[letter] = index
        coolant, mist = self.m.get(voc.COOLANT), self.m.get(voc.MIST)
        if coolant and mist and coolant[0] == 90:
            first, second = sorted((coolant[1], mist[1]))
            self._two_of_a_group(second, first, voc.COOLANT)
        for letter, index in self.at.items():
            value = float(self.words[index][1:])
            if abs(value) > LARGEST_NUMBER:
                expected = f"a number up to {LARGEST_NUMBER:.0f}"
                self.problem(index, "", expected, "correct the number, or post the program again")
                value = 0.0
            self.values[letter] = value

    def _sort_code(self, index, found, groups, refused, harmless_remedy=None) -> None:
        key = voc.code_key(self.words[index][1:])
        group = groups.get(key)
        if group is None:
            self._refuse(index, refused.get(key) or refusals.unknown(self.words[index], harmless_remedy))
        elif group == voc.MOTION and self._ends_cycle(found.get(group), key):
            # Common usage: G80 ends a cycle, and the other word says how to go on.
            found[group] = found[group] if key == 800 else (key, index)
        elif group in found:
            self._two_of_a_group(index, found[group][1], group)
            if group == voc.MOTION:
                self.refused.append(refusals.TWO_MOTIONS)
        else:
            found[group] = (key, index)

    def _ends_cycle(self, first: tuple[int, int] | None, key: int) -> bool:
        """Tell whether a second kind of motion and the first are G80 and one of G0 to G3."""
        return first is not None and min(first[0], key) <= 30 and max(first[0], key) == 800

    def _refuse(self, index: int, refusal: refusals.Refusal) -> None:
        self.problem(index, f" ({refusal.what})", refusal.expected, refusal.remedy)
        self.refused.append(refusal)

    def _check_line_number(self, index: int, word: str) -> None:
        if index > 0:
            expected = "a line number at the start of its line"
            self.problem(index, " behind other words", expected, "start a new line before it, or delete it")
        elif not word[1:].isdigit():
            self.problem(index, "", "a line number of digits alone", "delete the line number")

    def _second(self, index: int, letter: str) -> None:
        expected = (
            f"{letter} once in a block, for nothing says whether it or {self.written(self.at[letter])} holds"
        )
        self.problem(index, f", a second {letter} word", expected, "delete one of them, or write two blocks")

    def _two_of_a_group(self, index: int, first: int, group: int) -> None:
        expected = f"at most one of {voc.GROUP_NAMES[group]} in a block"
        remedy = "delete one of them, or write two blocks"
        self.problem(index, f" in one block with {self.written(first)}", expected, remedy)

    def check_letters(self, motion: int | None, plane: int) -> None:
        """Refuse I J K R P Q and L where nothing in the block or the mode in force gives them a meaning.

        motion: 0 to 3 or a cycle, the mode in force for this block; None for none; REFUSED_MOTION.
        plane: 17, 18 or 19, in force for this block.
        """
        if self.refused or motion == REFUSED_MOTION:
            return
        suspended = None
        if self.key(voc.GROUP_0) in voc.NO_MOTION:
            motion, suspended = None, motion
        is_arc, is_cycle = motion in (2, 3), motion in voc.CYCLES
        is_of_path = self.key(voc.PATH) == 640
        if "P" in self.at and is_of_path and motion in voc.DWELLING:
            expected = f"a P that belongs to one word: to G64 or to the dwell of G{motion}"
            self.problem(self.at["P"], " in one block with G64 and a cycle", expected, "write two blocks")
        elif "P" in self.at and is_of_path and self.key(voc.GROUP_0) == 40:
            expected = "a P that belongs to one word: to G64 or to G4"
            self.problem(self.at["P"], " in one block with G64 and G4", expected, "write two blocks")
        elif "P" in self.at and not is_of_path and self.key(voc.GROUP_0) != 40 and motion not in voc.DWELLING:
            if is_cycle:
                remedy = "write G82 if a dwell at the bottom is meant, else delete it"
                about, expected = f" in {voc.written(10 * motion)}", "P only with G4, G64, G82, G86 and G89"
                self.problem(self.at["P"], about, expected, remedy)
            elif is_arc:
                expected = "at most one turn in a block"
                remedy = "write each turn as a block of its own"
                self.problem(self.at["P"], " (an arc of several turns)", expected, remedy)
            else:
                remedy = "delete it, or write the G4 it belongs to"
                expected = "P only with G4, G64 or a cycle that dwells"
                self.problem(self.at["P"], " with no word it belongs to", expected, remedy)
        if "L" in self.at and not is_cycle:
            expected, remedy = "L only with a cycle", "write repeats out as moves, or delete it"
            self.problem(self.at["L"], " with no cycle it repeats", expected, remedy)
        if "Q" in self.at and is_of_path and motion not in voc.PECKING:  # common usage of some controls
            expected = "P alone with G64, for Q means something else on other controls"
            self.problem(self.at["Q"], " with G64", expected, "delete it: everything is checked as written")
        elif "Q" in self.at and motion not in voc.PECKING:
            expected = "Q only with G73 and G83, which drill in steps"
            self.problem(
                self.at["Q"],
                " with no drilling in steps",
                expected,
                "write G83 if steps are meant, else delete it",
            )
        if is_arc:
            kind = PLANES[plane]
            if self.values.get(kind.other, 0.0) != 0.0:
                other = "G18 or G19" if plane == 17 else "G17"
                self.problem(
                    self.at[kind.other],
                    f" in an arc of the {kind.name} plane",
                    f"a centre given by {kind.centre}",
                    f"delete it, or write {other} if an arc in another plane is meant",
                )
        else:
            for letter in "IJK" if is_cycle else "IJKR":
                if letter not in self.at:
                    continue
                about = " in a block that is no arc"
                remedy = "write G2 or G3 if an arc is meant, else delete it"
                expected = f"{letter} only with G2 or G3" + (" or a cycle" if letter == "R" else "")
                if is_cycle and letter == "K":  # some controls' word for repeats; common practice, no source
                    about, expected = f" in {voc.written(10 * motion)}", "L for the repeats of a cycle"
                    remedy = f"write L{self.words[self.at['K']][1:]} if repeats are meant, else delete it"
                elif suspended in (2, 3):
                    word = self.written(self.g[voc.GROUP_0][1])
                    about = f" in one block with {word}, which makes no arc of it"
                    remedy = f"write the arc in a block without {word[1:-1]}, or delete {letter}"
                self.problem(self.at[letter], about, expected, remedy)
