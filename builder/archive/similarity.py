"""How alike two builds are, and why.

The distance is Gower's coefficient (Gower, "A general coefficient of similarity and some of its
properties", Biometrics 27, 1971) turned into a distance, with three choices of ours:

* A number differs by |a - b| / span, at most 1, with a fixed span for each field (``fields.FIELDS``)
  instead of the archive's range. Where sizes matter by proportion (displacement, bore, flow) it is
  |ln a - ln b| / ln span. So two builds keep their distance when a third one is published.
  A choice differs by 0 or 1.
* The distance is read from one build (or a plan) to another: the weighted mean of the differences over
  the fields that the *first* one has. What the second one lacks counts as half different
  (``MISSING``), so that a build with little recorded is never the best match by knowing nothing. Where
  nothing is missing this is Gower's coefficient and symmetric.
* Least overlap: both must know fields that make up half of the first one's weight (``LEAST_SHARED``),
  and at least three of them (``LEAST_FIELDS``), or all where the first has fewer. Otherwise there is no
  distance, and the build is not a relative.

0 is alike in everything known, 1 is different in everything. Distances are rounded to 1e-9, and equal ones
keep the archive's order (newest first), so Python and the browser rank alike.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from builder.archive.fields import BY_SLUG, FIELDS, Field, System, choice_of, number_of
from builder.archive.summary import Summary, newest_first

MISSING = 0.5
LEAST_SHARED = 0.5
LEAST_FIELDS = 3
_BLOCK = 100_000  # pairs worked on at once: two buffers of 0.8 MB stay in the processor's cache

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Table:
    """An archive laid out for comparison, newest build first.

    ``numbers`` has one row a number field, scaled so that a difference of the field's weight is wholly
    different, NaN where unknown. ``codes`` has one row a choice field, -2 where unknown. ``known`` has one
    row a field, numbers first, of zeros and ones.
    """

    summaries: tuple[Summary, ...]
    number_fields: tuple[Field, ...]
    choice_fields: tuple[Field, ...]
    weights: Floats
    numbers: Floats
    codes: npt.NDArray[np.int32]
    known: Floats
    labels: tuple[Mapping[str, int], ...]

    def __len__(self) -> int:
        """How many builds."""
        return len(self.summaries)


@dataclass(frozen=True, slots=True)
class Difference:
    """One field in which a build differs from what was asked for.

    ``share`` is its part of the distance. ``mine`` is the value asked for; ``theirs`` is None when the
    build does not record it.
    """

    field: Field
    query: float | str
    candidate: float | str | None
    share: float

    def text(self, system: System = "metric") -> str:
        """Say it in words, in the units of the shop."""
        title, mine = self.field.title, self.field.show(self.query, system)
        if self.candidate is None:
            return f"{title} not recorded"
        theirs = self.field.show(self.candidate, system)
        if isinstance(self.candidate, str) or isinstance(self.query, str):
            return f"{title} {theirs}, not {mine}"
        way = "more" if self.candidate > self.query else "less"
        return f"{title} {self.field.show(abs(self.candidate - self.query), system)} {way} ({theirs})"


@dataclass(frozen=True, slots=True)
class Match:
    """A build, its distance from what was asked for, and where the distance comes from, most first."""

    summary: Summary
    distance: float
    differences: tuple[Difference, ...]

    @property
    def similarity(self) -> float:
        """1 for alike in everything known, 0 for different in everything."""
        return 1.0 - self.distance


def scaled(value: float | None, field: Field) -> float:
    """A number in units of its field's span; NaN when unknown, or not positive where only ratios count."""
    if value is None or (field.ratio and value <= 0.0):
        return math.nan
    return math.log(value) / math.log(field.scale) if field.ratio else value / field.scale


