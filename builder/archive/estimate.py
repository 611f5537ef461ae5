"""Expected peak torque and power of a planned engine, from the builds most similar to it.

Each match's result is scaled to the plan's size: torque at the same BMEP (T ~ displacement, and twice
that for a two-stroke), speed at the same mean piston speed (n ~ 1/stroke; where a stroke is unknown, by the
cube root of the volume of one cylinder; where that is unknown too, unchanged), power by both (Heywood,
Internal Combustion Engine Fundamentals, ch. 2: BMEP and mean piston speed do not depend on an engine's size).
The expected value is the mean of their logarithms, each weighted by 1/(distance + DISTANCE_OFFSET), adjusted for the
fields that the plan states and in which it differs from its matches (``adjusted_mean``): a ridge regression over the
matches of this plan alone, so that how much a field moves the result is taken from builds near it.

The interval is a quantile of measured errors, not a formula (conformal prediction with locally scaled
errors; Lei, G'Sell, Rinaldo, Tibshirani, Wasserman, "Distribution-free predictive inference for regression",
JASA 113, 2018, section 5.2). Every build (or 400 spread evenly over the archive's order) is left out in turn and
estimated from the rest, using only the fields that the plan states; the regression is done again from what remains,
its penalty included. Where families repeat, its whole family is left out with it, unless the plan is of a family that
the archive has: builds of one family are so alike that the error would look smaller than that of an engine of a new
family. Its error is divided by sigma, the standard deviation of the errors of its own matches. The interval is as many
sigma wide as covers the stated share of those builds. How many builds the interval covered, with its width taken from
the errors of the others, is reported with it, and whether families or single builds were left out.

A field in which the plan lies outside what the archive covers is left out of the match, and the estimate says so; a
displacement outside it is still scaled to, up to twice or half. There is no estimate without a displacement, with fewer
than five usable matches, for an engine of a type that no build is (cycle, induction, ignition), or where the fields
left out make up more than half of the plan's weight.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from builder.archive.adjusted_mean import AdjustedMean, adjusted_mean
from builder.archive.fields import BY_SLUG, Field, System, choice_of, number_of
from builder.archive.similarity import (
    MIN_SHARED_WEIGHT,
    FeatureMatrix,
    build_matrix,
    distances,
    k_smallest,
    pairwise_distances,
    query_columns,
    scale_value,
    scaled_differences,
)
from builder.archive.summary import NOTED_RESULT, Summary
from builder.record.wording import in_sentence

MIN_MATCHES = 5
MAX_MATCHES = 30
MAX_DISTANCE = 0.30  # a match farther away than this is not used
DISTANCE_OFFSET = 0.01
MIN_SHOWN_ADJUSTMENT, MAX_SHOWN_ADJUSTMENTS = 0.01, 4  # the rest is counted among other differences
CALIBRATION_SIZE = 400
RANGE_MARGIN = 0.05  # a plan may lie this share of the archive's range beyond its ends
CONFIDENCE_LEVEL = 0.90
MIN_FAMILY_CALIBRATION = 10  # with fewer builds that can be estimated without their family, they are left out singly

LeftOut = Literal["families", "builds"]
"""What was left out of the archive to measure the errors: a build with all of its family, or each build alone."""

TARGETS = ("peak_torque", "peak_torque_speed", "peak_power", "peak_power_speed")
REQUIRED_CHOICES = ("cycle", "induction", "ignition")  # the archive must have a build with the plan's choice
KNOWN_CHOICES = ("fuel",)  # one that no build has is left out of the match

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]
Texts = npt.NDArray[np.str_]


_SCALED_BY = ("stroke", "cylinders")  # left out of the match, they are left out of the scaling too
_LEFT_OUT = "left out of the match"
_SCALED = "scaled beyond it, which the ranges do not allow for"

LEFT_OUT_TEXTS: Mapping[LeftOut, str] = {
    "families": "builds, each left out with its whole family",
    "builds": "builds left out in turn",
}


@dataclass(frozen=True, slots=True)
class Adjustment:
    """What a field in which the plan differs from its matches adds to a result: 0.03 is 3 % more.

    ``is_beyond``: the plan has more of it, or less, than every match that records it.
    """

    field: Field
    share: float
    is_beyond: bool

    @property
    def text(self) -> str:
        """Return the adjustment in the words of the trade, such as `compression ratio +3 % (beyond all of them)`."""
        return f"{in_sentence(self.field.title)} {_percent(self.share)}{' (beyond all of them)' * self.is_beyond}"


@dataclass(frozen=True, slots=True)
class ExpectedResult:
    """One expected result, SI, with its interval and how that was measured.

    ``average`` is the mean of the matches at the plan's size, from which the ``adjustments``, the largest first, lead
    to ``value``; those not shown one by one are multiplied up in ``other_adjustments``. ``noted`` of the matches have a
    result that was only noted, not one from a log.

    ``level`` is the share of builds that the interval is meant to cover; with few builds less than 0.9 can be
    stated. ``evaluated`` builds were left out in turn, each alone or with its family (``left_out``), and the
    interval covered ``covered`` of them; of the ``matches_evaluated`` among the matches themselves it covered
    ``matches_covered``. ``error`` is the median relative error of the estimate.
    """

    field: Field
    value: float
    average: float
    adjustments: tuple[Adjustment, ...]
    other_adjustments: float
    minimum: float
    maximum: float
    level: float
    evaluated: int
    covered: int
    matches_evaluated: int
    matches_covered: int
    error: float
    left_out: LeftOut
    matches: tuple[Summary, ...]
    noted: int

    def text(self, system: System = "metric") -> str:
        """Return the result in one sentence, in the units of the shop."""
        unit, show = self.field.unit(system), self.field.show
        return (
            f"{self.field.title} {show(self.value, system)} "
            f"({unit.show(self.minimum)} to {show(self.maximum, system)}; meant to hold {self.level:.0%}, "
            f"held {self.covered} of {self.evaluated} {LEFT_OUT_TEXTS[self.left_out]}; "
            f"median error {100 * self.error:.0f} %)"
        )

    def working(self, system: System = "metric") -> str:
        """Return how it comes about in one sentence: what the matches made at the plan's size, and the adjustments."""
        noted = f" ({self.noted} with a noted result, no log)" if self.noted else ""
        texts = [adjustment.text for adjustment in self.adjustments]
        if abs(self.other_adjustments) >= MIN_SHOWN_ADJUSTMENT:
            texts.append(f"other differences {_percent(self.other_adjustments)}")
        return (
            f"the {len(self.matches)} closest builds{noted} at this size: {self.field.show(self.average, system)} "
            f"on average; " + (f"adjusted for {', '.join(texts)}" if texts else "no adjustment")
        )


