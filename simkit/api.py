"""simkit from Python: everything that the command line can do, with results as objects.

All of it is reached as `simkit.load` and so on.  Lengths are mm.  Input that cannot be used raises
InputProblems, whose `problems` each have a place, what was found, what was expected and what to do.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from simkit.errors import InputProblems
from simkit.job import model
from simkit.job.json_schema import job_schema
from simkit.job.schema import template_text as template
from simkit.report.forms import Result, Unchecked
from simkit.report.schema import as_data, as_object, result_schema
from simkit.runs.kept import files_of
from simkit.runs.limits import Most
from simkit.runs.outputs import check_apart, check_json

__all__ = [
    "InputProblems",
    "Job",
    "Result",
    "Unchecked",
    "check_jobs",
    "draft_job",
    "job_of",
    "job_schema",
    "load",
    "read",
    "result_schema",
    "template",
    "watch",
    "write_json",
    "write_junit",
    "write_sarif",
]

CELL = 0.2  # mm


class _Quiet:
    """Progress that nobody watches."""

    def stage(self, name: str) -> None:
        """Begin a stage."""

    def fraction(self, done: float) -> None:
        """Say how much of the stage is done, 0 to 1."""


class Job:
    """A job that was read and can be checked; `model` holds all that it states."""

    def __init__(self, read: model.Job):
        self.model = read

    def __repr__(self) -> str:
        return f"<simkit.Job {self.model.name!r}, {len(self.model.setups)} setups>"

    def check(
        self,
        cell: float = CELL,
        *,
        pictures: Path | str | None = None,
        report: Path | str | None = None,
        keep_field: Path | str | None = None,
        sections: Sequence[str] = (),
        strict: bool = False,
        against: Result | Path | str | None = None,
        fresh: bool = False,
        progress=None,
    ) -> Result:
        """Return what the check found.

        cell: edge of a field cell.  pictures: folder to draw them in.  report: file to write it to, HTML.
        keep_field: file to write what stands after each setup to, for `resume`.
        sections: lines such as "20,45 to 260,45" along which both show it cut open.  strict: warnings fail.
        against: a result, or a file of one: only what is new or worse fails.
        fresh: an unchanged job is cut again.  progress: has stage(name) and fraction(done).
        Raises InputProblems.
        """
        from simkit.report.section_line import section_lines
        from simkit.runs.judged import judged
        from simkit.runs.one import checked

        lines = section_lines(sections, self.model)
        stored, name = _stored(against, self.model.file)
        folder = None if pictures is None else Path(pictures)
        page = None if report is None else Path(report)
        if page is not None:
            check_json(page, "--report")
        if keep_field is not None:
            keep_field = Path(keep_field)
            check_json(keep_field, "--keep-field")
        read = [*([Path(self.model.file)] if self.model.file else []), *files_of(self.model)]
        check_apart(read, [("report", page), ("keep-field", keep_field)])

        def write_page(evidence, result) -> None:
            from simkit.report.page.page import write_report

            write_report(page, evidence, judged(result, strict, stored, name))

        def keep(evidence) -> None:
            from simkit.fields.keep import keep_field as kept

            kept(keep_field, evidence)

        result = checked(
            self.model,
            cell,
            progress or _Quiet(),
            pictures=folder,
            fresh=fresh,
            report=page and write_page,
            keep=keep_field and keep,
            lines=lines,
        )
        return as_object(Result, judged(result, strict, stored, name))

    def film(self, path: Path | str, *, steps: int = 60, cell: float = 0.4, progress=None) -> None:
        """Write the cutting from above as a GIF, as `simkit film` does.  Raises InputProblems."""
        from simkit.runs.films import check_film, write_film

        path = Path(path)
        write_film(path, self.model, self._reads(), check_film(path, steps), cell, progress or _Quiet())

    def what_if(
        self,
        *,
        shift: Sequence[str] = (),
        turn: Sequence[str] = (),
        thickness: str | float | None = None,
        measured: Sequence[str] = (),
        planed: Sequence[str] = (),
        cell: float = CELL,
    ) -> dict[str, Any]:
        """Return the job as stated and changed, side by side, as `simkit whatif --json` writes it.

        The words are those of the command line: shift=["side 2=0.3,-0.2"], measured=["3=5.87"],
        planed=["2=0.1"]; thickness, "0.2" or 0.2 mm, is added to that of the blank.
        """
        from simkit.check import check_both
        from simkit.job.change import change_from_words
        from simkit.report.result import result_of
        from simkit.report.whatif import whatif_result

        job = self.model
        more = f"{thickness!r}mm" if isinstance(thickness, int | float) else thickness
        change = change_from_words(job, list(shift), list(turn), more, list(measured), list(planed))
        reads = self._reads()
        stated, changed = (result_of(*one) for one in check_both(job, change, reads, cell))
        return whatif_result(change.words(job), stated, changed)

    def sheet(self) -> dict[str, Any]:
        """Return the sheet for the shop, as `simkit sheet --json` writes it."""
        from simkit.report.sheet import sheet_of

        return sheet_of(self.model, self._reads())

    def resume(
        self,
        broken: str,
        cell: float | None = None,
        start_from: int | None = None,
        *,
        field: Path | str | None = None,
        ran_now: bool = False,
    ) -> dict[str, Any]:
        """Return where to start again after a break in "side2.nc:2000", as `simkit resume --json` does.

        cell: edge of a field cell, None for 0.2 mm or that of `field`.
        start_from: a line that is safe to start at; the last one up to the break when None.
        field: a file of `check(keep_field=...)`, from which what earlier setups left is taken.  ran_now: the
        programs of this setup ran as they are now, though `field` has others.  Raises InputProblems.
        """
        from simkit.check import NoProgress
        from simkit.resume import kept_field, resume

        kept = None if field is None else kept_field(Path(field), cell)
        cell = kept.cell if kept else CELL if cell is None else cell
        return resume(self.model, self._reads(), broken, cell, NoProgress(), start_from, kept, ran_now)

    def _reads(self):
        from simkit.program.job_programs import read_programs

        return read_programs(self.model)


def load(path: Path | str) -> Job:
    """Return the job of a job file (TOML).  Raises InputProblems with everything that is wrong with it."""
    from simkit.job.reader import read_job

    return Job(read_job(Path(path)))


def job_of(
    programs: Sequence[Path | str],
    *,
    blank: str,
    cutters: Sequence[str],
    target: Path | str | None = None,
    zero: str | None = None,
    spoilboard: str | None = None,
) -> Job:
    """Return a job of one setup without a job file; the words are those of the command line.

    blank: "280x90x38".  cutters: ["1=ball:6"].  zero: "left front top".  Raises InputProblems.
    """
    from simkit.job.meant import meant_from_words
    from simkit.job.reader import job_from_words

    meant = meant_from_words(None, [], False, [], None, False, spoilboard=spoilboard)
    words = [str(program) for program in programs]
    mesh = None if target is None else Path(target)
    return Job(job_from_words(words, blank, list(cutters), mesh, zero, meant))


def draft_job(folder: Path | str, *, replace: bool = False) -> Path:
    """Write a first job file beside the programs and meshes of a folder, and return where it is.

    As `simkit draft` does: what only you know stands in it as "?".  replace: write over one that is
    there.  Raises InputProblems.
    """
    from simkit.draft.command import write_draft

    return write_draft(Path(folder), replace)[0]


def watch(
    where: Path | str, cell: float = CELL, *, seconds: float = 1.0
) -> Iterator[tuple[Path, str, Result | Unchecked]]:
    """Check a job file, or each job.toml below a folder, now and whenever one of its files has changed.

    Yields job file, one line on what changed, and result after each check, and looks again every so many
    seconds until the loop over it is left.  Raises InputProblems for what cannot be watched.
    """
    from simkit.runs.watch import checks

    for path, words, record in checks(Path(where), cell, seconds):
        kind = Result if "verdict" in record else Unchecked
        yield path, words, as_object(kind, record)


def read(program: Path | str, *, units: str | None = None) -> dict[str, Any]:
    """Return what is in a program, as `simkit read --json` writes it.  units: where it states none."""
    from simkit.job.meant import meant_from_words
    from simkit.program.job_programs import bytes_of
    from simkit.report.program_summary import read_alone, summary_of

    path = Path(program)
    meant = meant_from_words(units, [], False, [], None, False)
    found = read_alone(bytes_of(path, str(path)), str(path), meant)
    return summary_of(found, stated_units=meant.program_units)


def check_jobs(
    inputs: Sequence[Path | str],
    cell: float = CELL,
    *,
    jobs: int | None = None,
    pictures: Path | str | None = None,
    strict: bool = False,
    against: Path | str | None = None,
    fresh: bool = False,
    most_seconds: float | None = None,
    most_memory: float | None = None,
) -> tuple[Result | Unchecked, ...]:
    """Return what came of each job file, in order; those below folders by path.

    jobs: how many side by side, as many as there are cores when left out; each in a process of its own.
    most_seconds, most_memory (MB): of each job.  A job that cannot be checked is an Unchecked, which
    stops no other; the rest is as in Job.check.
    """
    from simkit.report.many_console import ManyStages
    from simkit.runs.against import stored_for, stored_results
    from simkit.runs.crew import cores
    from simkit.runs.found import job_paths
    from simkit.runs.judged import judged
    from simkit.runs.many import Orders, check_all

    words = [str(one) for one in inputs]
    paths = job_paths(words) or [Path(one) for one in words]
    stored = None if against is None else stored_results(Path(against))
    folder = None if pictures is None else Path(pictures)
    orders = Orders(cell, jobs or cores(), fresh, folder, Most(most_seconds, most_memory))
    told = []
    for record in check_all(paths, orders, ManyStages(len(paths))):
        if "verdict" not in record:
            told.append(as_object(Unchecked, record))
            continue
        then = None if stored is None else stored_for(record["job"]["file"], stored, len(paths) == 1)
        told.append(as_object(Result, judged(record, strict, then, str(against))))
    return tuple(told)


def write_json(path: Path | str, results: Result | Sequence[Result | Unchecked]) -> None:
    """Write one result, or a list of several, as `simkit check --json` does."""
    import json

    is_one = isinstance(results, Result)
    data = as_data(results) if is_one else [as_data(one) for one in results]
    _write(path, json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False) + "\n", "json")


def write_junit(path: Path | str, results: Result | Sequence[Result | Unchecked]) -> None:
    """Write results as JUnit XML, as `simkit check --junit` does."""
    from simkit.report.junit import junit_text

    _write(path, junit_text(_list(results)), "junit")


def write_sarif(path: Path | str, results: Result | Sequence[Result | Unchecked]) -> None:
    """Write results as SARIF 2.1.0, as `simkit check --sarif` does."""
    from simkit.report.sarif import sarif_text

    _write(path, sarif_text(_list(results)), "sarif")


def _list(results: Result | Sequence[Result | Unchecked]) -> list[dict[str, Any]]:
    return [as_data(one) for one in ([results] if isinstance(results, Result) else results)]


def _write(path: Path | str, text: str, option: str) -> None:
    from simkit.report.whole_file import write_whole

    check_json(Path(path), f"--{option}")
    write_whole(Path(path), text, f"--{option}")


def _stored(against: Result | Path | str | None, job_file: str) -> tuple[dict[str, Any] | None, str]:
    from simkit.runs.against import stored_for, stored_results

    if against is None:
        return None, ""
    if isinstance(against, Result):
        return as_data(against), "the stored result"
    return stored_for(job_file, stored_results(Path(against)), True), str(against)
