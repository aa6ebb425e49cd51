"""Checks the values of a job file against the table of keys, and turns them into mm.

A value with a problem comes back as BAD, so that one mistake is told once and the rest is still
looked at.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from simkit.errors import Place, Problem, nearest_word
from simkit.job import lookalike
from simkit.job.files import shown_text
from simkit.job.key import UNFILLED
from simkit.job.locate import Spot, key_path
from simkit.job.schema import KEYS, REFUSED_SHAPES, SAME_SHAPE, SAME_TURN, TOOL_NUMBERS, Key, children
from simkit.units import MM_PER_UNIT, length_mm


class Bad:
    """The type of BAD."""


BAD = Bad()


def is_bad(*values: Any) -> bool:
    """Tell whether any of the values, or a part of a list, has a problem already told."""
    return any(value is BAD or (isinstance(value, tuple) and is_bad(*value)) for value in values)


def shown(value: Any) -> str:
    """Return a value for a message, as its file writes it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return shown_text(value)
    if isinstance(value, int) and abs(value) >= 10**18:
        return "a number of many digits"
    if isinstance(value, int | float):
        return str(value)
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        if value and all(isinstance(part, dict) for part in value):
            return "a list of tables"
        return f"a list of {len(value)}"
    return f"the date or time {value}"


