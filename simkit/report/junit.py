"""Results as JUnit XML, as viewers of test results read it: a suite for each job, a case for each limit.

The form has no standard; what is written is what all readers share: testsuites > testsuite > testcase, with
failure, error or skipped in a case, counts and seconds on the suites.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any
from xml.etree import ElementTree as Xml

from simkit.errors import key_words
from simkit.kinds import SAFETY_KINDS
from simkit.report.lengths import Lengths, lengths_of, limit_of, measured, program_lengths
from simkit.report.rules import RULES
from simkit.report.verdict import FAILING

_NOT_IN_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
# Limits of the whole part: key of `limits`, the kinds it judges, the name of its case.
_WHOLE = (
    ("thinnest_wall", ("thin-wall",), "walls at least {0}"),
    ("witness_step", ("witness-step",), "step between the sides at most {0}"),
    ("dowel_miss", ("dowel-miss",), "dowel holes off at most {0}"),
    ("cusp", ("cusp",), "ridges between passes at most {0}"),
    ("slenderness", ("fragile",), "standing parts at most {0} times their thickness"),
)
_ZONED = (
    ("gouge", ("gouge", "break-through"), "gouge at most {0}"),
    ("leftover", ("leftover-cutter", "leftover-program"), "leftover at most {0}"),
)
_SHAPE = ("thinnest_wall", "witness_step", "cusp")  # judged against a target alone


def junit_text(results: Sequence[dict[str, Any]]) -> str:
    """Return the results of one run, in the order of the jobs, as the text of a JUnit XML file.

    results: as report.forms Result and Unchecked.
    """
    suites = Xml.Element("testsuites", name="simkit")
    for result in results:
        suites.append(_suite(result))
    for count in ("tests", "failures", "errors", "skipped"):
        suites.set(count, str(sum(int(suite.get(count)) for suite in suites)))
    suites.set("time", f"{sum(float(suite.get('time')) for suite in suites):.3f}")
    Xml.indent(suites, " ")
    text = Xml.tostring(suites, encoding="unicode", short_empty_elements=True)
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{text}\n'


def _suite(result: dict[str, Any]) -> Xml.Element:
    name = _clean(result["job"]["file"] or result["job"]["name"])
    is_checked = result["form"] == "simkit result"
    seconds = result["timings"].get("total", 0.0) if is_checked else 0.0
    suite = Xml.Element("testsuite", name=name, time=f"{seconds:.3f}")
    cases = _cases(result) if is_checked else [_unchecked(result)]
    for case in cases:
        case.set("classname", name.removesuffix(".toml").replace("/", ".").replace("\\", ".").strip("."))
        if result["job"]["file"]:
            case.set("file", name)
        suite.append(case)
    suite.set("tests", str(len(cases)))
    for count, tag in (("failures", "failure"), ("errors", "error"), ("skipped", "skipped")):
        suite.set(count, str(sum(case.find(tag) is not None for case in cases)))
    if is_checked:
        _add(
            suite,
            "system-out",
            "\n".join(map(lengths_of(result).text, [result["verdict"]["sentence"], *result["remarks"]])),
        )
    return suite


def _unchecked(result: dict[str, Any]) -> Xml.Element:
    case = Xml.Element("testcase", name="the job can be checked")
    error = _add(
        case, "error", "\n".join(problem_line(one) for one in result["problems"]) or result["sentence"]
    )
    error.set("message", _clean(result["sentence"]))
    error.set("type", result["status"])
    return case


def problem_line(problem: dict[str, Any]) -> str:
    """Return a problem in one line, as the command line tells it."""
    place = ":".join(str(part) for part in (problem["file"], problem["line"], problem["column"]) if part)
    place += f" [{key_words(problem['key'])}]" if problem["key"] else ""
    return f"{place}: found {problem['found']}, expected {problem['expected']}; {problem['remedy']}"


def _cases(result: dict[str, Any]) -> list[Xml.Element]:
    """Return one case for each limit and zone, each safety kind, and each other kind that can be found."""
    is_judged, lengths = result["target"] is not None, lengths_of(result)
    cases, seen = [], set()
    for kind in RULES:
        if kind in SAFETY_KINDS:
            seen.add(kind)
            cases.append(_case(result, f"{kind}: none", (kind,)))
    for key, kinds, words in _ZONED:
        for zone in result["zones"]:
            where = f", {zone['name']}" if len(result["zones"]) > 1 else ""
            where += f", side {zone['side']}" if zone["side"] else ""
            why = "the job names no target" if not is_judged else "the zone is not judged"
            skipped = "" if is_judged and zone["is_judged"] else why
            cases.append(
                _case(result, words.format(_limit(zone[key], lengths)) + where, kinds, zone["name"], skipped)
            )
        seen.update(kinds)
    for key, kinds, words in _WHOLE:
        limit = result["limits"][key]
        said = f"{limit:g}" if key == "slenderness" and limit is not None else _limit(limit, lengths)
        skipped = "" if is_judged or key not in _SHAPE else "the job names no target"
        if limit is None:
            words, skipped = words.partition(" at ")[0], "the job states no limit"
        cases.append(_case(result, words.format(said), kinds, None, skipped))
        seen.update(kinds)
    for kind in RULES:
        if kind not in seen:
            cases.append(_case(result, f"{kind}: none", (kind,)))
    return cases


def _limit(limit: float | None, lengths: Lengths) -> str:
    """Return a limit with its unit; "" for none."""
    return "" if limit is None else limit_of({"limit": limit, "unit": "mm"}, lengths)


def _case(
    result: dict[str, Any], name: str, kinds: tuple[str, ...], zone: str | None = None, skipped: str = ""
) -> Xml.Element:
    case = Xml.Element("testcase", name=_clean(name))
    mine = [
        row for row in result["findings"] if row["kind"] in kinds and (zone is None or _in(row, zone, result))
    ]
    failing = [row for row in mine if fails(result, row)]
    lengths = lengths_of(result)
    if failing:
        failure = _add(case, "failure", "\n\n".join(_words(row, result) for row in failing))
        more = f" (and {len(failing) - 1} more)" if len(failing) > 1 else ""
        failure.set("message", _clean(lengths.text(failing[0]["message"]) + more))
        failure.set("type", failing[0]["kind"])
    elif skipped:
        Xml.SubElement(case, "skipped", message=skipped)
    rest = [row for row in mine if row not in failing]
    if rest:
        _add(case, "system-out", "\n\n".join(f"{row['severity']}: {_words(row, result)}" for row in rest))
    return case


def fails(result: dict[str, Any], row: dict[str, Any]) -> bool:
    """Return whether a finding makes its check fail, as strict and a stored result have it."""
    if row["severity"] not in FAILING and not (result["strict"] and row["severity"] == "warning"):
        return False
    against = result["against"]
    if against is None or row["severity"] == "safety":
        return True
    return row["number"] in (*against["new"], *against["worse"])


def _in(row: dict[str, Any], zone: str, result: dict[str, Any]) -> bool:
    """Return whether a finding counts to a zone; what names none of them counts to the whole part."""
    names = [one["name"] for one in result["zones"]]
    return row["zone"] == zone if row["zone"] in names else zone == names[0]


def _words(row: dict[str, Any], result: dict[str, Any]) -> str:
    """Return a finding in lines: in the unit of the job, its place in a program in that of the program."""
    lengths = lengths_of(result)
    where = f"{row['file']}:{row['line']}" if row["line"] else row["file"]
    value = ""
    if row["value"] is not None:
        value = f"measured {measured(row, lengths)}"
        value += "" if row["limit"] is None else f", limit {limit_of(row, lengths)}"
    place = row["program_at"] or row["at"]
    its = program_lengths(result).get(row["file"], lengths) if row["program_at"] else lengths
    at = "" if place is None else "at X{} Y{} Z{}".format(*(_figure(mm, its) for mm in place))
    at += " in" if place is not None and its.is_inch else ""
    at += " (blank)" if place is not None and not row["program_at"] else ""
    facts = "; ".join(
        part for part in (where, f"side {row['side']}" if row["side"] else "", at, value) if part
    )
    words = (lengths.text(row["message"]), facts, lengths.text(row["advice"] or ""), f"id {row['id']}")
    return "\n".join(part for part in words if part)


def _figure(mm: float, lengths: Lengths) -> str:
    return lengths.place(mm) if lengths.is_inch else f"{mm:.2f}"


def _add(parent: Xml.Element, tag: str, text: str) -> Xml.Element:
    child = Xml.SubElement(parent, tag)
    child.text = _clean(text)
    return child


def _clean(text: str) -> str:
    """Return a text without the characters that XML cannot hold."""
    return _NOT_IN_XML.sub("\ufffd", text)