def _percent(share: float) -> str:
    """Return a share as a change in percent, with its sign."""
    return f"{'−' if share < 0 else '+'}{math.floor(100 * abs(share) + 0.5)} %"


@dataclass(frozen=True, slots=True)
class Estimate:
    """The expected results of a plan, or the reasons why there are none; ``notes``: fields left out of the match."""

    expected: tuple[ExpectedResult, ...]
    reasons: tuple[str, ...]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _ResultMatrix:
    """Builds with a displacement and a result as arrays, in the order of the feature matrix; NaN where unknown.

    ``volume`` is the displacement and ``cylinder`` that of one cylinder [m3], ``stroke`` [m], ``strokes`` the
    number of strokes of a cycle, ``families`` a number for each family; a build without one is a family by itself.
    ``engines`` is a number for each engine.
    """

    features: FeatureMatrix
    volume: Floats
    cylinder: Floats
    stroke: Floats
    strokes: Floats
    families: Ints
    engines: Ints
    results: Mapping[str, Floats]
    engine_types: tuple[Texts, ...]


def estimate(
    summaries: Iterable[Summary],
    plan: Summary,
    weights: Mapping[str, float],
    level: float = CONFIDENCE_LEVEL,
    system: System = "metric",
    *,
    with_own_engine: bool = False,
) -> Estimate:
    """Return the expected peak torque and power of a plan, with intervals, or the reasons why there are none.

    Parameters
    ----------
    summaries : builds of the archive; one with the plan's own slug is left out, and so are the other builds of the
        plan's engine unless ``with_own_engine``: an engine says little of another by what it made itself
    plan : Summary
        Any subset of the fields; results among them are not used.
    weights : mapping of field slug to weight
        As for similarity; results count as 0 here whatever the shop set.
    level : float
        Share of builds the interval is meant to cover, 0.5 to 0.99.
    system : "inch" or "metric"
        Units of the reasons.
    """
    if not 0.5 <= level <= 0.99:
        raise ValueError("the level of an interval must lie between 0.5 and 0.99")
    volume = number_of(plan, BY_SLUG["displacement"])
    if volume is None or volume <= 0.0:
        return Estimate((), ("enter the planned displacement",))
    plan_weights = {
        slug: weight
        for slug, weight in weights.items()
        if weight > 0.0 and BY_SLUG[slug].group != "result" and _value_of(plan, BY_SLUG[slug]) is not None
    }
    if not plan_weights:
        return Estimate((), ("no planned field counts in the match",))
    others = [
        s
        for s in summaries
        if (s.slug != plan.slug and (with_own_engine or s.engine_key != plan.engine_key)) or not plan.slug
    ]
    archive = _result_matrix(others, plan_weights)
    if len(archive.features) < MIN_MATCHES:
        return Estimate((), (_too_few(len(archive.features)),))
    outside = _outside(archive.features, plan, plan_weights, system)
    reasons = tuple(field.text for field in outside if field.is_required)
    if reasons:
        return Estimate((), reasons)
    notes = tuple(field.text for field in outside)
    if outside:
        remaining = {slug: w for slug, w in plan_weights.items() if slug not in {item.slug for item in outside}}
        if sum(remaining.values()) < MIN_SHARED_WEIGHT * sum(plan_weights.values()):
            return Estimate((), ("most of the plan lies outside what the archive covers",), notes)
        plan_weights = remaining
        archive = _result_matrix(others, plan_weights)
    features = archive.features
    plan_distance = distances(features, plan)
    plan_distance[_incompatible(archive, _engine_types([plan]))[0]] = np.inf
    plan_distance[plan_distance > MAX_DISTANCE] = np.inf
    sample = _calibration_sample(len(features))
    sample_distance = pairwise_distances(features, features.numbers[:, sample], features.codes[:, sample])
    sample_distance[_incompatible(archive, tuple(types[sample] for types in archive.engine_types))] = np.inf
    sample_distance[sample_distance > MAX_DISTANCE] = np.inf
    left_out: dict[str, Any] = {item.slug: None for item in outside if item.slug in _SCALED_BY}
    query = _result_matrix([replace(plan, **left_out)], plan_weights, is_plan=True)
    numbers, codes = query_columns(features, plan)
    query = replace(query, features=replace(query.features, numbers=numbers, codes=codes))
    results = [_expect(archive, query, plan_distance, sample, sample_distance, target, level) for target in TARGETS]
    expected = tuple(result for result in results if result is not None)
    if not any(result.field.slug in ("peak_torque", "peak_power") for result in expected):
        return Estimate((), (_too_few(int(np.isfinite(plan_distance).sum())),), notes)
    return Estimate(expected, (), notes)