class Checker:
    """Walks values along the table of keys and collects problems.

    file: as messages write it.  spots: key path -> place in the file (empty without a file).
    unit: the unit of plain numbers; None when it is unknown, lengths are then not checked.
    """

    def __init__(self, file: str, spots: dict[str, Spot], unit: str | None):
        self.file = file
        self.spots = spots
        self.unit = unit
        self.problems: list[Problem] = []

    def place(self, path: str) -> Place:
        """Return the place of a key; of the nearest table around it when the key is not there."""
        inner = path
        while inner and inner not in self.spots:
            cut = max(inner.rfind("."), inner.rfind("["))
            inner = inner[: max(cut, 0)]
        spot = self.spots.get(inner)
        return Place(self.file, spot.line if spot else None, spot.column if spot else None, path)

    def problem(self, path: str, found: str, expected: str, remedy: str) -> Bad:
        """Note a problem at a key and return BAD."""
        self.problems.append(Problem(self.place(path), found, expected, remedy))
        return BAD

    # -- tables ---------------------------------------------------------------------------------

    def table(self, values: dict[str, Any], parent: str, path: str) -> dict[str, Any]:
        """Return the checked values of one table, defaults filled in, by key name.

        parent: of the keys in the table ("setups[]").  path: where the table stands ("setups[1]").
        """
        keys = children(parent)
        names = [key.name for key in keys]
        guessed = {self.unknown(name, values, parent, path) for name in values if name not in names}
        result: dict[str, Any] = {}
        for key in keys:
            inner = key_path(path, key.name)
            if key.name in values:
                result[key.name] = self.value(values[key.name], key, inner)
            elif key.required and key.name not in guessed:
                result[key.name] = self.missing(key, inner)
            elif key.name in guessed:
                result[key.name] = BAD
            else:
                result[key.name] = self.default(key)
        return result

    def unknown(self, name: str, values: dict[str, Any], parent: str, path: str) -> str | None:
        """Tell of a key that is not ours; return the key it was probably meant for."""
        names = [key.name for key in children(parent)]
        near = nearest_word(name.lower(), [each for each in names if each not in values])
        homes = [key for key in KEYS if key.name == name and key.parent != "setups[].zero"]
        single = [key for key in homes if "[]" not in key.parent]
        homes = single if len(single) == 1 else homes
        if near:
            remedy = f"write '{near}'"
        elif len(homes) == 1 and homes[0].parent:
            remedy = f"move it to {_header(homes[0].parent)}"
        elif len(homes) == 1:
            remedy = "move it to the top of the file, above the first line in [ ]"
        else:
            remedy = "take it out"
        self.problem(
            key_path(path, name),
            f"the unknown key {shown_text(name)}",
            f"{self.where(parent, path)}one of {', '.join(names)}",
            remedy,
        )
        return near

    def where(self, parent: str, path: str) -> str:
        """Return the words that say which table a key stands in."""
        if not parent:
            return "at the top "
        return f"in {_header(parent) if '[' in parent else f'[{path}]'} "  # of cutters: of this one

    def missing(self, key: Key, path: str) -> Bad:
        """Tell of a required key that is not there."""
        if children(key.inside) and not key.examples:
            head = _header(key.inside)
            needed = ", ".join(sub.name for sub in children(key.inside) if sub.required)
            return self.problem(path, f"no {head}", key.expected, f"add {head} with {needed}")
        remedy = f"add a line such as {key.name} = {key.examples[0]}"
        return self.problem(path, f"no key '{key.name}'", key.expected, remedy)

    def default(self, key: Key) -> Any:
        """Return the value of a key that is left out."""
        if key.kind == "length" and key.default is not None:
            return length_mm(key.default, "mm")
        if key.kind == "named lengths":
            return {}
        if key.kind in ("lengths", "numbers") and key.default is not None:
            return tuple(
                length_mm(part, "mm") if isinstance(part, str) else float(part) for part in key.default
            )
        return key.default

    # -- values ---------------------------------------------------------------------------------

    def value(self, value: Any, key: Key, path: str) -> Any:
        """Return one checked value: text, float (mm for lengths), int, tuple, or dict of a table."""
        kind = key.kind
        if value == UNFILLED and kind != "text":
            words = key.help[0].lower() + key.help[1:].rstrip(".")
            return self.problem(
                path, f"'{UNFILLED}', still to be filled in", key.expected, f"write it there: {words}"
            )
        if kind == "table":
            return self.inner_table(value, key, path)
        if kind == "tables":
            return self.inner_tables(value, key, path)
        if kind == "numbered tables":
            return self.numbered_tables(value, key, path)
        if kind in ("lengths", "numbers"):
            return self.fixed_list(value, key, path, key.expected)
        if kind == "points":
            return self.points(value, key, path)
        if kind == "paths":
            return self.paths(value, key, path)
        if kind == "texts":
            return self.texts(value, key, path)
        if kind == "named lengths":
            return self.named_lengths(value, key, path)
        if kind == "flag":
            if isinstance(value, bool):
                return value
            return self.problem(path, shown(value), key.expected, "write true or false, without quotes")
        if kind == "length":
            return self.length(value, key, path)
        if kind in ("number", "count"):
            return self.number(value, key, path)
        if kind == "choice":
            return self.choice(value, key, path)
        return self.text(value, key, path)

    def text(self, value: Any, key: Key, path: str) -> Any:
        """Return a text as it is, or report what is wrong with it."""
        if not isinstance(value, str):
            return self.problem(path, shown(value), key.expected, "write text in quotes")
        if not value.strip() and (key.required or key.kind != "text"):
            return self.problem(path, "empty text", key.expected, "write it between the quotes")
        if not value.isprintable():
            remedy = "take out line breaks, tabs and control characters"
            if key.kind == "path":
                remedy = "write / between folders, not \\"
            return self.problem(path, shown(value), key.expected, remedy)
        return value

    def choice(self, value: Any, key: Key, path: str) -> Any:
        """Return one of a list of words, or report what is wrong with it."""
        if value in key.choices:
            return value
        if not isinstance(value, str):
            return self.problem(path, shown(value), key.expected, "write one of these in quotes")
        words = value.lower().replace("_", " ").split()
        plain = " ".join(words)
        near = next((choice for choice in key.choices if sorted(choice.split()) == sorted(words)), None)
        if key.name == "shape":
            near = near or SAME_SHAPE.get(plain)
            if not near and plain in REFUSED_SHAPES:
                return self.problem(
                    path,
                    f"the shape {shown(value)}, which cannot be simulated: {REFUSED_SHAPES[plain]}",
                    key.expected,
                    "use another cutter, or leave out the programs that need this one",
                )
        near = near or nearest_word(plain, key.choices)
        if key.name == "turn":
            # One letter tells the axes apart: no guess at which is meant but from that letter.
            told = SAME_TURN.get(plain)
            near = told or (near if near and plain.endswith(near[-1]) else None)
        return self.problem(path, shown(value), key.expected, f"write '{near}'" if near else "choose one")

    def number(self, value: Any, key: Key, path: str) -> Any:
        """Return a number in its range, or report what is wrong with it."""
        is_whole = key.kind == "count"
        if isinstance(value, bool) or not isinstance(value, int | float):
            is_quoted = isinstance(value, str) and value.strip().replace(".", "", 1).isdigit()
            letters = lookalike.in_text(value) if isinstance(value, str) else None
            hint = "take away the quotes" if is_quoted else letters or "write a number"
            return self.problem(path, shown(value), key.expected, hint)
        if is_whole and not isinstance(value, int):
            hint = (
                f"write {value:.0f}" if value.is_integer() and key.low <= value <= key.high else "write one"
            )
            return self.problem(path, shown(value), key.expected, hint)
        if not key.low <= value <= key.high:  # NaN fails too
            return self.problem(path, shown(value), key.expected, "write a number in this range")
        return value if is_whole else float(value)

    def length(self, value: Any, key: Key, path: str, expected: str = "") -> Any:
        """Return a length in mm, or report what is wrong with it."""
        expected = expected or key.expected
        if self.unit is None and not isinstance(value, str):
            return BAD  # the unit's own problem is told already
        try:
            size = length_mm(value, self.unit or "mm")
        except ValueError as error:
            return self.problem(
                path, _not_a_length(value, str(error)), expected, _length_remedy(value, key.per)
            )
        if key.low <= size <= key.high:
            return size
        return self.problem(
            path, self.shown_length(value, size), expected, self.range_remedy(value, size, key)
        )

    def shown_length(self, value: Any, size: float) -> str:
        """Return a length as written, with its unit and in mm."""
        text = shown(value) if isinstance(value, str) else f"{shown(value)} {self.unit}"
        return text if text.endswith(" mm") else f"{text} ({size:g} mm)"

    def range_remedy(self, value: Any, size: float, key: Key) -> str:
        """Return what to do about a length out of range, with a word on mixed-up units."""
        if size == 0 or (size < 0 and key.low >= 0):
            return "give the true size" if key.low > 0 else "write zero or more"
        remedy = "give the true size" if key.low >= 0 else "write the true distance"
        if not isinstance(value, str):
            units = (("m", "metres"),) if key.per else ()
            for unit, word in (*units, ("in", "inches"), ("mm", "millimetres")):
                if unit != self.unit and key.low <= length_mm(value, unit) <= key.high:
                    return f'{remedy}; if {word} are meant, write "{value} {unit}"'
        return remedy

    def fixed_list(self, value: Any, key: Key, path: str, expected: str) -> Any:
        """Check a list of `size` lengths or numbers, of one or more where that is 0."""
        if not isinstance(value, list) or len(value) != (key.size or max(len(value), 1)):
            example = key.examples[0].strip("[]").split("]")[0]
            count = key.size or "one or more"
            return self.problem(path, shown(value), expected, f"write {count}, such as [{example}]")
        one = Key(
            key.path,
            "number" if key.kind == "numbers" else "length",
            "",
            low=key.low,
            high=key.high,
            per=key.per,
        )
        return tuple(self.value(part, one, f"{path}[{index}]") for index, part in enumerate(value))

    def points(self, value: Any, key: Key, path: str) -> Any:
        """Return a list of places or pieces, mm, or report what is wrong with it."""
        if not isinstance(value, list):
            return self.problem(path, shown(value), key.expected, f"write a list such as {key.examples[0]}")
        return tuple(
            self.fixed_list(
                part, key, f"{path}[{index}]", f"a {key.noun or 'place'} as a list of {key.size} lengths"
            )
            for index, part in enumerate(value)
        )

    def texts(self, value: Any, key: Key, path: str) -> Any:
        """Return a list of texts, or report what is wrong with it."""
        if isinstance(value, str):
            return self.problem(path, shown(value), key.expected, "put it in brackets: [ ]")
        if not isinstance(value, list):
            return self.problem(path, shown(value), key.expected, f"write a list such as {key.examples[0]}")
        one = Key(key.path, "text", "", required=True)
        return tuple(self.value(part, one, f"{path}[{index}]") for index, part in enumerate(value))

    def named_lengths(self, value: Any, key: Key, path: str) -> Any:
        """Return lists of lengths by name, mm, or report what is wrong with it."""
        if not isinstance(value, dict):
            return self.problem(path, shown(value), key.expected, f"write a table such as {key.examples[0]}")
        result: dict[str, Any] = {}
        for name, part in value.items():
            inner = key_path(path, name)
            if name not in key.choices:
                remedy = f"write '{name.upper()}'" if name.upper() in key.choices else "choose one"
                expected = "one of " + ", ".join(f"'{choice}'" for choice in key.choices)
                self.problem(inner, shown_text(name), expected, remedy)
            elif name == "G59" and isinstance(part, dict):
                self.problem(
                    inner, "a table", "a list of 3 lengths", 'put the name in quotes, such as "G59.1"'
                )
            else:
                expected = f"a list of {key.size} lengths from {key.low:g} mm to {key.high:g} mm"
                one = Key(
                    key.path,
                    "lengths",
                    "",
                    size=key.size,
                    low=key.low,
                    high=key.high,
                    examples=("[100, 0, 0]",),
                )
                result[name] = self.fixed_list(part, one, inner, expected)
        return result if len(result) == len(value) and not is_bad(*result.values()) else BAD

    def paths(self, value: Any, key: Key, path: str) -> Any:
        """Return the paths of files that can be read, or report what is wrong with it."""
        if isinstance(value, str):
            return self.problem(path, shown(value), key.expected, "put it in brackets: [ ]")
        if not isinstance(value, list):
            return self.problem(path, shown(value), key.expected, f"write a list such as {key.examples[0]}")
        if not value:
            return self.problem(path, "an empty list", key.expected, "name at least one")
        one = Key(key.path, "path", "", noun=key.noun)
        return tuple(self.value(part, one, f"{path}[{index}]") for index, part in enumerate(value))

    def inner_table(self, value: Any, key: Key, path: str) -> Any:
        """Return a table inside another one, or report what is wrong with it."""
        if isinstance(value, dict):
            return self.table(value, key.inside, path)
        remedy = f"write {key.name} = {key.examples[0]}" if key.examples else f"write [{key.name}]"
        if isinstance(value, list) and value and not key.examples:
            remedy = f"write [{key.name}] with single brackets, once"
        return self.problem(path, shown(value), key.expected, remedy)

    def inner_tables(self, value: Any, key: Key, path: str) -> Any:
        """Return a list of tables, or report what is wrong with it."""
        head = f"[[{key.name}]]"
        if isinstance(value, dict):
            return self.problem(path, "a single table", key.expected, f"write {head} with double brackets")
        if not isinstance(value, list):
            return self.problem(path, shown(value), key.expected, f"write {head} above its keys")
        if not value and key.required:
            return self.problem(path, "an empty list", key.expected, f"add {head}")
        return tuple(
            self.table(part, key.inside, f"{path}[{index}]")
            if isinstance(part, dict)
            else self.problem(f"{path}[{index}]", shown(part), "a table", f"write {head} above its keys")
            for index, part in enumerate(value)
        )

    def numbered_tables(self, value: Any, key: Key, path: str) -> Any:
        """Return tables by number, or report what is wrong with it."""
        if not isinstance(value, dict):
            return self.problem(path, shown(value), key.expected, f"write [{key.name}.1] above its keys")
        if not value:
            return self.problem(path, "no table in it", key.expected, f"add [{key.name}.1]")
        low, high = TOOL_NUMBERS
        result: dict[int, Any] = {}
        for name, part in value.items():
            inner = key_path(path, name)
            number = int(name) if name.isascii() and name.isdigit() and len(name) < 10 else -1
            if str(number) != name or not low <= number <= high:
                is_same = low <= number <= high
                if is_same:
                    result.setdefault(number, BAD)
                remedy = f"write [{key.name}.{number}]" if is_same else f"write [{key.name}.1] above its keys"
                remedy = lookalike.letters_remedy(name) if lookalike.mended(name) else remedy
                self.problem(inner, shown_text(name), f"a tool number from {low} to {high}", remedy)
            elif not isinstance(part, dict):
                result[number] = self.problem(
                    inner, shown(part), "a table", f"write [{key.name}.{number}] above its keys"
                )
            else:
                result[number] = self.table(part, key.inside, inner)
        return result


