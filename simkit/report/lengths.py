"""How lengths and measured values are written: mm, or inches where the job speaks of inches."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from simkit.units import MM_PER_INCH, area_words, decimals, inch_words, measured_words

_NUMBER = r"[+-]?\d+(?:\.\d+)?"
# Numbers before mm, one or more of a range, a size or a place: "3 mm", "0.5 to 0.7 mm", "x 2, y 3.5 mm"; none
# of them part of a word or of a longer number.  Areas are told of alone; speeds of axes stand in a row.
_MM = re.compile(
    rf"(?<![\w.+-])({_NUMBER}(?:(?: to | ± ?| ±|,? [yz] | x | by ){_NUMBER})*) mm"
    r"(?![\w/\"])(?! \([^)]* in\))"  # what is to be written so, or told in both already, stays
)
_ALONG = re.compile(r"(\d) in in(?= [xyzXYZ]\b)")
_AREA = re.compile(rf"(?<![\w.])({_NUMBER})(?: ± ?({_NUMBER}))? (mm2|cm2)\b")
_VOLUME = re.compile(rf"(?<![\w.])({_NUMBER}) (mm3|cm3)\b")
_PLACE = re.compile(rf"\bX({_NUMBER}) Y({_NUMBER})(?: Z({_NUMBER}))?(?![\w.])(?: mm\b)?")
_FORCE = 1  # decimals of a force; published ones of wood differ by a factor of two
_SPEED = re.compile(rf"(?<![\w.])({_NUMBER}(?:, {_NUMBER})*) mm/(min|s2)\b")


@dataclass(frozen=True)
class Lengths:
    """How lengths are written.  unit: of the job file; whatever is not "in" is told in mm."""

    unit: str = "mm"

    @property
    def is_inch(self) -> bool:
        """Whether the report speaks of inches."""
        return self.unit == "in"

    @property
    def name(self) -> str:
        """Return "in" or "mm"."""
        return "in" if self.is_inch else "mm"

    @property
    def word(self) -> str:
        """Return "inches" or "mm", as it stands in a sentence."""
        return "inches" if self.is_inch else "mm"

    def size(self, mm: float) -> str:
        """Return a size without its unit: inches as a fraction where it is one, to 1/64."""
        return inch_words(mm) if self.is_inch else f"{round(mm, 2) + 0.0:g}"

    def sizes(self, *mm: float, by: str = "×") -> str:
        """Return sizes one beside the other, with the unit."""
        return f"{f' {by} '.join(self.size(one) for one in mm)} {self.name}"

    def figure(self, mm: float) -> str:
        """Return a measured figure of a legend without its unit: three digits of mm, or to 0.0001 in."""
        return f"{round(mm / MM_PER_INCH, 4) + 0.0:g}" if self.is_inch else f"{mm:.3g}"

    def told(self, mm: float) -> str:
        """Return such a figure with its unit."""
        return f"{self.figure(mm)} {self.name}"

    def ruler(self, least: float) -> float:
        """Return the step of a ruler, mm, `least` mm or more: 1, 2, 5, ... mm or inches, 1/2, 1/4, ... in."""
        if not self.is_inch:
            return nice_step(least)
        inches = least / MM_PER_INCH
        step = nice_step(inches) if inches > 0.5 else 2.0 ** math.ceil(math.log2(inches) - 1e-9)
        return step * MM_PER_INCH

    def parts(self, step: float) -> int:
        """Return into how many parts a ruler's step is divided: fives, but of an inch or two quarters."""
        return 4 if self.is_inch and step < 2.5 * MM_PER_INCH else 5

    def place(self, mm: float) -> str:
        """Return a coordinate without its unit, to 0.1 mm or 0.001 in."""
        return f"{mm / MM_PER_INCH + 0.0:.3f}" if self.is_inch else f"{round(mm, 1) + 0.0:.1f}"

    def value(self, mm: float, bound: float | None = None, limit: float | None = None) -> str:
        """Return a measured value with its bound and unit, as `measured_words` has it.  limit: mm, too."""
        scale, digits = (MM_PER_INCH, 4) if self.is_inch else (1.0, 2)
        others = [None if one is None else one / scale for one in (bound, limit)]
        return measured_words(mm / scale, *others, self.name, digits)

    def area(self, mm2: float) -> str:
        """Return an area with its unit: as `area_words` has it, or in2."""
        return f"{mm2 / MM_PER_INCH**2:.3g} in2" if self.is_inch else area_words(mm2)

    def volume(self, mm3: float, bound: float) -> str:
        """Return a volume, or one a minute, with its bound, rounded up: cm3 or in3, as `volume_name` says."""
        scale, digits = (MM_PER_INCH**3, 2) if self.is_inch else (1000.0, 1)
        up = math.ceil(bound / scale * 10**digits - 1e-9) / 10**digits
        return f"{mm3 / scale:.{digits}f} ±{up:.{digits}f}"

    @property
    def volume_name(self) -> str:
        """Return the unit of `volume`."""
        return "in3" if self.is_inch else "cm3"

    def fine(self, mm: float) -> str:
        """Return a small length without its unit, to 0.001 mm or 0.0001 in."""
        return f"{mm / MM_PER_INCH:.4f}" if self.is_inch else f"{mm:.3f}"

    def fine_up(self, mm: float) -> str:
        """Return such a length rounded up, for a bound."""
        scale, digits = (MM_PER_INCH, 4) if self.is_inch else (1.0, 3)
        return f"{math.ceil(mm / scale * 10**digits - 1e-9) / 10**digits:.{digits}f}"

    def span(self, mm: Sequence[float] | None, dash: str = "-") -> str:
        """Return the least and the largest of small lengths, one where they read alike; "-" for none."""
        if mm is None:
            return dash
        low, high = map(self.fine, mm)
        return low if low == high else f"{low}{dash}{high}"

    def bare(self, mm: float) -> str:
        """Return a measured length without its unit, to 0.01 mm or 0.001 in."""
        return f"{mm / MM_PER_INCH:.3f}" if self.is_inch else f"{mm:.2f}"

    def both(self, mm: float) -> str:
        """Return a small length that the command line takes in mm: in inches, with the mm behind them."""
        return f"{self.told(mm)} ({mm:g} mm)" if self.is_inch else f"{mm:g} mm"

    def text(self, words: str) -> str:
        """Return words of a finding, which speak of mm, in the unit.

        In inches a length that is a fraction to 1/64, written out in full, stands as one.  Places X Y Z and
        speeds keep their mm behind, for they may stand so in a program.
        """
        if not self.is_inch:
            return words
        words = _PLACE.sub(_place_in_inches, words)
        words = _ALONG.sub(r"\1 in along", _MM.sub(_length_in_inches, words))
        words = _AREA.sub(_square_inches, words)
        words = _VOLUME.sub(lambda found: _cubic_inches(_cm3(found)), words)
        return _SPEED.sub(lambda found: f"{_each(found[1], _speed)} in/{found[2]} ({found[0]})", words)

    def cutter(self, words: str) -> str:
        """Return the name of a cutter, which speaks of mm, in the unit; inches as a fraction if they are."""
        if not self.is_inch:
            return words
        return _MM.sub(lambda found: f"{_each(found[1], lambda mm: inch_words(float(mm)))} in", words)


