"""Make the demo job: an olive boat in cherry, cut from two sides, and jobs with one mistake each.

    python samples/make_olive_boat.py [FOLDER]

writes FOLDER/olive_boat (the good job: mesh, two programs, job file), FOLDER/olive_boat_jig (the same, laid
into a jig for the second side, with the jig's own job) and FOLDER/spoilt/<name> (one of them with one known
mistake, and expected.toml with what a check must find).  FOLDER is samples/ itself
unless given; what it holds in the repository is what this script writes.

Shape and mesh: olive_boat_shape.py; the two programs: olive_boat_programs.py, toolpaths.py; the jig:
olive_boat_jig.py.
"""

from __future__ import annotations

import sys
from pathlib import Path

import carving
import olive_boat_jig as jig
import olive_boat_shape as shape
from olive_boat_programs import DOWELS, side1, side2
from olive_boat_shape import LENGTH, THICKNESS, WIDTH

TITLE = "An olive boat in cherry: outside and foot first, turned about its length, then the hollows."
MADE = "Made by samples/make_olive_boat.py; lengths in mm."
MESH = "olive_boat.stl"
THINNEST = 4.5  # mm
SCREWS = [(x, y) for x in (6.0, LENGTH - 6.0) for y in (6.0, WIDTH - 6.0)]  # in the corners of the frame


def job_text(name, note, programs, mesh, turn="about x", offset="", in_jig=False):
    """Return the job file's text; programs: names of the files of both sides.

    in_jig: side 2 is cut in the jig of jig/job.toml, whose pocket does what the dowels do on the table.
    """
    more = [f'jig = "jig/job.toml"\njig_at = {list(jig.AT)}\n'] if in_jig else []
    return carving.job_text(
        [TITLE, note, MADE],
        name,
        (LENGTH, WIDTH, THICKNESS),
        [
            ("outside and foot", "none", "", programs[0]),
            ("rim and hollows", turn, offset, programs[1], *more),
        ],
        mesh,
        {} if in_jig else DOWELS,
        THINNEST,
        screws=SCREWS,
    )


def write_spoilt(folder, name, note, findings, program=None, **changes):
    """Write one spoilt job: job.toml, its own side 2 if it has one, and expected.toml.

    findings: dicts of kind and, where known, file, line (first, last), value (low, high) mm, at (x, y)
    mm in the blank frame near which it lies; "text" instead of a line: the last line of the job file
    that starts so.
    """
    place = folder / "spoilt" / name
    place.mkdir(parents=True, exist_ok=True)
    programs = [f"../../olive_boat/side{i}.nc" for i in (1, 2)]
    if program is not None:
        (place / "side2.nc").write_text(program)
        programs[1] = "side2.nc"
    job = job_text(
        f"olive boat, {name.replace('_', ' ')}",
        f"Spoilt on purpose: {note}",
        programs,
        f"../../olive_boat/{MESH}",
        **changes,
    )
    (place / "job.toml").write_text(job)
    write_expected(place, note, findings, job)


def write_expected(place, note, findings, job):
    """Write expected.toml of a spoilt job; findings: of write_spoilt.  job: the text of its job file."""
    rows = ["# What a check of this job must find; line = [first, last] of the file, value in mm."]
    rows += ["exit = 1", f'note = "{note}"']
    for finding in findings:
        rows += ["", "[[finding]]"]
        for key, value in finding.items():
            if key == "text":  # the last line of the job file that starts so
                at = max(i for i, line in enumerate(job.splitlines(), 1) if line.startswith(value))
                key, value = "line", [at, at]
            rows.append(f'{key} = "{value}"' if isinstance(value, str) else f"{key} = {list(value)}")
    (place / "expected.toml").write_text("\n".join(rows) + "\n")


def write_in_jig(place, up, name, note, has_relief=True):
    """Write the boat's job with its second side cut in a jig, and the jig's own job; return the job's text.

    up: the way from `place` to the folder of the samples.
    """
    (place / "jig").mkdir(parents=True, exist_ok=True)
    (place / "jig" / "pocket.nc").write_text(jig.pocket(has_relief).text())
    (place / "jig" / "job.toml").write_text(jig.job_text(f"{name}, the jig", MADE))
    programs = [f"{up}olive_boat/side{i}.nc" for i in (1, 2)]
    job = job_text(name, note, programs, f"{up}olive_boat/{MESH}", in_jig=True)
    (place / "job.toml").write_text(job)
    return job


