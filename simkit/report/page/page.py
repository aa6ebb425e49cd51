"""The report put together from its parts, and written.

The parts are made in pieces: words first, then what is seen.  Who shows a report while it is made has the
verdict and the findings long before the last picture.
"""

from __future__ import annotations

import base64
import hashlib
import tempfile
from collections.abc import Iterable, Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any

from simkit.findings.evidence import Evidence
from simkit.report.lengths import Lengths
from simkit.report.page.budget import budget_part
from simkit.report.page.closeup import CloseUps, room_of
from simkit.report.page.findings import findings_part, first_to_fix
from simkit.report.page.html import Html, el
from simkit.report.page.job_part import checklist_part, job_part
from simkit.report.page.program_lines import ProgramLines
from simkit.report.page.scene import EMPTY_SCENE, scene_frame, scene_script, scene_text
from simkit.report.page.section import sections
from simkit.report.page.section_view import HATCHES, section_key, section_svg
from simkit.report.page.steps import steps_part
from simkit.report.page.tables import tables_part, time_part
from simkit.report.pictures import plans_as_drawn
from simkit.report.sheet import sheet_of
from simkit.report.whole_file import unwritten, write_whole

# What each picture of report.pictures shows, by the beginning of its file's name.
CAPTIONS = {
    "leftover_side": "Grey: within the limits. Purple: left standing. Orange, hatched: cut too deep. "
    "The numbers are those of the findings.",
    "surface_side": "How high the ridges between passes are, which way the passes run, and why wood was "
    "left standing.",
    "walls_side": "How thick the walls are: the darker, the thinner. Hatched: thinner than the part has it.",
    "who_cut_side": "Which program and which cutter cut where; the letters are those of the legend.",
    "witness_step": "The step where the cuts of the two sides meet: how far one stands out, enlarged.",
    "section": "Cut open along the line that was asked for.",
    "seat": "The piece in its jig: the darker, the less room under it. Numbers: where it touches. Orange, "
    "hatched: what to take off the jig.",
    "budget": "Grey: where the second side may land with every limit held. The numbers say what breaks "
    "there.",
    "bite": "Wood taken, chip and feed along a program, minute by minute.",
}


def write_report(path: Path, evidence: Evidence, result: dict[str, Any]) -> None:
    """Write the report of a check as one HTML file that loads nothing.

    evidence, result: of the same check.  A half-written file never bears the name.
    Raises InputProblems when the place cannot be written.
    """
    write_whole(path, page_text(evidence, result), "--report")


def page_text(evidence: Evidence, result: dict[str, Any]) -> str:
    """Return the report as the text of an HTML file."""
    return text_of(parts_of(evidence, result))


def text_of(parts: dict[str, Any]) -> str:
    """Return the text of an HTML file that is put together from `parts_of`."""
    body = el("main", [part for name, part in parts.items() if name != "title"])
    return document(parts["title"], body)


def parts_of(evidence: Evidence, result: dict[str, Any]) -> dict[str, Any]:
    """Return the parts of a report as markup, by name, in their order; `title` is plain text."""
    return put_together(pieces(evidence, result))


