"""The page itself, before anything is dropped: what it holds, without a word of script or style in it."""

from __future__ import annotations

from simkit.page.names import ENDINGS
from simkit.report.page.html import Html, el
from simkit.report.page.section_view import HATCHES


def page_html(most: int) -> str:
    """Return the page as the text of an HTML document.  most: bytes that may be dropped."""
    head = el(
        "head",
        el("meta", charset="utf-8"),
        el("meta", name="viewport", content="width=device-width, initial-scale=1"),
        el("meta", name="color-scheme", content="light dark"),
        el("title", "simkit: check programs"),
        el("link", rel="icon", href="data:,"),
        el("link", rel="stylesheet", href="report.css"),
        el("link", rel="stylesheet", href="page.css"),
    )
    main = el(
        "main",
        el("h1", "Check programs"),
        _verdict(),
        _result(),
        _drop(most),
        _form(),
        _check(),
        _running(),
        _more(),
        el(
            "footer",
            "Files stay on this machine: simkit runs here, and the folder it keeps them in is removed "
            "when it ends. A simulation is no proof. Check clamps and tape, guard eyes, ears and lungs, keep "
            "hands clear, and run the first pass in the air.",
        ),
    )
    scripts = [el("script", src=name, defer=True) for name in ("scene.js", "text.js", "form.js", "page.js")]
    page = el("html", head, el("body", HATCHES, main, scripts), lang="en")
    return f"<!DOCTYPE html>\n{page}\n"


def _verdict() -> Html:
    """Return the place of the verdict: above all else, from the first check on; findings follow it."""
    return el(
        "section",
        el("p", id="verdict", class_="verdict", tabindex="-1", role="status"),
        el("div", id="changes", aria_live="polite"),
        el("div", id="taken", class_="quiet", aria_live="polite"),
        id="verdict-part",
        hidden=True,
    )


def _drop(most: int) -> Html:
    return el(
        "section",
        el("h2", "Files"),
        el(
            "div",
            el("p", "Drop programs, a mesh of the part and a job file here, or the folder they lie in."),
            el(
                "label",
                "Or choose them ",
                el("input", type="file", id="choose", multiple=True),
                for_="choose",
            ),
            el(
                "label",
                "Or a whole folder ",
                el("input", type="file", id="choose-folder", webkitdirectory=True, multiple=True),
                for_="choose-folder",
            ),
            el("p", f"Up to {most / 1e6:g} MB together.", class_="quiet"),
            id="drop",
        ),
        el("ul", id="files", aria_label="Files dropped"),
        el("p", id="aside", class_="quiet", role="status"),
        data_most=str(most),
        data_endings=" ".join(ENDINGS),
        id="files-part",
    )


def _field(words: str, name: str, **more) -> Html:
    return el("label", words, el("input", name=name, autocomplete="off", **more))


def _form() -> Html:
    number = {"inputmode": "decimal", "size": "7"}
    return el(
        "form",
        el("h2", "The job"),
        el("p", "Without a job file, say here how the programs are meant.", class_="quiet"),
        el("div", id="guesses", aria_live="polite"),
        el(
            "div",
            el(
                "div",
                el(
                    "fieldset",
                    el("legend", "Blank"),
                    _field("length", "length", **number),
                    _field("width", "width", **number),
                    _field("thickness", "thickness", **number),
                    el(
                        "label",
                        "unit ",
                        el("select", el("option", "mm"), el("option", "in"), name="unit"),
                    ),
                    [el("p", id=f"told-{name}", class_="quiet") for name in ("length", "width", "thickness")],
                ),
                el("div", id="cutters"),
                el("button", "One more cutter", type="button", id="more-cutters"),
                el("div", id="setups"),
                el("fieldset", el("legend", "Mesh"), id="mesh-units"),
                el("div", id="dowels"),
                el("button", "One more dowel", type="button", id="more-dowels"),
                el("div", id="areas"),
                el("button", "One more clamp, stop, tape ...", type="button", id="more-areas"),
                el(
                    "fieldset",
                    el("legend", "Limits"),
                    _field("cut too deep by", "gouge", placeholder="0.1 mm", **number),
                    _field("left standing", "leftover", placeholder="0.3 mm", **number),
                    _field("thinnest wall", "thinnest_wall", placeholder="3 mm", **number),
                    _field("step between the sides", "witness_step", placeholder="0.2 mm", **number),
                    el("span", "What is left empty counts as shown.", class_="quiet"),
                ),
            ),
            el("div", id="drawing", role="img", aria_label="How the blank lies"),
            class_="beside",
        ),
        id="form",
        hidden=True,
        novalidate=True,
    )


def _check() -> Html:
    return el(
        "section",
        el("button", "Check", type="button", id="check", disabled=True),
        id="check-part",
    )


def _running() -> Html:
    """Return the place of the progress and of what is wrong; put below the verdict once that is told."""
    return el(
        "section",
        el(
            "div",
            el("progress", id="bar", max="1", value="0", aria_label="How far the check is"),
            el("span", id="stage"),
            el("button", "Stop", type="button", id="stop"),
            id="progress",
            hidden=True,
        ),
        el("div", id="file-problems", role="alert"),
        el("div", id="problems", role="alert"),
        id="running",
    )


def _result() -> Html:
    return el(
        "section",
        el(
            "p",
            "Download: ",
            [
                el("a", words, id=f"get-{name}", aria_label=f"Download the {words}")
                for name, words in (("report", "report"), ("result", "result"), ("job", "job file"))
            ],
            el("span", id="drawn", class_="quiet", role="status"),
            class_="row downloads",
        ),
        el(
            "p",
            "Changed a program? Drop it anywhere on this page. The ",
            el("a", "files", href="#files-part"),
            " stand below the findings.",
            id="again",
            class_="quiet",
        ),
        el(
            "div",
            el("div", el("div", id="first"), el("div", id="column"), id="told"),
            el(
                "div",
                el("p", el("a", id="back", href="#findings", hidden=True), id="back-place"),
                el(
                    "section",
                    el("h2", "Program"),
                    el("p", id="text-name", class_="file"),
                    el("div", id="text", tabindex="0", role="region", aria_label="Text of the program"),
                    id="text-part",
                    hidden=True,
                ),
                el("div", id="solid-place"),
                id="shown",
            ),
            id="sides",
        ),
        id="result",
        hidden=True,
    )


def _more() -> Html:
    """Return the places of all else that the report has: last, below the files."""
    return el(
        "section",
        el(
            "details",
            el("summary", "The rest of the report"),
            el("div", id="rest"),
            id="rest-part",
            hidden=True,
        ),
        el(
            "details",
            el("summary", "Pictures"),
            el("div", id="pictures"),
            id="pictures-part",
            hidden=True,
        ),
        id="more",
        hidden=True,
    )
