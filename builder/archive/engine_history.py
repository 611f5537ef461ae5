"""The history of one engine: its builds in order, what it did between them, and how its readings wore.

Builds belong to one engine by its number. Their order is that of their days, unless a build names the one before it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise
from typing import Literal

import numpy as np

from builder.archive.engine_build import EngineBuild, EngineEvent, EngineReading, EngineService
from builder.archive.summary import Summary
from builder.engine import uncertainty, wear
from builder.engine.validation import Array
from builder.record.models.build import DOCUMENTS
from builder.record.models.fields import title_of
from builder.record.quantities.digits import rounded
from builder.record.quantities.unit_table import MILE, printed_unit
from builder.record.quantities.units import NUMBER, factor
from builder.record.traversal import model_at
from builder.record.wording import in_sentence

_GROWS = ("bores", "main_bores", "big_end_bores", "cam_bores", "leak_down")
_GROWS_BY_END = ("_clearance", "_gap", "_end_play", "_recession")
_SHRINKS = (
    "main_journals", "rod_journals", "pin_diameter", "lobe_lift", "seat_load", "main_shell", "rod_shell",
    "cranking_compression", "priming_oil_pressure", "liner_protrusion",
)  # fmt: skip
_SHRINKS_AT = ("bottom_end.pistons.diameter",)
_SHORT_NAMES = ("diameter", "length", "mass", "rate", "lash", "lobe_lift", "valve_lift", "rocker_ratio", "stretch")
"""Names of fields that say little without the name of what they belong to."""
_DISTANCE_STEP = 1000.0
"""A rate over distance is that over so many miles or kilometers."""

Running = Literal["hours", "distance"]
"""What a rate of wear is taken over."""


def wear_direction(path: str) -> int:
    """Return 1 where a reading grows as it wears, -1 where it shrinks, 0 where it may do either."""
    name = path.rpartition(".")[2]
    if name in _GROWS or name.endswith(_GROWS_BY_END):
        return 1
    return -1 if name in _SHRINKS or path in _SHRINKS_AT else 0


@cache
def reading_title(path: str) -> str:
    """Return what a reading is called; with the part it is of, where its own name says little."""
    document, *steps = path.split(".")
    model = model_at(DOCUMENTS[document], tuple(steps[:-1]))
    info = model.model_fields.get(steps[-1])
    title = title_of(steps[-1], info) if info is not None else steps[-1]
    if steps[-1] == "reading":  # of an entry that has a name
        return steps[-2]
    if steps[-1] in _SHORT_NAMES and len(steps) > 1:
        return f"{steps[-2].replace('_', ' ').capitalize()}, {in_sentence(title)}"
    return title


@dataclass(frozen=True, kw_only=True)
class IntervalWear:
    """How one reading wore between two builds, at every position, SI; ``worn`` is positive in the direction of wear.

    ``rebuilt`` are the readings after the work, empty where not measured; the uncertainty is a standard one.
    """

    previous: str
    build: str
    hours: float | None
    distance: float | None
    built: Array
    returned: Array
    rebuilt: Array
    worn: Array
    uncertainty: float
    resolvable: float
    """The most that the readings may differ by with nothing worn (k = 2)."""
    is_measurable: tuple[bool, ...]
    is_between_returns: bool = False
    """Whether ``built`` is the engine as it was returned for the build before: a reading that is only taken then."""


@dataclass(frozen=True, kw_only=True)
class ReadingState:
    """One reading as it was at one time: as built, or as the engine came back for that build."""

    build: str
    state: Literal["built", "returned"]
    values: tuple[float, ...]
    hours: float | None
    """Hours of the engine at that time since its first build here; None where an interval has none."""


@dataclass(frozen=True, kw_only=True)
class ReadingHistory:
    """One reading of an engine over all its builds.

    ``rate`` is in SI per hour, or per meter where ``running`` is distance; None where neither was recorded.
    ``outlook`` has one entry for each position: hours, or meters, from the last build to the limit.
    """

    path: str
    title: str
    axis: str | None
    dimension: str
    unit: str
    step: float
    direction: int
    minimum: float | None
    maximum: float | None
    states: tuple[ReadingState, ...]
    intervals: tuple[IntervalWear, ...]
    running: Running | None = None
    rate: wear.RateRange | None = None
    outlook: tuple[wear.Outlook, ...] = ()
    distance_unit: str = "km"
    is_uncertainty_stated: bool = False
    """Whether every reading names its gauge or resolution; otherwise the last digit alone counts."""

    @property
    def limit(self) -> float | None:
        """Return the limit that the reading wears towards, SI."""
        direction = self.direction or (1 if self.intervals and float(self.intervals[-1].worn.mean()) >= 0 else -1)
        return self.maximum if direction > 0 else self.minimum

    @property
    def labels(self) -> tuple[str, ...]:
        """Return the names of the positions: 1, 2, 3 ..."""
        return tuple(str(index + 1) for index in range(max((len(state.values) for state in self.states), default=0)))

    def number(self, si: float, extra: int = 0) -> str:
        """Return a value or a difference in the unit that was written, with its decimals and some more."""
        scale = 1.0 if self.dimension == NUMBER or not self.unit else factor(self.unit, self.dimension)[0]
        decimals = max(0, round(-np.log10(self.step / scale))) if self.step > 0 else 3
        text = rounded(si / scale, decimals + extra)
        return text.lstrip("-") if float(text) == 0 else text.replace("-", "−")

    def working(self, interval: IntervalWear, index: int) -> str:
        """Return the wear of one position with its numbers: `81.521 − 81.503 = 0.018 mm, ±0.0010 mm`."""
        built, returned = self.number(interval.built[index]), self.number(interval.returned[index])
        terms = (returned, built) if (self.direction or 1) > 0 else (built, returned)
        expanded = self.number(interval.resolvable, 1)
        unit = f"\N{NO-BREAK SPACE}{printed_unit(self.unit)}" if self.unit else ""
        basis = "k = 2" if interval.resolvable <= uncertainty.COVERAGE * interval.uncertainty else "one last digit"
        text = f"{terms[0]} − {terms[1]} = {self.number(interval.worn[index])}{unit}, ±{expanded}{unit} ({basis})"
        return text if interval.is_measurable[index] else f"{text}: no measurable wear"

    def rate_text(self, index: int) -> str:
        """Return the rate of one position with its range, in the shop's unit; empty without one.

        From one interval, and gauges that are not recorded, there is no range: the last digit alone would be too sure.
        """
        if self.rate is None or self.running is None or not self.rate.is_measurable[index]:
            return ""
        scale, unit = self._rate_unit()
        value, least, most = (
            _significant(float(each[index]) / scale) for each in (self.rate.value, self.rate.least, self.rate.most)
        )
        if self.rate.intervals < 2 and not self.is_uncertainty_stated:
            return f"about {value} {unit}".replace("-", "−")
        return f"{value} ({least} to {most}) {unit}".replace("-", "−")

    def _rate_unit(self) -> tuple[float, str]:
        """Return how much a rate of one is [SI], and its unit: lengths in a thousandth of what was written."""
        names = {"mm": ("µm", 1e-6), "in": ("thou", 2.54e-5)}
        written = factor(self.unit, self.dimension)[0] if self.unit and self.dimension != NUMBER else 1.0
        unit, scale = names.get(self.unit, (printed_unit(self.unit), written))
        if self.running == "hours":
            return scale, f"{unit} per hour"
        length = MILE if self.distance_unit in ("mi", "mile", "miles") else 1000.0
        name = "mi" if length == MILE else "km"
        return scale / (_DISTANCE_STEP * length), f"{unit} per 1,000 {name}"

    def outlook_text(self, index: int) -> str:
        """Return how long one position has to its limit, an estimate with its interval, or why that is not stated."""
        outlook = self.outlook[index]
        if outlook.reason:
            return _REASONS[outlook.reason]
        length = MILE if self.distance_unit in ("mi", "mile", "miles") else 1000.0
        scale, unit = (1.0, "h") if self.running == "hours" else (length, "mi" if length == MILE else "km")
        value, least, most = (_significant(each / scale) for each in (outlook.value, outlook.least, outlook.most))
        return f"about {value} {unit} to the limit ({least} to {most} {unit}), at the rate seen; an estimate"


_REASONS: Mapping[wear.NotStated, str] = {
    "no limit": "no limit recorded",
    "no measurable wear": "no measurable wear, so no outlook",
    "too uncertain": "not stated: the wear is known too poorly for an outlook",
    "uncertainty not stated": "not stated: from one interval it needs the gauge or its resolution",
    "beyond the limit": "at or beyond the limit",
}


def _significant(value: float) -> str:
    """Return a number with two significant digits, large ones with separators."""
    if value == 0 or not np.isfinite(value):
        return "0"
    decimals = 1 - int(np.floor(np.log10(abs(float(f"{value:.1e}")))))
    text = rounded(value, decimals)
    return f"{float(text):,.0f}" if decimals <= 0 else text


@dataclass(frozen=True)
class EngineHistory:
    """All builds of one engine, oldest first; each has its part of the history in ``engine``."""

    key: str
    builds: tuple[Summary, ...]

    @property
    def number(self) -> str:
        """Return the engine's number as its last build writes it."""
        return _engine_of(self.builds[-1]).number

    def previous(self, slug: str) -> Summary | None:
        """Return the build before one of the engine's builds, None for the first."""
        index = [summary.slug for summary in self.builds].index(slug)
        return self.builds[index - 1] if index else None

    @property
    def services(self) -> tuple[tuple[str, EngineService], ...]:
        """Return every service with the slug of the build that it came after, by day."""
        items = [(summary.slug, service) for summary in self.builds for service in _engine_of(summary).services]
        return tuple(sorted(items, key=lambda item: item[1].when))

    @property
    def events(self) -> tuple[tuple[str, EngineEvent], ...]:
        """Return every event with the slug of the build that it came after, by day."""
        items = [(summary.slug, event) for summary in self.builds for event in _engine_of(summary).events]
        return tuple(sorted(items, key=lambda item: item[1].when))

    @property
    def readings(self) -> tuple[ReadingHistory, ...]:
        """Return every reading that was taken of a returned engine, with its wear, in the order of the record."""
        by_build = {s.slug: {item.path: item for item in _engine_of(s).readings} for s in self.builds}
        paths = dict.fromkeys(
            path for summary in self.builds for path, item in by_build[summary.slug].items() if item.returned
        )
        return tuple(_reading_history(self.builds, by_build, path) for path in paths)