def build_matrix(summaries: Iterable[Summary], weights: Mapping[str, float]) -> Table:
    """Lay an archive out for comparison, with one weight a field (see ``fields.weights_from``)."""
    rows = newest_first(summaries)
    used = [f for f in FIELDS if weights.get(f.slug, 0.0) > 0.0]
    number_fields = tuple(f for f in used if f.kind == "number")
    choice_fields = tuple(f for f in used if f.kind == "choice")
    w = np.array([weights[f.slug] for f in (*number_fields, *choice_fields)], dtype=float)
    labels: list[dict[str, int]] = [{} for _ in choice_fields]
    numbers = np.full((len(number_fields), len(rows)), np.nan)
    codes = np.full((len(choice_fields), len(rows)), -2, dtype=np.int32)
    for i, field in enumerate(number_fields):
        numbers[i] = [w[i] * scaled(number_of(s, field), field) for s in rows]
    for i, field in enumerate(choice_fields):
        for j, summary in enumerate(rows):
            label = choice_of(summary, field)
            if label is not None:
                codes[i, j] = labels[i].setdefault(label, len(labels[i]))
    known = np.vstack([~np.isnan(numbers), codes >= 0]).astype(float)
    return Table(rows, number_fields, choice_fields, w, numbers, codes, known, tuple(labels))


def distances(table: Table, plan: Summary) -> Floats:
    """Distance from a plan (any subset of the fields) to every build of the table, in its order.

    Returns
    -------
    ndarray, shape (n,)
        0 to 1; inf where the two have too little in common to say.
    """
    w = table.weights
    x = [w[i] * scaled(number_of(plan, f), f) for i, f in enumerate(table.number_fields)]
    wanted = [choice_of(plan, f) for f in table.choice_fields]
    # A choice that no build of the table has is still a choice, and differs from all of them.
    c = [-2 if v is None else codes.get(v, -1) for v, codes in zip(wanted, table.labels, strict=True)]
    found: Floats = pairs(table, np.array(x, dtype=float)[:, None], np.array(c, dtype=np.int32)[:, None])[0]
    return found


