"""The short form as a job file: what it holds becomes lines that the reader of job files judges."""

from __future__ import annotations

import re
from typing import Any

from simkit.cutters import MEASURES
from simkit.draft.tables import text
from simkit.job.key import UNFILLED

JOB_FILE = "job.toml"
_KEY = re.compile(
    r"(blank|target|limits)\.(\w+)|cutters\.(\w+)\.(\w+)|(setups|dowels|fixtures|holding)\[(\d+)\]\.(\w+)"
    r"[\w.\[\]]*"
)
_ROWS = {"setups": "side", "dowels": "dowel", "fixtures": "clamp or stop", "holding": "what holds"}
_TABLES = {"target": "mesh"}
LIMITS = ("gouge", "leftover", "thinnest_wall", "witness_step")
STANDING, HOLDING = ("clamp", "stop"), ("tape", "vacuum", "screw")
_FIELDS = {
    "spoilboard": "cutters may go below the blank by", "turn": "turned over", "zero": "X0 Y0 and Z0",
    "units": "is in", "corner": "corner radius", "anchor": "which point", "at": "place", "box": "place",
    "gouge": "cut too deep by", "leftover": "left standing", "thinnest_wall": "thinnest wall",
    "witness_step": "step between the sides",
}  # fmt: skip
_LONGEST = 60  # characters of a field


def job_text(form: dict[str, Any], mesh: str | None) -> str:
    """Return the text of a job file for what stands in the form.

    form: `unit`, `blank` (three), `cutters` (rows of number, shape, diameter, and the measures of
    cutters.MEASURES), `setups` (rows of programs, turn, corner, face, spoilboard), `mesh_units`, and where
    given `mesh_anchor`, `mesh_at` (three), `limits` (by names in LIMITS), `dowels` (rows of x, y, diameter)
    and `areas` (rows of what, side, box of four and height: what stands on the table or holds the wood); all
    as the person wrote it.  mesh: name of the dropped mesh.  An empty field becomes a blank to fill in, which
    the reader refuses with its line.  Raises ValueError for what no form holds.
    """
    length, width, thickness = _list(form.get("blank"))
    lines = [
        "# Made from the form of simkit page.",
        f"unit = {_word(form.get('unit', 'mm'))}",
        "",
        "[blank]",
        f"length = {_number(length)}",
        f"width = {_number(width)}",
        f"thickness = {_number(thickness)}",
    ]
    for row in _list(form.get("cutters")):
        number = _word(row.get("number", ""))[1:-1]
        if not (number.isascii() and number.isdecimal()):
            number = text(number)  # a key that the reader refuses with its line
        lines += ["", f"[cutters.{number}]", f"shape = {_word(row.get('shape', ''))}"]
        lines.append(f"diameter = {_number(row.get('diameter'))}")
        lines += [f"{name} = {_number(row[name])}" for name in MEASURES if _is_given(row.get(name))]
    for index, row in enumerate(_list(form.get("setups")), 1):
        programs = ", ".join(_word(name) for name in _list(row.get("programs")))
        lines += ["", "[[setups]]", f'name = "side {index}"', f"turn = {_word(row.get('turn', 'none'))}"]
        corner, face = _word(row.get("corner", "")), _word(row.get("face", ""))
        lines.append(f"zero = {{ corner = {corner}, face = {face} }}")
        if _is_given(row.get("spoilboard")):
            lines.append(f"spoilboard = {_number(row['spoilboard'])}")
        lines.append(f"programs = [{programs}]")
    if mesh is not None:
        units = _word(form.get("mesh_units") or UNFILLED)
        lines += ["", "[target]", f"mesh = {text(mesh)}", f"units = {units}"]
        at = form.get("mesh_at") or ["", "", ""]
        lines.append(f"anchor = {_word(form.get('mesh_anchor') or 'origin')}")
        lines.append(f"at = [{', '.join(_number(one) if _is_given(one) else '0' for one in _list(at))}]")
    lines += _dowels(_list(form.get("dowels") or []))
    lines += _areas(_list(form.get("areas") or []), len(_list(form.get("setups"))))
    limits = form.get("limits") or {}
    given = [f"{name} = {_number(limits[name])}" for name in LIMITS if _is_given(limits.get(name))]
    if given:
        lines += ["", "[limits]", *given]
    return "\n".join(lines) + "\n"


def _dowels(rows: list[Any]) -> list[str]:
    lines = []
    for index, row in enumerate(rows, 1):
        at = f"[{_number(row.get('x'))}, {_number(row.get('y'))}]"
        lines += ["", "[[dowels]]", f'name = "dowel {index}"', f"at = {at}"]
        lines.append(f"diameter = {_number(row.get('diameter'))}")
    return lines


def _areas(rows: list[Any], sides: int) -> list[str]:
    """Return what stands on the table, and what holds the wood, as tables of a job file."""
    lines = []
    for index, row in enumerate(rows, 1):
        what, side = row.get("what"), str(row.get("side") or "")
        left, front, right, back = (_number(one) for one in _list(row.get("box")))
        if what in STANDING:
            lines += [
                "",
                "[[fixtures]]",
                f'name = "{what} {index}"',
                f"height = {_number(row.get('height'))}",
            ]
        else:
            lines += ["", "[[holding]]", f"kind = {_word(what if what in HOLDING else '')}"]
        lines.append(f"box = [[{left}, {front}], [{right}, {back}]]")
        if side.isascii() and side.isdecimal() and int(side) <= sides:
            lines.append(f'setups = ["side {int(side)}"]')
    return lines


def field_words(key: str | None) -> str | None:
    """Return what the form calls a key of the job file that it made, None for a key that it does not have."""
    if key == "unit":
        return "blank, in"
    found = _KEY.fullmatch(key or "")
    if found is None:
        return None
    table, name, cutter, measure, rows, index, entry = found.groups()
    if table:
        return f"{_TABLES.get(table, table)}, {_FIELDS.get(name, name)}"
    if cutter:
        return f"cutter T{cutter}, {_FIELDS.get(measure, measure)}"
    return f"{_ROWS[rows]} {int(index) + 1}, {_FIELDS.get(entry, entry)}"


def _list(value: Any) -> list[Any]:
    if not isinstance(value, list) or len(value) > 200:
        raise ValueError("no list where the form has one")
    return value


def _is_given(value: Any) -> bool:
    return value is not None and str(value).strip() != ""


def _word(value: Any) -> str:
    """Return a word as TOML text.  Names of files are longer than what is typed."""
    return text(str(value).strip()[:250] or UNFILLED)


def _number(value: Any) -> str:
    """Return a number as TOML text: as it was written where it is one, else as text that is refused."""
    written = str("" if value is None else value).strip().replace(",", ".")[:_LONGEST]
    try:
        number = float(written)
    except ValueError:
        return text(written or UNFILLED)
    return repr(number) if abs(number) < 1e9 else text(written)
