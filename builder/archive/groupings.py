"""The archive in lists (by family, year, fuel, purpose) and as points for its overview drawings."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from builder.archive.fields import BY_SLUG, Field, choice_of, number_of
from builder.archive.summary import Summary, newest_first

LISTS = ("family", "year", "fuel", "purpose")
UNKNOWN = "Not recorded"


@dataclass(frozen=True, slots=True)
class Group:
    """Builds that share one value of a field, newest first."""

    title: str
    summaries: tuple[Summary, ...]


@dataclass(frozen=True, slots=True)
class Point:
    """One build in an overview drawing: SI values."""

    summary: Summary
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Overview:
    """A drawing of the whole archive: two fields and a point for every build that has both."""

    slug: str
    title: str
    x: Field
    y: Field
    points: tuple[Point, ...]


def grouped(summaries: Iterable[Summary], slug: str) -> tuple[Group, ...]:
    """Builds by one field: years newest first, everything else by name, those without it last."""
    field = BY_SLUG[slug]
    groups: dict[str, list[Summary]] = defaultdict(list)
    for summary in newest_first(summaries):
        value = number_of(summary, field) if field.kind == "number" else choice_of(summary, field)
        groups[UNKNOWN if value is None else field.show(value, "metric")].append(summary)
    unknown = groups.pop(UNKNOWN, None)
    titles = sorted(groups, key=lambda t: (t.casefold(), t), reverse=slug == "year")
    found = [Group(title, tuple(groups[title])) for title in titles]
    if unknown:
        found.append(Group(UNKNOWN, tuple(unknown)))
    return tuple(found)


def overviews(summaries: Iterable[Summary]) -> tuple[Overview, ...]:
    """The three drawings of the archive; one without points is left out."""
    rows = newest_first(summaries)
    wanted = (
        ("bmep-ratio", "Bmep at peak torque against compression ratio", "compression_ratio", "bmep"),
        (
            "output-piston-speed",
            "Specific power against mean piston speed at peak power",
            "piston_speed_at_peak_power",
            "specific_power",
        ),
        ("output-years", "Specific power over the years", "year", "specific_power"),
    )
    found = []
    for slug, title, x, y in wanted:
        points = []
        for summary in rows:
            at, up = number_of(summary, BY_SLUG[x]), number_of(summary, BY_SLUG[y])
            if at is not None and up is not None:
                points.append(Point(summary, at, up))
        if points:
            found.append(Overview(slug, title, BY_SLUG[x], BY_SLUG[y], tuple(points)))
    return tuple(found)
