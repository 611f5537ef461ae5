"""The top of a build's page: what it is and what it made, in words and numbers a customer understands."""

from __future__ import annotations

from dataclasses import dataclass

from builder.figures.figure import Figure, FigureSheet
from builder.record.build import Build

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
    small: str
    slug: str


def headline(build: Build, sheet: FigureSheet) -> tuple[Headline, ...]:
    """The numbers a customer asks for first, as far as the record has them."""
    found = []
    for slug, title, speed_slug in _HEADLINES:
        figure = sheet.get(slug)
        if figure is None:
            continue
        number, unit = _split(figure)
        speed = sheet.get(speed_slug) if speed_slug else None
        small = [f"at {speed.display}"] if speed else []
        if figure.beside:
            small.append(figure.beside)
        found.append(Headline(title, number, unit, " · ".join(small), slug))
    return tuple(found)


def _split(figure: Figure) -> tuple[str, str]:
    if figure.display.endswith(":1"):
        return figure.display.removesuffix(":1"), ": 1"
    number, _, unit = figure.display.partition("\N{NO-BREAK SPACE}")
    return number, unit


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


def facts(build: Build, sheet: FigureSheet) -> tuple[str, ...]:
    """A line of short facts below the title."""
    engine, sheet_ = build.build.engine, build.build
    fuel: str | None = engine.fuel.kind if engine.fuel else None
    if fuel and engine.fuel and engine.fuel.octane:
        fuel = f"{fuel}, {engine.fuel.octane}"
    parts = (
        sheet_.family,
        kind_of_engine(build),
        f"for {sheet_.purpose}" if sheet_.purpose else None,
        engine.fuelling,
        engine.induction if engine.induction not in (None, "natural") else None,
        fuel,
        f"finished {sheet_.finished.isoformat()}" if sheet_.finished else None,
        f"build {sheet_.number}" if sheet_.number else None,
    )
    return tuple(part for part in parts if part)
