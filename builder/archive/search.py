"""Finding builds by ranges, choices and words, or by similarity to a plan."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from builder.archive.estimate import Estimate, estimate
from builder.archive.fields import BY_SLUG, TEXTS, Field, FieldUnit, System, choice_of, number_of
from builder.archive.similarity import Match, build_matrix, most_similar
from builder.archive.summary import Summary, newest_first
from builder.record.quantities.units import UnitProblem, dimension_of, factor

Range = tuple[float | None, float | None]

_RANGE_END = re.compile(r"([-+]?(?:\d+\.?\d*|\.\d+))?\s*(\D.*)?", re.S)


@dataclass(frozen=True, slots=True)
class Similar:
    """The builds most similar to a plan, nearest first, and the results expected of it."""

    matches: tuple[Match, ...]
    estimate: Estimate


SEARCHED_CHOICES = (
    "family", "purpose", "induction", "fuel_system", "fuel", "fuel_family", "octane", "manifold", "ignition_system",
)  # fmt: skip
"""The choices that are searched for words."""
RATIO_TOLERANCE = 0.25
"""How far from a compression ratio that is searched for as a word a build may be: common practice, no source."""
_WRITTEN_RATIO = re.compile(r"\d{1,2}\.\d{1,2}(:1)?")


def find(
    summaries: Iterable[Summary],
    ranges: Mapping[str, Sequence[Range]] | None = None,
    choices: Mapping[str, Sequence[str]] | None = None,
    text: str = "",
) -> tuple[Summary, ...]:
    """Return the builds that lie in a range of every field, have one of its choices, and contain every word.

    Parameters
    ----------
    ranges : mapping of number field to its ranges (minimum, maximum), SI, ends included, None for open
    choices : mapping of choice field to the values accepted; capitals do not matter
    text : words; each must occur, as a part of a word, in the text that is searched, or be a compression ratio such as
        10.5 that is near the build's

    Returns
    -------
    tuple of Summary, newest first. A build that does not record a field is outside every range of it.
    """
    matches = list(newest_first(summaries))
    for slug, limits in (ranges or {}).items():
        field = BY_SLUG[slug]
        tolerance = 0.5 / field.quantum
        matches = [
            s for s in matches if any(_inside(number_of(s, field), low, high, tolerance) for low, high in limits)
        ]
    for slug, values in (choices or {}).items():
        field = BY_SLUG[slug]
        accepted = {" ".join(value.split()).casefold() for value in values}
        matches = [s for s in matches if (choice_of(s, field) or "").casefold() in accepted]
    for word in text.casefold().split():
        matches = [s for s in matches if word in search_text(s) or _is_near_ratio(s, word)]
    return tuple(matches)


def _is_near_ratio(summary: Summary, word: str) -> bool:
    """Return whether a word is a compression ratio near the build's."""
    written, ratio = _WRITTEN_RATIO.fullmatch(word), number_of(summary, BY_SLUG["compression_ratio"])
    return bool(written) and ratio is not None and abs(ratio - float(word.removesuffix(":1"))) < RATIO_TOLERANCE


def similar(
    summaries: Iterable[Summary],
    plan: Summary,
    weights: Mapping[str, float],
    count: int = 8,
    system: System = "metric",
    *,
    with_own_engine: bool = False,
) -> Similar:
    """Return the builds most similar to a plan (or a build of the archive, which is left out), and the estimate.

    Builds that are only planned are not among them. Other builds of the same engine are marked, and count in the
    estimate only ``with_own_engine``.
    """
    rows = [summary for summary in newest_first(summaries) if summary.status != "planned"]
    matches = most_similar(build_matrix(rows, weights), plan, weights, count)
    return Similar(matches, estimate(rows, plan, weights, system=system, with_own_engine=with_own_engine))


def search_text(summary: Summary) -> str:
    """Return the text of a build that is searched for words, in lower case."""
    parts = " ".join(f"{p.maker} {p.number} {p.kind}" for p in summary.parts)
    choices = (choice_of(summary, BY_SLUG[slug]) for slug in SEARCHED_CHOICES)
    names = (getattr(summary, slug) for slug in TEXTS)
    fields = (summary.title, summary.number, *choices, *names, parts, summary.words)
    return " ".join(" ".join(filter(None, fields)).split()).casefold()