def engine_histories(summaries: Iterable[Summary]) -> Mapping[str, EngineHistory]:
    """Return the history of every engine that has a number, by its key."""
    by_key: dict[str, list[Summary]] = defaultdict(list)
    for summary in summaries:
        if summary.engine is not None and summary.engine.key:
            by_key[summary.engine.key].append(summary)
    return {key: EngineHistory(key, in_order(builds)) for key, builds in sorted(by_key.items())}


def in_order(builds: Sequence[Summary]) -> tuple[Summary, ...]:
    """Return the builds of one engine, oldest first: each behind the one that it names, the others by their days.

    Where the names go in a circle, the days alone count.
    """
    waiting = sorted(builds, key=lambda summary: (_engine_of(summary).day, summary.slug))
    by_days, slugs = tuple(waiting), {summary.slug for summary in waiting}
    ordered: list[Summary] = []
    while waiting:
        before = {summary.slug for summary in ordered}
        ready = [s for s in waiting if (p := _engine_of(s).previous) is None or p not in slugs or p in before]
        if not ready:
            return by_days
        # A build that names the last one placed follows it at once.
        follows = [s for s in ready if ordered and _engine_of(s).previous == ordered[-1].slug]
        ordered.append((follows or ready)[0])
        waiting.remove(ordered[-1])
    return tuple(ordered)


