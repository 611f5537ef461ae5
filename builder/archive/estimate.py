"""What might it make? Peak torque and power of a planned engine, from the builds most like it.

Each relative's result is brought to the plan's size: torque at the same bmep (T ~ displacement, and twice
that for a two-stroke), speed at the same mean piston speed (n ~ 1/stroke; where a stroke is unknown, by the
cube root of the volume of one cylinder; where that is unknown too, unchanged), power by both (Heywood,
Internal Combustion Engine Fundamentals, ch. 2: bmep and mean piston speed do not depend on an engine's size).
The expected value is the mean of their logarithms, each weighted by 1/(distance + NEAR).

The interval is a split of measured errors, not a formula (conformal prediction with locally scaled errors;
Lei, G'Sell, Rinaldo, Tibshirani, Wasserman, "Distribution-free predictive inference for regression",
JASA 113, 2018, section 5.2). Every build (or 400 spread evenly over the archive's order) is left out in
turn and estimated from the rest, using only the fields that the plan states. Its error is divided by how
much its own relatives disagree. The interval is as many disagreements wide as holds the stated share of
those builds. How many the interval held, with its width taken from the errors of the others, is reported
beside it.

There is no estimate without a displacement, with fewer than five useful relatives, or for a plan outside
what the archive covers.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from builder.archive.fields import BY_SLUG, Field, System, choice_of, number_of
from builder.archive.similarity import Table, build_matrix, distances, k_smallest, pairs, scaled
from builder.archive.summary import Summary

LEAST_RELATIVES = 5
MOST_RELATIVES = 12
FARTHEST = 0.30  # a relative farther away than this is no guide
NEAR = 0.01
FLOOR = 0.02  # two runs of one engine differ by this much [ln], so relatives never agree better
CALIBRATION = 400
MARGIN = 0.05  # a plan may lie this share of the archive's range beyond its ends
LEVEL = 0.90

TARGETS = ("peak_torque", "peak_torque_speed", "peak_power", "peak_power_speed")
MUST_BE_KNOWN = ("cycle", "induction", "fuel", "ignition")  # a choice nobody has built has no relatives

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]
Texts = npt.NDArray[np.str_]


@dataclass(frozen=True, slots=True)
class Expected:
    """One expected result, SI, with its interval and how that was measured.

    ``level`` is the share the interval is meant to hold; with few builds less than 0.9 can be stated.
    ``tried`` builds were left out in turn and ``held`` of them lay inside; of the ``near_tried`` among
    the relatives themselves ``near_held``. ``error`` is the median relative error of the estimate.
    """

    field: Field
    value: float
    least: float
    most: float
    level: float
    evaluated: int
    covered: int
    near_tried: int
    near_held: int
    error: float
    relatives: tuple[Summary, ...]

    def text(self, system: System = "metric") -> str:
        """Say it in one sentence, in the units of the shop."""
        unit, show = self.field.unit(system), self.field.show
        return (
            f"{self.field.title} {show(self.value, system)} "
            f"({unit.show(self.least)} to {show(self.most, system)}; meant to hold {self.level:.0%}, "
            f"held {self.covered} of {self.evaluated} builds left out in turn; "
            f"from {len(self.relatives)} relatives)"
        )


@dataclass(frozen=True, slots=True)
class Estimate:
    """What the archive lets one expect of a plan, or why it gives no estimate."""

    expected: tuple[Expected, ...]
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Archive:
    """Builds with a displacement and a result, laid out for leaving one out."""

    table: Table
    volume: Floats
    cylinder: Floats
    stroke: Floats
    strokes: Floats
    results: Mapping[str, Floats]
    kinds: tuple[Texts, ...]


def estimate(
    summaries: Iterable[Summary],
    plan: Summary,
    weights: Mapping[str, float],
    level: float = LEVEL,
    system: System = "metric",
) -> Estimate:
    """Expected peak torque and power of a plan, with intervals, or the reasons why there are none.

    Parameters
    ----------
    summaries : builds of the archive; one with the plan's own slug is left out
    plan : Summary
        Any subset of the fields; results among them are not used.
    weights : mapping of field slug to weight
        As for likeness; results count as 0 here whatever the shop set.
    level : float
        Share of builds the interval is meant to hold, 0.5 to 0.99.
    system : "inch" or "metric"
        Units of the reasons.
    """
    if not 0.5 <= level <= 0.99:
        raise ValueError("the level of an interval must lie between 0.5 and 0.99")
    volume = number_of(plan, BY_SLUG["displacement"])
    if volume is None or volume <= 0.0:
        return Estimate((), ("the estimate needs the planned displacement",))
    stated = {
        slug: weight
        for slug, weight in weights.items()
        if weight > 0.0 and BY_SLUG[slug].group != "result" and _read(plan, BY_SLUG[slug]) is not None
    }
    if not stated:
        return Estimate((), ("no field of the plan has a weight in likeness",))
    archive = _feature_matrix([s for s in summaries if not plan.slug or s.slug != plan.slug], stated)
    if len(archive.table) < LEAST_RELATIVES:
        return Estimate((), (_too_few(len(archive.table)),))
    outside = _outside(archive.table, plan, stated, system)
    if outside:
        return Estimate((), outside)
    near = distances(archive.table, plan)
    near[_incompatible(archive, _kinds_of([plan]))[0]] = np.inf
    near[near > FARTHEST] = np.inf
    sample = _sample(len(archive.table))
    apart = pairs(archive.table, archive.table.numbers[:, sample], archive.table.codes[:, sample])
    apart[_incompatible(archive, tuple(kind[sample] for kind in archive.kinds))] = np.inf
    apart[np.arange(sample.size), sample] = np.inf
    apart[apart > FARTHEST] = np.inf
    own = _feature_matrix([plan], stated, plan=True)
    found = [_expect(archive, own, near, sample, apart, target, level) for target in TARGETS]
    expected = tuple(e for e in found if e is not None)
    if not any(e.field.slug in ("peak_torque", "peak_power") for e in expected):
        return Estimate((), (_too_few(int(np.isfinite(near).sum())),))
    return Estimate(expected, ())


def _too_few(count: int) -> str:
    have = {0: "there is none", 1: "there is one"}.get(count, f"there are {count}")
    return f"an estimate needs {LEAST_RELATIVES} useful relatives, and {have}"


def _read(plan: Summary, field: Field) -> float | str | None:
    if field.kind == "choice":
        return choice_of(plan, field)
    value = number_of(plan, field)
    return None if math.isnan(scaled(value, field)) else value


def _feature_matrix(builds: Iterable[Summary], stated: Mapping[str, float], *, plan: bool = False) -> _Archive:
    """Lay builds out for estimating: those with a displacement and a result, or a plan, which has none."""

    def column(rows: Iterable[Summary], slug: str) -> Floats:
        read = [number_of(s, BY_SLUG[slug]) for s in rows]
        values = np.array([math.nan if v is None else v for v in read], dtype=float)
        return np.where(values > 0.0, values, np.nan)

    every = list(builds)
    volume = column(every, "displacement")
    with_result = np.any([np.isfinite(column(every, t)) for t in TARGETS], axis=0) | plan
    table = build_matrix([s for s, v, r in zip(every, volume, with_result, strict=True) if v > 0 and r], stated)
    rows = table.summaries
    volume = column(rows, "displacement")
    return _Archive(
        table,
        volume,
        volume / column(rows, "cylinders"),
        column(rows, "stroke"),
        np.array([2.0 if (s.cycle or "").startswith("two") else 4.0 for s in rows]),
        {t: column(rows, t) for t in TARGETS},
        _kinds_of(rows),
    )


def _kinds_of(rows: Iterable[Summary]) -> tuple[Texts, ...]:
    """What a relative must share to be of use: cycle, induction, and spark or compression ignition."""
    listed = list(rows)
    read = (
        [s.cycle or "" for s in listed],
        [s.induction or "" for s in listed],
        [_ignition_kind(s) for s in listed],
    )
    return tuple(np.array(texts, dtype=np.str_) for texts in read)


def _ignition_kind(summary: Summary) -> str:
    if summary.ignition is None and summary.fuel is None:
        return ""
    return "compression" if "compression" in (summary.ignition or "") or summary.fuel == "diesel" else "spark"


def _incompatible(archive: _Archive, kinds: tuple[Texts, ...]) -> Bools:
    no = np.zeros((kinds[0].size, len(archive.table)), dtype=bool)
    for ours, theirs in zip(kinds, archive.kinds, strict=True):
        no |= (ours[:, None] != theirs) & (ours[:, None] != "") & (theirs != "")
    return no


def _sample(n: int) -> Ints:
    """Builds to leave out in turn: all, or CALIBRATION of them spread evenly over the archive's order."""
    if n <= CALIBRATION:
        return np.arange(n)
    return np.arange(CALIBRATION) * n // CALIBRATION


