"""Are spoilt programs told, on the right line, and good ones left alone?  Prints mutation, finding and line.

Run: python benchmarks/mutations.py [TRAYS]     (each mutation on that many of the good jobs, 3 by default)
"""

import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
from tests.mutations import GOOD, MUTATIONS, is_found, run


def main(trays):
    missed = alarms = done = 0
    with tempfile.TemporaryDirectory() as folder:
        for tray in GOOD:
            status, told, _ = run(Path(folder), tray)
            alarms += status != 0
            print(f"good: {tray.name:<24} {'no alarm' if status == 0 else f'ALARM {told}'}", flush=True)
        for k, mutation in enumerate(MUTATIONS):
            fitting = [t for t in GOOD if not (t.inches and mutation.name == "inches for millimetres")]
            for n in range(trays):
                tray = fitting[(k + n * 5) % len(fitting)]
                status, told, wanted = run(Path(folder), tray, mutation)
                hit = is_found(mutation, status, told, wanted)
                mine = [one for one in told if one[0] in mutation.kinds and one[1:] in wanted]
                mine = mine or [one for one in told if one[0] in mutation.kinds] or told
                lines = [number for _, number in wanted]
                more = f"-{max(lines)}" if len(lines) > 1 else ""
                line = f"{wanted[0][0]}:{min(lines)}{more}" if len({f for f, _ in wanted}) == 1 else "both"
                what = f"{mine[0][0]} {mine[0][1]}:{mine[0][2]}" if mine else "nothing"
                where = f"{mutation.name:<34} {tray.name:<24} {line:<14}"
                print(f"{where} -> {what:<32} {'found' if hit else 'MISSED'}", flush=True)
                missed += not hit
                done += 1
    print(f"{done} spoilt programs, {missed} missed; {len(GOOD)} good ones, {alarms} alarms")
    return 1 if missed or alarms else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 3))
