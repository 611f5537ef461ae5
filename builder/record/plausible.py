"""Plausibility: slipped decimals and mixed-up units, told as warnings with what was probably meant."""

from __future__ import annotations

from builder.record.build import DOCUMENTS, Build
from builder.record.problem import Problem
from builder.record.readings import NUMBER, Reading
from builder.record.units import DIMENSIONS, Quantity, factor, parse_quantity
from builder.record.walk import Held, held

# A listed and a measured value further apart than this are more likely a slip of the pen than a wrong part.
_LISTED_TO_MEASURED = 1.5


def implausible(build: Build) -> list[Problem]:
    """Warnings for values that no ordinary engine has, with what was probably meant."""
    problems: list[Problem] = []
    for name in DOCUMENTS:
        part = getattr(build, name)
        if part is None:
            continue
        for item in held(part):
            path, line = build.where(".".join(map(str, (name, *item.location))))
            problems += [Problem(path, line, message, "warning") for message in _messages(item)]
    return problems + _rod_ratio(build)


def _messages(item: Held) -> list[str]:
    if isinstance(item.value, Reading):
        quantities = [q for q in (item.value.listed, *item.value.measured, *item.value.repeats) if q is not None]
    elif isinstance(item.value, Quantity):
        quantities = [item.value]
    else:
        return []
    found = []
    if item.notes.likely:
        least, most = (_limit(end, quantities[0].dimension) if quantities else 0.0 for end in item.notes.likely)
        for quantity in quantities:
            if not least <= quantity.si <= most:
                found.append(_outside(item, quantity, least, most))
                break
    if isinstance(item.value, Reading) and item.value.listed and item.value.measured and not found:
        listed = item.value.listed
        for measured in item.value.measured:
            if listed.si * measured.si > 0:
                ratio = measured.si / listed.si
                if not 1 / _LISTED_TO_MEASURED <= ratio <= _LISTED_TO_MEASURED and listed.dimension != "temperature":
                    found.append(
                        f"{item.title}: measured {measured.text} is far from listed {listed.text}: "
                        "look for a slipped decimal or a wrong unit"
                    )
                    break
    return found


def _limit(text: str, dimension: str) -> float:
    return float(text) if dimension == NUMBER else parse_quantity(text, dimension).si


def _outside(item: Held, quantity: Quantity, least: float, most: float) -> str:
    low, high = item.notes.likely or ("", "")
    meant = _probably_meant(quantity, least, most)
    hint = f": was {meant} meant?" if meant else ": look for a slipped decimal or a wrong unit"
    return f"{item.title} of {quantity.text} is outside what engines have ({low} to {high}){hint}"


def _probably_meant(quantity: Quantity, least: float, most: float) -> str | None:
    """The reading with another unit of its kind, or with its decimal point moved, that would be likely."""
    if quantity.dimension == NUMBER:
        return None
    dimension = DIMENSIONS[quantity.dimension]
    for unit in (dimension.inch, dimension.metric):
        scale, offset = factor(unit, quantity.dimension)
        if unit != quantity.unit and least <= float(quantity.number) * scale + offset <= most:
            return f"{quantity.number} {unit}"
    if dimension.name == "temperature":
        return None
    for slip in (0.1, 10.0, 0.01, 100.0, 0.001, 1000.0):
        if least <= quantity.si * slip <= most:
            return f"{float(quantity.number) * slip:.10g} {quantity.unit}"
    return None


def _first(build: Build, path: str) -> float | None:
    reading = build.get(path)
    return float(reading.values[0]) if isinstance(reading, Reading) and reading.best else None


def _rod_ratio(build: Build) -> list[Problem]:
    length, stroke = _first(build, "bottom_end.rods.length"), _first(build, "bottom_end.crankshaft.stroke")
    if not length or not stroke or 1.15 <= length / stroke <= 3.5:
        return []
    path, line = build.where("bottom_end.rods.length")
    return [
        Problem(
            path,
            line,
            f"rod length over stroke is {length / stroke:.2f}; engines have 1.3 to 2.5: "
            "look at both lengths and their units",
            "warning",
        )
    ]
