"""The wear of an engine since its last build, as `millbook figures` prints it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from builder.archive.engine_history import EngineHistory, IntervalWear, ReadingHistory
from builder.engine.wear import RateRange
from builder.record.wording import plain_spaces


def wear_lines(history: EngineHistory, slug: str) -> Iterator[str]:
    """Yield the wear of every reading of one build since the build before it: each position with its working."""
    previous = history.previous(slug)
    intervals = list(_intervals(history, slug))
    if previous is None or not intervals:
        return
    hours = f" ({intervals[0][1].hours:,.6g} h)" if intervals[0][1].hours else ""
    yield f"\nWear since {previous.slug}{hours}"
    for reading, interval in intervals:
        yield f"  {reading.title}"
        for index in range(interval.worn.size):
            label = f"{reading.axis or 'position'} {index + 1}: " if interval.worn.size > 1 else ""
            yield f"      {plain_spaces(label + reading.working(interval, index))}"
            texts = (reading.rate_text(index), reading.outlook_text(index) if reading.outlook else "")
            if further := "; ".join(filter(None, texts)):
                yield f"          {plain_spaces(further)}"


def wear_as_json(history: EngineHistory, slug: str) -> list[dict[str, Any]]:
    """Return the same in SI units: wear, its expanded uncertainty (k = 2), rate and outlook at each position."""
    return [_as_json(reading, interval) for reading, interval in _intervals(history, slug)]


def _intervals(history: EngineHistory, slug: str) -> Iterator[tuple[ReadingHistory, IntervalWear]]:
    for reading in history.readings:
        yield from ((reading, interval) for interval in reading.intervals if interval.build == slug)


def _as_json(reading: ReadingHistory, interval: IntervalWear) -> dict[str, Any]:
    rate = reading.rate if reading.rate is not None and reading.rate.value.size == interval.worn.size else None
    return {
        "path": reading.path,
        "title": reading.title,
        "since": interval.previous,
        "hours": interval.hours,
        "distance": interval.distance,
        "between_returns": interval.is_between_returns,
        "built": [_short(value) for value in interval.built],
        "returned": [_short(value) for value in interval.returned],
        "rebuilt": [_short(value) for value in interval.rebuilt],
        "wear": [_short(value) for value in interval.worn],
        "uncertainty": _short(interval.resolvable),
        "measurable": list(interval.is_measurable),
        "running": reading.running,
        "wear_rate": _rates(reading, rate) if rate is not None else None,
        "running_to_limit": [
            {"reason": item.reason}
            if item.reason
            else {"value": _short(item.value), "least": _short(item.least), "most": _short(item.most)}
            for item in reading.outlook
        ],
    }


def _rates(reading: ReadingHistory, rate: RateRange) -> list[float | None]:
    """Return the rate of each position; of what need not change evenly, None where no trend is seen."""
    return [
        _short(value) if is_measurable or reading.dimension == "length" else None
        for value, is_measurable in zip(rate.value, rate.is_measurable, strict=True)
    ]


def _short(value: float) -> float:
    return float(f"{value:.9g}")