def _too_few(count: int) -> str:
    return f"not enough similar builds ({count}; {MIN_MATCHES} needed)"


def _value_of(plan: Summary, field: Field) -> float | str | None:
    if field.kind == "choice":
        return choice_of(plan, field)
    value = number_of(plan, field)
    return None if math.isnan(scale_value(value, field)) else value


def _result_matrix(builds: Iterable[Summary], weights: Mapping[str, float], *, is_plan: bool = False) -> _ResultMatrix:
    """Return the builds with a displacement and a result, or a plan, which has no result, as arrays."""

    def column(rows: Iterable[Summary], slug: str) -> Floats:
        numbers = [number_of(s, BY_SLUG[slug]) for s in rows]
        values = np.array([math.nan if v is None else v for v in numbers], dtype=float)
        return np.where(values > 0.0, values, np.nan)

    candidates = list(builds)
    with_result = np.any([np.isfinite(column(candidates, t)) for t in TARGETS], axis=0) | is_plan
    usable = with_result & (column(candidates, "displacement") > 0)
    features = build_matrix([s for s, use in zip(candidates, usable, strict=True) if use], weights)
    rows = features.summaries
    volume = column(rows, "displacement")
    return _ResultMatrix(
        features,
        volume,
        volume / column(rows, "cylinders"),
        column(rows, "stroke"),
        np.array([2.0 if (s.cycle or "").startswith("two") else 4.0 for s in rows]),
        _groups(s.family or f"\0{index}" for index, s in enumerate(rows)),
        _groups(s.engine_key for s in rows),
        {t: column(rows, t) for t in TARGETS},
        _engine_types(rows),
    )


