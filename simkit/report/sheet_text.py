"""The sheet for the shop as text, lengths in the unit of the job, what is typed at the control in its own."""

from __future__ import annotations

from typing import Any

from simkit.report.lengths import Lengths, lengths_of
from simkit.report.sheet_steps import resin_lines, step_lines
from simkit.units import MM_PER_INCH

KG_PER_POUND = 0.45359237  # exact, international agreement of 1959
_NEAR = 1e-6
_SIDES = {"along x": "left to right", "along y": "front to back", "along z": "lower face to upper face"}


def sheet_text(sheet: dict[str, Any]) -> str:
    """Return the sheet as lines to print."""
    name = sheet["job"]["name"] or sheet["job"]["file"]
    lengths = lengths_of(sheet)
    lines = [
        f"{name}: sheet for the shop",
        "This sheet checks nothing: run simkit check first.",
        f"Lengths in {lengths.word}.",
        "",
    ]
    lines += _blank_lines(sheet["blank"], lengths)
    if sheet["boards"] is not None:
        lines += _board_lines(sheet["boards"], lengths)
    lines += resin_lines(sheet.get("steps", ()), lengths)
    for number, setup in enumerate(sheet["setups"], 1):
        lines += ["", f"Setup {number} of {len(sheet['setups'])}: {setup['name']}"]
        lines += [f"  {line}" for line in _setup_lines(setup, number, lengths)]
        for step in sheet.get("steps", ()):
            if step["after"] == number:
                lines += ["", f"Then step {step['number']}: {lengths.text(step['words'])}"]
                lines += [f"  {line}" for line in step_lines(step, lengths)]
    lines += ["", *sheet["cautions"]]
    return "\n".join(lines)


def _blank_lines(blank: dict[str, Any], lengths: Lengths) -> list[str]:
    size = lengths.sizes(blank["length"], blank["width"], blank["thickness"], by="x")
    words = [blank["species"]] if blank["species"] else []
    words += [f"fibres {blank['grain']}"] if blank["grain"] else []
    line = f"Blank ready to cut: {size}" + (f", {', '.join(words)}" if words else "")
    line += f"; {_volume(blank['volume'], lengths)}"
    if blank["mass"] is not None:
        heavy = f"{blank['density']:.0f} kg/m3 at 12 % moisture, Wood Handbook"
        mass = f"{blank['mass'] / KG_PER_POUND:.2f} lb" if lengths.is_inch else f"{blank['mass']:.2f} kg"
        line += f", about {mass} ({heavy})"
    return [line]


def _volume(dm3: float, lengths: Lengths) -> str:
    return f"{dm3 * 1e6 / MM_PER_INCH**3:.1f} in3" if lengths.is_inch else f"{dm3:.2f} dm3"


def _board_lines(boards: dict[str, Any], lengths: Lengths) -> list[str]:
    size = lengths.size
    taken = boards["allowances"]
    side = _SIDES[boards["joined"]]
    run = "" if boards["run"] == "along x" else f" running {boards['run']},"
    rings = f", rings {boards['rings']}" if boards["rings"] else ""
    lines = [f"Boards to cut ({_volume(boards['volume'], lengths)}{rings}),{run} side by side from {side}:"]
    for piece in boards["pieces"]:
        sizes = lengths.sizes(piece["length"], piece["width"], piece["thickness"], by="x")
        sawn = lengths.sizes(piece["sawn_from"])
        lines.append(f"  {piece['count']} of {sizes}; sawn side by side: from {sawn}")
    lines.append(
        f"  with {lengths.sizes(taken['jointing'])} for jointing a glued face, {size(taken['planing'])} for "
        f"planing an outer face, {size(taken['saw'])} for the saw, {size(taken['ends'])} off each end"
    )
    if boards["assumed"]:
        names = ", ".join(f"layup.{name}" for name in boards["assumed"])
        lines.append(f"  not stated, so common practice, no source: {names}")
    if boards["glue_lines"]:
        axis = boards["joined"][-1]
        places = ", ".join(size(place) for place in boards["glue_lines"])
        lines.append(f"  glue lines at {axis} = {places} {lengths.name}")
    return lines


