"""How problems read."""

from __future__ import annotations

import pickle

import pytest

from simkit.errors import InputProblems, Interrupted, Place, Problem, nearest_word


@pytest.mark.parametrize(
    ("place", "text"),
    [
        (Place("side1.nc"), "side1.nc"),
        (Place("side1.nc", 41), "side1.nc:41"),
        (Place("side1.nc", 41, 7), "side1.nc:41:7"),
        (Place("side1.nc", None, 7), "side1.nc"),
        (Place("job.toml", 3, 1, "blank.width"), "job.toml:3:1 [blank.width]"),
        (Place("job.toml", key="blank"), "job.toml [blank]"),
    ],
)
def test_place__text(place, text):
    assert str(place) == text


def test_problem__text():
    problem = Problem(
        Place("side1.nc", 41, 7), "'X1O.5'", "a number after X", "replace the letter O by a zero"
    )
    assert (
        str(problem)
        == "side1.nc:41:7: found 'X1O.5', expected a number after X; replace the letter O by a zero"
    )


def test_input_problems__one_or_many():
    one = Problem(Place("a"), "b", "c", "d")
    two = Problem(Place("e"), "f", "g", "h")
    assert InputProblems(one).problems == (one,)
    assert InputProblems(iter([one, two])).problems == (one, two)
    assert str(InputProblems([one, two])) == "a: found b, expected c; d\ne: found f, expected g; h"


def test_status__of_each_way_to_end():
    assert (InputProblems.status, Interrupted.status) == (2, 130)


def test_problem__passes_between_processes():
    problem = Problem(Place("a", 1, 2, "k"), "b", "c", "d")
    assert pickle.loads(pickle.dumps(problem)) == problem


@pytest.mark.parametrize(
    ("word", "near"),
    [("lenght", "length"), ("Width", "width"), ("thicknes", "thickness"), ("xyz", None), ("", None)],
)
def test_nearest_word__suggests_only_what_is_close(word, near):
    assert nearest_word(word, ["length", "width", "thickness"]) == near