def _each(words: str, write: Callable[[str], str]) -> str:
    """Return words with each number written anew."""
    return re.sub(rf"(?<![\w.]){_NUMBER}", lambda found: write(found[0]), words)


def _length_in_inches(found: re.Match[str]) -> str:
    numbers = re.findall(rf"(?<![\w.]){_NUMBER}", found[1])
    if "±" not in found[1] and all(map(_is_fraction, numbers)):
        return f"{_each(found[1], lambda mm: inch_words(float(mm)))} in"
    digits = _digits(numbers)
    return f"{_each(found[1], lambda mm: _in_inches(mm, digits))} in"


def _place_in_inches(found: re.Match[str]) -> str:
    inches = " ".join(
        f"{axis}{_in_inches(mm, 3)}" for axis, mm in zip("XYZ", found.groups(), strict=True) if mm
    )
    mm = found[0].removesuffix(" mm")
    return f"{inches} in ({mm} mm)"


def _is_fraction(mm: str) -> bool:
    """Return whether a number of mm, as it is written, is a fraction to 1/64 in and no measured one."""
    is_padded = ("." in mm and mm.endswith("0")) or mm.startswith(("+", "-"))
    parts = float(mm) / MM_PER_INCH * 64
    return not is_padded and abs(parts - round(parts)) < 1e-6


