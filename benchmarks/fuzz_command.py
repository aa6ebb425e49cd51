"""Does any spoilt job, program or mesh make a check end in another way than it says?

    python benchmarks/fuzz_command.py [RUNS [SEED]]

Each run spoils some files of a small job (bytes, lines, numbers, whole pieces, bad vertices) and checks it
through the command line's own entry.  It must end with 0, 1 or 2 within SECONDS and MEGABYTES, show no
traceback, write a result that its schema allows when the status is 0 or 1 and none otherwise.  A case that
does not is kept in a folder, whose name is printed.  The same seed gives the same cases.
"""

import contextlib
import io
import json
import random
import re
import shutil
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
import jsonschema

from simkit.cli import main as command
from simkit.report.schema import result_schema
from simkit.runs.limits import memory_used
from simkit.warm import compile_all
from tests.runs.some_jobs import write_one_sided, write_two_sided

SECONDS = 60.0  # for one check; they take well below one
MEGABYTES = 2600.0  # beyond what the process held before the first check
CELL = "1"
_NUMBER = re.compile(rb"-?\d+\.?\d*")
_NUMBERS = (
    b"0",
    b"-0",
    b"1e308",
    b"-1e308",
    b"nan",
    b"inf",
    b"1e-320",
    b"99999",
    b"-3",
    b"0.0001",
    b"7.5",
    b"1e4",
)
_PIECES = (
    b"",
    b"\0",
    b"\xff\xfe",
    b"\r",
    b"[",
    b"]]",
    b'"',
    b"=",
    b"(",
    b"G2 I1",
    b"M99",
    b"T9",
    b"#1=2",
    b"%",
    b"G91 ",
)


def spoil(data: bytes, dice: random.Random) -> bytes:
    """One change to the bytes of a file."""
    lines = data.split(b"\n")
    at = dice.randrange(len(data) + 1)
    line = dice.randrange(len(lines))
    sort = dice.randrange(8)
    if sort == 0:
        return data[:at] + bytes([dice.randrange(256)]) + data[at + 1 :]
    if sort == 1:
        return data[:at]
    if sort == 2:
        return data[:at] + dice.choice(_PIECES) + data[at:]
    if sort == 3:
        return b"\n".join(lines[:line] + lines[line + 1 :])
    if sort == 4:
        other = dice.randrange(len(lines))
        return b"\n".join([*lines[:other], lines[line], *lines[other:]])
    if sort == 5:
        return data[:at] + data[at + dice.randrange(1, 60) :]
    numbers = list(_NUMBER.finditer(data))
    if not numbers:
        return data
    one = dice.choice(numbers)
    return data[: one.start()] + dice.choice(_NUMBERS) + data[one.end() :]


def spoil_mesh(data: bytes, dice: random.Random) -> bytes:
    """One change to a binary STL: a number of a vertex, a triangle, or any change to its bytes."""
    sort = dice.randrange(4)
    count = max((len(data) - 84) // 50, 1)
    at = 84 + 50 * dice.randrange(count)
    if sort == 0:
        import struct

        value = dice.choice([float("nan"), float("inf"), 1e30, -1e30, 0.0, 5.0])
        place = at + 12 + 4 * dice.randrange(9)
        return data[:place] + struct.pack("<f", value) + data[place + 4 :]
    if sort == 1:
        return data[:at] + data[at + 50 :]
    if sort == 2:
        return data[:80] + dice.randrange(2**32).to_bytes(4, "little") + data[84:]
    return spoil(data, dice)


def case(folder: Path, number: int, seed: int) -> None:
    """Write the files of one case."""
    dice = random.Random(f"{seed}/{number}")
    write = dice.choice([write_one_sided, lambda path: write_one_sided(path, left=0.0), write_two_sided])
    write(folder)
    names = sorted(path.name for path in folder.iterdir())
    for _ in range(dice.choice([1, 1, 2, 4])):
        path = folder / dice.choice([*names, "job.toml"])
        change = spoil_mesh if path.suffix == ".stl" and dice.random() < 0.7 else spoil
        path.write_bytes(change(path.read_bytes(), dice))


def fault_of(folder: Path, validator: jsonschema.Draft202012Validator, held: float) -> tuple[int | None, str]:
    """Check the case in a folder; return its status, and what is wrong about how it ended, '' for nothing.

    held: bytes that the process held before the first case.
    """
    out, told = folder / "result.json", io.StringIO()
    words = ["check", str(folder / "job.toml"), "--quiet", "--cell", CELL, "--fresh", "--json", str(out)]
    started, status = time.monotonic(), None
    try:
        with contextlib.redirect_stdout(told), contextlib.redirect_stderr(told):
            status = command(words)
    except BaseException as escaped:
        return status, f"{type(escaped).__name__} escaped: {escaped}"
    seconds = time.monotonic() - started
    text = told.getvalue()
    if status not in (0, 1, 2):
        return status, f"status {status}: {text.strip()}"
    if "Traceback" in text:
        return status, "a traceback is shown"
    if not text.strip():
        return status, "nothing is said"
    if seconds > SECONDS:
        return status, f"it took {seconds:.0f} s"
    if memory_used() - held > MEGABYTES * 1e6:
        return status, f"{(memory_used() - held) / 1e6:.0f} MB more are in use than before the first case"
    if out.exists() != (status < 2):
        return status, f"status {status}, and result.json is {'' if out.exists() else 'not '}there"
    if status < 2:
        error = next(validator.iter_errors(json.loads(out.read_text("utf-8"))), None)
        if error is not None:
            return status, f"the result breaks its schema: {error.message[:200]}"
    return status, ""


def fuzz(runs: int, seed: int, keep: Path | None = None, tell=lambda _: None) -> tuple[Counter, list[str]]:
    """Run the cases; return how often each status came, and a line for each fault.

    keep: folder for the files of cases at fault.  tell: called with a line for each fault, and now and then.
    """
    schema = result_schema(closed=True)
    validator = jsonschema.Draft202012Validator({**schema["anyOf"][0], "$defs": schema["$defs"]})
    statuses, faults, held = Counter(), [], memory_used()
    for number in range(runs):
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name) / "job"
            case(folder, number, seed)
            status, fault = fault_of(folder, validator, held)
            statuses[status] += 1
            if fault:
                faults.append(f"seed {seed}, case {number}: {fault}")
                tell(faults[-1])
                if keep is not None:
                    shutil.copytree(folder, keep / f"{seed}-{number}")
        if (number + 1) % 500 == 0:
            tell(f"{number + 1} runs, {len(faults)} faults, {memory_used() / 1e6:.0f} MB in use")
    return statuses, faults


if __name__ == "__main__":
    wanted = [int(word) for word in sys.argv[1:]]
    kept = Path(tempfile.mkdtemp(prefix="simkit-fuzz-"))
    began = time.monotonic()
    runs, seed = (wanted + [1000, 1][len(wanted) :])[:2]
    compile_all()  # compiling counts to no case
    counts, found = fuzz(runs, seed, kept, lambda line: print(line, file=sys.stderr, flush=True))
    print(f"{time.monotonic() - began:.0f} s; statuses {dict(sorted(counts.items(), key=str))}")
    print("\n".join(found) if found else "no fault")
    if found:
        print(f"their files are in {kept}")
    else:
        kept.rmdir()
    sys.exit(bool(found))
