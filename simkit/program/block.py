"""The words of one line, sorted by what they are, before anything is done with them.

Refuses here what is wrong in any program: unknown words, repeated words, two words of one modal group,
and words that belong to no other in their block.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from simkit.errors import Place, Problem
from simkit.program import vocabulary as voc
from simkit.program.words import Word, quoted, scan

LARGEST_NUMBER = 1e7  # beyond any machine; keeps sums and int32 columns safe
MOST_M_WORDS = 4  # in one block, NISTIR 6556
REFUSED_MOTION = -1  # motion mode: set by a word that was refused


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
    refused: list[voc.Refusal] = field(default_factory=list)
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

    def sort(self) -> None:
        """Fill at, values, g, m and refused from the words."""
        m_count = 0
        for index, word in enumerate(self.words):
            letter = word[0]
            if letter == "G":
                self._sort_code(index, self.g, voc.G_GROUPS, voc.REFUSED_G, voc.UNKNOWN_G)
            elif letter == "M":
                m_count += 1
                self._sort_code(index, self.m, voc.M_GROUPS, voc.REFUSED_M, voc.UNKNOWN_M)
                if m_count == MOST_M_WORDS + 1:
                    expected = f"at most {MOST_M_WORDS} M words in a block"
                    self.problem(index, f", M word number {m_count} here", expected, "write two blocks")
            elif letter == "N":
                self._check_line_number(index, word)
            elif letter in voc.REFUSED_LETTERS:
                # H, D, L and Q belong to a G word: its refusal has said it all.
                self._refuse(index, voc.REFUSED_LETTERS[letter], bool(self.refused) and letter in "HDLQ")
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

    def _sort_code(self, index, found, groups, refusals, unknown) -> None:
        key = voc.code_key(self.words[index][1:])
        group = groups.get(key)
        if group is None:
            self._refuse(index, refusals.get(key, unknown))
        elif group in found:
            self._two_of_a_group(index, found[group][1], group)
        else:
            found[group] = (key, index)

    def _refuse(self, index: int, refusal: voc.Refusal, is_told: bool = False) -> None:
        if not is_told:
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
        expected = f"one word of a modal group ({voc.GROUP_NAMES[group]}) in a block"
        remedy = "delete one of them, or write two blocks"
        self.problem(index, f" in one block with {self.written(first)}", expected, remedy)

    def check_letters(self, motion: int | None) -> None:
        """Refuse I, J, K, R and P where nothing in the block or the mode in force gives them a meaning.

        motion: 0 to 3, the mode in force for this block; None for none; REFUSED_MOTION.
        """
        if self.refused:
            return
        is_arc = motion in (2, 3)
        if "P" in self.at and self.key(voc.GROUP_0) is None and self.key(voc.PATH) != 640:
            if is_arc:
                expected = "at most one turn in a block"
                remedy = "write each turn as a block of its own"
                self.problem(self.at["P"], " (an arc of several turns)", expected, remedy)
            else:
                remedy = "delete it, or write the G4 it belongs to"
                self.problem(self.at["P"], " with no word it belongs to", "P with G4 or G64 alone", remedy)
        if is_arc:
            if self.values.get("K", 0.0) != 0.0:
                remedy = "delete it, or post again with arcs in XY alone"
                self.problem(self.at["K"], " in an arc of the XY plane", "a centre given by I and J", remedy)
        elif motion != REFUSED_MOTION:
            for letter in "IJKR":
                if letter in self.at:
                    remedy = "write G2 or G3 if an arc is meant, else delete it"
                    expected = f"{letter} with G2 or G3 alone"
                    self.problem(self.at[letter], " in a block that is no arc", expected, remedy)