def _digits(numbers: list[str]) -> int:
    """Return to how many decimals of an inch numbers of mm are told: two more than they have, 3 to 5."""
    decimals = max(len(mm.partition(".")[2]) for mm in numbers)
    is_small = any(0 < abs(float(mm)) < 1 for mm in numbers)  # 0.3 is a limit, and means 0.3 exactly
    return max(4 if is_small else 3, min(5, decimals + 2))


def _in_inches(mm: str, digits: int) -> str:
    """Return a number of mm in inches, its sign + kept."""
    sign = "+" if mm.startswith("+") else ""
    return f"{sign}{float(mm) / MM_PER_INCH + 0.0:.{digits}f}"


def _speed(mm: str) -> str:
    return f"{float(mm) / MM_PER_INCH:.4g}"


def _cubic_inches(cm3: float) -> str:
    return f"{cm3 * 1000 / MM_PER_INCH**3:.3g} in3"


def _cm3(found: re.Match[str]) -> float:
    return float(found[1]) / (1.0 if found[2] == "cm3" else 1000.0)


def _square_inches(found: re.Match[str]) -> str:
    """Return an area in square inches; its bound, where it has one, as well."""
    scale = (100.0 if found[3] == "cm2" else 1.0) / MM_PER_INCH**2
    told = [f"{float(one) * scale:.2g}" for one in found.groups()[:2] if one]
    return f"{' ±'.join(told)} in2"


MM = Lengths()


def program_lengths(result: dict[str, Any]) -> dict[str, Lengths]:
    """Return how each program of a result writes lengths, by its file: in the unit it counts in."""
    programs = [program for setup in result.get("setups", ()) for program in setup["programs"]]
    return {program["file"]: Lengths(program.get("unit") or "mm") for program in programs}


def lengths_of(result: dict[str, Any]) -> Lengths:
    """Return how lengths of a result are written: in the unit of its job."""
    return Lengths(result.get("job", {}).get("unit") or "mm")


def nice_step(least: float) -> float:
    """Return the smallest of 1, 2, 5, 10, 20, ... that is not below `least` (> 0), same unit."""
    power = 10.0 ** math.floor(math.log10(least))
    return next(m * power for m in (1, 2, 5, 10) if m * power >= least * (1 - 1e-9))


def measured(row: dict[str, Any], lengths: Lengths) -> str:
    """Return the measured value of a finding with its bound and unit, "" when it has none.

    What a program states itself (speeds, feeds for each tooth) stands as it is.
    """
    value, bound, unit, limit = row["value"], row["bound"], row["unit"], row.get("limit")
    if value is None:
        return ""
    if unit == "mm":
        return lengths.value(value, bound, limit)
    if unit == "cm3" and lengths.is_inch:
        return _cubic_inches(value)
    if not bound:
        return f"{round(value, 4):g} {unit}".rstrip()
    return measured_words(value, bound, limit, unit, _FORCE if unit == "N" else 2)


def limit_of(row: dict[str, Any], lengths: Lengths) -> str:
    """Return the limit of a finding with its unit, "" when it has none."""
    limit = row["limit"]
    if limit is None:
        return ""
    if row["unit"] == "mm":
        return f"{limit / MM_PER_INCH:.4f} in" if lengths.is_inch else f"{round(limit, 4) + 0.0:g} mm"
    if row["unit"] == "N" and row["value"] is not None:  # computed: no person wrote it
        return f"{limit:.{decimals(row['value'], limit, _FORCE)}f} N"
    return f"{limit:g} {row['unit']}".rstrip()
