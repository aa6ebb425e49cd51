"""What the terminal shows of many jobs: one progress display, one table, one last line."""

from __future__ import annotations

import contextlib
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any

from rich.console import Console as RichConsole
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table
from rich.text import Text

from simkit.report.console import output
from simkit.report.lengths import lengths_of
from simkit.report.verdict import FAILING

_NOTHING = "Within limits: nothing to fix was found."  # the word in its own column says as much
_GOOD = ("within limits", "no worse")
_ORDER = (*_GOOD, "warnings", "undecided", "beyond limits", "stopped", "cannot be used", "fault")


def status_word(record: dict[str, Any]) -> str:
    """Return what came of a job, in one or two words."""
    return record["status"] if "status" in record else record["verdict"]["status"]


def sentence_of(record: dict[str, Any]) -> str:
    """Return what came of a job, in one sentence."""
    if "sentence" in record:
        return record["sentence"]
    return lengths_of(record).text(record["verdict"]["sentence"])


def summary_line(results: Sequence[dict[str, Any]]) -> str:
    """Return the last line: how many jobs, and how many came out how."""
    counts = Counter(status_word(result) for result in results)
    parts = ", ".join(f"{counts[word]} {word}" for word in _ORDER if counts[word])
    return f"{len(results)} job{'' if len(results) == 1 else 's'}: {parts}."


class ManyStages:
    """Progress of many jobs; each worker has a line of its own where the terminal can show one.

    Called from one thread at a time.
    """

    def __init__(self, count: int, bar: Progress | None = None, log=None):
        self._count, self._bar, self._log, self._done = count, bar, log, 0
        self._all = bar.add_task(f"0 of {count} jobs", total=count) if bar is not None else None
        self._lines: dict[int, Any] = {}
        self._jobs: dict[int, str] = {}

    def start(self, worker: int, job: str) -> None:
        """A worker begins a job."""
        self._jobs[worker] = job

    def stage(self, worker: int, name: str) -> None:
        """A worker begins a stage; a log only hears of the long wait."""
        if self._log is not None and "kernels" in name:
            print(f"{name} ...", file=self._log, flush=True)
        if self._bar is None:
            return
        words = f"{self._jobs[worker][-30:]}: {name}"
        if worker not in self._lines:
            self._lines[worker] = self._bar.add_task(words, total=1.0)
        self._bar.reset(self._lines[worker], description=words, total=1.0)

    def counted(self, worker: int, many: list[int]) -> None:
        """A worker has done so many things of its stage; many: [done, of]."""
        self.fraction(worker, many[0] / many[1])

    def fraction(self, worker: int, done: float) -> None:
        """A worker is so far with its stage, 0 to 1."""
        if self._bar is not None and worker in self._lines:
            self._bar.update(self._lines[worker], completed=done)

    def end(self, worker: int, result: dict[str, Any]) -> None:
        """A worker has done its job."""
        self._done += 1
        if self._log is not None:
            words = f"[{self._done}/{self._count}] {self._jobs[worker]}: {status_word(result)}"
            print(words, file=self._log, flush=True)
        if self._bar is not None:
            words = f"{self._done} of {self._count} jobs"
            self._bar.update(self._all, completed=self._done, description=words)


class ManyConsole:
    """The terminal: the table on standard output, progress and problems on standard error."""

    def __init__(self, quiet: bool = False):
        self._quiet, self._out = quiet, output()

    @contextlib.contextmanager
    def progress(self, count: int) -> Iterator[ManyStages]:
        """Show the progress of `count` jobs on standard error while the block runs."""
        if self._quiet:
            yield ManyStages(count)
            return
        if not sys.stderr.isatty():
            yield ManyStages(count, log=sys.stderr)
            return
        columns = TextColumn("{task.description:<48}"), BarColumn(bar_width=24), TimeElapsedColumn()
        console = RichConsole(stderr=True, highlight=False)
        with Progress(*columns, console=console, transient=True) as bar:
            yield ManyStages(count, bar)

    def show(self, results: Sequence[dict[str, Any]]) -> None:
        """Print the table, in the order of the jobs, and the last line."""
        if not self._quiet:
            self._out.print(_table(results))
            for caution in next((one["cautions"][:1] for one in results if "cautions" in one), []):
                self._out.print(Text(caution), style="dim")
        self._out.print(Text(summary_line(results), style="bold"), soft_wrap=True)


def _table(results: Sequence[dict[str, Any]]) -> Table:
    table = Table(box=None, padding=(0, 1), show_edge=False)
    table.add_column("job", overflow="fold")
    table.add_column("came out", no_wrap=True)
    table.add_column("to fix", justify="right", no_wrap=True)
    table.add_column("warnings", justify="right", no_wrap=True)
    table.add_column("s", justify="right", no_wrap=True)
    table.add_column("what", overflow="fold")
    for result in results:
        rows = result.get("findings", [])
        failing = sum(row["severity"] in FAILING for row in rows)
        warned = sum(row["severity"] == "warning" for row in rows)
        seconds = result.get("timings", {}).get("total")
        style = "" if status_word(result) in _GOOD else "bold"
        table.add_row(
            Text(result["job"]["file"]),
            Text(status_word(result), style=style),
            str(failing) if rows else "",
            str(warned) if rows else "",
            "" if seconds is None else f"{seconds:.1f}",
            Text(sentence_of(result).removeprefix(_NOTHING).strip()),
        )
    return table
