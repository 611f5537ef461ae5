"""Similarity of builds: the distance between two of them, and where it comes from.

The distance is Gower's coefficient (Gower, "A general coefficient of similarity and some of its
properties", Biometrics 27, 1971) turned into a distance, with three choices of ours:

* A number differs by |a - b| / scale, at most 1, with a fixed scale for each field (``fields.FIELDS``)
  instead of the archive's range. Where sizes matter by proportion (displacement, bore, flow) it is
  |ln a - ln b| / ln scale. So two builds keep their distance when a third one is published.
  A choice differs by 0 or 1.
* The distance is from a query (a build or a plan) to a candidate: the weighted mean of the differences
  over the fields that the *query* has. A field that the candidate lacks counts as half different
  (``MISSING_DIFFERENCE``), so that a build with little recorded is never the best match. A field that many
  records leave out (``Field.optional``) is not counted at all for a candidate that lacks it, as Gower has it. Where
  nothing is missing this is Gower's coefficient and symmetric.
* Minimum overlap: both must have fields that make up half of the query's weight (``MIN_SHARED_WEIGHT``),
  and at least three of them (``MIN_SHARED_FIELDS``), or all where the query has fewer. Otherwise the
  distance is infinite, and the candidate is not a match.

0 is equal in every field, 1 is different in every field. Distances are rounded to 1e-9, and equal ones
keep the archive's order (newest first), so that Python and the browser rank builds in the same order.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from builder.archive.fields import BY_SLUG, FIELDS, Field, System, choice_of, number_of
from builder.archive.summary import Summary, newest_first

MISSING_DIFFERENCE = 0.5
MIN_SHARED_WEIGHT = 0.5
MIN_SHARED_FIELDS = 3
_PAIRS_PER_BLOCK = 100_000  # two buffers of 0.8 MB stay in the processor's cache

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class FeatureMatrix:
    """The fields of every build of an archive as arrays, newest build first.

    ``numbers`` has one row a number field, scaled so that a difference of the field's weight counts in
    full, NaN where unknown. ``codes`` has one row a choice field, -2 where unknown. ``known`` has one
    row a field, numbers first, of zeros and ones. ``labels`` has the code of each choice.
    """

    summaries: tuple[Summary, ...]
    number_fields: tuple[Field, ...]
    choice_fields: tuple[Field, ...]
    weights: Floats
    numbers: Floats
    codes: npt.NDArray[np.int32]
    known: Floats
    labels: tuple[Mapping[str, int], ...]

    @property
    def optional(self) -> Ints:
        """The rows, numbers first, of the fields that are not counted for a build that lacks them."""
        return np.flatnonzero([field.optional for field in (*self.number_fields, *self.choice_fields)])

    def __len__(self) -> int:
        """Return the number of builds."""
        return len(self.summaries)


@dataclass(frozen=True, slots=True)
class Difference:
    """One field in which a candidate differs from the query.

    ``share`` is its part of the distance; ``candidate`` is None where the build does not record the field.
    """

    field: Field
    query: float | str
    candidate: float | str | None
    share: float

    def text(self, system: System = "metric") -> str:
        """Return the difference as text, in the units of the shop."""
        title, show = self.field.title, self.field.show
        if self.candidate is None:
            return f"{title}: not recorded"
        return f"{title}: {show(self.candidate, system)} instead of {show(self.query, system)}"


@dataclass(frozen=True, slots=True)
class Match:
    """A build, its distance from the query, and the differences that add up to it, largest first."""

    summary: Summary
    distance: float
    differences: tuple[Difference, ...]
    is_same_engine: bool = False
    """Whether it is another build of the same engine."""

    @property
    def similarity(self) -> float:
        """1 for equal in every field, 0 for different in every field."""
        return 1.0 - self.distance


def scale_value(value: float | None, field: Field) -> float:
    """Return a number in units of its field's scale; NaN when unknown, or not positive where only ratios count."""
    if value is None or (field.ratio and value <= 0.0):
        return math.nan
    return math.log(value) / math.log(field.scale) if field.ratio else value / field.scale