def _header(parent: str) -> str:
    """Return how a table is written in the file: "setups[]" is [[setups]]."""
    if parent.endswith("[]"):
        return f"[[{parent[:-2]}]]"
    if "." in parent and "[]" in parent:
        return f"'{parent.rpartition('.')[2]}'"
    return f"[{parent.replace('.N', '.1')}]"


def _not_a_length(value: Any, reason: str) -> str:
    """Return what stands in place of a length: as it is written, with the reason if there is one."""
    if not isinstance(value, str):
        return shown(value)
    _, quoted, why = reason.partition(f"'{value}'")
    return shown(value) + why if quoted else shown(value)


def _length_remedy(value: Any, per: str = "") -> str:
    """Return what to do about something that is no length; per: what it is counted by, as in Key."""
    if isinstance(value, str) and (letters := lookalike.in_text(value)):
        return letters
    if per and isinstance(value, str) and any(mark in value for mark in ("/", "²", " per ")):
        return f'write the length alone, such as "500 mm": it counts{per}'
    if isinstance(value, str) and "," in value:
        return "write a decimal point, not a comma"
    if isinstance(value, str) and any(unit in value for unit in MM_PER_UNIT):
        return 'write it like "6 mm", "1/4 in" or "2 1/4 in"'
    return 'write a number, or text such as "6 mm" or "1/4 in"'


def in_order(problems: Iterable[Problem]) -> list[Problem]:
    """Return problems in the order of the file: by line, then column."""
    return sorted(problems, key=lambda each: (each.place.line or 0, each.place.column or 0))
