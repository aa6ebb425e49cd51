"""Every key the standard reader sees is found, where it stands."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from simkit.job.locate import Spot, key_path, locate
from tests.job.good_job import GOOD_JOB


def paths_of(value, path: str = "") -> set[str]:
    """Return the path of everything inside a value, by the standard reader's account."""
    found = set()
    if isinstance(value, dict):
        parts = [(key_path(path, name), part) for name, part in value.items()]
    elif isinstance(value, list):
        parts = [(f"{path}[{index}]", part) for index, part in enumerate(value)]
    else:
        return found
    for inner, part in parts:
        found |= {inner} | paths_of(part, inner)
    return found


TEXT = '''\
# a comment with [brackets] and "quotes"
title = "a # that is no comment" # one that is
"quoted key" = 'x'
a.b . "c.d" = 1
numbers = [ 1, 2, # [9]
  [3, "]"], { x = 1, y = { z = 2 } },
]
long = """
[not_a_table]
it = "is text" \\
""\\"""" # behind
literal = \'\'\'
[nor_this] '' \'\'\'\'
when = 1979-05-27 07:32:00
empty = {}

[table]
key = 1
[table.inner]
key = 2
[ "odd name" . 'x' ]
key = 3

[[list]]
key = 4
[list.under]
key = 5
[[list.sub]]
key = 6
[[list.sub]]
[[list]]
key = 7
[[list.sub]]
key = 8
"\\u00e9" = 9
'''


def test_locate__all_forms():
    spots = locate(TEXT)
    assert set(spots) == paths_of(tomllib.loads(TEXT))
    rows = TEXT.split("\n")
    expected = {
        "title": "title",
        '"quoted key"': '"quoted key"',
        'a.b."c.d"': '"c.d"',
        "numbers[0]": "1, 2",
        "numbers[2][1]": '"]"',
        "numbers[3].y.z": "z = 2",
        "literal": "literal",
        "when": "when",
        "table": "table",
        "table.inner.key": "key = 2",
        '"odd name".x.key': "key = 3",
        "list[0].under.key": "key = 5",
        "list[0].sub[0].key": "key = 6",
        "list[1]": "list]]",
        "list[1].key": "key = 7",
        "list[1].sub[0].key": "key = 8",
        'list[1].sub[0]."é"': '"\\u00e9"',
    }
    for path, text in expected.items():
        line, column = spots[path]
        assert rows[line - 1][column - 1 :].startswith(text), path


def test_locate__lines_and_columns():
    assert locate("a = 1\r\n  b = [10,\r\n 20]\r\n") == {
        "a": Spot(1, 1),
        "b": Spot(2, 3),
        "b[0]": Spot(2, 8),
        "b[1]": Spot(3, 2),
    }


@pytest.mark.parametrize(
    "text",
    [
        'x = """a""""',
        'x = """a"""""\ny = 1',
        "x = ''''a'''''\ny = 1",
        'x = "\\\\"\ny = 1',
        'x = """\\""""\ny = 1',
        "x = ''\ny = \"\"\nz = [[], [[]], {}]",
        "[a.b.c]\nd = 1\n[a]\ne = 2\n[a.b]\nf = 3",
        "'' = 1\n'\"' = 2",
        "x.y = 1\nx.z = 2",
        "a = [{b = 1}, {b = 2}]",
        "x = [\n# only a comment\n]",
        "",
    ],
)
def test_locate__corners_of_the_language(text):
    assert set(locate(text)) == paths_of(tomllib.loads(text))


_SCALARS = st.sampled_from(
    ["1", "-0.5", "true", '"a]#}"', "'b,= '", '"""c\n"d"""', "'''\n[e]'''", "1979-05-27 07:32:00", "nan"]
)
_NAMES = st.sampled_from(["a", "b", "c-1", '"d.e"', "'f g'", "7", '"\\u0041"'])
_SPACE = st.sampled_from(["", " ", "\t"])
_BREAK = st.sampled_from(["", " ", "\n", " # ],\n"])


def _lists(values):
    return st.builds(
        lambda parts, gap, end: "[" + gap + ("," + gap).join(parts) + end + "]",
        st.lists(values),
        _BREAK,
        _BREAK,
    )


def _tables(values):
    pair = st.builds(lambda name, gap, value: f"{name}{gap}={gap}{value}", _NAMES, _SPACE, values)
    return st.builds(lambda parts: "{" + ", ".join(parts) + "}", st.lists(pair, max_size=3))


_VALUES = st.recursive(_SCALARS, lambda inner: st.one_of(_lists(inner), _tables(inner)), max_leaves=6)
_KEYS = st.builds(
    lambda parts, gap: f"{gap}.{gap}".join(parts), st.lists(_NAMES, min_size=1, max_size=3), _SPACE
)
_ROWS = st.one_of(
    st.builds("{}{} = {}".format, _SPACE, _KEYS, _VALUES),
    st.builds("[{}]".format, _KEYS),
    st.builds("[[{}]]".format, _KEYS),
    st.just("# [x] = 1"),
)


@settings(max_examples=200, deadline=None, derandomize=True)
@given(st.lists(_ROWS, max_size=6))
def test_locate__finds_what_the_standard_reader_finds(rows):
    text = "\n".join(rows)
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        assume(False)
    spots = locate(text)
    assert set(spots) == paths_of(values)
    lines = text.split("\n")
    assert all(lines[line - 1][column - 1 :] for line, column in spots.values())


def test_locate__job_file():
    assert set(locate(GOOD_JOB)) == paths_of(tomllib.loads(GOOD_JOB))
