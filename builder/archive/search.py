"""Finding builds from the command line: by ranges, choices and words, or by likeness to a plan."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from builder.archive.estimate import Estimate, estimate
from builder.archive.fields import BY_SLUG, Field, System, Unit, choice_of, number_of
from builder.archive.similarity import Match, build_matrix, most_similar
from builder.archive.summary import Summary, newest_first

Range = tuple[float | None, float | None]

_END = re.compile(r"([-+]?(?:\d+\.?\d*|\.\d+))?\s*(\D.*)?", re.S)


@dataclass(frozen=True, slots=True)
class Similar:
    """What is like a plan, nearest first, and what the archive lets one expect of it."""

    matches: tuple[Match, ...]
    estimate: Estimate


def find(
    summaries: Iterable[Summary],
    ranges: Mapping[str, Range] | None = None,
    choices: Mapping[str, Sequence[str]] | None = None,
    text: str = "",
) -> tuple[Summary, ...]:
    """Builds that lie in every range, have one of the choices of every field, and hold every word.

    Parameters
    ----------
    ranges : mapping of number field to (least, most), SI, ends included, None for open
    choices : mapping of choice field to the values wanted; capitals do not matter
    words : text; each word must occur, as a part of a word, in the title, number, family, parts or text

    Returns
    -------
    tuple of Summary, newest first. A build that does not record a field is outside every range of it.
    """
    found = list(newest_first(summaries))
    for slug, (least, most) in (ranges or {}).items():
        field = BY_SLUG[slug]
        found = [s for s in found if _inside(number_of(s, field), least, most, 0.5 / field.quantum)]
    for slug, wanted in (choices or {}).items():
        field = BY_SLUG[slug]
        these = {" ".join(w.split()).casefold() for w in wanted}
        found = [s for s in found if (choice_of(s, field) or "").casefold() in these]
    for word in text.casefold().split():
        found = [s for s in found if word in search_text(s)]
    return tuple(found)


def similar(
    summaries: Iterable[Summary],
    plan: Summary,
    weights: Mapping[str, float],
    count: int = 8,
    system: System = "metric",
) -> Similar:
    """The builds most like a plan (or a build of the archive, which is left out), and the estimate."""
    rows = newest_first(summaries)
    found = most_similar(build_matrix(rows, weights), plan, weights, count)
    return Similar(found, estimate(rows, plan, weights, system=system))


def search_text(summary: Summary) -> str:
    """Everything that words are looked for in, in small letters."""
    parts = " ".join(f"{p.maker} {p.number} {p.kind}" for p in summary.parts)
    known = (summary.title, summary.number, summary.family, summary.purpose, summary.fuel, parts)
    return " ".join(" ".join((*(k or "" for k in known), summary.words)).split()).casefold()


def parse_range(text: str, field: Field, system: System) -> Range | str:
    """Read "10..11", "340..", "..7000 rpm" or "350 cu in" as a range in SI.

    A number without a unit is in the shop's own unit; with one, in that. A single number means the values
    that read the same at the decimals it was written with. Returns a plain sentence when it cannot be read.
    """
    example = field.show(_example(field), system)
    no_range = f"{field.slug}: '{text}' is not a range; write for example '{example}' or '{example}..'"
    first, dots, last = (part.strip() for part in text.partition(".."))
    ends = [_END.fullmatch(first), _END.fullmatch(last)]
    if ends[0] is None or ends[1] is None or not (ends[0][1] or ends[1][1]):
        return no_range
    units: list[Unit] = []
    for end in (ends[1], ends[0]):
        if end[2]:
            fitting = [u for u in (field.inch, field.metric) if _plain(u.label) == _plain(end[2])]
            if not fitting:
                known = " or ".join(dict.fromkeys(u.label for u in (field.inch, field.metric) if u.label))
                return f"{field.slug}: '{end[2]}' is not a unit of it here; use {known or 'no unit'}"
            units.append(fitting[0])
    # One unit said once holds for both ends.
    unit_last = units[0] if units else field.unit(system)
    unit_first = units[-1] if units else unit_last
    if not dots:
        value, half = float(first_number := ends[0][1]), 0.5 * 10.0 ** -len(first_number.partition(".")[2])
        least, most = (value - half) / unit_first.factor, (value + half) / unit_first.factor
        return (least, most) if math.isfinite(least) else f"{field.slug}: '{text}' is beyond any engine"
    low = float(ends[0][1]) / unit_first.factor if ends[0][1] else None
    high = float(ends[1][1]) / unit_last.factor if ends[1][1] else None
    if any(end is not None and not math.isfinite(end) for end in (low, high)):
        return f"{field.slug}: '{text}' is beyond any engine"
    if low is not None and high is not None and low > high:
        return f"{field.slug}: the least in '{text}' is above the most; turn them round"
    return (low, high)


def _example(field: Field) -> float:
    return field.scale if not field.ratio else 100.0 / field.metric.factor


def _plain(label: str) -> str:
    return re.sub(r"[\s.·-]", "", label).casefold()


def _inside(value: float | None, least: float | None, most: float | None, hair: float) -> bool:
    # Values are kept in whole steps of the field: half a step either way is still the end itself.
    if value is None:
        return False
    return (least is None or value >= least - hair) and (most is None or value <= most + hair)
