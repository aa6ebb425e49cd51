"""What the dropped files let one guess for the form, as JSON; run as a process of its own."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from simkit.draft import guesses
from simkit.draft.draft import cutters, dowels, size_words
from simkit.draft.seen import Seen, seen_in


def form_of(found: Seen) -> dict[str, Any]:
    """Return values for the form, the evidence for each in `why`, and `problems` of files not read.

    Sizes of the blank, shapes, diameters and how it is turned over stay empty: nothing in a program tells
    them for sure.  What there is about the size stands in `sizes`, beside the fields.
    """
    first, second, untold, why = guesses.sides(found.programs)
    setups, tools = [], set()
    for index, programs in enumerate((first or untold, second)):
        if not programs and index:
            continue
        cuts = guesses.cuts_of(programs)
        corner, face = guesses.corner(cuts), guesses.face(cuts)
        why += [f"side {index + 1}: {words}" for words in (*corner.why, *face.why)]
        names = [program.name for program in programs]
        setups.append({"programs": names, "corner": corner.value or "", "face": face.value or ""})
    for tool, _, notes in cutters(found.programs) if any(one.read for one in found.programs) else ():
        tools.add(tool)
        why += [f"T{tool}: {words}" for words in notes]
    cuts = guesses.cuts_of(first or untold) or guesses.cuts_of(second)
    units = guesses.units(found.meshes[0], cuts) if _has_bounds(found) else guesses.Guess(None)
    unit = guesses.unit_of(found.programs)
    holes = dowels(first or untold, guesses.corner(guesses.cuts_of(first or untold)), unit)
    why += [f"dowel {number}: {hole.why}" for number, hole in enumerate(holes, 1)]
    if units.value is not None and cuts is not None:
        place = guesses.lies_where_it_is_cut(found.meshes[0], units.value, cuts, guesses.corner(cuts).value)
        why += [] if place.value else ["where the mesh lies in the blank is not told: " + place.why[0]]
    sides = [guesses.cuts_of(first or untold), guesses.cuts_of(second)]
    return {
        "unit": unit,
        "sizes": size_words(found, sides),
        "dowels": [{"at": list(hole.at or ("", "")), "cutter": hole.tool} for hole in holes],
        "cutters": sorted(tools),
        "setups": setups,
        "mesh_units": units.value or "",
        "why": [*why, *units.why],
        "problems": [line for problem in found.problems for line in problem.lines()],
    }


def _has_bounds(found: Seen) -> bool:
    return len(found.meshes) == 1 and found.meshes[0].bounds is not None


def main() -> None:
    """Print what the folder named by the only argument lets one guess."""
    sys.stdout.write(json.dumps(form_of(seen_in(Path(sys.argv[1])))))


if __name__ == "__main__":
    main()