def _groups(names: Iterable[str]) -> Ints:
    """Return a number for each name: the same for the same name."""
    numbers: dict[str, int] = {}
    return np.array([numbers.setdefault(name, len(numbers)) for name in names], dtype=np.int64)


def _engine_types(rows: Iterable[Summary]) -> tuple[Texts, ...]:
    """Return what a match must share with the query: cycle, induction, and spark or compression ignition."""
    builds = list(rows)
    columns = (
        [s.cycle or "" for s in builds],
        [s.induction or "" for s in builds],
        [_ignition_kind(s) for s in builds],
    )
    return tuple(np.array(texts, dtype=np.str_) for texts in columns)


def _ignition_kind(summary: Summary) -> str:
    if summary.ignition is None and summary.fuel is None:
        return ""
    return "compression" if "compression" in (summary.ignition or "") or summary.fuel == "diesel" else "spark"


def _incompatible(archive: _ResultMatrix, engine_types: tuple[Texts, ...]) -> Bools:
    """Return for each query (row) which builds (columns) are of another engine type; unknown fits all."""
    differs = np.zeros((engine_types[0].size, len(archive.features)), dtype=bool)
    for queries, builds in zip(engine_types, archive.engine_types, strict=True):
        differs |= (queries[:, None] != builds) & (queries[:, None] != "") & (builds != "")
    return differs


def _calibration_sample(n: int) -> Ints:
    """Return the builds to leave out in turn: all, or CALIBRATION_SIZE spread evenly over the archive's order."""
    if n <= CALIBRATION_SIZE:
        return np.arange(n)
    return np.arange(CALIBRATION_SIZE) * n // CALIBRATION_SIZE


@dataclass(frozen=True, slots=True)
class _FieldOutside:
    """A field in which a plan lies outside what the archive covers; required: there is no estimate without it."""

    slug: str
    text: str
    is_required: bool


def _outside(
    features: FeatureMatrix, plan: Summary, weights: Mapping[str, float], system: System
) -> tuple[_FieldOutside, ...]:
    """Return each field in which the plan lies outside what the archive covers, with a sentence about it."""
    outside = []
    for slug in weights:
        field = BY_SLUG[slug]
        if field.optional:
            continue
        value = _value_of(plan, field)
        recorded = [v for s in features.summaries if (v := _value_of(s, field)) is not None]
        if isinstance(value, str):
            if slug in (*REQUIRED_CHOICES, *KNOWN_CHOICES) and value not in recorded:
                is_required = slug in REQUIRED_CHOICES
                text = f"no build in the archive has {in_sentence(field.title)} {value}"
                outside.append(_FieldOutside(slug, text if is_required else f"{text}: {_LEFT_OUT}", is_required))
            continue
        numbers = [float(v) for v in recorded]
        if value is None or not numbers:
            continue
        scaled, minimum, maximum = (scale_value(v, field) for v in (value, min(numbers), max(numbers)))
        margin = RANGE_MARGIN * (maximum - minimum) + 1e-9
        if minimum - margin <= scaled <= maximum + margin:
            continue
        limits = f"{field.show(min(numbers), system)} to {field.show(max(numbers), system)}"
        text = f"{field.title} {field.show(value, system)} lies outside what the archive covers ({limits})"
        if slug != "displacement":
            outside.append(_FieldOutside(slug, f"{text}: {_LEFT_OUT}", False))
        elif minimum - 1.0 <= scaled <= maximum + 1.0:  # up to twice or half, the scale of the field
            outside.append(_FieldOutside(slug, f"{text}: {_SCALED}", False))
        else:
            outside.append(_FieldOutside(slug, text, True))
    return tuple(outside)


