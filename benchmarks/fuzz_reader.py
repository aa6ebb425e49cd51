"""Does any input crash the program reader, hang it, or make its two ways of reading disagree?

Each case is a program made at random, one spoilt, a stretch of a sample spoilt, or bytes of no sense.  It is
read by the compiled and by the plain reader; they must say the same to the bit, and nothing but
InputProblems may be raised.  A case of more than HANG seconds counts as hung.  Case k of a seed is
made from (seed, k) alone, so what is reported can be made again.
Run: python benchmarks/fuzz_reader.py [CASES [SEED]]     (a million cases by default, about an hour)
"""

import faulthandler
import sys
import time
import traceback
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from simkit.program.interpreter import Options
from tests.program.made_programs import HEAD, made_program, outcome, spoilt

HANG = 20.0  # s, of one case on a loaded machine
SAMPLES = [path.read_bytes().splitlines(keepends=True) for path in
           sorted((Path(__file__).parents[1] / "samples").glob("*/*.nc"))]  # fmt: skip
ALPHABET = np.frombuffer(b"GGGXXYYZIJRFNMSTKP00011223456789..--+  \n\n\n()/;%#\r\t\xc3\xa9\0", dtype=np.uint8)


def case(seed, k):
    """The bytes and options of one case."""
    random = np.random.default_rng((seed, k))
    sort = random.integers(10)
    if sort < 3:
        data = made_program(random, random.integers(1, 40))
    elif sort < 6:
        data = spoilt(random, made_program(random, random.integers(1, 30)))
    elif sort < 8:
        lines = SAMPLES[random.integers(len(SAMPLES))]
        begin = random.integers(len(lines) - 40)
        data = spoilt(random, HEAD + b"".join(lines[begin : begin + random.integers(1, 40)]))
    elif sort < 9:
        data = HEAD + random.choice(ALPHABET, random.integers(1, 150)).tobytes()
    else:
        data = random.integers(0, 256, random.integers(1, 80), dtype=np.uint8).tobytes()
    options = {}
    if random.integers(4) == 0:
        options["options"] = Options(
            work_offsets={"G55": (1.5, -2.0, 0.25)},
            skip_deleted=bool(random.integers(2)),
            harmless_words=("M98", "MSG"),
            arc_tolerance=float(random.choice([0.0005, 0.05])),
        )
    if random.integers(8) == 0:
        options["units"] = str(random.choice(["mm", "in"]))
    if random.integers(8) == 0:
        options["cutter"] = 3
    return data, options


def main(cases, seed):
    outcome(HEAD, is_compiled=True)  # compiles
    started = told = time.perf_counter()
    good = failures = 0
    slowest = (0.0, 0)
    for k in range(cases):
        data, options = case(seed, k)
        faulthandler.dump_traceback_later(HANG, exit=True)  # a hang ends the run and shows where
        begun = time.perf_counter()
        try:
            said = [outcome(data, is_compiled=compiled, **options) for compiled in (True, False)]
            good += isinstance(said[0], dict)
            fault = "" if said[0] == said[1] else "the two readers disagree"
        except Exception:
            fault = traceback.format_exc()
        slowest = max(slowest, (time.perf_counter() - begun, k))
        faulthandler.cancel_dump_traceback_later()
        if fault:
            failures += 1
            print(f"case {k} of seed {seed}: {fault}\n  {data!r} {options}", flush=True)
        if time.perf_counter() - told > 30:
            told = time.perf_counter()
            print(f"{k + 1:,} cases, {failures} failures, {told - started:.0f} s", flush=True)
    seconds = time.perf_counter() - started
    print(f"seed {seed}: {cases:,} cases, {good:,} good programs, {failures} failures, {seconds:.0f} s")
    print(f"slowest {slowest[0]:.3f} s (case {slowest[1]})")
    return 1 if failures else 0


if __name__ == "__main__":
    numbers = [int(text) for text in sys.argv[1:3]]
    sys.exit(main(numbers[0] if numbers else 1_000_000, numbers[1] if len(numbers) > 1 else 1))