def _engine_of(summary: Summary) -> EngineBuild:
    assert summary.engine is not None  # of a build that has a number
    return summary.engine


def _reading_history(
    builds: Sequence[Summary], by_build: Mapping[str, Mapping[str, EngineReading]], path: str
) -> ReadingHistory:
    recorded = [by_build[summary.slug][path] for summary in builds if path in by_build[summary.slug]]
    last = recorded[-1]
    direction = wear_direction(path)
    intervals = tuple(_intervals(builds, by_build, path, direction))
    history = ReadingHistory(
        path=path,
        title=reading_title(path),
        axis=last.axis,
        dimension=last.dimension,
        unit=last.unit,
        step=last.step,
        direction=direction,
        minimum=next((item.minimum for item in reversed(recorded) if item.minimum is not None), None),
        maximum=next((item.maximum for item in reversed(recorded) if item.maximum is not None), None),
        states=tuple(_states(builds, by_build, path)),
        intervals=intervals,
        distance_unit=_engine_of(builds[-1]).distance_unit,
        is_uncertainty_stated=all(item.is_uncertainty_stated for item in recorded),
    )
    return _with_rate(history, builds, last) if direction and intervals else history


def _states(
    builds: Sequence[Summary], by_build: Mapping[str, Mapping[str, EngineReading]], path: str
) -> Iterator[ReadingState]:
    hours: float | None = 0.0
    for index, summary in enumerate(builds):
        since = _engine_of(summary).hours
        if index:
            hours = None if hours is None or since is None else hours + since
        item = by_build[summary.slug].get(path)
        for state, values in (("returned", item.returned), ("built", item.built)) if item else ():
            if values:
                yield ReadingState(build=summary.slug, state=state, values=values, hours=hours)  # type: ignore[arg-type]


