"""How lengths are written.  Figures in inches by hand: 25.4 mm are 1 in, by agreement."""

import pytest

from simkit.report.lengths import MM, Lengths, lengths_of, limit_of, measured, program_lengths

IN = Lengths("in")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("cut 0.63 mm into it", "cut 0.0248 in into it"),
        ("T1 6 mm flat", "T1 0.236 in flat"),
        ("T1 6.35 mm flat", "T1 1/4 in flat"),
        ("3.18 mm and 6.350 mm were measured", "0.1252 in and 0.25000 in were measured"),
        ("0 mm, 57.15 mm", "0 in, 2 1/4 in"),
        ("a limit of 0.3 mm", "a limit of 0.0118 in"),  # 0.3 / 25.4, by hand
        ("leaves 0.55 to 0.67 mm.", "leaves 0.0217 to 0.0264 in."),
        ("+0.000 ± 0.011 mm in x", "+0.00000 ± 0.00043 in along x"),
        ("12.7 ± 25.4 mm", "0.500 ± 1.000 in"),
        ("-0.50 mm in Y, in it", "-0.0197 in along Y, in it"),
        (
            "at X228.5 Y-12.7; X25.4 Y0 Z1 mm",
            "at X8.996 Y-0.500 in (X228.5 Y-12.7 mm); X1.000 Y0.000 Z0.039 in (X25.4 Y0 Z1 mm)",
        ),
        ("at x 205.7, y 71.5 mm", "at x 8.098, y 2.815 in"),
        ("254 x 127 x 25.4 mm", "10 x 5 x 1 in"),
        ("at x 25.4 y 50.8 z 12.7 mm", "at x 1 y 2 z 1/2 in"),
        ("over 42 mm2", "over 0.065 in2"),
        ("lies on 645.16 ±64.516 mm2 of tape", "lies on 1 ±0.1 in2 of tape"),
        ("frame 116 cm2", "frame 18 in2"),
        ("ridges / 100 mm3 a minute and area / 3000 mm2", "ridges / 0.0061 in3 a minute and area / 4.7 in2"),
        ("a piece of 16.4 cm3, 40.0 cm3/min", "a piece of 1 in3, 2.44 in3/min"),  # 16.387064 cm3 are 1 in3
        ("at 8000, 4000 mm/min", "at 315, 157.5 in/min (8000, 4000 mm/min)"),
        ("300 mm/s2", "11.81 in/s2 (300 mm/s2)"),
        ("on side 1, 0.5 mm deep", "on side 1, 0.0197 in deep"),  # a number that is no length stays
        ("0.254 mm (0.010 in) above", "0.254 mm (0.010 in) above"),  # told in both already
        ('write offset = ["3 mm", "0 mm"]', 'write offset = ["3 mm", "0 mm"]'),  # as it is to be written
        ("with the offset x 25.4, y 0, z 0 mm", "with the offset x 1, y 0, z 0 in"),
        ("0.4 N/mm2, v1.2 mm, F600", "0.4 N/mm2, v1.2 mm, F600"),
    ],
)
def test_text__a_job_in_inches_speaks_of_inches(words, told):
    assert IN.text(words) == told
    assert MM.text(words) == words


def test_both__inches_first():
    assert (IN.both(0.2), MM.both(0.2)) == ("0.0079 in (0.2 mm)", "0.2 mm")


@pytest.mark.parametrize(
    ("least", "inches"), [(1, 1 / 16), (6.35, 1 / 4), (6.4, 1 / 2), (12.7, 1 / 2), (13, 1), (26, 2), (60, 5)]
)
def test_ruler__steps_in_inches_are_halves_then_1_2_5(least, inches):
    assert IN.ruler(least) == pytest.approx(inches * 25.4)


@pytest.mark.parametrize(("least", "step"), [(1, 1), (1.1, 2), (3, 5), (6, 10), (13, 20), (0.3, 0.5)])
def test_ruler__steps_in_mm(least, step):
    assert MM.ruler(least) == pytest.approx(step)


def test_parts__quarters_of_an_inch_and_of_two_else_fifths():
    assert [IN.parts(inches * 25.4) for inches in (0.5, 1, 2, 5, 10)] == [4, 4, 4, 5, 5]
    assert MM.parts(1) == 5


def test_figures__of_legends_and_tables():
    assert (IN.told(0.3), MM.told(0.3)) == ("0.0118 in", "0.3 mm")
    assert (IN.figure(0.1016), MM.figure(2.25)) == ("0.004", "2.25")
    assert (IN.fine(0.0254), IN.fine_up(0.0255), MM.fine(0.0254)) == ("0.0010", "0.0011", "0.025")
    assert (IN.span([0.0254, 0.0508]), IN.span(None), MM.span([1, 1])) == ("0.0010-0.0020", "-", "1.000")
    assert (IN.area(645.16), MM.area(42)) == ("1 in2", "42 mm2")
    assert (IN.volume(16387.064, 163.8), MM.volume(1000, 40)) == ("1.00 ±0.01", "1.0 ±0.1")
    assert (IN.cutter("T1 6.35 mm flat"), MM.cutter("T1 6.35 mm flat")) == (
        "T1 1/4 in flat",
        "T1 6.35 mm flat",
    )
    assert IN.sizes(25.4, 12.7, by="x") == "1 x 1/2 in"


def test_program_lengths__each_program_in_its_own_unit():
    programs = [{"file": "a.nc", "unit": "in"}, {"file": "b.nc", "unit": "mm"}, {"file": "old.nc"}]
    result = {"job": {"unit": "in"}, "setups": [{"programs": programs}]}
    assert program_lengths(result) == {"a.nc": IN, "b.nc": MM, "old.nc": MM}
    assert lengths_of(result) == IN


@pytest.mark.parametrize(
    ("value", "limit", "told"),
    [
        (26.31, 48.5177, ("26.3 ±0.5 N", "48.5 N")),
        (48.5011, 48.5177, ("48.50 ±0.42 N", "48.52 N")),  # they must not read alike
        (48.5171, 48.5177, ("48.517 ±0.411 N", "48.518 N")),
    ],
)
def test_forces__are_rounded_and_keep_apart_from_their_limit(value, limit, told):
    row = {"value": value, "bound": 0.411, "limit": limit, "unit": "N"}
    assert (measured(row, MM), limit_of(row, MM)) == told
    assert (measured(row, IN), limit_of(row, IN)) == told  # newtons stay newtons


def test_limit_of__lengths_as_a_person_writes_them():
    for limit, told in ((0.1, "0.1 mm"), (4.5, "4.5 mm"), (5.2387654, "5.2388 mm"), (0.0, "0 mm")):
        assert limit_of({"value": 1.0, "limit": limit, "unit": "mm"}, MM) == told
