"""Wear on the page of an engine: for each reading a chart of every state, and a table with change, rate and limit."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from builder.archive.engine_history import EngineHistory, IntervalWear, ReadingHistory
from builder.draw.charts.engine_history import WearPositions, WearState, wear_positions
from builder.draw.style import NARROW
from builder.engine.uncertainty import COVERAGE
from builder.publish.pages.build.page_chart import PageChart
from builder.record.quantities.unit_table import printed_unit
from builder.record.quantities.units import NUMBER, factor

NO_WEAR = "no measurable wear"


@dataclass(frozen=True)
class WearRow:
    """One position between two builds: as built, as returned, the change, as rebuilt.

    ``built`` says so where it is the reading as returned before, of what is only read of an engine that came back.
    """

    position: str
    built: str
    returned: str
    change: str
    rebuilt: str
    rate: str
    outlook: str
    out_of_range: bool


@dataclass(frozen=True)
class WearInterval:
    """The positions of a reading between two builds, by their slugs."""

    previous: str
    build: str
    rows: tuple[WearRow, ...]


@dataclass(frozen=True)
class WearReading:
    """One reading of an engine over its life; ``chart`` names its chart.

    ``summary`` is the position that wore most in the last interval; ``work`` is what was done with it.
    """

    title: str
    axis: str
    unit: str
    limit: str
    uncertainty: str
    chart: str
    summary: WearRow | None
    intervals: tuple[WearInterval, ...]


def wear_readings(history: EngineHistory) -> tuple[WearReading, ...]:
    """Return every reading that was taken of the engine as it came back, in the order of the record."""
    return tuple(_wear_reading(history, reading) for reading in history.readings)


def wear_charts(history: EngineHistory, names: Mapping[str, str]) -> Iterator[PageChart]:
    """Yield the chart of each reading; ``names`` are those of the builds by slug."""
    for reading in history.readings:
        data = WearPositions(
            reading.title,
            printed_unit(reading.unit) if reading.unit else "",
            reading.labels,
            tuple(_states(history, reading, names)),
            _in_unit(reading, reading.minimum),
            _in_unit(reading, reading.maximum),
            _decimals(reading),
        )
        caption = (
            f"{reading.title}{f' by {reading.axis}' if reading.axis else ''}. Bars: uncertainty of the gauges, k = 2."
        )
        yield PageChart("wear", wear_positions.request(data, name=_chart_name(reading), size=NARROW), caption)


def _chart_name(reading: ReadingHistory) -> str:
    name = "".join(character if character.isalnum() else "_" for character in reading.path.lower())
    return f"wear_{name}"


def _states(history: EngineHistory, reading: ReadingHistory, names: Mapping[str, str]) -> Iterator[WearState]:
    records = {
        build.slug: next((item for item in build.engine.readings if item.path == reading.path), None)
        for build in history.builds
        if build.engine is not None
    }
    first = history.builds[0].slug
    for state in reading.states:
        record = records[state.build]
        assert record is not None
        is_built = state.state == "built"
        words = ("as built" if state.build == first else "as rebuilt") if is_built else "as returned"
        standard = record.built_uncertainty if is_built else record.returned_uncertainty
        values = [_number(reading, value) for value in state.values]
        values += [math.nan] * (len(reading.labels) - len(values))
        yield WearState(f"{names[state.build]}, {words}", tuple(values), COVERAGE * standard / _scale(reading)[0])


def _scale(reading: ReadingHistory) -> tuple[float, float]:
    return (1.0, 0.0) if reading.dimension == NUMBER or not reading.unit else factor(reading.unit, reading.dimension)


def _number(reading: ReadingHistory, si: float) -> float:
    size, offset = _scale(reading)
    return (si - offset) / size


def _in_unit(reading: ReadingHistory, si: float | None) -> float | None:
    return None if si is None else _number(reading, si)


def _decimals(reading: ReadingHistory) -> int:
    step = reading.step / _scale(reading)[0]
    return max(0, round(-math.log10(step))) if step > 0 else 3


def _wear_reading(history: EngineHistory, reading: ReadingHistory) -> WearReading:
    intervals = tuple(
        WearInterval(item.previous, item.build, tuple(_rows(reading, item, is_last=item is reading.intervals[-1])))
        for item in reading.intervals
    )
    last = reading.intervals[-1] if reading.intervals else None
    most = int(np.argmax(last.worn if reading.direction else np.abs(last.worn))) if last is not None else 0
    unit = printed_unit(reading.unit) if reading.unit else ""
    return WearReading(
        title=reading.title,
        axis=(reading.axis or "position").capitalize(),
        unit=unit,
        limit=_limit_text(reading, unit),
        uncertainty=_uncertainty_text(reading, last, unit) if last is not None else "",
        chart=_chart_name(reading),
        summary=intervals[-1].rows[most] if intervals else None,
        intervals=intervals,
    )


def _uncertainty_text(reading: ReadingHistory, last: IntervalWear, unit: str) -> str:
    text = f"±{reading.number(last.resolvable, 1)} {unit}".strip()
    return text if reading.is_uncertainty_stated else f"{text}, by the last digit alone"


def _limit_text(reading: ReadingHistory, unit: str) -> str:
    ends = [reading.number(end) if end is not None else "" for end in (reading.minimum, reading.maximum)]
    if all(ends):
        return f"{ends[0]} to {ends[1]} {unit}".strip()
    return f"{'min.' if ends[0] else 'max.'} {ends[0] or ends[1]} {unit}".strip() if any(ends) else ""


def _rows(reading: ReadingHistory, item: IntervalWear, *, is_last: bool) -> Iterator[WearRow]:
    rebuilt = [reading.number(float(value)) for value in item.rebuilt]
    for index, worn in enumerate(item.worn.tolist()):
        returned = float(item.returned[index])
        sign = "+" if worn > 0 and not reading.direction else ""
        yield WearRow(
            position=str(index + 1) if item.worn.size > 1 else "",
            built=f"{reading.number(float(item.built[index]))}{', as returned' if item.is_between_returns else ''}",
            returned=reading.number(returned),
            change=f"{sign}{reading.number(worn)}" if item.is_measurable[index] else NO_WEAR,
            rebuilt=_at(rebuilt, index),
            rate=reading.rate_text(index) if is_last and reading.rate is not None and _same(reading, item) else "",
            outlook=reading.outlook_text(index) if is_last and reading.outlook and _same(reading, item) else "",
            out_of_range=_beyond(reading, returned),
        )


def _same(reading: ReadingHistory, item: IntervalWear) -> bool:
    return reading.rate is not None and reading.rate.value.size == item.worn.size


def _at(texts: Sequence[str], index: int) -> str:
    return texts[index] if index < len(texts) else texts[0] if len(texts) == 1 else "–"


def _beyond(reading: ReadingHistory, value: float) -> bool:
    margin = reading.step / 2
    low, high = reading.minimum, reading.maximum
    return (low is not None and value < low - margin) or (high is not None and value > high + margin)
