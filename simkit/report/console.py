"""What the terminal shows: progress while it works, then findings and the verdict line."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Iterator
from typing import Any

from rich.console import Console as RichConsole
from rich.padding import Padding
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table
from rich.text import Text

from simkit.report.console_budget import budget_parts
from simkit.report.console_effort import effort_parts, faster_lines
from simkit.report.console_steps import step_parts
from simkit.report.console_tables import below_folders, surface_tables
from simkit.report.lengths import Lengths, lengths_of, limit_of, measured, program_lengths
from simkit.report.part_limits import part_limits
from simkit.report.shown import LOG_WIDTH
from simkit.units import is_too_coarse

MOST_ROWS = 10
MOST_AGAIN = 3  # rows that stand once more at the end
WIDE = 120  # characters: a narrower terminal gets the rows as lines
_STYLES = {
    "safety": "bold",
    "beyond": "bold",
    "undecided": "italic",
    "warning": "",
    "accepted": "dim",
    "note": "dim",
}


class Stages:
    """Progress through the stages of a check; safe to call when nothing is shown."""

    def __init__(self, bar: Progress | None, log=None):
        self._bar = bar
        self._log = log
        self._task = None
        self._name, self._told = "", 0

    def stage(self, name: str) -> None:
        """Begin a stage: the bar starts anew under its name; a log only hears of the long wait."""
        self._name, self._told = name, 0
        if self._log is not None and "kernels" in name:
            print(f"{name} ...", file=self._log, flush=True)
        if self._bar is None:
            return
        if self._task is not None:
            self._bar.update(self._task, completed=1.0, visible=False)
        self._task = self._bar.add_task(name, total=1.0)

    def counted(self, done: int, of: int) -> None:
        """Say how many things of the present stage are done; a log hears of it at each quarter."""
        if self._bar is not None and self._task is not None:
            self._bar.update(self._task, completed=done / of, description=f"{self._name}, {done} of {of}")
        elif self._log is not None and 4 * done // of > self._told:
            self._told = 4 * done // of
            print(f"{self._name}, {done} of {of}", file=self._log, flush=True)

    def fraction(self, done: float) -> None:
        """Say how much of the present stage is done, 0 to 1."""
        if self._bar is not None and self._task is not None:
            self._bar.update(self._task, completed=done)


class _Output(RichConsole):
    """Standard output; a reader that goes away is reported like any other closed pipe."""

    def on_broken_pipe(self) -> None:
        """Let the caller decide instead of ending the process."""
        raise BrokenPipeError


def output() -> RichConsole:
    """Return standard output, for tables and text."""
    out = _Output(highlight=False, soft_wrap=False)
    return out if out.is_terminal else _Output(highlight=False, width=LOG_WIDTH, file=sys.stdout)


class Console:
    """The terminal: tables on standard output, progress on standard error."""

    def __init__(self, quiet: bool = False):
        self._quiet = quiet
        self._out = output()

    @contextlib.contextmanager
    def progress(self) -> Iterator[Stages]:
        """Show a progress bar on standard error while the block runs."""
        if self._quiet:
            yield Stages(None)
            return
        if not sys.stderr.isatty():
            yield Stages(None, log=sys.stderr)
            return
        bar = Progress(
            TextColumn("{task.description:<28}"),
            BarColumn(bar_width=30),
            TimeElapsedColumn(),
            console=RichConsole(stderr=True, highlight=False),
            transient=True,
        )
        with bar:
            yield Stages(bar)

    def show(self, result: dict[str, Any]) -> None:
        """Print the result: verdict, findings, job, tables, remarks, cautions, first rows, verdict."""
        lengths = lengths_of(result)
        verdict = Text(lengths.text(result["verdict"]["sentence"]), style="bold")
        if self._quiet:
            self._out.print(verdict, soft_wrap=True)
            return
        # What to put right stands before all else; the first of it once more last, where a terminal shows it.
        self._out.print(verdict)
        self._show_findings(result, lengths)
        self._out.print()
        self._out.print(_job_text(result, lengths))
        for parts in (
            faster_lines(result),
            step_parts(result),
            surface_tables(result),
            budget_parts(result),
            effort_parts(result),
        ):
            for part in parts:
                self._out.print(part)
        for remark in result["remarks"]:
            self._out.print(f"note: {lengths.text(remark)}", markup=False)
        if result.get("not_judged"):
            words = f"Not judged, as the job does not say: {'; '.join(result['not_judged'])}."
            self._out.print(Text(words), style="dim")
        self._out.print(Text("Not simulated: " + "; ".join(result["not_simulated"]) + "."), style="dim")
        self._out.print(Text(" ".join(result["cautions"])), style="dim")
        self._out.print()
        self._show_rows(cause_rows(result)[:MOST_AGAIN], result, lengths)
        self._out.print(verdict)

    def _show_findings(self, result: dict[str, Any], lengths: Lengths) -> None:
        """Print one row for each cause, ten at most, and what to do about them."""
        rows = cause_rows(result)
        if rows:
            self._out.print()
            self._show_rows(rows[:MOST_ROWS], result, lengths)
            if len(rows) > MOST_ROWS:
                self._out.print(f"and {len(rows) - MOST_ROWS} more rows; --json FILE writes all of them")
            if any(row["unit"] == "mm" and is_too_coarse(row["value"], row["bound"]) for row in rows):
                cells = f"cells of {lengths.both(result['cell'])} are too coarse for a figure"
                words = f"Where a range stands, {cells}: check with a smaller --cell."
                self._out.print(Padding(Text(words), (0, 0, 0, 2)))
        is_dangerous = any(row["severity"] == "safety" for row in result["findings"])
        if not is_dangerous and any(row["accept"] for row in result["findings"]):
            self._out.print(
                "To let a finding stand: --accept prints the lines for the job file.", style="dim"
            )

    def _show_rows(self, rows: list[dict[str, Any]], result: dict[str, Any], lengths: Lengths) -> None:
        """Print some rows, and what to do about them."""
        if rows:
            table = _findings_table if self._out.width >= WIDE else _findings_lines
            self._out.print(table(rows, lengths, program_lengths(result)))
        for advice, numbers in _advice(rows):
            self._out.print(Padding(Text(f"{numbers}: {lengths.text(advice)}"), (0, 0, 0, 2)))


def cause_rows(result: dict[str, Any]) -> list[dict[str, Any]]:
    """Return one row for each cause: its first finding, the numbers of all, and what is said of them."""
    findings = result["findings"]
    rows = []
    for cause in result["causes"]:
        mine = [findings[number - 1] for number in cause["findings"]]
        first, last = mine[0]["number"], mine[-1]["number"]
        others = sorted({row["kind"] for row in mine} - {cause["kind"]})
        also = f"; also {', '.join(others)}" if others else ""
        zone = mine[0]["zone"] if len(result["zones"]) > 1 else ""
        place = f" [{zone}]" if zone else ""
        rows.append(
            {
                **mine[0],
                "number": f"{first}" if first == last else f"{first}-{last}",
                "message": cause["message"] + also + place,
                "advice": cause["advice"],
                "where": _line_words(cause if cause.get("file") else mine[0]),
            }
        )
    return rows


def _line_words(one: dict[str, Any]) -> str:
    """Return file and line of a finding or a cause; the column too where a key of the job file is meant."""
    parts = [one["file"], one["line"], one.get("column") if one["file"].endswith(".toml") else None]
    return ":".join(str(part) for part in parts if part)


def _job_text(result: dict[str, Any], lengths: Lengths) -> Text:
    blank = result["blank"]
    size = lengths.sizes(*(blank[name] for name in ("length", "width", "thickness")), by="x")
    text = Text()
    name = result["job"]["name"] or result["job"]["file"] or "programs"
    text.append(name, style="bold")
    species = f" {blank['species']}" if blank["species"] else ""
    text.append(f"  blank {size}{species}, cells {lengths.both(result['cell'])}\n")
    for setup in result["setups"]:
        turn = "side 1 up" if setup["turn"] == "none" else f"turned over {setup['turn']}"
        programs = ", ".join(
            f"{program['file']} ({program['moves']:,} moves)" for program in setup["programs"]
        )
        text.append(f"  {setup['name']}: {turn}; {programs}\n")
    if result["target"] is not None:
        limits = "; ".join(_limits_words(zone, lengths) for zone in result["zones"])
        text.append(f"  limits in {lengths.word}: {limits}\n")
        others = ", ".join(f"{name} {lengths.figure(limit)}" for name, limit in part_limits(result))
        text.append(f"  and of the part: {others}\n")
    return text


def _limits_words(zone: dict[str, Any], lengths: Lengths) -> str:
    """Return the limits of a zone in words."""
    side = f", side {zone['side']}" if zone["side"] else ""
    if not zone["is_judged"]:
        return f"{zone['name']}{side} not judged"
    left = f", {lengths.figure(zone['finish_allowance'])} left on purpose" if zone["finish_allowance"] else ""
    gouge, leftover = lengths.figure(zone["gouge"]), lengths.figure(zone["leftover"])
    return f"{zone['name']}{side} gouge {gouge}, leftover {leftover}{left}"


def _findings_table(rows: list[dict[str, Any]], lengths: Lengths, programs: dict[str, Lengths]) -> Table:
    units = {programs.get(row["file"], lengths).name for row in rows if _place(row, lengths, programs)}
    is_one = len(units | {lengths.name}) == 1
    table = Table(box=None, padding=(0, 1), show_edge=False)
    table.add_column("no.", justify="right", no_wrap=True)
    table.add_column("finding", no_wrap=True)
    table.add_column("measured", justify="right", no_wrap=True)
    table.add_column("limit", justify="right", no_wrap=True)
    table.add_column("side", justify="right", no_wrap=True)
    table.add_column(f"place ({lengths.name})" if is_one else "place", no_wrap=True)
    table.add_column("program line", overflow="fold")
    table.add_column("what", overflow="fold")
    for row in rows:
        table.add_row(
            row["number"],
            Text(row["kind"], style=_STYLES[row["severity"]]),
            measured(row, lengths),
            limit_of(row, lengths),
            "" if row["side"] is None else str(row["side"]),
            _place(row, lengths, programs, not is_one),
            Text(below_folders(row["where"])),
            Text(lengths.text(row["message"])),
        )
    return table


def _findings_lines(rows: list[dict[str, Any]], lengths: Lengths, programs: dict[str, Lengths]) -> Text:
    """Return the findings for a narrow terminal: what and how much, then where, then in words."""
    text = Text()
    for row in rows:
        text.append(f"{row['number']:>3}  ")
        text.append(row["kind"], style=_STYLES[row["severity"]])
        limit = limit_of(row, lengths)
        limit = f" (limit {limit})" if limit else ""
        text.append(f"  {measured(row, lengths)}{limit}\n")
        where = [row["where"]]
        where += [f"side {row['side']}"] if row["side"] else []
        place = _place(row, lengths, programs, True)
        where += [f"at {place}"] if place else []
        text.append(f"     {'  '.join(where)}\n     {lengths.text(row['message'])}\n")
    text.rstrip()
    return text


def _place(
    row: dict[str, Any], lengths: Lengths, programs: dict[str, Lengths], has_unit: bool = False
) -> str:
    """Return the place as the program of that side calls it, in its own unit, else in the blank frame.

    programs: how each of them writes lengths, by file.  has_unit: the unit stands behind it.
    """
    place = row["program_at"] or row["at"]
    if place is None:
        return ""
    if row["program_at"]:
        lengths = programs.get(row["file"], lengths)
    text = "X{} Y{} Z{}".format(*map(lengths.place, place)) + (f" {lengths.name}" if has_unit else "")
    return text if row["program_at"] else f"{text} (blank)"


def _advice(rows: list[dict[str, Any]]) -> list[tuple[str, str]]:
    """Return each advice once, with the numbers of the findings that it belongs to."""
    numbers: dict[str, list[str]] = {}
    for row in rows:
        mark = "" if row["severity"] in ("beyond", "safety") else f" ({row['severity']})"
        numbers.setdefault(row["advice"], []).append(f"{row['number']}{mark}")
    return [(advice, ", ".join(mine)) for advice, mine in numbers.items()]
