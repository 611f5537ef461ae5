"""What only the shop's own edition shows of a build: its lessons, how far the job is, and what it waits for."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

from builder.archive.build_summary import wanted_values
from builder.archive.summary import LessonSummary, ShopNotes, Stage, Summary, WaitItem
from builder.figures.core.types import FigureSheet
from builder.figures.planning.overview import overview_of
from builder.figures.review.delivery_readiness import Readiness
from builder.record.models.build import Build
from builder.record.models.parts import Part
from builder.record.wording import capitalize, in_sentence

if TYPE_CHECKING:
    import datetime

STAGES: dict[Stage, str] = {
    "planned": "Planned",
    "in progress": "In progress",
    "waiting for parts": "Waiting for parts",
    "finished": "Finished, not ready",
    "ready": "Ready for delivery",
    "delivered": "Delivered",
}
"""The stages of a job, in order, with their titles."""
NO_FAMILY = "Other builds"
NO_PART = "Engine as a whole"


def shop_notes(build: Build, sheet: FigureSheet, readiness: Readiness) -> ShopNotes:
    """Return the shop's own notes of a build as read, from its figures and what it lacks for delivery."""
    stage = stage_of(build, readiness)
    return ShopNotes(
        stage=stage,
        waits=tuple(_waits(build, sheet, readiness, stage)),
        lessons=tuple(_lessons(build)),
        wanted=tuple(wanted_values(build).items()) if stage == "planned" else (),
        delivered=_day(build.delivery.delivered if build.delivery else None),
    )


def stage_of(build: Build, readiness: Readiness) -> Stage | None:
    """Return how far a job is; None where it was withdrawn or imported as a finished past build.

    An engine is ready once it is finished and has what the shop requires of a delivery.
    """
    status = build.build.status
    if status == "withdrawn":
        return None
    if status == "planned":
        return "planned"
    if build.delivery is not None and build.delivery.delivered is not None:
        return "delivered"
    if status == "finished":
        if build.build.imported_from is not None:
            return None
        return "ready" if readiness.ready else "finished"
    if status == "waiting for parts" or any(awaited_parts(build)):
        return "waiting for parts"
    return "in progress"


def awaited_parts(build: Build) -> Iterator[Part]:
    """Yield the parts that have not come yet: those ordered; of a planned engine all that the shop has not at hand."""
    for part in build.parts.parts if build.parts else ():
        at_hand = part.source in ("shop stock", "customer's own")
        if part.awaited or (build.build.status == "planned" and not part.arrived and not at_hand):
            yield part


def part_waits(build: Build) -> Iterator[WaitItem]:
    """Yield the parts that have not come yet, with maker, number and the day they are expected or were ordered."""
    for part in awaited_parts(build):
        name = " ".join(filter(None, (part.maker, part.number)))
        when = f"expected {part.expected}" if part.expected else f"ordered {part.ordered}" if part.ordered else ""
        yield WaitItem("part", f"{part.part} ({name})" if name else part.part, when)


def _waits(build: Build, sheet: FigureSheet, readiness: Readiness, stage: Stage | None) -> Iterator[WaitItem]:
    if stage in ("delivered", None):
        return
    yield from part_waits(build)
    if stage == "waiting for parts" and not any(awaited_parts(build)):
        yield WaitItem("part", "parts", "none of parts.yaml is marked as ordered")
    if stage != "ready":
        overview = overview_of(sheet)
        readings: dict[str, dict[str, None]] = {}
        for goal, need in zip(overview.goals, overview.goal_needs, strict=True):
            for hint in need.needs if need else ():
                readings.setdefault(hint, {})[goal.target.name] = None
        for hint, goals in readings.items():
            yield WaitItem("reading", hint, f"for {', '.join(map(in_sentence, goals))}")
    if stage in ("in progress", "waiting for parts", "finished"):
        for item in readiness.missing:
            yield WaitItem("delivery", item.title, item.message)


def _lessons(build: Build) -> Iterator[LessonSummary]:
    for lesson in build.build.lessons:
        yield LessonSummary(lesson.lesson, lesson.part, lesson.visibility == "public")


def _day(day: datetime.date | None) -> str | None:
    return day.isoformat() if day is not None else None


@dataclass(frozen=True, slots=True)
class Lesson:
    """A lesson with the build that it comes from."""

    summary: Summary
    lesson: LessonSummary


@dataclass(frozen=True, slots=True)
class LessonGroup:
    """Lessons of one family or about one part, those of the newest build first."""

    title: str
    lessons: tuple[Lesson, ...]


def lessons_by(summaries: Iterable[Summary], what: Literal["family", "part"]) -> tuple[LessonGroup, ...]:
    """Return every lesson, by family or by the part it is about, in the order of the titles; those without one last."""
    groups: dict[str, list[Lesson]] = defaultdict(list)
    titles: dict[str, str] = {}
    other = NO_FAMILY if what == "family" else NO_PART
    for summary in summaries:
        for lesson in summary.shop.lessons if summary.shop else ():
            title = " ".join(((summary.family if what == "family" else lesson.part) or "").split())
            key = title.casefold()
            titles.setdefault(key, capitalize(title) if title else other)
            groups[key].append(Lesson(summary, lesson))
    return tuple(LessonGroup(titles[key], tuple(groups[key])) for key in sorted(groups, key=lambda key: (not key, key)))


@dataclass(frozen=True, slots=True)
class JobGroup:
    """The jobs of one stage; ``hidden`` more are not listed."""

    stage: Stage
    title: str
    jobs: tuple[Summary, ...]
    hidden: int = 0


_LISTED = 30
"""How many jobs of a stage are listed."""


def jobs_by_stage(summaries: Iterable[Summary]) -> tuple[JobGroup, ...]:
    """Return the jobs of every stage, also of a stage without any, those delivered last first."""
    jobs: dict[Stage, list[Summary]] = {stage: [] for stage in STAGES}
    for summary in summaries:
        if summary.shop is not None and summary.shop.stage is not None:
            jobs[summary.shop.stage].append(summary)
    jobs["delivered"].sort(key=lambda summary: (summary.shop.delivered or "") if summary.shop else "", reverse=True)
    return tuple(
        JobGroup(stage, STAGES[stage], tuple(builds[:_LISTED]), max(0, len(builds) - _LISTED))
        for stage, builds in jobs.items()
    )


def with_wanted_values(summary: Summary) -> Summary:
    """Return the summary of a planned build with what is wanted where nothing is known yet; any other as it is."""
    wanted: dict[str, Any] = dict(summary.shop.wanted) if summary.shop else {}
    open_values = {slug: value for slug, value in wanted.items() if getattr(summary, slug) is None}
    return replace(summary, **open_values) if open_values else summary
