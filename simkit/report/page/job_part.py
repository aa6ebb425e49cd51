"""The job as it was understood, and the list to go through at the machine."""

from __future__ import annotations

from typing import Any

from simkit.findings.evidence import Evidence
from simkit.report.lengths import Lengths
from simkit.report.page.html import Html, el, prose
from simkit.report.page.sketch import fixture_signs, pin_signs, setup_sketch, turning_sketch
from simkit.report.sheet_text import holding_words, jig_words, to_measure


def job_part(evidence: Evidence, result: dict[str, Any], sheet: dict[str, Any], lengths: Lengths) -> Html:
    """Return blank, cutters and each setup with its sketches.  sheet: of the same job, report.sheet."""
    blank = result["blank"]
    size = lengths.sizes(blank["length"], blank["width"], blank["thickness"])
    wood = f", {blank['species']}" if blank["species"] else ""
    target = result["target"]
    rows = [("Blank", f"{size} (length × width × thickness){wood}")]
    if target is not None:
        rows.append(("Part", f"{target['file']}, {target['triangles']:,} triangles"))
    else:
        rows.append(("Part", "none was named, so the shape was not judged"))
    rows.append(("Cells", lengths.both(result["cell"])))
    cutters = [el("li", _cutter(cutter, lengths)) for cutter in evidence.job.cutters.values()]
    parts = [_setup(evidence, index, row, lengths) for index, row in enumerate(sheet["setups"])]
    return el(
        "section",
        el("h2", "The job as it was understood"),
        el("dl", [(el("dt", name), el("dd", words)) for name, words in rows]),
        el("h3", "Cutters"),
        el("ul", cutters),
        *parts,
    )


def _cutter(cutter: Any, lengths: Lengths) -> str:
    words = f"T{cutter.number} {cutter.shape}, diameter {lengths.sizes(cutter.diameter)}"
    if cutter.flutes:
        words += f", {cutter.flutes} flutes"
    for name, told in (("cutting_length", "cutting length"), ("stick_out", "stick-out")):
        value = getattr(cutter, name)
        if value is not None:
            words += f", {told} {lengths.sizes(value)}"
    return words


def _setup(evidence: Evidence, index: int, row: dict[str, Any], lengths: Lengths) -> Html:
    turning = turning_sketch(evidence.job.setups[index].turn)
    figures = [el("figure", setup_sketch(evidence, index, row, lengths), el("figcaption", _caption(row)))]
    if turning is not None:
        words = "Turned over before this setup, from how it lay with side 1 up"
        figures.insert(0, el("figure", turning, el("figcaption", words)))
    facts = [
        ("Lies", row["lies"]),
        *([("Jig", jig_words(row["jig"], lengths))] if row["jig"] is not None else []),
        ("Zero", _zero(row["zero"], "the table" if row["jig"] is None else "the lower face", lengths)),
        ("Programs", ", ".join(program["file"] for program in row["programs"])),
    ]
    if row["holding"]:
        facts.append(("Held by", "; ".join(holding_words(one, lengths) for one in row["holding"])))
    facts += [
        ("Work zero", f"{name}: {_xyz(at, lengths)} from there") for name, at in row["work_offsets"].items()
    ]
    return el(
        "section",
        el("h3", f"Setup {index + 1}: {row['name']}"),
        el("dl", [(el("dt", name), el("dd", words)) for name, words in facts]),
        el("div", *figures, class_="figures"),
    )


def _caption(row: dict[str, Any]) -> str:
    mark = row["mark"]
    face = "on the upper face" if mark["face"] == "up" else "on the face that looks down, so dashed"
    words = f"Seen from above, you stand at the front. Triangle: the marked corner, {face}."
    if row["pins"]:
        what = "Circles: dowel holes" if row["pins"][0]["is_hole"] else "Dots: dowel pins"
        words += f" {what}, {_named(pin_signs(row))}."
    if row["fixtures"]:
        words += f" Hatched boxes: clamps and stops, {_named(fixture_signs(row))}."
    return words


def _named(signs: list[tuple[str, str]]) -> str:
    return ", ".join(f"{sign} ‘{name}’" for name, sign in signs)


def _xyz(place: list[float], lengths: Lengths) -> str:
    return "X{} Y{} Z{}".format(*(lengths.place(value) for value in place))


def _zero(zero: dict[str, Any], below: str, lengths: Lengths) -> str:
    face = "the upper face" if zero["face"] == "top" else below
    words = f"{zero['corner']} corner, on {face}"
    if zero["corner"] == "centre":
        words = f"the middle of the blank, on {face}"
    if any(zero["offset"]):
        words += f", off by {_xyz(zero['offset'], lengths)}"
    if zero["machine"]:
        words += f"; machine {_xyz(zero['machine'], lengths)}"
    return words


def checklist_part(result: dict[str, Any], sheet: dict[str, Any], lengths: Lengths) -> Html:
    """Return what to tick off at the machine before each setup, then the cautions."""
    parts = []
    for number, setup in enumerate(sheet["setups"], 1):
        rows = to_measure(setup, number, lengths)
        for fixture in setup["fixtures"]:
            high = lengths.sizes(fixture["height"])
            rows.append(f"{fixture['name']} where the sketch shows it, no higher than {high}")
        rows += [f"held by {holding_words(one, lengths)}" for one in setup["holding"]]
        boxes = [
            el("li", el("label", el("input", type="checkbox", autocomplete="off"), f" {words}"))
            for words in rows
        ]
        parts += [el("h3", f"Before setup {number}: {setup['name']}"), el("ul", boxes, class_="ticks")]
    return el(
        "section",
        el("h2", "At the machine"),
        *parts,
        el("h2", "Cautions"),
        el("ul", [el("li", prose(words)) for words in result["cautions"]], class_="cautions"),
        *_not_judged(result.get("not_judged")),
        el("p", prose(f"Not simulated: {'; '.join(result['not_simulated'])}.")),
    )


def _not_judged(words: list[str] | None) -> list[Html]:
    """Return what was not judged as the job does not say, [] for nothing."""
    if not words:
        return []
    return [
        el("h2", "Not judged, as the job does not say"),
        el("ul", [el("li", prose(one)) for one in words]),
    ]
