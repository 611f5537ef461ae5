"""Cautions gathered in one place: what deserves a second look, said once, with a way to what it is about."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from builder.figures.core.types import Caution, FigureSheet
from builder.figures.dyno.guideline_traces import Violation
from builder.record.models.build import Build


@dataclass(frozen=True)
class CautionLine:
    """One caution: what is the matter, by whose rule, and where on the page to look."""

    sentence: str
    guideline: str
    href: str
    """An anchor on the build's page, or empty."""


_PLACES = (("dyno", "what-it-made"), ("parts", "parts-as-received"), ("assembly.fasteners", "fasteners"))
"""Where on the page the documents of the record are, where that is not a chapter of the same name."""


def caution_lines(build: Build, sheet: FigureSheet) -> tuple[CautionLine, ...]:
    """Every caution about a build; the same breach over several pulls, and parts nobody checked, in one line each."""
    return (*_other(build, sheet), *_along_the_pulls(sheet), *_unchecked(build))


def _other(build: Build, sheet: FigureSheet) -> Iterator[CautionLine]:
    for caution in sheet.cautions:
        if not caution.about.startswith(("dyno.pulls.", "parts.parts.")):
            yield CautionLine(_sentence(caution.sentence), caution.guideline, _href(caution, sheet))


def _href(caution: Caution, sheet: FigureSheet) -> str:
    if caution.about in sheet:
        return f"#{caution.about}"
    places = (("assembly", "fits-and-checks"), ("delivery", "delivery"), ("work", "machine-work-and-preparation"))
    for document, anchor in (*_PLACES, *places):
        if caution.about.startswith(document):
            return f"#{anchor}"
    return ""


def _along_the_pulls(sheet: FigureSheet) -> Iterator[CautionLine]:
    if sheet.session is None:
        return
    rules = {c.about: c.guideline for c in sheet.cautions if c.about.startswith("dyno.pulls.")}
    kinds: dict[tuple[str, str], list[Violation]] = {}
    for breach in sheet.session.violations:
        kinds.setdefault((breach.channel, breach.side), []).append(breach)
    for breaches in kinds.values():
        rule = rules.get(f"dyno.pulls.{breaches[0].index}", "")
        yield CautionLine(_sentence(_summarise(breaches)), rule, "#what-it-made")


def _summarise(breaches: list[Violation]) -> str:
    if len(breaches) == 1:
        return breaches[0].text
    worst = max(breaches, key=lambda breach: abs(breach.value - breach.limit))
    names = ", ".join(breach.pull for breach in breaches)
    return (
        f"{worst.title} {worst.side} the guideline on {len(breaches)} pulls ({names}); "
        f"worst on {worst.pull}: {worst.worst_and_limit_text}"
    )


def _unchecked(build: Build) -> Iterator[CautionLine]:
    parts = build.parts.parts if build.parts else ()
    found = [part for part in parts if part.never_checked and part.source not in (None, "new", "shop stock")]
    if found:
        named = "; ".join(f"{part.part} ({part.source})" for part in found)
        yield CautionLine(f"Fitted without being checked: {named}.", "", "#parts-as-received")


def _sentence(words: str) -> str:
    text = words[:1].upper() + words[1:]
    return text if text.endswith((".", "!", "?")) else f"{text}."