def build_matrix(summaries: Iterable[Summary], weights: Mapping[str, float]) -> FeatureMatrix:
    """Return the feature matrix of an archive, with one weight a field (see ``fields.weights_from``)."""
    rows = newest_first(summaries)
    used = [f for f in FIELDS if weights.get(f.slug, 0.0) > 0.0]
    number_fields = tuple(f for f in used if f.kind == "number")
    choice_fields = tuple(f for f in used if f.kind == "choice")
    w = np.array([weights[f.slug] for f in (*number_fields, *choice_fields)], dtype=float)
    labels: list[dict[str, int]] = [{} for _ in choice_fields]
    numbers = np.full((len(number_fields), len(rows)), np.nan)
    codes = np.full((len(choice_fields), len(rows)), -2, dtype=np.int32)
    for i, field in enumerate(number_fields):
        numbers[i] = [w[i] * scale_value(number_of(s, field), field) for s in rows]
    for i, field in enumerate(choice_fields):
        for j, summary in enumerate(rows):
            label = choice_of(summary, field)
            if label is not None:
                codes[i, j] = labels[i].setdefault(label, len(labels[i]))
    known = np.vstack([~np.isnan(numbers), codes >= 0]).astype(float)
    return FeatureMatrix(rows, number_fields, choice_fields, w, numbers, codes, known, tuple(labels))


def distances(matrix: FeatureMatrix, plan: Summary) -> Floats:
    """Return the distance from a plan (any subset of the fields) to every build of the matrix, in its order.

    Returns
    -------
    ndarray, shape (n,)
        0 to 1; inf where the two share too few fields.
    """
    numbers, codes = query_columns(matrix, plan)
    row: Floats = pairwise_distances(matrix, numbers, codes)[0]
    return row


def query_columns(matrix: FeatureMatrix, plan: Summary) -> tuple[Floats, npt.NDArray[np.int32]]:
    """Return the numbers and codes of a plan as one column each, as ``pairwise_distances`` takes them."""
    numbers = [
        w * scale_value(number_of(plan, f), f) for f, w in zip(matrix.number_fields, matrix.weights, strict=False)
    ]
    choices = [choice_of(plan, f) for f in matrix.choice_fields]
    # A choice that no build of the matrix has differs from all of them.
    codes = [-2 if c is None else labels.get(c, -1) for c, labels in zip(choices, matrix.labels, strict=True)]
    return np.array(numbers, dtype=float)[:, None], np.array(codes, dtype=np.int32)[:, None]