def nearest(table: Table, count: int, rows: Ints | None = None) -> tuple[Ints, Floats]:
    """The nearest relatives of every build (or of those in ``rows``), itself left out.

    Returns
    -------
    index : ndarray of int, shape (r, count)
        Rows of the table, nearest first; -1 where there are no more relatives.
    distance : ndarray, shape (r, count)
        inf where there are no more relatives.
    """
    n = len(table)
    rows = np.arange(n) if rows is None else rows
    index = np.full((rows.size, max(count, 0)), -1, dtype=np.int64)
    distance = np.full(index.shape, np.inf)
    step = max(1, _BLOCK // max(n, 1))
    for start in range(0, rows.size, step):
        block = rows[start : start + step]
        d = pairs(table, table.numbers[:, block], table.codes[:, block])
        d[np.arange(block.size), block] = np.inf
        found = k_smallest(d, count)
        here = np.take_along_axis(d, found, axis=1)
        index[start : start + step, : found.shape[1]] = np.where(np.isfinite(here), found, -1)
        distance[start : start + step, : found.shape[1]] = here
    return index, distance


def k_smallest(d: Floats, count: int) -> Ints:
    """Columns of the ``count`` smallest distances of each row, smallest first, ties in column order."""
    n = d.shape[1]
    count = min(count, n)
    if count <= 0:
        return np.zeros((d.shape[0], 0), dtype=np.int64)
    # One whole number that orders by distance, then by column: the distance in steps of 1e-9.
    key = np.rint(np.where(np.isfinite(d), d, 2.0) * 1e9).astype(np.int64) * n + np.arange(n)
    part = np.argpartition(key, count - 1, axis=1)[:, :count]
    order = np.argsort(np.take_along_axis(key, part, axis=1), axis=1)
    return np.take_along_axis(part, order, axis=1)


def pairs(table: Table, x: Floats, codes: npt.NDArray[np.int32]) -> Floats:
    """Distances from b queries (laid out like the table, one column each) to all n builds, shape (b, n).

    A query's code is -2 where unknown and -1 where no build of the table has that choice.
    """
    b, n = x.shape[1], len(table)
    w = table.weights
    total = np.zeros((b, n))
    part = np.empty((b, n))
    for i in range(len(table.number_fields)):
        np.subtract(x[i][:, None], table.numbers[i], out=part)
        np.abs(part, out=part)
        # fmin takes the weight where either value is unknown (NaN): for now wholly different.
        total += np.fmin(part, w[i], out=part)
    unlike = np.where(codes == -2, -3, codes)[:, :, None] != table.codes[:, None, :]
    for i, weight in enumerate(w[len(table.number_fields) :]):
        total += np.multiply(unlike[i], weight, out=part)
    known = np.vstack([~np.isnan(x), codes != -2]).astype(float)
    asked = w @ known
    shared = (known * w[:, None]).T @ table.known
    number = known.T @ table.known
    # Take back what was counted as wholly different only because it is unknown.
    total -= (w.sum() - asked)[:, None]
    total -= (1.0 - MISSING) * (asked[:, None] - shared)
    with np.errstate(invalid="ignore", divide="ignore"):
        total /= asked[:, None]
    least = np.minimum(LEAST_FIELDS, known.sum(axis=0))[:, None]
    enough = (shared >= LEAST_SHARED * asked[:, None] - 1e-9) & (number >= least) & (asked[:, None] > 0.0)
    return np.where(enough, np.abs(np.rint(total * 1e9) / 1e9), np.inf)


def differences(plan: Summary, other: Summary, weights: Mapping[str, float]) -> tuple[Difference, ...]:
    """Where the distance from ``plan`` to ``other`` comes from, the largest share first; equals left out."""
    found: list[tuple[float, Difference]] = []
    asked = 0.0
    for field in FIELDS:
        weight = weights.get(field.slug, 0.0)
        read = number_of if field.kind == "number" else choice_of
        mine, theirs = read(plan, field), read(other, field)
        usable = field.kind == "choice" or not math.isnan(scaled(number_of(plan, field), field))
        if weight <= 0.0 or mine is None or not usable:
            continue
        asked += weight
        if theirs is None:
            found.append((weight * MISSING, Difference(field, mine, None, 0.0)))
        elif theirs != mine:
            part = 1.0
            if field.kind == "number":
                part = min(1.0, abs(scaled(number_of(plan, field), field) - _scaled_of(other, field)))
            found.append((weight * part, Difference(field, mine, theirs, 0.0)))
    found.sort(key=lambda pair: -round(pair[0], 9))  # equal shares keep the order of the fields
    return tuple(Difference(d.field, d.query, d.candidate, cost / asked) for cost, d in found)


def _scaled_of(summary: Summary, field: Field) -> float:
    value = scaled(number_of(summary, field), field)
    return 1e9 if math.isnan(value) else value


def relatives(table: Table, plan: Summary, weights: Mapping[str, float], count: int = 8) -> tuple[Match, ...]:
    """The builds most like a plan, nearest first. A build of the same slug is left out: it is the plan."""
    if not len(table):
        return ()
    d = distances(table, plan)
    if plan.slug:
        d[[i for i, s in enumerate(table.summaries) if s.slug == plan.slug]] = np.inf
    return tuple(
        Match(table.summaries[i], float(d[i]), differences(plan, table.summaries[i], weights))
        for i in k_smallest(d[None, :], count)[0]
        if np.isfinite(d[i])
    )


def plan_from_values(slug: str = "", title: str = "the plan", **values: float | str | None) -> Summary:
    """A plan as a Summary: any subset of the fields, SI values, unknown names refused (ValueError)."""
    for name in values:
        if name not in BY_SLUG:
            raise ValueError(f"there is no field '{name}' in a plan; the fields are {', '.join(BY_SLUG)}")
    return Summary(slug=slug, title=title, **values)  # type: ignore[arg-type]
