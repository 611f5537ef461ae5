"""The top of a build's page: the engine, its headline numbers and its performance, in words a customer understands."""

from __future__ import annotations

from dataclasses import dataclass

from builder.figures.core import display_units
from builder.figures.core.types import FigureSheet
from builder.publish.pages.formatting import format_date, group_thousands
from builder.record.models.build import Build

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
    """Short texts below the number: its speed, the other system of units, its uncertainty."""
    slug: str


def headline(sheet: FigureSheet) -> tuple[Headline, ...]:
    """Return the numbers a customer asks for first, as far as the record has them."""
    headlines = []
    for slug, title, speed_slug in _HEADLINES:
        figure = sheet.get(slug)
        if figure is None:
            continue
        speed = sheet.get(speed_slug) if speed_slug else None
        notes = [f"at {group_thousands(speed.display)}"] if speed else []
        if figure.alternate_text:
            notes.append(group_thousands(figure.alternate_text))
        if figure.uncertainty_text:
            notes.append(f"± {figure.uncertainty_text}")
        unit = ": 1" if figure.unit == ":1" else figure.unit
        headlines.append(Headline(title, group_thousands(figure.number), unit, tuple(notes), slug))
    return tuple(headlines)


def performance_sentence(sheet: FigureSheet) -> str:
    """Return a sentence on peak power, peak torque and the pull they come from; empty without a session."""
    power, torque, session = sheet.get("peak_power"), sheet.get("peak_torque"), sheet.session
    if session is None or session.best is None or (power is None and torque is None):
        return ""
    peaks = []
    for figure, speed in ((power, sheet.get("peak_power_speed")), (torque, sheet.get("peak_torque_speed"))):
        if figure is not None:
            alternate = f" ({figure.alternate_text})" if figure.alternate_text else ""
            at_speed = f" at {speed.display}" if speed else ""
            peaks.append(group_thousands(f"{figure.display}{alternate}{at_speed}"))
    text = f"It made {' and '.join(peaks)}"
    text += f", corrected to {session.standard.name}" if session.corrected else ", as read on the day, not corrected"
    count, last = len(session.counted), session.counted[-1]
    if count < 2:
        return f"{text}."
    text += f": the best of {count} pulls, {session.best.name}."
    if last is not session.best:
        peak = group_thousands(display_units.POWER.text(last.peaks.power.value, sheet.system))
        text += f" The last pull, {last.name}, made {peak}."
    return text


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
    }.get(engine.layout or "", f"{number} cylinders")
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
    fuel: str | None = engine.fuel.kind if engine.fuel else None
    if fuel and engine.fuel and engine.fuel.octane:
        fuel = f"{fuel}, {engine.fuel.octane}"
    parts = (
        *engine_type_words(build),
        identity.purpose,
        engine.fuelling,
        engine.induction if engine.induction not in (None, "natural") else None,
        fuel,
        f"finished {format_date(identity.finished)}" if identity.finished else None,
        f"build {identity.number}" if identity.number else None,
    )
    return tuple(part for part in parts if part)