def nearest(
    matrix: FeatureMatrix, count: int, rows: Ints | None = None, excluded: Sequence[int] = ()
) -> tuple[Ints, Floats]:
    """Return the nearest other builds of every build, or of those in ``rows``; ``excluded`` rows are nobody's nearest.

    Returns
    -------
    index : ndarray of int, shape (r, count)
        Rows of the matrix, nearest first; -1 where there are no more matches.
    distance : ndarray, shape (r, count)
        inf where there are no more matches.
    """
    n = len(matrix)
    rows = np.arange(n) if rows is None else rows
    index = np.full((rows.size, max(count, 0)), -1, dtype=np.int64)
    distance = np.full(index.shape, np.inf)
    step = max(1, _PAIRS_PER_BLOCK // max(n, 1))
    for start in range(0, rows.size, step):
        block = rows[start : start + step]
        d = pairwise_distances(matrix, matrix.numbers[:, block], matrix.codes[:, block])
        d[np.arange(block.size), block] = np.inf
        d[:, list(excluded)] = np.inf
        columns = k_smallest(d, count)
        smallest = np.take_along_axis(d, columns, axis=1)
        index[start : start + step, : columns.shape[1]] = np.where(np.isfinite(smallest), columns, -1)
        distance[start : start + step, : columns.shape[1]] = smallest
    return index, distance


def k_smallest(d: Floats, count: int) -> Ints:
    """Return the columns of the ``count`` smallest distances of each row, smallest first, ties in column order."""
    n = d.shape[1]
    count = min(count, n)
    if count <= 0:
        return np.zeros((d.shape[0], 0), dtype=np.int64)
    # One integer that orders by distance, in steps of 1e-9, then by column.
    key = np.rint(np.where(np.isfinite(d), d, 2.0) * 1e9).astype(np.int64) * n + np.arange(n)
    part = np.argpartition(key, count - 1, axis=1)[:, :count]
    order = np.argsort(np.take_along_axis(key, part, axis=1), axis=1)
    return np.take_along_axis(part, order, axis=1)


def pairwise_distances(matrix: FeatureMatrix, numbers: Floats, codes: npt.NDArray[np.int32]) -> Floats:
    """Return the distances from b queries (one column each, rows as in the matrix) to all n builds, shape (b, n).

    A query's code is -2 where unknown and -1 where no build of the matrix has that choice.
    """
    b, n = numbers.shape[1], len(matrix)
    w = matrix.weights
    total = np.zeros((b, n))
    part = np.empty((b, n))
    for i in range(len(matrix.number_fields)):
        np.subtract(numbers[i][:, None], matrix.numbers[i], out=part)
        np.abs(part, out=part)
        # fmin takes the weight where either value is unknown (NaN), as for a full difference.
        total += np.fmin(part, w[i], out=part)
    differs = np.where(codes == -2, -3, codes)[:, :, None] != matrix.codes[:, None, :]
    for i, weight in enumerate(w[len(matrix.number_fields) :]):
        total += np.multiply(differs[i], weight, out=part)
    known = np.vstack([~np.isnan(numbers), codes != -2]).astype(float)
    query_weight = (w @ known)[:, None]
    shared_weight = (known * w[:, None]).T @ matrix.known
    shared_fields = known.T @ matrix.known
    optional = matrix.optional
    missing = 1.0 - matrix.known[optional]
    not_counted = (known * w[:, None])[optional].T @ missing
    fields = known.sum(axis=0)[:, None] - known[optional].T @ missing
    # Subtract what was counted as a full difference only because it is unknown.
    total -= w.sum() - query_weight + not_counted
    query_weight = query_weight - not_counted
    total -= (1.0 - MISSING_DIFFERENCE) * (query_weight - shared_weight)
    with np.errstate(invalid="ignore", divide="ignore"):
        total /= query_weight
    enough = (
        (shared_weight >= MIN_SHARED_WEIGHT * query_weight - 1e-9)
        & (shared_fields >= np.minimum(MIN_SHARED_FIELDS, fields))
        & (query_weight > 0.0)
    )
    return np.where(enough, np.abs(np.rint(total * 1e9) / 1e9), np.inf)


def scaled_differences(matrix: FeatureMatrix, numbers: Floats, codes: npt.NDArray[np.int32], index: Ints) -> Floats:
    """Return in which fields b queries (columns as in ``pairwise_distances``) differ from builds, index (b, k).

    Returns
    -------
    ndarray, shape (b, k, p)
        Fields in the order of the weights: query less build over the field's scale, or 1 where a choice differs, times
        the square root of the field's weight; NaN where either does not have it.
    """
    root = np.sqrt(matrix.weights)
    split = len(matrix.number_fields)
    apart = (numbers.T[:, None, :] - matrix.numbers.T[index]) / root[:split]
    query, build = codes.T[:, None, :], matrix.codes.T[index]
    differs = np.where((query == -2) | (build == -2), np.nan, (query != build) * root[split:])
    return np.concatenate([apart, differs], axis=2)


def differences(plan: Summary, candidate: Summary, weights: Mapping[str, float]) -> tuple[Difference, ...]:
    """Return what the distance from a plan to a candidate consists of, the largest share first."""
    parts: list[tuple[float, Difference]] = []
    query_weight = 0.0
    for field in FIELDS:
        weight = weights.get(field.slug, 0.0)
        read = number_of if field.kind == "number" else choice_of
        query, value = read(plan, field), read(candidate, field)
        scaled = scale_value(number_of(plan, field), field) if field.kind == "number" else 0.0
        if weight <= 0.0 or query is None or math.isnan(scaled):
            continue
        if value is None and field.optional:
            continue
        query_weight += weight
        if value is None:
            parts.append((weight * MISSING_DIFFERENCE, Difference(field, query, None, 0.0)))
        elif value != query:
            size = 1.0
            if field.kind == "number":  # min(1.0, NaN) is 1.0: a value that has no ratio differs in full
                size = min(1.0, abs(scaled - scale_value(number_of(candidate, field), field)))
            parts.append((weight * size, Difference(field, query, value, 0.0)))
    parts.sort(key=lambda part: -round(part[0], 9))  # equal shares keep the order of the fields
    return tuple(replace(difference, share=part / query_weight) for part, difference in parts)


def most_similar(
    matrix: FeatureMatrix, plan: Summary, weights: Mapping[str, float], count: int = 8
) -> tuple[Match, ...]:
    """Return the builds most similar to a plan, nearest first, without the one that has the plan's own slug."""
    if not len(matrix):
        return ()
    d = distances(matrix, plan)
    if plan.slug:
        d[[i for i, s in enumerate(matrix.summaries) if s.slug == plan.slug]] = np.inf
    return tuple(
        Match(
            matrix.summaries[i],
            float(d[i]),
            differences(plan, matrix.summaries[i], weights),
            bool(plan.slug) and matrix.summaries[i].engine_key == plan.engine_key,
        )
        for i in k_smallest(d[None, :], count)[0]
        if np.isfinite(d[i])
    )


def plan_from_values(slug: str = "", title: str = "the plan", **values: float | str | None) -> Summary:
    """Return a plan as a Summary: any subset of the fields, SI values. Raises ValueError for an unknown field."""
    for name in values:
        if name not in BY_SLUG:
            raise ValueError(f"there is no field '{name}' in a plan; the fields are {', '.join(BY_SLUG)}")
    return Summary(slug=slug, title=title, **values)  # type: ignore[arg-type]
