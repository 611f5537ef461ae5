"""Builds grouped by family, year, fuel and purpose, and the points of the archive's overview charts."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from builder.archive.fields import BY_SLUG, Field, choice_of, number_of
from builder.archive.summary import Summary, newest_first

UNKNOWN = "Not recorded"


@dataclass(frozen=True, slots=True)
class BuildGroup:
    """Builds that share one value of a field, newest first."""

    title: str
    summaries: tuple[Summary, ...]


@dataclass(frozen=True, slots=True)
class Point:
    """One build in an overview chart: SI values."""

    summary: Summary
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class OverviewPoints:
    """What an overview chart shows: two fields, and a point for every build that has both."""

    slug: str
    title: str
    x: Field
    y: Field
    points: tuple[Point, ...]


def group_builds(summaries: Iterable[Summary], slug: str) -> tuple[BuildGroup, ...]:
    """Return builds grouped by one field: years newest first, other values by name, builds without it last."""
    field = BY_SLUG[slug]
    groups: dict[str, list[Summary]] = defaultdict(list)
    for summary in newest_first(summaries):
        value = number_of(summary, field) if field.kind == "number" else choice_of(summary, field)
        groups[UNKNOWN if value is None else field.show(value, "metric")].append(summary)
    unknown = groups.pop(UNKNOWN, None)
    titles = sorted(groups, key=lambda t: (t.casefold(), t), reverse=slug == "year")
    result = [BuildGroup(title, tuple(groups[title])) for title in titles]
    if unknown:
        result.append(BuildGroup(UNKNOWN, tuple(unknown)))
    return tuple(result)


def overview_points(summaries: Iterable[Summary]) -> tuple[OverviewPoints, ...]:
    """Return the points of the three overview charts; a chart without points is left out."""
    rows = newest_first(summaries)
    charts = (
        ("bmep-ratio", "BMEP at peak torque vs compression ratio", "compression_ratio", "bmep"),
        (
            "output-piston-speed",
            "Specific power vs mean piston speed at peak power",
            "piston_speed_at_peak_power",
            "specific_power",
        ),
        ("output-years", "Specific power by year", "year", "specific_power"),
    )
    result = []
    for slug, title, x, y in charts:
        points = []
        for summary in rows:
            x_value, y_value = number_of(summary, BY_SLUG[x]), number_of(summary, BY_SLUG[y])
            if x_value is not None and y_value is not None:
                points.append(Point(summary, x_value, y_value))
        if points:
            result.append(OverviewPoints(slug, title, BY_SLUG[x], BY_SLUG[y], tuple(points)))
    return tuple(result)
