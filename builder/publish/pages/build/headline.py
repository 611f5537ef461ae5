"""The top of a build's page: what it is and what it made, in words and numbers a customer understands."""

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


@dataclass(frozen=True)
class Headline:
    """One number set large."""

    title: str
    number: str
    unit: str
    notes: tuple[str, ...]
    """What stands small below it."""
    slug: str


def headline(build: Build, sheet: FigureSheet) -> tuple[Headline, ...]:
    """The numbers a customer asks for first, as far as the record has them."""
    found = []
    for slug, title, speed_slug in _HEADLINES:
        figure = sheet.get(slug)
        if figure is None:
            continue
        speed = sheet.get(speed_slug) if speed_slug else None
        small = [f"at {group_thousands(speed.display)}"] if speed else []
        if figure.alternate_text:
            small.append(group_thousands(figure.alternate_text))
        if figure.uncertainty_text:
            small.append(f"± {figure.uncertainty_text}")
        unit = ": 1" if figure.unit == ":1" else figure.unit
        found.append(Headline(title, group_thousands(figure.number), unit, tuple(small), slug))
    return tuple(found)


def performance_sentence(sheet: FigureSheet) -> str:
    """One plain sentence on what the brake said, or nothing."""
    power, torque, session = sheet.get("peak_power"), sheet.get("peak_torque"), sheet.session
    if session is None or session.best is None or (power is None and torque is None):
        return ""
    parts = []
    for figure, speed in ((power, sheet.get("peak_power_speed")), (torque, sheet.get("peak_torque_speed"))):
        if figure is not None:
            beside = f" ({figure.alternate_text})" if figure.alternate_text else ""
            at = f" at {speed.display}" if speed else ""
            parts.append(group_thousands(f"{figure.display}{beside}{at}"))
    said = f"It made {' and '.join(parts)}"
    said += f", corrected to {session.standard.name}" if session.corrected else ", as read on the day, not corrected"
    count, last = len(session.counted), session.counted[-1]
    if count < 2:
        return f"{said}."
    said += f": the best of {count} pulls, {session.best.name}."
    if last is not session.best:
        peak = group_thousands(display_units.POWER.text(last.peaks.power.value, sheet.system))
        said += f" The last pull, {last.name}, made {peak}."
    return said


_LAYOUT = {
    "single": "single-cylinder",
    "inline": "inline {}",
    "V": "V{}",
    "flat": "flat {}",
    "radial": "{}-cylinder radial",
}
_COUNT = {2: "twin", 3: "three", 4: "four", 5: "five", 6: "six", 8: "eight", 12: "twelve"}


def kind_of_engine(build: Build) -> str:
    """The engine in the trade's words: `inline four`, `V8`, `single-cylinder two-stroke`."""
    engine = build.build.engine
    if engine.layout == "V":
        words = f"V{engine.cylinders}" if engine.cylinders != 2 else "V twin"
    elif engine.layout in ("inline", "flat"):
        words = f"{engine.layout} {_COUNT.get(engine.cylinders, engine.cylinders)}"
    elif engine.layout:
        words = _LAYOUT[engine.layout].format(engine.cylinders)
    else:
        words = f"{engine.cylinders} cylinders"
    if engine.cycle == "two-stroke":
        words += " two-stroke"
    if engine.ignition == "compression":
        words += " diesel" if engine.fuel is None or engine.fuel.kind == "diesel" else ", compression ignition"
    return words


def engine_type_words(build: Build) -> tuple[str, ...]:
    """Family and kind of engine, the kind only where the family does not say it already."""
    family, kind = build.build.family, kind_of_engine(build)
    if family and family.casefold().endswith(kind.casefold()):
        return (family,)
    return (family, kind) if family else (kind,)


def facts(build: Build, sheet: FigureSheet) -> tuple[str, ...]:
    """A line of short facts below the title."""
    engine, sheet_ = build.build.engine, build.build
    fuel: str | None = engine.fuel.kind if engine.fuel else None
    if fuel and engine.fuel and engine.fuel.octane:
        fuel = f"{fuel}, {engine.fuel.octane}"
    parts = (
        *engine_type_words(build),
        sheet_.purpose,
        engine.fuelling,
        engine.induction if engine.induction not in (None, "natural") else None,
        fuel,
        f"finished {format_date(sheet_.finished)}" if sheet_.finished else None,
        f"build {sheet_.number}" if sheet_.number else None,
    )
    return tuple(part for part in parts if part)
