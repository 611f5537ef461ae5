"""Check plausibility: slipped decimals and mixed-up units, as warnings with what was probably meant."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

from builder.record.models.build import DOCUMENTS, Build
from builder.record.models.fields import Notes
from builder.record.problem import Problem
from builder.record.quantities.digits import is_above, is_below
from builder.record.quantities.readings import Reading
from builder.record.quantities.units import NUMBER, Quantity, factor
from builder.record.traversal import FieldValue, field_values
from builder.record.usual_units import plausible_limits, usual_units
from builder.record.validation_errors import location_text

# Listed and measured values with a larger ratio are more likely a slip of the pen than a wrong part. A clearance may
# well be twice what the sheet says; a bore may not.
_MAX_DIMENSION_RATIO = 1.5
_MAX_CLEARANCE_RATIO = 5.0
_LARGEST_CLEARANCE = 5e-3  # m


def check_plausibility(build: Build) -> list[Problem]:
    """Return warnings for values that no ordinary engine has, with what was probably meant."""
    problems: list[Problem] = []
    for name in DOCUMENTS:
        part = getattr(build, name)
        for item in field_values(part) if part is not None else ():
            for message, step in _messages(item):
                path = ".".join(map(str, (name, *item.location, *step)))
                text = f"{location_text(item.location)}: {message}"
                problems.append(Problem(*build.where(path), text, "warning", (path,)))
    for check in (_rod_ratio, _levels):
        problems += [Problem(*build.where(path), message, "warning", (path,)) for path, message in check(build)]
    return problems


# Units that are of another size on the other side of the Atlantic: read as US measure.
_US_MEASURES = re.compile(
    r"(?:(?:lbs?/)?(?:gals?|gallons?)(?:/hr?|/min)?|gp[hm]|qts?|quarts?|pts?|pints?|fl oz)", re.IGNORECASE
)


def us_measures(build: Build) -> list[Problem]:
    """Return a warning for every gallon, quart and pint that does not say US or imperial, for a shop in UK English."""
    problems: list[Problem] = []
    for name in DOCUMENTS:
        part = getattr(build, name)
        for item in field_values(part) if part is not None else ():
            for quantity, step in _values(item.value):
                if _US_MEASURES.fullmatch(quantity.unit):
                    imperial = (
                        quantity.unit.replace("lb/", "lb/imp ") if "/" in quantity.unit else f"imp {quantity.unit}"
                    )
                    message = (
                        f"{quantity.text} is read as US measure: write {quantity.number} {imperial} if it is imperial"
                    )
                    source = build.where(".".join(map(str, (name, *item.location, *step))))
                    problems.append(Problem(*source, f"{location_text(item.location)}: {message}", "warning"))
    return problems


def _messages(item: FieldValue) -> Iterator[tuple[str, tuple[str | int, ...]]]:
    """Yield what is implausible about a value, and the location of that below it."""
    values = list(_values(item.value))
    if item.notes.plausible_range and values:
        minimum, maximum = plausible_limits(item.notes, values[0][0].dimension) or (-math.inf, math.inf)
        for quantity, step in values:
            if not _is_within(quantity, minimum, maximum):
                some_fit = any(_is_within(value, minimum, maximum) for value, _ in values)
                yield _outside(item.notes, quantity, minimum, maximum, unit_is_right=some_fit), step
                return
    if isinstance(item.value, Reading):
        yield from _far_apart(item.value)


def _values(value: object) -> Iterator[tuple[Quantity, tuple[str | int, ...]]]:
    if isinstance(value, Quantity):
        yield value, ()
    elif isinstance(value, float):
        yield Quantity(value, f"{value:.10g}", "", NUMBER), ()
    elif isinstance(value, Reading):
        if value.listed is not None:
            yield value.listed, ("listed",)
        for key in ("measured", "repeats", "returned"):
            for index, quantity in enumerate(getattr(value, key)):
                yield quantity, (key, index)


def _far_apart(reading: Reading) -> Iterator[tuple[str, tuple[str | int, ...]]]:
    listed = reading.listed
    yield from _far_from_returned(reading)
    if listed is None or listed.dimension == "temperature":
        return
    small = listed.dimension == "length" and abs(listed.si) < _LARGEST_CLEARANCE
    ratio = _MAX_CLEARANCE_RATIO if small else _MAX_DIMENSION_RATIO
    for index, measured in enumerate(reading.measured):
        if listed.si * measured.si > 0 and not 1 / ratio <= measured.si / listed.si <= ratio:
            message = f"measured {measured.text} is far from listed {listed.text}"
            yield f"{message}: look for a slipped decimal or a wrong unit", ("measured", index)
            return


def _far_from_returned(reading: Reading) -> Iterator[tuple[str, tuple[str | int, ...]]]:
    """Yield the first reading as returned that is another size than the part it is of."""
    known = reading.preferred
    if not known or reading.dimension != "length" or abs(known[0].si) < _LARGEST_CLEARANCE:
        return
    for index, returned in enumerate(reading.returned):
        if (
            known[0].si * returned.si > 0
            and not 1 / _MAX_DIMENSION_RATIO <= returned.si / known[0].si <= _MAX_DIMENSION_RATIO
        ):
            message = f"{returned.text} as returned is far from {known[0].text}"
            yield f"{message}: look for a slipped decimal or a wrong unit", ("returned", index)
            return


def _is_within(quantity: Quantity, minimum: float, maximum: float) -> bool:
    return not is_below(quantity.si, minimum, quantity.step) and not is_above(quantity.si, maximum, quantity.step)


def _outside(notes: Notes, quantity: Quantity, minimum: float, maximum: float, *, unit_is_right: bool) -> str:
    guesses = _probably_meant(notes, quantity, minimum, maximum)
    if unit_is_right:  # other positions, in the same unit, are plausible
        guesses = guesses[:1]
    hint = f"was {' or '.join(guesses)} meant?" if guesses else "look for a slipped decimal or a wrong unit"
    ends = " to ".join(notes.plausible_range or ())
    return f"{quantity.text} is outside what engines have ({ends}): {hint}"


def _probably_meant(notes: Notes, quantity: Quantity, minimum: float, maximum: float) -> list[str]:
    """Return the value with its decimal point moved, or with another unit of its kind, where that is plausible."""
    number = float(quantity.number)
    guesses: list[str] = []
    if quantity.dimension != "temperature":
        for slip in (0.1, 10.0, 0.01, 100.0, 0.001, 1000.0):
            if minimum <= quantity.si * slip <= maximum:
                guesses.append(f"{number * slip:.10g} {quantity.unit}".rstrip())
                break
    if quantity.dimension != NUMBER:
        for unit in usual_units(notes, quantity.dimension):
            scale, offset = factor(unit, quantity.dimension)
            if unit != quantity.unit and minimum <= number * scale + offset <= maximum:
                guesses.append(f"{quantity.number} {unit}")
                break
    if not guesses and quantity.si < 0 and minimum <= -quantity.si <= maximum:
        guesses.append(f"{quantity.number.lstrip('-')} {quantity.unit}".rstrip())
    return guesses


def _mean(build: Build, path: str) -> float | None:
    reading = build.get(path)
    return float(reading.values.mean()) if isinstance(reading, Reading) and reading.preferred else None


def _rod_ratio(build: Build) -> Iterator[tuple[str, str]]:
    path = "bottom_end.rods.length"
    length, stroke = _mean(build, path), _mean(build, "bottom_end.crankshaft.stroke")
    if not length or not stroke or 1.15 <= length / stroke <= 3.5:
        return
    ratio = length / stroke
    hint = "are the two swapped?" if 1.15 <= 1 / ratio <= 3.5 else "look at both lengths and their units"
    yield path, f"rod length over stroke is {ratio:.2f}; engines have 1.3 to 2.5: {hint}"


def _levels(build: Build) -> Iterator[tuple[str, str]]:
    """Report levels of one setting in different kinds of unit."""
    firsts: dict[str, Quantity] = {}
    for index, pull in enumerate(build.pulls):
        if pull.setting is None:
            continue
        first = firsts.setdefault(pull.setting.name.casefold(), pull.setting.level)
        if pull.setting.level.dimension != first.dimension:
            message = (
                f"{pull.name}: {pull.setting.name} at {pull.setting.level.text} cannot be compared with "
                f"{first.text} of an earlier pull, and is left out: write both in the same kind of unit"
            )
            yield f"dyno.pulls.{index}.setting.level", message
