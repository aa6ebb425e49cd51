"""Names of dropped files: what they may be, and what lies behind them.

A name from outside is never joined to a path before `safe_name` let it pass: then it is one plain name, of
letters and digits of any script and a few signs, that means the same on every system.
"""

from __future__ import annotations

import unicodedata

from simkit.draft.seen import PERHAPS, PROGRAMS
from simkit.errors import InputProblems, Place, Problem
from simkit.job.files import shown_text

JOB, MESH, PROGRAM = "job file", "mesh", "program"
MESHES = (".stl", ".ply", ".obj", ".off")
ENDINGS = (*PROGRAMS, *PERHAPS, *MESHES, ".toml")
MOST_FOLDERS = 8
LONGEST = 200  # bytes as UTF-8; file systems take 255
_SIGNS = frozenset(" ._-+,()=&@'")
_DEVICES = frozenset(
    ["con", "prn", "aux", "nul", *(f"{name}{digit}" for name in ("com", "lpt") for digit in "0123456789¹²³")]
)


def safe_name(name: str) -> str:
    """Return a name as it is used for a file.  Raises InputProblems for one that could mean anything else."""
    plain = unicodedata.normalize("NFC", name)
    expected = "a plain name such as side1.nc"
    wrong = ""
    if not plain or len(plain.encode("utf-8", "surrogatepass")) > LONGEST:
        wrong = f"a name of {len(plain)} characters"
    elif any(not (c in _SIGNS or unicodedata.category(c)[0] in "LMN") for c in plain):
        wrong, expected = f"the name {shown_text(name)}", "letters, digits, spaces and . _ - + , ( ) = & @ '"
    elif plain[0] in ". -" or plain[-1] in ". " or plain.split(".")[0].strip().lower() in _DEVICES:
        wrong = f"the name {shown_text(name)}"
    if wrong:
        raise InputProblems(
            Problem(Place("dropped file"), wrong, expected, "rename the file and drop it again")
        )
    return plain


def safe_path(name: str) -> str:
    """Return the name of a file in dropped folders, "boat/side1.nc": each part as `safe_name` has it."""
    parts = name.split("/")
    if len(parts) > MOST_FOLDERS + 1:
        found, expected = f"{len(parts) - 1} folders one in another", f"{MOST_FOLDERS} at most"
        raise InputProblems(Problem(Place("dropped file"), found, expected, "drop the inner folder alone"))
    return "/".join(safe_name(part) for part in parts)


def kind_of(name: str) -> str:
    """Return what a file is by the end of its name.  Raises InputProblems for one that is none of ours."""
    ending = "." + name.rpartition(".")[2].lower() if "." in name else ""
    if ending == ".toml":
        return JOB
    if ending in MESHES:
        return MESH
    if ending in PROGRAMS + PERHAPS:
        return PROGRAM
    known = ", ".join((*PROGRAMS, *PERHAPS))
    expected = f"a program ({known}), a mesh ({', '.join(MESHES)}) or a job file (.toml)"
    todo = "if it is one of these, rename the file; else leave it out"
    raise InputProblems(
        Problem(Place(name), f"the ending '{ending}'" if ending else "no ending", expected, todo)
    )
