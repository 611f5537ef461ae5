"""Read from a record what it adds to the history of its engine."""

from __future__ import annotations

import math
from collections.abc import Iterator

from builder.archive.engine_build import EngineBuild, EngineCondition, EngineEvent, EngineReading, EngineService
from builder.archive.engine_checks import EngineEntry
from builder.engine import uncertainty
from builder.figures.core.inputs import rounding_of
from builder.figures.core.instruments import certificate_uncertainty, difference_in, instrument_of
from builder.record.models.build import Build
from builder.record.models.service import ServiceEntry
from builder.record.models.shop import Shop
from builder.record.quantities.readings import Reading
from builder.record.traversal import FieldValue, field_values

_WEARING = ("bottom_end", "top_end", "cam", "assembly")
"""The files whose readings are taken of a used engine too."""
_BEFORE_APART = ("oil_pressure", "idle_oil_pressure")
"""Readings of returned.yaml that have no place in another file."""


def engine_build(build: Build, shop: Shop) -> EngineBuild | None:
    """Return what a build without private fields adds to its engine's history; None without an engine number."""
    sheet = build.build
    if sheet.engine_number is None:
        return None
    since, delivery, service = sheet.since_last, build.delivery, build.service
    delivered = delivery.delivered if delivery else None
    return EngineBuild(
        number=sheet.engine_number,
        previous=sheet.previous_build,
        started=sheet.started.isoformat() if sheet.started else None,
        finished=sheet.finished.isoformat() if sheet.finished else None,
        delivered=delivered.isoformat() if delivered else None,
        is_open=sheet.status not in ("finished", "withdrawn"),
        reason=str(sheet.returned_for.reason) if sheet.returned_for else None,
        reason_text=sheet.returned_for.text if sheet.returned_for else None,
        hours=since.hours if since else None,
        hours_step=0.1 if since and since.hours is not None and since.hours % 1 else 1.0,
        distance=since.distance.si if since and since.distance else None,
        distance_step=since.distance.step if since and since.distance else 0.0,
        distance_unit=since.distance.unit if since and since.distance else "km",
        starts=since.starts if since else None,
        readings=tuple(_readings(build, shop)),
        condition=tuple(
            EngineCondition(item.part, item.at, _word(item.grade), item.found, _word(item.outcome))
            for item in (build.returned.condition if build.returned else ())
        ),
        services=tuple(_service(entry) for entry in (service.entries if service else ())),
        events=tuple(
            EngineEvent(
                item.when.isoformat(),
                str(item.kind),
                item.what,
                item.hours,
                item.distance.si if item.distance else None,
            )
            for item in (service.events if service else ())
        ),
    )


def engine_entry(build: Build, shop: Shop) -> EngineEntry | None:
    """Return a build as the checks of its engine read it; None without an engine number."""
    engine = engine_build(build, shop)
    sheet = build.build.engine
    return EngineEntry(build.slug, engine, sheet.cylinders, str(sheet.cycle)) if engine is not None else None


def _word(choice: str | None) -> str | None:
    return None if choice is None else str(choice)


def _readings(build: Build, shop: Shop) -> Iterator[EngineReading]:
    """Yield every reading that was measured, or taken as the engine came back."""
    for name in _WEARING:
        part = getattr(build, name)
        for item in field_values(part) if part is not None else ():
            value = item.value
            if not isinstance(value, Reading) or not (value.is_measured or value.returned):
                continue
            if (path := _path(build, name, item)) is not None:
                yield _reading(path, value, item.notes.axis, shop)
    for name in _BEFORE_APART:
        reading = getattr(build.returned, name, None)
        if reading is not None and reading.measured:
            yield _reading(f"returned.{name}", Reading(reading.dimension, returned=reading.measured), None, shop)


def _path(build: Build, document: str, item: FieldValue) -> str | None:
    """Return the path of a reading, with the name of an entry in place of its number; None for one without a name."""
    steps, value = [document], getattr(build, document)
    for step in item.location:
        if not isinstance(step, int):
            value = getattr(value, step)
            steps.append(step)
            continue
        value = value[step]
        name = getattr(value, "name", None) or getattr(value, "joint", None)
        if name is None:
            return None
        steps.append(name.replace(".", " "))
    return ".".join(steps)


def _reading(path: str, reading: Reading, axis: str | None, shop: Shop) -> EngineReading:
    built = reading.preferred if reading.is_measured else ()
    recorded = (*built, *reading.returned)
    as_returned = reading.as_returned
    return EngineReading(
        path=path,
        dimension=reading.dimension,
        unit=recorded[0].unit,
        step=_short(max(rounding_of(quantity) for quantity in recorded)),
        axis=axis,
        built=tuple(_short(float(value)) for value in reading.values) if built else (),
        returned=tuple(_short(quantity.si) for quantity in reading.returned),
        built_uncertainty=_short(reading_uncertainty(reading, shop), 5) if built else 0.0,
        returned_uncertainty=_short(reading_uncertainty(as_returned, shop), 5) if as_returned is not None else 0.0,
        minimum=_short(reading.minimum.si) if reading.minimum else None,
        maximum=_short(reading.maximum.si) if reading.maximum else None,
        is_uncertainty_stated=reading.resolution is not None or reading.instrument is not None,
    )


def reading_uncertainty(reading: Reading, shop: Shop) -> float:
    """Return the standard uncertainty of each value of a reading [SI], from its instrument and its last digit.

    The resolution is the one stated with the reading, else the instrument's, else one in the last digit written; the
    instrument's certificate adds to it, and so does the scatter of repeats. Source: JCGM 100, 5.1.2 and F.2.2.1.
    """
    instrument, mean = instrument_of(shop, reading.instrument), float(reading.values.mean())
    shown = difference_in(instrument.resolution, reading.dimension, mean) if instrument else None
    last_digit = max(rounding_of(quantity) for quantity in reading.preferred)
    step = reading.resolution.si if reading.resolution else shown or last_digit
    parts = [
        float(uncertainty.from_resolution(step)),
        certificate_uncertainty(instrument, reading.dimension, mean) or 0.0,
    ]
    if not reading.measured and len(reading.repeats) > 1:
        parts.append(float(uncertainty.from_repeats([quantity.si for quantity in reading.repeats])))
    return math.hypot(*parts)


def _short(value: float, digits: int = 9) -> float:
    """Return a number with so many digits, for an index that stays small; no gauge shows nine."""
    return float(f"{value:.{digits}g}")


def _service(entry: ServiceEntry) -> EngineService:
    oil = entry.oil_analysis
    return EngineService(
        when=entry.when.isoformat(),
        what=entry.what,
        hours=entry.hours,
        distance=entry.distance.si if entry.distance else None,
        leak_down=_values(entry.leak_down),
        cranking_compression=_values(entry.cranking_compression),
        oil_pressure=float(entry.oil_pressure.values.mean()) if entry.oil_pressure else None,
        plug_color=entry.plug_color,
        hours_on_oil=oil.hours_on_oil if oil else None,
        elements=oil.elements.model_dump(exclude_none=True) if oil and oil.elements else {},
        note=entry.note,
    )


def _values(reading: Reading | None) -> tuple[float, ...]:
    return tuple(float(value) for value in reading.values) if reading is not None else ()