@dataclass(frozen=True, slots=True)
class WrittenRange:
    """A range in SI as it was asked for: in which unit, and whether it is a single value."""

    field: Field
    limits: Range
    unit: FieldUnit
    value: float | None = None
    """The single value [SI] that the range is about."""

    @property
    def system(self) -> System | None:
        """The system that its unit belongs to, where the field has one for each."""
        if self.field.inch.label == self.field.metric.label:
            return None
        return "inch" if self.unit is self.field.inch else "metric"

    @property
    def text(self) -> str:
        """The range in words: `displacement 399.5 to 400.5 cu in`."""
        low, high = (None if end is None else self.unit.factor * end for end in self.limits)
        unit = f" {self.unit.label}" if self.unit.label not in ("", "°") else self.unit.label
        if low is None or high is None:
            return (
                f"{self.field.slug} {'up to ' if low is None else 'from '}{_number(high if low is None else low)}{unit}"
            )
        return f"{self.field.slug} {_number(low)} to {_number(high)}{unit}"


def _number(value: float | None) -> str:
    return f"{value:.10g}"


def read_range(text: str, field: Field, system: System | None) -> WrittenRange | str:
    """Return "10..11", "340..", "..7000 rpm" or "350 cu in" as a range in SI.

    A number without a unit is in the unit of the system; without a system (the shop shows both) it is asked for its
    unit where there are two. A single number means the values that round to it at the decimals it was written with.
    Returns a sentence for the user when it cannot be read.
    """
    shown = system or "metric"
    example = field.show(100.0 / field.metric.factor if field.ratio else field.scale, shown)
    not_a_range = f"{field.slug}: '{text}' is not a range; write for example '{example}' or '{example}..'"
    first, dots, last = (part.strip() for part in text.partition(".."))
    ends = [_RANGE_END.fullmatch(first), _RANGE_END.fullmatch(last)]
    if ends[0] is None or ends[1] is None or not (ends[0][1] or ends[1][1]):
        return not_a_range
    units: list[FieldUnit] = []
    for end in (ends[1], ends[0]):
        if end[2]:
            unit = _unit_of(field, end[2])
            if unit is None:
                labels = " or ".join(dict.fromkeys(u.label for u in (field.inch, field.metric) if u.label))
                return f"{field.slug}: '{end[2]}' is not a unit of it here; use {labels or 'no unit'}"
            units.append(unit)
    if not units and system is None and field.inch.label != field.metric.label:
        fixes = " or ".join(f"{text} {unit.label}" for unit in (field.inch, field.metric))
        return f"{field.slug}: '{text}' in which unit? Write {fixes}"
    # A unit written once applies to both ends.
    unit_last = units[0] if units else field.unit(shown)
    unit_first = units[-1] if units else unit_last
    if not dots:
        number = ends[0][1]
        value, half = float(number), 0.5 * 10.0 ** -len(number.partition(".")[2])
        low, high = (value - half) / unit_first.factor, (value + half) / unit_first.factor
        if not math.isfinite(low):
            return f"{field.slug}: '{text}' is beyond any engine"
        return WrittenRange(field, (low, high), unit_first, value / unit_first.factor)
    minimum = float(ends[0][1]) / unit_first.factor if ends[0][1] else None
    maximum = float(ends[1][1]) / unit_last.factor if ends[1][1] else None
    if any(end is not None and not math.isfinite(end) for end in (minimum, maximum)):
        return f"{field.slug}: '{text}' is beyond any engine"
    if minimum is not None and maximum is not None and minimum > maximum:
        return f"{field.slug}: the least in '{text}' is above the most; turn them round"
    return WrittenRange(field, (minimum, maximum), unit_last)


def _unit_of(field: Field, name: str) -> FieldUnit | None:
    """Return the unit that was written behind a number of a field, any of its dimension; None if it is not one."""
    for unit in (field.inch, field.metric):
        if _normalize_unit(unit.label) == _normalize_unit(name):
            return unit
    label, decimals = field.metric.label, field.metric.decimals
    dimension = dimension_of(label) if label else None
    if dimension is None:
        return field.metric if not label and name == ":1" else None
    try:
        scale, _ = factor(name, dimension)
    except UnitProblem:
        return None
    return FieldUnit(name, 1 / scale, decimals)


def _normalize_unit(label: str) -> str:
    return re.sub(r"[\s.·-]", "", label).casefold()


def _inside(value: float | None, minimum: float | None, maximum: float | None, tolerance: float) -> bool:
    # Values are multiples of the field's step: half a step beyond an end still equals the end.
    if value is None:
        return False
    return (minimum is None or value >= minimum - tolerance) and (maximum is None or value <= maximum + tolerance)