def _intervals(
    builds: Sequence[Summary], by_build: Mapping[str, Mapping[str, EngineReading]], path: str, direction: int
) -> Iterator[IntervalWear]:
    for previous, summary in pairwise(builds):
        before, after = by_build[previous.slug].get(path), by_build[summary.slug].get(path)
        if before is None or after is None or not after.returned:
            continue
        is_between_returns = path.startswith("returned.")
        first = before.returned if is_between_returns else before.built
        if not first or (len(first) not in (1, len(after.returned)) and len(after.returned) != 1):
            continue  # not the same positions
        built, returned = (np.array(each) for each in np.broadcast_arrays(first, after.returned))
        engine = _engine_of(summary)
        worn = np.atleast_1d(wear.wear(built, returned, direction or 1))
        first_uncertainty = before.returned_uncertainty if is_between_returns else before.built_uncertainty
        standard = float(wear.wear_uncertainty(first_uncertainty, after.returned_uncertainty))
        step = max(before.step, after.step)
        yield IntervalWear(
            previous=previous.slug,
            build=summary.slug,
            hours=engine.hours,
            distance=engine.distance,
            built=built,
            returned=returned,
            rebuilt=np.array(after.built),
            worn=worn,
            uncertainty=standard,
            resolvable=float(wear.resolvable_wear(standard, step)),
            is_measurable=tuple(bool(each) for each in wear.is_measurable(worn, standard, step)),
            is_between_returns=is_between_returns,
        )


def _with_rate(history: ReadingHistory, builds: Sequence[Summary], last: EngineReading) -> ReadingHistory:
    """Return a reading with its rate over hours, else over distance, and its outlook.

    A leak, a pressure or a spring's force does not change evenly: it has a rate where several intervals show a trend,
    and no outlook.
    """
    engines = {summary.slug: _engine_of(summary) for summary in builds}
    running: Running
    for running in ("hours", "distance"):
        timed = [item for item in history.intervals if getattr(item, running) and item.worn.size == len(last.returned)]
        timed = timed or [item for item in history.intervals if getattr(item, running)]
        sizes = {item.worn.size for item in timed}
        if len(sizes) != 1:
            continue
        steps = [getattr(engines[item.build], f"{running}_step") for item in timed]
        rate = wear.rate_range(
            np.array([item.worn for item in timed]),
            np.array([np.full(item.worn.size, item.uncertainty) for item in timed]),
            np.array([getattr(item, running) for item in timed]),
            np.asarray(uncertainty.from_resolution(np.array(steps))),
            history.step,
        )
        if last.dimension == "length":
            return _with_outlook(history, running, rate, last)
        return replace(history, running=running, rate=seen) if (seen := wear.trend(rate)) else history
    return history


def _with_outlook(
    history: ReadingHistory, running: Running, rate: wear.RateRange, last: EngineReading
) -> ReadingHistory:
    """Return a reading with its outlook from the engine's last build: as built there, else as it came back."""
    now = np.array(last.built or last.returned)
    positions = rate.value.size
    margin = None
    if history.limit is not None and now.size in (1, positions):
        margin = np.broadcast_to((history.limit - now) * history.direction, (positions,))
    standard = last.built_uncertainty if last.built else last.returned_uncertainty
    outlook = wear.running_to_limit(
        margin, np.full(positions, standard), rate, is_uncertainty_stated=history.is_uncertainty_stated
    )
    return replace(history, running=running, rate=rate, outlook=outlook)