def _outside(table: Table, plan: Summary, stated: Mapping[str, float], system: System) -> tuple[str, ...]:
    reasons = []
    for slug in stated:
        field = BY_SLUG[slug]
        value = _read(plan, field)
        have = [v for s in table.summaries if (v := _read(s, field)) is not None]
        if isinstance(value, str):
            if slug in MUST_BE_KNOWN and value not in have:
                reasons.append(f"no build in the archive has {field.title.lower()} {value}")
            continue
        numbers = [float(v) for v in have]
        if value is None or not numbers:
            continue
        at, least, most = (scaled(v, field) for v in (value, min(numbers), max(numbers)))
        room = MARGIN * (most - least) + 1e-9
        if not least - room <= at <= most + room:
            span = f"{field.show(min(numbers), system)} to {field.show(max(numbers), system)}"
            shown = field.show(value, system)
            reasons.append(f"{field.title} {shown} lies outside what the archive covers ({span})")
    return tuple(reasons)


def _scale(archive: _Archive, to: _Archive, rows: Ints, index: Ints, target: str) -> Floats:
    """ln of what brings each relative's result (r, k) to the size of the engine in ``to`` (rows, (r,))."""

    def ratio(name: str) -> Floats:
        ours: Floats = getattr(to, name)[rows][:, None]
        theirs: Floats = getattr(archive, name)[index]
        return np.log(ours / theirs)

    by_stroke, by_cylinder = -ratio("stroke"), -ratio("cylinder") / 3.0
    speed = np.where(np.isnan(by_stroke), np.nan_to_num(by_cylinder, nan=0.0), by_stroke)
    torque = ratio("volume") - ratio("strokes")
    by_target: dict[str, Floats] = {"peak_torque": torque, "peak_power": torque + speed}
    return by_target.get(target, speed)