def _setup_lines(setup: dict[str, Any], number: int, lengths: Lengths) -> list[str]:
    size, program = lengths.size, Lengths(setup["program_unit"])
    mark, zero = setup["mark"], setup["zero"]
    where = "on the table" if setup["jig"] is None else "in its jig"
    lines = [f"lies       {setup['lies']}; {lengths.sizes(*setup['size'][:2], by='x')} {where}"]
    if setup["jig"] is not None:
        lines.append(f"jig        {jig_words(setup['jig'], lengths)}")
    if number == 1:
        lines.append(
            f"mark       write an arrow on the upper face at its {mark['corner']} corner before anything else"
        )
    else:
        lines.append(f"mark       the marked corner is now at the {mark['corner']}, face {mark['face']}")
    below = "the table" if setup["jig"] is None else "the lower face"
    face = "the upper face" if zero["face"] == "top" else below
    text = f"zero       {zero['corner']} corner, on {face}"
    if zero["corner"] == "centre":
        text = f"zero       the middle of the blank, on {face}"
    if any(zero["offset"]):
        text += ", off by X{} Y{} Z{}".format(*map(size, zero["offset"]))
    text += "; that is X{} Y{} Z{} from the blank's left front lower corner".format(*map(size, zero["at"]))
    lines.append(text)
    if zero["machine"]:
        lines.append("           machine X{} Y{} Z{}".format(*map(size, zero["machine"])))
    lines += [
        "           {}: X{} Y{} Z{} from there".format(name, *map(size, place))
        for name, place in setup["work_offsets"].items()
    ]
    for k, one in enumerate(setup["programs"]):
        lines.append(f"{'programs' if k == 0 else '':<10} {one['file']}{_spindle(one['spindle'])}")
    for k, cutter in enumerate(setup["cutters"]):
        lines.append(f"{'cutters' if k == 0 else '':<10} {_cutter_text(cutter, lengths, program)}")
    is_in_jig = setup["jig"] is not None
    lines += _below_lines(setup["below_blank"], setup["spoilboard"], is_in_jig, lengths)
    for k, pin in enumerate(setup["pins"]):
        what = "holes" if pin["is_hole"] else "pins"
        # Beside a control that counts in inches, a place in mm would be typed in as it stands.
        text = "{} at {}, {} {} from the left front corner (program X{} Y{}{})".format(
            pin["name"],
            *map(size, pin["at"]),
            lengths.name,
            *(_typed(value, program) for value in pin["program"]),
            "" if program.unit == lengths.name else f" {program.name}",
        )
        wide = "" if pin["diameter"] is None else f", diameter {size(pin['diameter'])}"
        lines.append(f"{what if k == 0 else '':<10} {text}{wide}")
    for k, fixture in enumerate(setup["fixtures"]):
        low_x, high_x, low_y, high_y = fixture["box"]
        text = f"{fixture['name']}: x {size(low_x)} to {size(high_x)}, y {size(low_y)} to {size(high_y)}, "
        lines.append(f"{'clamps' if k == 0 else '':<10} {text}{lengths.sizes(fixture['height'])} high")
    lines += [
        f"{'held by' if k == 0 else '':<10} {holding_words(one, lengths)}"
        for k, one in enumerate(setup["holding"])
    ]
    lines += [
        f"{'measure' if k == 0 else '':<10} [ ] {text}"
        for k, text in enumerate(to_measure(setup, number, lengths))
    ]
    return lines


def holding_words(one: dict[str, Any], lengths: Lengths) -> str:
    """Return what holds the work, and where, in words; places from the blank's left front corner."""
    size = lengths.size
    low_x, high_x, low_y, high_y = one["box"]
    text = f"{one['kind']}: x {size(low_x)} to {size(high_x)}, y {size(low_y)} to {size(high_y)}"
    if one["diameter"] is not None:
        return text + f", round, {lengths.sizes(one['diameter'])} across"
    return text if one["corners"] is None else text + f", an outline of {one['corners']} corners within that"


def _below_lines(below: float, allowed: float | None, is_in_jig: bool, lengths: Lengths) -> list[str]:
    """Say how deep cutters go below the blank, against what is stated."""
    into = ", into the jig" if is_in_jig else ""
    if below > _NEAR:
        text = f"below      cutters go {lengths.sizes(below)} below the blank{into}"
        if allowed is None:
            what = "no depth in it is stated" if is_in_jig else "INTO THE TABLE, for no spoilboard is stated"
            return [f"{text}: {what}"]
        enough = "" if allowed + _NEAR >= below else ": NOT ENOUGH"
        stated = "" if is_in_jig else " of spoilboard"
        return [f"{text}; stated are {lengths.sizes(allowed)}{stated}{enough}"]
    if is_in_jig:
        return ["below      the jig, not cut into"]
    return [] if allowed is None else ["below      spoilboard, not cut into"]


