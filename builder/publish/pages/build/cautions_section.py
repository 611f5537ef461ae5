"""The cautions of a build, gathered in one list, each with a link to the section it is about."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from builder.figures.core.types import Caution, FigureSheet
from builder.figures.dyno.guideline_traces import summarize_violations
from builder.publish.pages.formatting import sentence
from builder.record.models.build import Build

_ANCHORS = (
    ("dyno", "dyno-results"),
    ("parts", "parts-received"),
    ("assembly.fasteners", "fasteners"),
    ("assembly", "clearances"),
    ("delivery", "delivery"),
    ("work", "record-work"),
)
"""The section of the page for each path of the record; the first prefix that matches counts."""


@dataclass(frozen=True)
class CautionLine:
    """One caution: its sentence, the guideline it comes from, and a link to the section it is about."""

    sentence: str
    guideline: str
    href: str
    """An anchor on the build's page, or empty."""
    answer: str = ""
    """Why it was accepted and by whom; empty where it was not."""


def caution_lines(build: Build, sheet: FigureSheet) -> tuple[CautionLine, ...]:
    """Return every caution about a build; the same violation in several pulls, and unchecked parts, take one line."""
    return (*_general_cautions(sheet), *_violations(sheet), *_unchecked_parts(build))


def _general_cautions(sheet: FigureSheet) -> Iterator[CautionLine]:
    for caution in sheet.shown_cautions:
        if not caution.subject.startswith(("dyno.pulls.", "parts.parts.")):
            href, answer = _href(caution, sheet), sentence(caution.answer) if caution.answer else ""
            yield CautionLine(sentence(caution.sentence), caution.guideline, href, answer)


def _href(caution: Caution, sheet: FigureSheet) -> str:
    if caution.subject in sheet:
        return f"#{caution.subject}"
    return next((f"#{anchor}" for path, anchor in _ANCHORS if caution.subject.startswith(path)), "")


def _violations(sheet: FigureSheet) -> Iterator[CautionLine]:
    answers = {caution.name: caution for caution in sheet.cautions}
    violations = sheet.session.delivered_violations if sheet.session else ()
    for text, violation in summarize_violations(violations):
        caution = answers.get(violation.channel)
        if caution is None or caution.is_shown:
            answer = sentence(caution.answer) if caution is not None and caution.answer else ""
            yield CautionLine(sentence(text), violation.guideline, "#dyno-results", answer)


def _unchecked_parts(build: Build) -> Iterator[CautionLine]:
    parts = build.parts.parts if build.parts and "unchecked_part" not in build.accepted_cautions else ()
    unchecked = [part for part in parts if part.never_checked and part.source not in (None, "new", "shop stock")]
    if unchecked:
        names = "; ".join(f"{part.part} ({part.source})" for part in unchecked)
        yield CautionLine(f"Fitted without being checked: {names}.", "", "#parts-received")