def _middle(archive: _Archive, to: _Archive, rows: Ints, d: Floats, target: str) -> tuple[Floats, Floats, Ints, Ints]:
    """Expected ln of the target, how much the relatives disagree, how many there are, and which."""
    index = k_smallest(d, MOST_RELATIVES)
    far = np.take_along_axis(d, index, axis=1)
    use = np.isfinite(far)
    with np.errstate(invalid="ignore", divide="ignore"):
        each = np.log(archive.results[target][index]) + _scale(archive, to, rows, index, target)
        weight = np.where(use, 1.0 / (far + NEAR), 0.0)
        each = np.where(use, each, 0.0)
        total = weight.sum(axis=1)
        mean = (weight * each).sum(axis=1) / total
        spread = (weight * (each - mean[:, None]) ** 2).sum(axis=1) / total
    return mean, np.sqrt(spread + FLOOR**2), use.sum(axis=1), index


def _expect(
    archive: _Archive,
    plan: _Archive,
    near: Floats,
    sample: Ints,
    apart: Floats,
    target: str,
    level: float,
) -> Expected | None:
    known = np.isfinite(archive.results[target])
    here = np.where(known, near, np.inf)[None, :]
    mean, spread, number, index = _middle(archive, plan, np.array([0]), here, target)
    if number[0] < LEAST_RELATIVES:
        return None
    tried = known[sample]
    guess, doubt, count, _ = _middle(archive, archive, sample[tried], np.where(known, apart[tried], np.inf), target)
    usable = count >= LEAST_RELATIVES
    error = np.abs(np.log(archive.results[target][sample[tried]]) - guess)[usable]
    score = error / doubt[usable]
    n = score.size
    if n < LEAST_RELATIVES:
        return None
    # The rank that holds the share among n + 1; with few builds the largest error is all there is.
    order = np.sort(score)
    rank = min(n, math.ceil((n + 1) * level - 1e-9))
    # Leaving i out, the others' threshold is the next one up when i itself lies at or below it.
    limit = min(n - 1, math.ceil(n * level - 1e-9))
    held = score <= np.where(score <= order[limit - 1], order[limit], order[limit - 1])
    wide = order[rank - 1] * spread[0]
    chosen = index[0][: number[0]]
    among = np.isin(sample[tried][usable], chosen)
    return Expected(
        field=BY_SLUG[target],
        value=float(np.exp(mean[0])),
        least=float(np.exp(mean[0] - wide)),
        most=float(np.exp(mean[0] + wide)),
        level=min(level, n / (n + 1)),
        evaluated=n,
        covered=int(held.sum()),
        near_tried=int(among.sum()),
        near_held=int((held & among).sum()),
        error=float(np.median(np.expm1(error))),
        relatives=tuple(archive.table.summaries[i] for i in chosen),
    )