def pieces(evidence: Evidence, result: dict[str, Any]) -> Iterator[tuple[str, Any]]:
    """Make a report; yield name and content of each piece as soon as it is made, those first that say most.

    "words": the parts that are words alone, by name; in them room is kept for what follows.  "scene": the
    data of the 3-D view.  "closeups": a drawing for each finding that has one, by its number.  "views": the
    parts that hold drawings.  "picture", again and again: (what it stands under, a figure).
    JSON holds each of them.  Raises InputProblems where there is no room for pictures on their way.
    """
    job = evidence.job
    lengths = Lengths(job.unit)
    sheet = sheet_of(job, evidence.reads, evidence.done)
    name, made_from = job.name or "Programs", job.file or "the command line"
    verdict = result["verdict"]
    draws = CloseUps(evidence, lengths, result["findings"])
    close: list[dict[str, Any]] = []

    def room(row: dict[str, Any]) -> Html | None:
        kept = draws.room(row)
        if kept is not None:
            close.append(row)
        return kept

    yield (
        "words",
        {
            "title": f"{name}: {verdict['status']}",
            "name": el("h1", name),
            "verdict": el(
                "p",
                el("b", _status(verdict["status"])),
                lengths.text(_rest(verdict)),
                class_=f"verdict {_class(verdict)}",
            ),
            "first": first_to_fix(result, lengths),
            "findings": findings_part(result, job, ProgramLines(evidence), room, lengths),
            "steps": steps_part(result, lengths),
            "budget": budget_part(result, lengths),
            "time": time_part(result, lengths),
            "tables": tables_part(result, lengths),
            "checklist": checklist_part(result, sheet, lengths),
            "solid": el(
                "section", el("h2", "In 3-D"), scene_frame(evidence, result, lengths), class_="screen-only"
            ),
            "footer": el("footer", f"Made by simkit {result['simkit']} from {made_from}."),
        },
    )
    yield "scene", scene_text(evidence, result, lengths)
    yield "closeups", {str(row["number"]): draws.of(row) for row in close}
    yield (
        "views",
        {
            "sections": _sections_part(evidence, result, lengths),
            "job": job_part(evidence, result, sheet, lengths),
        },
    )
    for head, figure in _pictures(evidence, result):
        yield "picture", (head, figure)


_ORDER = (
    "title",
    "name",
    "verdict",
    "first",
    "findings",
    "pictures",
    "sections",
    "job",
    "steps",
    "budget",
    "time",
    "tables",
    "checklist",
    "solid",
    "footer",
)


def put_together(made: Iterable[tuple[str, Any]]) -> dict[str, Any]:
    """Return the parts of a report from all its `pieces`."""
    parts: dict[str, Any] = {}
    figures: list[tuple[str, Html]] = []
    for name, piece in made:
        if name == "scene":  # each room that was kept is one of a kind: what comes from outside is escaped
            parts["solid"] = Html(parts["solid"].replace(EMPTY_SCENE, scene_script(piece)))
        elif name == "closeups":
            for number, drawing in piece.items():
                parts["findings"] = Html(room_of(number).sub(lambda _, its=drawing: its, parts["findings"]))
        elif name == "picture":
            figures.append(piece)
        else:
            parts |= piece
    parts["pictures"] = pictures_part(figures)
    return {name: parts[name] for name in _ORDER}


def document(title: str, body: Html) -> str:
    """Return a whole page: style and script stand in it, and a policy that lets it load nothing else."""
    style, script = asset("style.css"), asset("scene.js")
    policy = (
        f"default-src 'none'; img-src data:; style-src '{_hash(style)}'; script-src '{_hash(script)}'; "
        "base-uri 'none'; form-action 'none'"
    )
    head = el(
        "head",
        el("meta", charset="utf-8"),
        el("meta", http_equiv="Content-Security-Policy", content=policy),
        el("meta", name="viewport", content="width=device-width, initial-scale=1"),
        el("meta", name="color-scheme", content="light dark"),
        el("meta", name="referrer", content="no-referrer"),
        el("title", title),
        el("style", Html(style)),
    )
    page = el("html", head, el("body", HATCHES, body, el("script", Html(script))), lang="en")
    return f"<!DOCTYPE html>\n{page}\n"


def asset(name: str) -> str:
    """Return a file that lies beside this module."""
    return files(__package__).joinpath(name).read_text("utf-8")