def _scaling(archive: _ResultMatrix, queries: _ResultMatrix, rows: Ints, index: Ints, target: str) -> Floats:
    """Return ln of the factor from each match's result (r, k) to the size of the queries' engines (rows, (r,))."""

    def ratio(name: str) -> Floats:
        query: Floats = getattr(queries, name)[rows][:, None]
        match: Floats = getattr(archive, name)[index]
        return np.log(query / match)

    by_stroke, by_cylinder = -ratio("stroke"), -ratio("cylinder") / 3.0
    speed = np.where(np.isnan(by_stroke), np.nan_to_num(by_cylinder, nan=0.0), by_stroke)
    torque = ratio("volume") - ratio("strokes")
    by_target: dict[str, Floats] = {"peak_torque": torque, "peak_power": torque + speed}
    return by_target.get(target, speed)


@dataclass(frozen=True, slots=True)
class _Prediction:
    """What is expected of each query [ln]: the adjusted mean of its matches, their number, and their rows.

    ``differences``, shape (r, k, p), are those between the query and its matches, NaN where unknown.
    """

    expected: AdjustedMean
    count: Ints
    index: Ints
    differences: Floats


def _predict(archive: _ResultMatrix, queries: _ResultMatrix, rows: Ints, d: Floats, target: str) -> _Prediction:
    """Return what is expected of queries (rows of ``queries``), from their distances to every build of the archive."""
    index = k_smallest(d, MAX_MATCHES)
    distance = np.take_along_axis(d, index, axis=1)
    is_match = np.isfinite(distance)
    numbers, codes = queries.features.numbers[:, rows], queries.features.codes[:, rows]
    differences = scaled_differences(archive.features, numbers, codes, index)
    differences[~is_match] = np.nan
    with np.errstate(invalid="ignore"):
        results = np.log(archive.results[target][index]) + _scaling(archive, queries, rows, index, target)
    weights = np.where(is_match, 1.0 / (distance + DISTANCE_OFFSET), 0.0)
    expected = adjusted_mean(np.where(is_match, results, 0.0), weights, differences)
    return _Prediction(expected, is_match.sum(axis=1), index, differences)


def _adjustments(archive: _ResultMatrix, prediction: _Prediction) -> tuple[tuple[Adjustment, ...], float]:
    """Return the adjustments of a plan that are large enough to show, the largest first, and the rest as one share."""
    features = archive.features
    fields = (*features.number_fields, *features.choice_fields)
    logs = prediction.expected.adjustments[0]
    largest = np.argsort(-np.abs(logs), kind="stable")[:MAX_SHOWN_ADJUSTMENTS]
    shown = [i for i in largest if abs(logs[i]) >= MIN_SHOWN_ADJUSTMENT]
    differences = prediction.differences[0]
    adjustments = tuple(
        Adjustment(
            fields[i],
            float(np.expm1(logs[i])),
            fields[i].kind == "number" and bool(np.nanmin(differences[:, i]) > 0 or np.nanmax(differences[:, i]) < 0),
        )
        for i in shown
    )
    return adjustments, float(np.expm1(logs.sum() - logs[shown].sum()))


@dataclass(frozen=True, slots=True)
class _Calibration:
    """The errors of builds that were left out: their rows, ln errors, errors in sigma, and whether they were covered.

    ``groups``: how many families, or builds where those were left out singly.
    """

    rows: Ints
    error: Floats
    score: Floats
    covered: Bools
    groups: int
    left_out: LeftOut


