"""The top of a build's page: the engine, its headline numbers and its performance, in words a customer understands."""

from __future__ import annotations

from dataclasses import dataclass

from builder.engine.correction import STANDARDS
from builder.figures.core import display_units as units
from builder.figures.core.display_units import join_unit, written_text
from builder.figures.core.types import FigureSheet
from builder.figures.dyno.engine_state import StatePeak
from builder.publish.pages.formatting import format_date, group_thousands
from builder.record.models.build import Build
from builder.record.quantities.readings import as_written
from builder.record.wording import plain_spaces

_HEADLINES = (
    ("peak_power", "Peak power", "peak_power_speed"),
    ("peak_torque", "Peak torque", "peak_torque_speed"),
    ("displacement", "Displacement", None),
    ("compression_ratio", "Compression", None),
)
"""Slug and title of each headline, and the figure of the speed it belongs to."""


@dataclass(frozen=True)
class Headline:
    """One headline number."""

    title: str
    number: str
    unit: str
    notes: tuple[str, ...]
    """Short texts below the number: its uncertainty, its speed, its range over the cylinders, the other system."""
    slug: str


def headline(sheet: FigureSheet) -> tuple[Headline, ...]:
    """Return the numbers a customer asks for first, as far as the record has them."""
    headlines = []
    for slug, title, speed_slug in _HEADLINES:
        figure = sheet.get(slug)
        if figure is None:
            continue
        speed = sheet.get(speed_slug) if speed_slug else None
        unit = "" if figure.unit == ":1" else figure.unit
        notes = [f"± {join_unit(figure.uncertainty_text, unit)}"] if figure.uncertainty_text else []
        if speed:
            notes.append(f"at {group_thousands(speed.display)}")
        if figure.range_text:
            notes.append(group_thousands(figure.range_text))
        if figure.alternate_text:
            notes.append(group_thousands(figure.alternate_text))
        headlines.append(Headline(title, group_thousands(figure.number), unit or ": 1", tuple(notes), slug))
    return tuple(headlines)


def performance_sentence(sheet: FigureSheet) -> str:
    """Return the peaks of the engine as delivered in one sentence; empty without a session."""
    session = sheet.session
    delivered = session.delivered if session else None
    power, torque = sheet.get("peak_power"), sheet.get("peak_torque")
    if session is None or delivered is None or power is None or torque is None:
        return ""
    peaks = group_thousands(
        f"{power.display} at {_speed_text(delivered.peak_power, sheet)}, "
        f"{torque.display} at {_speed_text(delivered.peak_torque, sheet)}"
    )
    standard = session.standard.name if session.is_corrected else "as logged, not corrected"
    repeats = f", mean of {len(delivered.pulls)} pulls" if len(delivered.pulls) > 1 else ""
    return f"As delivered: {peaks} ({standard}{repeats})."


def noted_sentence(build: Build, sheet: FigureSheet) -> str:
    """Return the peaks that the shop noted without a log; empty where a pull of the session counts."""
    noted = build.dyno.noted_result if build.dyno else None
    if noted is None or (sheet.session is not None and sheet.session.delivered is not None):
        return ""
    peaks = [
        written_text(value) + (f" at {written_text(speed)}" if speed else "")
        for value, speed in ((noted.power, noted.power_at), (noted.torque, noted.torque_at))
        if value is not None
    ]
    if not peaks:
        return ""
    standard = _standard_name(noted.correction)
    return f"Noted by the shop, no dyno log: {group_thousands(', '.join(peaks))} ({standard})."


def _standard_name(slug: str | None) -> str:
    standard = STANDARDS.get(slug or "")
    return standard.name if standard else slug or "correction not known"


def performance_sentences(build: Build, sheet: FigureSheet) -> tuple[str, ...]:
    """Return what the engine makes as delivered, what it made at best during testing, and what is assumed of that."""
    sentences = (
        performance_sentence(sheet) or noted_sentence(build, sheet),
        best_sentence(sheet),
        assumption_sentence(sheet),
    )
    return tuple(plain_spaces(text) for text in sentences if text)


def best_sentence(sheet: FigureSheet) -> str:
    """Return what the engine made at best during testing; empty where that is the delivered state."""
    best, power = sheet.session.best if sheet.session else None, sheet.get("peak_power")
    if best is None or power is None:
        return ""
    power_text = next(position.display for position in power.positions if position.label == best.label)
    peak = group_thousands(f"{power_text} at {_speed_text(best.peak_power, sheet)}")
    return f"Best during testing: {peak} ({best.label})."


def assumption_sentence(sheet: FigureSheet) -> str:
    """Return which state is assumed to be the delivered one; empty where the record says so or there is only one."""
    session = sheet.session
    delivered = session.delivered if session else None
    if session is None or delivered is None or not delivered.assumed or len(session.states) < 2:
        return ""
    return f"Assumed as delivered: the last pull, {delivered.last.name}. The record does not say which one it was."


def _speed_text(peak: StatePeak, sheet: FigureSheet) -> str:
    return units.SPEED.text(peak.speed, sheet.system)


_COUNT = {2: "twin", 3: "three", 4: "four", 5: "five", 6: "six", 8: "eight", 12: "twelve"}


def kind_of_engine(build: Build) -> str:
    """Return the kind of engine: `inline four`, `V8`, `single-cylinder two-stroke`."""
    engine = build.build.engine
    number = engine.cylinders
    count = _COUNT.get(number, number)
    text = {
        "single": "single-cylinder",
        "inline": f"inline {count}",
        "V": "V twin" if number == 2 else f"V{number}",
        "flat": f"flat {count}",
        "radial": f"{number}-cylinder radial",
    }.get(engine.layout or "", "single-cylinder" if number == 1 else f"{number} cylinders")
    if engine.cycle == "two-stroke":
        text += " two-stroke"
    if engine.ignition == "compression":
        text += " diesel" if engine.fuel is None or engine.fuel.kind == "diesel" else ", compression ignition"
    return text


def engine_type_words(build: Build) -> tuple[str, ...]:
    """Return family and kind of engine; the kind only where the family does not end with it."""
    family, kind = build.build.family, kind_of_engine(build)
    if family and family.casefold().endswith(kind.casefold()):
        return (family,)
    return (family, kind) if family else (kind,)


def facts(build: Build) -> tuple[str, ...]:
    """Return the short facts below the title."""
    identity = build.build
    engine = identity.engine
    fuel = as_written(engine.fuel.kind) if engine.fuel else None
    if fuel and engine.fuel and engine.fuel.octane:
        fuel = f"{fuel}, {engine.fuel.octane}"
    parts = (
        *engine_type_words(build),
        identity.purpose,
        as_written(engine.fuel_system) if engine.fuel_system else None,
        as_written(engine.induction) if engine.induction not in (None, "naturally aspirated") else None,
        fuel,
        f"finished {format_date(identity.finished)}" if identity.finished else None,
        f"build {identity.number}" if identity.number else None,
    )
    return tuple(part for part in parts if part)
