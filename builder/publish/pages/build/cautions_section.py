"""The cautions of a build, gathered in one list, each with a link to the section it is about."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from builder.figures.core.types import Caution, FigureSheet
from builder.figures.dyno.guideline_traces import Violation
from builder.publish.pages.formatting import sentence
from builder.record.models.build import Build

_ANCHORS = (
    ("dyno", "dyno-results"),
    ("parts", "parts-received"),
    ("assembly.fasteners", "fasteners"),
    ("assembly", "clearances"),
    ("delivery", "sheet-delivery"),
    ("work", "sheet-work"),
)
"""The section of the page for each path of the record; the first prefix that matches counts."""


@dataclass(frozen=True)
class CautionLine:
    """One caution: its sentence, the guideline it comes from, and a link to the section it is about."""

    sentence: str
    guideline: str
    href: str
    """An anchor on the build's page, or empty."""


def caution_lines(build: Build, sheet: FigureSheet) -> tuple[CautionLine, ...]:
    """Return every caution about a build; the same violation in several pulls, and unchecked parts, take one line."""
    return (*_general_cautions(sheet), *_violations(sheet), *_unchecked_parts(build))


def _general_cautions(sheet: FigureSheet) -> Iterator[CautionLine]:
    for caution in sheet.cautions:
        if not caution.subject.startswith(("dyno.pulls.", "parts.parts.")):
            yield CautionLine(sentence(caution.sentence), caution.guideline, _href(caution, sheet))


def _href(caution: Caution, sheet: FigureSheet) -> str:
    if caution.subject in sheet:
        return f"#{caution.subject}"
    return next((f"#{anchor}" for path, anchor in _ANCHORS if caution.subject.startswith(path)), "")


def _violations(sheet: FigureSheet) -> Iterator[CautionLine]:
    by_channel: dict[tuple[str, str], list[Violation]] = {}
    for violation in sheet.session.violations if sheet.session else ():
        by_channel.setdefault((violation.channel, violation.side), []).append(violation)
    for violations in by_channel.values():
        yield CautionLine(sentence(_summarise(violations)), violations[0].guideline, "#dyno-results")


def _summarise(violations: list[Violation]) -> str:
    if len(violations) == 1:
        return violations[0].text
    worst = max(violations, key=lambda violation: abs(violation.value - violation.limit))
    names = ", ".join(violation.pull for violation in violations)
    return (
        f"{worst.title} {worst.side} the guideline on {len(violations)} pulls ({names}); "
        f"worst on {worst.pull}: {worst.worst_and_limit_text}"
    )


def _unchecked_parts(build: Build) -> Iterator[CautionLine]:
    parts = build.parts.parts if build.parts else ()
    unchecked = [part for part in parts if part.never_checked and part.source not in (None, "new", "shop stock")]
    if unchecked:
        names = "; ".join(f"{part.part} ({part.source})" for part in unchecked)
        yield CautionLine(f"Fitted without being checked: {names}.", "", "#parts-received")