def _calibrate(
    archive: _ResultMatrix, query: _ResultMatrix, rows: Ints, distance: Floats, target: str, level: float
) -> _Calibration | None:
    """Return the errors of builds estimated without their family, or without their engine alone; None with too few.

    Their engine alone is left out where the plan is of a family that the archive has.
    """
    families = archive.families
    is_new_family = query.features.summaries[0].family not in {s.family for s in archive.features.summaries if s.family}
    if is_new_family and np.unique(families[rows]).size < rows.size:
        by_family = _errors_of(archive, rows, distance, target, level, families, "families")
        if by_family is not None and by_family.rows.size >= MIN_FAMILY_CALIBRATION:
            return by_family
    return _errors_of(archive, rows, distance, target, level, archive.engines, "builds")


def _errors_of(
    archive: _ResultMatrix, rows: Ints, distance: Floats, target: str, level: float, groups: Ints, left_out: LeftOut
) -> _Calibration | None:
    """Return the errors of builds, each estimated from those of other groups; None with too few."""
    is_other = np.isfinite(archive.results[target]) & (groups[rows][:, None] != groups)
    prediction = _predict(archive, archive, rows, np.where(is_other, distance, np.inf), target)
    usable = prediction.count >= MIN_MATCHES
    if usable.sum() < MIN_MATCHES:
        return None
    error = np.abs(np.log(archive.results[target][rows]) - prediction.expected.value)[usable]
    score, group = error / prediction.expected.sigma[usable], groups[rows][usable]
    order = np.argsort(score, kind="stable")
    covered = np.zeros(score.size, dtype=bool)
    names = np.unique(group)
    for name in names:
        own = group == name
        others = score[order][~own[order]]
        covered[own] = score[own] <= _quantile(others, level) if others.size else True
    return _Calibration(rows[usable], error, score, covered, names.size, left_out)


def _quantile(scores: Floats, level: float) -> float:
    """Return the score, of those sorted, that covers the share of one more; with few, the largest."""
    return float(scores[min(scores.size, math.ceil((scores.size + 1) * level - 1e-9)) - 1])


def _expect(
    archive: _ResultMatrix,
    query: _ResultMatrix,
    plan_distance: Floats,
    sample: Ints,
    sample_distance: Floats,
    target: str,
    level: float,
) -> ExpectedResult | None:
    """Return the expected result of a plan for one target; None with too few matches that have it."""
    has_target = np.isfinite(archive.results[target])
    plan_row = np.where(has_target, plan_distance, np.inf)[None, :]
    prediction = _predict(archive, query, np.array([0]), plan_row, target)
    if prediction.count[0] < MIN_MATCHES:
        return None
    usable = has_target[sample]
    errors = _calibrate(archive, query, sample[usable], sample_distance[usable], target, level)
    if errors is None:
        return None
    n = errors.score.size
    expected, half_width = prediction.expected, _quantile(np.sort(errors.score), level) * prediction.expected.sigma[0]
    matches = prediction.index[0][: prediction.count[0]]
    summaries = tuple(archive.features.summaries[i] for i in matches)
    adjustments, other_adjustments = _adjustments(archive, prediction)
    is_match = np.isin(errors.rows, matches)
    covered = errors.covered
    return ExpectedResult(
        field=BY_SLUG[target],
        value=float(np.exp(expected.value[0])),
        average=float(np.exp(expected.mean[0])),
        adjustments=adjustments,
        other_adjustments=other_adjustments,
        minimum=float(np.exp(expected.value[0] - half_width)),
        maximum=float(np.exp(expected.value[0] + half_width)),
        level=min(level, errors.groups / (errors.groups + 1)),
        evaluated=n,
        covered=int(covered.sum()),
        matches_evaluated=int(is_match.sum()),
        matches_covered=int((covered & is_match).sum()),
        error=float(np.median(np.expm1(errors.error))),
        left_out=errors.left_out,
        matches=summaries,
        noted=sum(summary.result_source == NOTED_RESULT for summary in summaries),
    )
