"""Lengths at the edges, against exact fractions (1 in = 25.4 mm, yard and pound agreement of 1959)."""

from __future__ import annotations

import math
import tomllib
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simkit.units import MM_PER_INCH, MM_PER_UNIT, job_words, length_mm

INCH = Fraction(254, 10)


@pytest.mark.parametrize(
    ("value", "unit", "mm"),
    [
        (280, "mm", 280.0),
        (2.5, "cm", 25.0),
        (0.25, "m", 250.0),
        (1, "in", 25.4),
        (3.5, "in", 88.9),
        (-1.5, "in", -38.1),
        ("6 mm", "in", 6.0),
        ("6", "in", 152.4),
        ("0.25", "in", 6.35),
        (".5", "mm", 0.5),
        ("5.", "mm", 5.0),
        ("1/4 in", "mm", 6.35),
        ("1/4in", "mm", 6.35),
        ('1/4"', "mm", 6.35),
        ("2 1/4 in", "mm", 57.15),
        ("2-1/4 in", "mm", 57.15),
        ("- 2 1/4 in", "mm", -57.15),
        ("+1/8 inch", "mm", 3.175),
        ("3 INCHES", "mm", 76.2),
        ("1/2", "cm", 5.0),
        ("  7 millimetres ", "in", 7.0),
        ("1 1 / 2 in", "mm", 38.1),
        ("1.5 cm", "mm", 15.0),
        ("0.3 m", "mm", 300.0),
        (0, "mm", 0.0),
    ],
)
def test_length_mm__forms(value, unit, mm):
    assert length_mm(value, unit) == mm


@pytest.mark.parametrize(
    ("value", "reason"),
    [
        (True, "true or false"),
        (float("nan"), "nan"),
        (float("inf"), "inf"),
        (10**400, "a number of many digits"),
        (None, "a NoneType"),
        ([6], "a list"),
        ("", "''"),
        ("mm", "'mm'"),
        ("six mm", "'six mm'"),
        ("6,5 mm", "'6,5 mm'"),
        ("1/0 in", "'1/0 in' (a fraction over zero)"),
        ("1/2/3", "'1/2/3'"),
        ("1.5/2 in", "'1.5/2 in'"),
        ("--3", "'--3'"),
        ("3 ft", "'3 ft' with the unknown unit 'ft'"),
        ("1e3", "'1e3'"),
        ("nan", "'nan'"),
    ],
)
def test_length_mm__what_is_no_length(value, reason):
    with pytest.raises(ValueError) as caught:
        length_mm(value, "mm")
    assert str(caught.value) == reason


def test_length_mm__text_of_any_length_ends():
    with pytest.raises(ValueError):
        length_mm("9" * 100_000, "mm")


@settings(derandomize=True)
@given(st.integers(0, 400), st.integers(0, 63), st.sampled_from([2, 3, 4, 8, 16, 32, 64]))
def test_length_mm__fractions_of_an_inch_are_the_nearest_float(whole, numerator, denominator):
    exact = (whole + Fraction(numerator, denominator)) * INCH
    assert length_mm(f"{whole} {numerator}/{denominator} in", "mm") == float(exact)


@settings(derandomize=True)
@given(st.integers(0, 10_000))
def test_length_mm__whole_inches_are_the_nearest_float(inches):
    assert length_mm(inches, "in") == float(inches * INCH)


@settings(derandomize=True)
@given(st.floats(-1e4, 1e4, allow_nan=False), st.sampled_from(sorted(MM_PER_UNIT)))
def test_length_mm__numbers_within_the_rounding_stated(number, unit):
    scale = INCH if unit == "in" else Fraction(MM_PER_UNIT[unit])
    exact = Fraction(number) * scale
    # One product and one division: each rounds by half a unit in the last place.
    bound = abs(exact) * Fraction(3, 2**53) + Fraction(1, 10**300)
    assert abs(Fraction(length_mm(number, unit)) - exact) <= bound


@settings(max_examples=300, derandomize=True)
@given(st.text(alphabet='0123456789./ -+inmc"xe', max_size=12), st.sampled_from(sorted(MM_PER_UNIT)))
def test_length_mm__any_text_gives_a_length_or_a_reason(text, unit):
    try:
        size = length_mm(text, unit)
    except ValueError as error:
        assert str(error).startswith(f"'{text}'")  # noqa: PT017
    else:
        assert math.isfinite(size)


def test_mm_per_unit__inch_is_the_international_one():
    assert MM_PER_INCH == 25.4
    assert MM_PER_UNIT == {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}


@pytest.mark.parametrize("unit", ["mm", "in", "cm"])
@pytest.mark.parametrize("mm", [0.0, 7.0, -2.5, 3.175])
def test_job_words__a_job_in_any_unit_reads_them_back(mm, unit):
    assert length_mm(tomllib.loads(f"it = {job_words(mm, unit)}")["it"], unit) == mm
