"""Lengths at the edges: plain numbers in a declared unit, or text such as "1/4 in" and "6 mm".

Inside simkit every length is in millimetres.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

MM_PER_INCH = 25.4  # exact, international agreement of 1959
MM_PER_UNIT = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": MM_PER_INCH}
_UNIT_WORDS = {
    **{unit: unit for unit in MM_PER_UNIT},
    "inch": "in",
    "inches": "in",
    '"': "in",
    "millimetre": "mm",
    "millimetres": "mm",
}
_LENGTH = re.compile(
    r"""^\s*(?P<sign>[+-]?)\s*
        (?:(?P<whole>\d+)[\s-]+(?P<num1>\d+)\s*/\s*(?P<den1>\d+)
          |(?P<num2>\d+)\s*/\s*(?P<den2>\d+)
          |(?P<decimal>\d+\.?\d*|\.\d+))
        \s*(?P<unit>[a-z"]*)\s*$""",
    re.VERBOSE | re.IGNORECASE,
)


def length_mm(value: float | int | str, unit: str) -> float:
    """Return a length in mm.

    value: a number in `unit`, or text: a decimal or a fraction, with or without a unit of its own
    ("6 mm", "1/4 in", "2 1/4 in", "0.25").  unit: "mm", "cm", "m" or "in".
    Error: rounding of at most one float64 product and one division.
    Source: 1 in = 25.4 mm exactly (international yard and pound agreement, 1959).
    Raises ValueError with the reason, worded to follow "found".
    """
    if isinstance(value, bool):
        raise ValueError("true or false")
    if isinstance(value, int | float):
        try:
            number = float(value)
        except OverflowError:
            raise ValueError("a number of many digits") from None
        if not math.isfinite(number):
            raise ValueError(f"{value}")
        return _scaled(number, 1, unit)
    if not isinstance(value, str):
        raise ValueError(f"a {type(value).__name__}")
    match = _LENGTH.match(value) if len(value) <= 100 else None
    if not match:
        raise ValueError(f"'{value}'")
    unit_word = match["unit"].lower()
    if unit_word and unit_word not in _UNIT_WORDS:
        raise ValueError(f"'{value}' with the unknown unit '{match['unit']}'")
    named = _UNIT_WORDS[unit_word] if unit_word else unit
    if match["decimal"] is not None:
        size = _scaled(float(match["decimal"]), 1, named)
    else:
        numerator = int(match["num1"] or match["num2"])
        denominator = int(match["den1"] or match["den2"])
        if denominator == 0:
            raise ValueError(f"'{value}' (a fraction over zero)")
        size = _scaled(int(match["whole"] or 0) * denominator + numerator, denominator, named)
    return -size if match["sign"] == "-" else size


def _scaled(numerator: float | int, denominator: int, unit: str) -> float:
    """Return numerator / denominator of a unit in mm, rounded once for whole numbers.

    25.4 has no float64, 127 / 5 is exact: 3.5 in come out as 88.9, the float64 nearest to it.
    """
    if unit == "in":
        return numerator * 127 / (denominator * 5)
    return numerator * int(MM_PER_UNIT[unit]) / denominator


def job_words(mm: float, unit: str) -> str:
    """Return a length as it is to be written in a job file whose plain numbers are in `unit`."""
    return f"{mm:g}" if unit == "mm" else f'"{mm:g} mm"'


def inch_words(mm: float) -> str:
    """Return a length in inches without the unit: "2 1/4" where it is a fraction to 1/64, else "2.257".

    mm: any finite length.  Error: a fraction stands only where it is within 0.0005 in of the length; decimals
    are rounded to 0.001 in.
    """
    inches = mm / MM_PER_INCH
    count = round(abs(inches) * 64)
    if abs(abs(inches) - count / 64) > 0.0005 or (count == 0 and abs(inches) >= 0.00005):
        return f"{inches:.3f}" if abs(inches) >= 0.0005 else f"{inches:.4f}"
    sign = "-" if inches < 0 and count else ""
    whole, rest = divmod(count, 64)
    if not rest:
        return f"{sign}{whole}"
    divisor = math.gcd(rest, 64)
    return (
        f"{sign}{whole} {rest // divisor}/{64 // divisor}"
        if whole
        else f"{sign}{rest // divisor}/{64 // divisor}"
    )


def area_words(area: float) -> str:
    """Return an area given in mm2 in words: mm2, from 1000 mm2 on cm2; under a tenth it is said to be so."""
    if area < 0.1:
        return "less than 0.1 mm2"
    if area >= 1000:
        return f"{area / 100:.3g} cm2" if area < 100_000 else f"{area / 100:.0f} cm2"
    return f"{area:.1f} mm2" if area < 10 else f"{area:.0f} mm2"


def decimals(value: float, limit: float | None, least: int) -> int:
    """Return with how many decimals a value and its limit are written so that they do not read alike."""
    digits = least
    while limit is not None and digits < least + 2:
        if value == limit or f"{value:.{digits}f}" != f"{limit:.{digits}f}":
            break
        digits += 1
    return digits


def measured_words(value: float, bound: float | None, limit: float | None, unit: str, least: int = 2) -> str:
    """Return a measured value with its bound, rounded up, and unit: to `least` decimals or more.

    A value that would read as its limit though it is not gets up to two more.  One that its bound is
    larger than is no figure: it is told as the range it may have.
    """
    digits = decimals(value, limit, least)
    step = 10.0**digits
    if not bound:
        return f"{value:.{digits}f} {unit}".rstrip()
    if 0 < value < bound:
        return f"0 to {math.ceil((value + bound) * step - 1e-9) / step:.{digits}f} {unit}".rstrip()
    return f"{value:.{digits}f} ±{math.ceil(bound * step - 1e-9) / step:.{digits}f} {unit}".rstrip()


def is_too_coarse(value: float | None, bound: float | None) -> bool:
    """Return whether a value's bound leaves no figure of it, so that `measured_words` tells a range."""
    return value is not None and bound is not None and 0 < value < bound


def units_as_large(size: Sequence[float], room: Sequence[float]) -> list[str]:
    """Return the units in which plain sizes are as large as what is cut, mm.

    size, room: along the same axes.  As large: no more than a tenth larger, and not under two fifths one way;
    cuts go round a part and beyond it.  Common practice, no source.
    """
    return [
        unit
        for unit, scale in MM_PER_UNIT.items()
        if all(one * scale <= 1.1 * most for one, most in zip(size, room, strict=True))
        and any(one * scale >= 0.4 * most for one, most in zip(size, room, strict=True))
    ]
