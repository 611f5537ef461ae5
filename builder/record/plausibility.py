"""Plausibility: slipped decimals and mixed-up units, told as warnings with what was probably meant."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

from builder.record.models.build import DOCUMENTS, Build
from builder.record.problem import Problem
from builder.record.quantities.readings import NUMBER, Reading
from builder.record.quantities.units import DIMENSIONS, Quantity, factor, parse_quantity
from builder.record.traversal import FieldValue, held
from builder.record.validation_errors import place

# Listed and measured further apart than this are more likely a slip of the pen than a wrong part. A clearance may
# well be twice what the sheet says; a bore may not.
_DIMENSION_APART = 1.5
_CLEARANCE_APART = 5.0
_LARGEST_CLEARANCE = 5e-3  # m


def implausible(build: Build) -> list[Problem]:
    """Warnings for values that no ordinary engine has, with what was probably meant."""
    problems: list[Problem] = []
    for name in DOCUMENTS:
        part = getattr(build, name)
        for item in held(part) if part is not None else ():
            for message, step in _messages(item):
                path, line = build.where(".".join(map(str, (name, *item.location, *step))))
                problems.append(Problem(path, line, f"{place(item.location)}: {message}", "warning"))
    for where, message in (
        *_rod_ratio(build),
        *_one_inside_the_other(build),
        *_gauged_bores(build),
        *_levels(build),
    ):
        path, line = build.where(where)
        problems.append(Problem(path, line, message, "warning"))
    return problems


def _messages(item: FieldValue) -> Iterator[tuple[str, tuple[str | int, ...]]]:
    """What is odd about a value, and the step below it where that stands."""
    values = list(_values(item.value))
    if item.notes.plausible_range and values:
        least, most = (_limit(end, values[0][0].dimension) for end in item.notes.plausible_range)
        for quantity, step in values:
            if not least <= quantity.si <= most:
                others = any(least <= other.si <= most for other, _ in values)
                yield _outside(item.notes.plausible_range, quantity, least, most, unit_is_right=others), step
                return
    if isinstance(item.value, Reading):
        yield from _far_apart(item.value)


def _values(value: object) -> Iterator[tuple[Quantity, tuple[str | int, ...]]]:
    if isinstance(value, Quantity):
        yield value, ()
    elif isinstance(value, Reading):
        if value.listed is not None:
            yield value.listed, ("listed",)
        for key in ("measured", "repeats"):
            for index, quantity in enumerate(getattr(value, key)):
                yield quantity, (key, index)


def _far_apart(reading: Reading) -> Iterator[tuple[str, tuple[str | int, ...]]]:
    listed = reading.listed
    if listed is None or listed.dimension == "temperature":
        return
    small = listed.dimension == "length" and abs(listed.si) < _LARGEST_CLEARANCE
    apart = _CLEARANCE_APART if small else _DIMENSION_APART
    for index, measured in enumerate(reading.measured):
        if listed.si * measured.si > 0 and not 1 / apart <= measured.si / listed.si <= apart:
            message = f"measured {measured.text} is far from listed {listed.text}"
            yield f"{message}: look for a slipped decimal or a wrong unit", ("measured", index)
            return


@cache
def _limit(text: str, dimension: str) -> float:
    return float(text) if dimension == NUMBER else parse_quantity(text, dimension).si


def _outside(likely: tuple[str, str], quantity: Quantity, least: float, most: float, *, unit_is_right: bool) -> str:
    meant = _probably_meant(quantity, least, most)
    if unit_is_right:  # the readings beside it, in the same unit, are likely ones
        meant = meant[:1]
    hint = f"was {' or '.join(meant)} meant?" if meant else "look for a slipped decimal or a wrong unit"
    return f"{quantity.text} is outside what engines have ({likely[0]} to {likely[1]}): {hint}"


def _probably_meant(quantity: Quantity, least: float, most: float) -> list[str]:
    """The reading with its decimal point moved, or with another unit of its kind, where that would be likely."""
    number = float(quantity.number)
    meant: list[str] = []
    if quantity.dimension != "temperature":
        for slip in (0.1, 10.0, 0.01, 100.0, 0.001, 1000.0):
            if least <= quantity.si * slip <= most:
                meant.append(f"{number * slip:.10g} {quantity.unit}".rstrip())
                break
    if quantity.dimension != NUMBER:
        dimension = DIMENSIONS[quantity.dimension]
        for unit in dict.fromkeys((dimension.inch, dimension.metric)):
            scale, offset = factor(unit, quantity.dimension)
            if unit != quantity.unit and least <= number * scale + offset <= most:
                meant.append(f"{quantity.number} {unit}")
                break
    if not meant and quantity.si < 0 and least <= -quantity.si <= most:
        meant.append(f"{quantity.number.lstrip('-')} {quantity.unit}".rstrip())
    return meant


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


_INSIDE = (
    ("bottom_end.crankshaft.main_journals", "bottom_end.block.main_bores", "main journals", "their housing bores"),
    ("bottom_end.crankshaft.rod_journals", "bottom_end.rods.big_end_bores", "crankpins", "the big-end bores"),
    ("bottom_end.block.bores", "top_end.gasket.bore", "the bores", "the gasket's bore"),
    ("bottom_end.pistons.diameter", "bottom_end.block.bores", "the pistons", "their bores"),
    ("bottom_end.block.standard_bore", "bottom_end.block.bores", "the bore when new", "the finished bores"),
    ("top_end.springs.solid_height", "top_end.springs.installed_height", "solid height", "the installed one"),
)  # fmt: skip


def _one_inside_the_other(build: Build) -> Iterator[tuple[str, str]]:
    for inner, outer, what, around in _INSIDE:
        small, large = _mean(build, inner), _mean(build, outer)
        # A bore worn or measured cold may read a hair under nominal; that is no slip of the pen.
        if small is not None and large is not None and small > large * 1.0005:
            shown = build.get(inner).preferred[0].text, build.get(outer).preferred[0].text
            yield (
                outer,
                f"{around} ({shown[1]}) should not be less than {what} ({shown[0]}): look at both and their units",
            )


def _gauged_bores(build: Build) -> Iterator[tuple[str, str]]:
    """The bore gauge card against the bores in the bottom end."""
    card = build.work.bore_gauging if build.work else None
    bore = _mean(build, "bottom_end.block.bores")
    if card is None or bore is None:
        return
    scale, _ = factor(card.unit, "length")
    for index, cylinder in enumerate(card.cylinders):
        for row, depth in enumerate(cylinder.depths):
            for axis in ("across", "along"):
                read = getattr(depth, axis)
                if not 0.97 <= read * scale / bore <= 1.03:
                    where = f"work.bore_gauging.cylinders.{index}.depths.{row}.{axis}"
                    expected = f"{bore / scale:.4g} {card.unit}"
                    message = f"gauged {read:g} {card.unit}, but the bores in bottom_end.yaml are {expected}"
                    yield where, f"{message}: look for a slipped decimal or a wrong unit"
                    return


def _levels(build: Build) -> Iterator[tuple[str, str]]:
    """Levels of one setting go together only in one kind of unit."""
    firsts: dict[str, Quantity] = {}
    for index, pull in enumerate(build.pulls):
        if pull.setting is None:
            continue
        first = firsts.setdefault(pull.setting.name.casefold(), pull.setting.level)
        if pull.setting.level.dimension != first.dimension:
            message = (
                f"{pull.name}: {pull.setting.name} at {pull.setting.level.text} cannot be set beside "
                f"{first.text} of an earlier pull, and is left out: write both in the same kind of unit"
            )
            yield f"dyno.pulls.{index}.setting.level", message
