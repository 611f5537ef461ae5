"""What is written in one place is taken from there: bores, part numbers, timing as delivered and the serial number.

A field that was filled in stays as it is. Where both places are filled, `differences` compares makers and serial
numbers; the checks of the figures compare part numbers and readings, since they know how well each was read.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from builder.record.changes import with_value
from builder.record.models.build import Build
from builder.record.models.dyno import is_timing
from builder.record.models.parts import Part
from builder.record.models.work import BoreGauging
from builder.record.problem import Problem
from builder.record.quantities.readings import Reading
from builder.record.quantities.units import Quantity, parse_quantity


@dataclass(frozen=True, slots=True)
class Source:
    """A value of one field that another place of the record holds: the path of the field, of the source, the value."""

    path: str
    source: str
    value: Any


# Sections that name a maker and a part number: the field of the number, and what a shop calls the part.
_PARTS = {
    "bottom_end.crankshaft": ("number", "crankshaft, crank"),
    "bottom_end.rods": ("number", "connecting rods, rods, conrods"),
    "bottom_end.pistons": ("number", "pistons, piston"),
    "bottom_end.rings": ("number", "rings, piston rings, ring set"),
    "top_end.gasket": ("number", "head gasket, head gaskets, cylinder head gasket"),
    "top_end.springs": ("number", "valve springs, springs"),
    "top_end.rockers": ("number", "rockers, rocker arms"),
    "cam.card": ("number", "camshaft, cam"),
    "cam.lifters": ("number", "lifters, tappets, followers, cam followers"),
    "cam.drive": ("number", "timing set, timing chain, timing belt, timing gears, cam drive"),
    "bottom_end.oil_system": ("number", "oil pump"),
    "bottom_end.cooling_system": ("number", "water pump, coolant pump"),
    "top_end.induction.manifold": ("number", "intake manifold, inlet manifold, manifold"),
    "top_end.ignition": ("number", "distributor, magneto"),
    "top_end.plugs": ("number", "spark plugs, plugs"),
    "top_end.exhaust": ("number", "headers, exhaust headers, exhaust manifold, exhaust"),
}
_REJECTED = ("returned", "scrapped")


def with_taken_over(build: Build) -> Build:
    """Return the build with every empty field that another place fills, and the path that each was taken from."""
    taken: dict[str, str] = {}
    for item in sources(build):
        if build.get(item.path) is None:
            build = with_value(build, item.path, item.value)
            taken[item.path] = item.source
    build = dataclasses.replace(build, taken_from=taken) if taken else build
    for path, returned in _returned_readings(build):
        reading = build.get(path)
        if reading is None or not reading.returned:
            build = with_value(
                build, path, dataclasses.replace(reading or Reading(returned[0].dimension), returned=returned)
            )
    return build


def _returned_readings(build: Build) -> Iterator[tuple[str, tuple[Quantity, ...]]]:
    """Yield the path of each reading that was taken as the engine came back in a place of its own, and its values."""
    card = build.work.returned_bore_gauging if build.work else None
    if card is not None and (bores := _mean_bores(build, card)) is not None:
        yield "bottom_end.block.bores", bores.measured
    for name in ("leak_down", "cranking_compression"):
        reading = getattr(build.returned, name, None)
        if reading is not None and (reading.returned or reading.measured):
            yield f"assembly.checks.{name}", reading.returned or reading.measured


def differences(build: Build) -> list[Problem]:
    """Return a warning for every maker and serial number that two places of the record give differently."""
    problems = []
    for item in sources(build):
        own = build.get(item.path)
        if item.path.endswith(".number"):
            continue
        if isinstance(item.value, str) and own is not None and _plain(own) != _plain(item.value):
            file, line = build.where(item.source)
            field = item.path.partition(".")[2]
            message = f"{field} is {own!r} here and {item.value!r} in {file.name}:{line}: correct the one that is wrong"
            problems.append(Problem(*build.where(item.path), message, "warning"))
    return problems


def _plain(text: str) -> str:
    return "".join(text.split()).casefold()


def sources(build: Build) -> Iterator[Source]:
    """Yield every value that one place of the record has for a field in another."""
    yield from _gauged_bores(build)
    yield from _part_numbers(build)
    yield from _rated_flow(build)
    yield from _plugs(build)
    yield from _timing(build)
    yield from _serial(build)


def _gauged_bores(build: Build) -> Iterator[Source]:
    """Yield the mean bore of each cylinder on the gauge card, where the card has every cylinder."""
    card = build.work.bore_gauging if build.work else None
    if card is not None and (bores := _mean_bores(build, card)) is not None:
        yield Source("bottom_end.block.bores", "work.bore_gauging.cylinders", bores)


def _mean_bores(build: Build, card: BoreGauging) -> Reading | None:
    """Return the mean bore of each cylinder on a gauge card, None where the card lacks one."""
    by_cylinder = {bore.cylinder: bore for bore in card.cylinders}
    if sorted(by_cylinder) != list(range(1, build.cylinders + 1)):
        return None
    readings = {
        number: [reading for depth in bore.depths for reading in (depth.across, depth.along)]
        for number, bore in sorted(by_cylinder.items())
    }
    decimals = max(len(f"{reading!r}".partition(".")[2]) for each in readings.values() for reading in each)
    measured = tuple(
        parse_quantity(f"{sum(each) / len(each):.{decimals}f} {card.unit}", "length") for each in readings.values()
    )
    return Reading(
        "length",
        measured=measured,
        resolution=card.resolution,
        by=card.by,
        instrument=card.instrument,
        note="mean of the gauge card",
    )


def _part_numbers(build: Build) -> Iterator[Source]:
    """Yield maker and number of the one part of a kind that was received and not rejected."""
    received = [
        (f"parts.parts.{index}", part)
        for index, part in enumerate(build.parts.parts if build.parts else ())
        if part.verdict not in _REJECTED
    ]
    for section, (number_field, words) in _PARTS.items():
        names = [word.strip() for word in words.split(",")]
        parts = [(path, part) for path, part in received if part.part.casefold() in names]
        if len(parts) == 1 and (parts[0][1].number or parts[0][1].maker):
            yield from _maker_and_number(build, section, number_field, *parts[0])


def _maker_and_number(build: Build, section: str, number_field: str, path: str, part: Part) -> Iterator[Source]:
    maker, number = build.get(f"{section}.maker"), build.get(f"{section}.{number_field}")
    if part.maker and (number is None or _plain(number) == _plain(part.number or "")):
        yield Source(f"{section}.maker", f"{path}.maker", part.maker)
    if part.number and (maker is None or _plain(maker) == _plain(part.maker or "")):
        yield Source(f"{section}.{number_field}", f"{path}.number", part.number)


def _rated_flow(build: Build) -> Iterator[Source]:
    """Yield the rated flow of all carburetors together from that of one and their quantity."""
    carburetor = build.get("top_end.induction.carburetor")
    if carburetor is not None and carburetor.rated_flow is not None and carburetor.count is not None:
        one = carburetor.rated_flow
        decimals = len(one.number.partition(".")[2])
        total = parse_quantity(f"{float(one.number) * carburetor.count:.{decimals}f} {one.unit}", "volume flow")
        yield Source("top_end.induction.rated_flow", "top_end.induction.carburetor.rated_flow", total)


def _plugs(build: Build) -> Iterator[Source]:
    """Yield the spark plugs and their gap as settings at delivery."""
    plugs = build.get("top_end.plugs")
    if plugs is None or build.get("delivery.settings") is None:
        return
    if plugs.gap is not None:
        yield Source("delivery.settings.plug_gap", "top_end.plugs.gap", plugs.gap)
    plug = " ".join(filter(None, (plugs.maker, plugs.number))) or plugs.description
    if plug is not None and build.get("delivery.settings.plug") is None:
        source = "description" if plug == plugs.description else "number" if plugs.number else "maker"
        yield Source("delivery.settings.plug", f"top_end.plugs.{source}", plug)


def _timing(build: Build) -> Iterator[Source]:
    """Yield the spark advance that was set in the pull as delivered, where the record names that pull."""
    delivered = build.dyno.delivered if build.dyno else None
    for index, pull in enumerate(build.pulls):
        setting = pull.setting
        if delivered is None or pull.name != delivered:
            continue
        if pull.total_timing is not None:
            yield Source("delivery.settings.total_timing", f"dyno.pulls.{index}.total_timing", pull.total_timing)
        elif setting is not None and setting.level.dimension == "angle" and is_timing(setting.name):
            yield Source("delivery.settings.total_timing", f"dyno.pulls.{index}.setting.level", setting.level)


def _serial(build: Build) -> Iterator[Source]:
    """Yield the serial number of the engine from that of its block in the parts list."""
    blocks = [
        (index, part)
        for index, part in enumerate(build.parts.parts if build.parts else ())
        if part.part.casefold() in ("block", "engine block", "cylinder block", "engine")
        and part.verdict not in _REJECTED
    ]
    if len(blocks) == 1 and blocks[0][1].serial:
        yield Source("build.engine_serial", f"parts.parts.{blocks[0][0]}.serial", blocks[0][1].serial)