def _hash(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")


def _status(status: str) -> str:
    return f"{status[:1].upper()}{status[1:]}"


def _rest(verdict: dict[str, Any]) -> str:
    """The verdict's sentence without its first words, which are set apart."""
    return verdict["sentence"].removeprefix(_status(verdict["status"]))


def _class(verdict: dict[str, Any]) -> str:
    return "good" if verdict["exit_status"] == 0 else "bad"


def _pictures(evidence: Evidence, result: dict[str, Any]) -> Iterator[tuple[str, Html]]:
    try:
        yield from _figures(evidence, result)
    except OSError as reason:
        raise unwritten("folder for temporary files", "--report", reason) from None


_FROM_ABOVE = "Seen from above"
# What a picture is, for who does not see it; the caption says how to read it.
SUBJECTS = {
    "leftover_side": "Map of what is left standing or cut too deep",
    "surface_side": "Map of the ridges between passes",
    "walls_side": "Map of the walls' thickness",
    "who_cut_side": "Map of which program and cutter cut where",
    "witness_step": "Map of the step between the two sides",
    "section": "Section along a line",
    "seat": "Map of the piece in its jig",
    "budget": "Plot of how far the second side may land off its place",
    "bite": "Plot of wood taken, chip and feed",
}
# What the name of a picture begins with, and what it then stands under.
_HEADS = {
    "section": "Cut open along a line",
    "bite": "Along the programs",
    "budget": "Errors that the job bears",
}


def _figures(evidence: Evidence, result: dict[str, Any]) -> Iterator[tuple[str, Html]]:
    """Draw the pictures of a report one by one; yield what each stands under, and its figure."""
    with tempfile.TemporaryDirectory(prefix="simkit-") as folder:
        for number, path in enumerate(plans_as_drawn(Path(folder), evidence, result)):
            picture, name = Path(path), Path(path).stem
            words = next((words for start, words in CAPTIONS.items() if name.startswith(start)), "")
            subject = next((words for start, words in SUBJECTS.items() if name.startswith(start)), name)
            side = f"Side {name[-1]}. " if "side" in name else ""
            if name.startswith("bite"):
                side = f"{result['along'][int(name[5:]) - 1]['program']}. "
            subject += f": {side.removesuffix('. ')}" if side else ""
            data = base64.b64encode(picture.read_bytes()).decode("ascii")
            box = f"larger-{number}"
            head = next((head for start, head in _HEADS.items() if name.startswith(start)), _FROM_ABOVE)
            yield (
                head,
                el(
                    "figure",
                    el(
                        "input",
                        type="checkbox",
                        id=box,
                        class_="larger",
                        autocomplete="off",
                        aria_label=f"Larger: {subject}",
                    ),
                    el("label", "Larger", for_=box, class_="screen-only"),
                    el(
                        "div",
                        el("img", src=f"data:image/png;base64,{data}", alt=subject),
                        class_="paper",
                    ),
                    el("figcaption", side + words),
                    class_="picture",
                ),
            )


def pictures_part(figures: Iterable[tuple[str, Html]]) -> Html:
    """Return pictures under their heads.  figures: (head, figure) of each, as `pieces` yields them."""
    under: dict[str, list[Html]] = {}
    for head, figure in figures:
        under.setdefault(head, []).append(figure)
    heads = [_FROM_ABOVE, *_HEADS.values()]
    shown = [el("section", el("h2", head), *under[head]) for head in heads if head in under]
    return el("div", *shown)


def _sections_part(evidence: Evidence, result: dict[str, Any], lengths: Lengths) -> Html:
    limits = (evidence.job.limits.gouge, evidence.job.limits.leftover)
    layup = evidence.job.layup
    figures = []
    for whole, close in sections(evidence, result["findings"]):
        words = "Through the middle" if whole.number is None else f"Through finding {whole.number}"
        across = "along the length" if whole.axis == 0 else "across the length"
        caption = f"{words}, {across}, with side 1 up. Heights and lengths to one scale."
        figures.append(
            el("figure", section_svg(whole, lengths, limits, False, layup), el("figcaption", caption))
        )
        if close is not None:
            caption = f"The same, close to finding {whole.number}."
            figures.append(
                el("figure", section_svg(close, lengths, limits, True, layup), el("figcaption", caption))
            )
    note = None
    if evidence.target is not None:
        note = el(
            "p",
            "Coloured is what is off by more than the limit both in height and along the section.",
            class_="quiet",
        )
    return el(
        "section",
        el("h2", "Sections"),
        section_key(layup is not None, evidence.field.wood_upper is not None),
        el("div", *figures, class_="figures"),
        note,
    )