def with_low_rapid(program):
    """Return the text of side 2 with one traverse written too low, and the line it is on.

    It is the traverse from the skimmed rim to where the main hollow starts: Z-8 instead of Z8.
    """
    lines = list(program.lines)
    first, last = next(span for name, span in program.sections.items() if name.startswith("main hollow, r"))
    at = next(i for i in range(first, last) if lines[i].startswith("X") and lines[i].endswith("Z8."))
    lines[at] = lines[at].replace("Z8.", "Z-8.")
    return "\n".join(lines) + "\n", at + 1


def section(program, start):
    """Return [first, last] line of the section whose name starts so."""
    return next(span for name, span in program.sections.items() if name.startswith(start))


def closing(program):
    """Return the line in which the contour through the skin meets its start; the lead and a lift follow."""
    _, last = section(program, "contour through")
    return [last - 2, last - 2]


def main(folder):
    good = folder / "olive_boat"
    good.mkdir(parents=True, exist_ok=True)
    carving.write_stl(good / MESH, *shape.mesh(), "olive boat, mm")
    first, second = side1(), side2()
    (good / "side1.nc").write_text(first.text())
    (good / "side2.nc").write_text(second.text())
    (good / "job.toml").write_text(
        job_text("olive boat", "The good job: everything within limits.", ("side1.nc", "side2.nc"), MESH)
    )

    no_rest = side2(with_rest=False)
    balls = [section(no_rest, "main hollow, p")[0], section(no_rest, "stone hollow, p")[1]]
    tips = [(60.4, 45.4), (166.9, 45.1), (199.9, 44.9), (228.6, 44.6)]
    write_spoilt(
        folder,
        "no_rest_pass",
        "The 3 mm ball was left out: the 6 mm ball cannot get into the pointed ends of the hollows.",
        [{"kind": "leftover-cutter", "file": "side2.nc", "line": balls, "at": at} for at in tips],
        no_rest.text(),
    )
    write_spoilt(
        folder,
        "wrong_turn",
        "The job says that the blank is turned about y; the programs are for a turn about x.",
        [{"kind": kind, "file": "job.toml", "text": "turn ="} for kind in ("wrong-turn", "dowel-miss")],
        turn="about y",
    )
    write_spoilt(
        folder,
        "second_zero_off",
        "The zero of side 2 is 0.6 mm off in y: a step all along the seam, one wall too thin.",
        [
            {"kind": "witness-step", "value": (0.5, 0.7)},
            {"kind": "gouge", "file": "side2.nc"},
            {"kind": "leftover-program", "file": "side2.nc"},
        ],
        offset=", offset = [0, 0.6, 0]",
    )
    deep = side2(hollows=(shape.deeper(shape.MAIN, 2.0), shape.SMALL))
    lines = section(deep, "main hollow, p")
    write_spoilt(
        folder,
        "hollow_too_deep",
        "The main hollow was programmed 2 mm too deep.",
        [
            {"kind": "gouge", "file": "side2.nc", "line": lines, "value": (1.8, 2.05)},
            {"kind": "thin-wall", "file": "side2.nc", "line": lines},
        ],
        deep.text(),
    )
    free = side2(tabs=())
    write_spoilt(
        folder,
        "no_tabs",
        "The tabs were forgotten: the boat comes free of its frame at the end of the last contour.",
        [{"kind": "loose-piece", "file": "side2.nc", "line": closing(free)}],
        free.text(),
    )
    text, line = with_low_rapid(second)
    write_spoilt(
        folder,
        "low_rapid",
        "One rapid of side 2 says Z-8 where it should say Z8 and goes through standing wood.",
        [{"kind": "rapid-contact", "file": "side2.nc", "line": (line, line)}],
        text,
    )

    good_note = "Side 2 is cut in a jig: everything within limits."
    write_in_jig(folder / "olive_boat_jig", "../", "olive boat in a jig", good_note)
    note = (
        "The corners of the jig's pocket were left as round as its cutter: the square blank stands on them."
    )
    place = folder / "spoilt" / "round_corners"
    job = write_in_jig(place, "../../", "olive boat, round corners", f"Spoilt on purpose: {note}", False)
    over = jig.corner_overlap()
    value = (round(over - 0.02, 3), round(over + 0.02, 3))
    write_expected(place, note, [{"kind": "seat", "file": "job.toml", "text": "jig =", "value": value}], job)


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