def _spindle(speeds: list[float] | None) -> str:
    if speeds is None:
        return ""
    low, high = speeds
    return f", spindle {low:g} rev/min" if low == high else f", spindle {low:g} to {high:g} rev/min"


def _typed(value: float, program: Lengths) -> str:
    """Return a length as it would be typed at the control: decimals, no fraction."""
    return program.place(value) if program.is_inch else program.size(value)


def _cutter_text(cutter: dict[str, Any], lengths: Lengths, program: Lengths) -> str:
    text = f"T{cutter['number']} {lengths.sizes(cutter['diameter'])} {cutter['shape']}"
    if cutter["deepest"] > 0:
        lowest = _typed(cutter["lowest"], program) + (
            "" if program.unit == lengths.name else f" {program.name}"
        )
        text += f", down to {lengths.sizes(cutter['deepest'])} below the upper face (Z{lowest})"
    needed, stated = cutter["stick_out_for_sure"], cutter["stick_out"]
    above = above_words(cutter, lengths)
    if stated is None:
        return text + f"; stick out {lengths.sizes(needed)} or more, which keeps the holder {above}"
    text += f"; stick out {lengths.sizes(stated)} as stated"
    if stated + _NEAR >= needed:
        return text + f" ({lengths.size(needed)} keeps the holder {above})"
    text += f": less than {lengths.size(needed)}, so the holder comes below the upper face; "
    return text + "the check says whether it meets wood"


def jig_words(jig: dict[str, Any], lengths: Lengths) -> str:
    """Return into which jig a blank is laid, and where in it, in words."""
    right, back, up = map(lengths.size, jig["at"])
    return (
        f"of {jig['file']}, cut and checked first: the blank's left front lower corner {right} to the right, "
        f"{back} to the back and {up} {lengths.name} above that of the jig's board"
    )


def above_words(cutter: dict[str, Any], lengths: Lengths) -> str:
    """Return how far above the wood a holder stays with `stick_out_for_sure`, in words."""
    return f"{lengths.sizes(cutter['stick_out_for_sure'] - max(cutter['deepest'], 0.0))} above the wood"


def _stick_out(cutter: dict[str, Any], lengths: Lengths) -> str:
    if cutter["stick_out"] is not None:
        return f"sticking out {lengths.sizes(cutter['stick_out'])} as stated"
    needed = lengths.sizes(cutter["stick_out_for_sure"])
    return f"sticking out {needed} or more (holder {above_words(cutter, lengths)})"


def to_measure(setup: dict[str, Any], number: int, lengths: Lengths) -> list[str]:
    """Return what to measure before pressing start.  setup: of a sheet; number: of the setup, from 1."""
    size = " x ".join(lengths.sizes(one) for one in setup["size"])
    rows = [f"the blank: {size} thick at all four corners, and flat"]
    if number > 1:
        chips = ", nothing under the blank" if setup["jig"] is None else ""
        rows.append(f"laid as above: the mark is where it should be{chips}")
    if setup["jig"] is not None:
        rows.append("the jig fast on the table, nothing in it; the blank drops in and does not rock")
    if any(not pin["is_hole"] for pin in setup["pins"]):
        rows.append("the pins without play in the table and in the holes")
    rows += [
        f"T{cutter['number']}: diameter {lengths.sizes(cutter['diameter'])}, {_stick_out(cutter, lengths)}, "
        "sharp, clean in its collet"
        for cutter in setup["cutters"]
    ]
    rows.append("the zero touched off anew, X, Y and Z, with the paper or plate taken off again")
    if setup["jig"] is not None:
        if setup["below_blank"] > _NEAR:
            deep = lengths.sizes(setup["below_blank"])
            rows.append(f"no screws in the jig where cutters go {deep} into it, and none under it")
    elif setup["spoilboard"] is not None or setup["below_blank"] > _NEAR:
        deep = max(setup["spoilboard"] or 0.0, setup["below_blank"])
        rows.append(f"the spoilboard thicker than {lengths.sizes(deep)}, no screws in the way")
    rows.append("clamps, tape and pins hold; nothing lies in the way; first pass in the air")
    return rows
