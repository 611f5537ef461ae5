"""Cross-checks of part numbers, readings on parts, dates, and settings at delivery."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np

from builder.figures.review.cross_checks.comparison import Comparison, CrossChecks, Result, Statement, compare
from builder.figures.review.cross_checks.record_values import RecordValues
from builder.figures.review.discrepancies import input_of_check
from builder.record.models.dyno import Pull
from builder.record.models.parts import Part

define = CrossChecks()

_NOT_FITTED = ("returned", "scrapped")

# The first words of a part in parts.yaml, and the field that holds its number in the record of the engine.
_NUMBERED = (
    (re.compile(r"pistons?\b", re.I), "bottom_end.pistons.number"),
    (re.compile(r"(?:connecting )?rods?\b", re.I), "bottom_end.rods.number"),
    (re.compile(r"crank(?:shaft)?\b", re.I), "bottom_end.crankshaft.number"),
    (re.compile(r"block\b", re.I), "bottom_end.block.casting"),
    (re.compile(r"(?:piston )?rings?\b", re.I), "bottom_end.rings.number"),
    (re.compile(r"cam(?:shaft)?s?\b", re.I), "cam.card.number"),
    (re.compile(r"(?:lifters?|tappets?)\b", re.I), "cam.lifters.number"),
    (re.compile(r"(?:cylinder )?heads?(?!\s+gasket)\b", re.I), "top_end.heads.casting"),
    (re.compile(r"(?:cylinder )?head gaskets?\b", re.I), "top_end.gasket.number"),
    (re.compile(r"(?:valve )?springs?\b", re.I), "top_end.springs.number"),
    (re.compile(r"rockers?\b", re.I), "top_end.rockers.number"),
    (re.compile(r"injectors?\b", re.I), "top_end.induction.injectors.number"),
    (re.compile(r"(?:carburet(?:t?or|er)s?|carbs?|throttle bod(?:y|ies)|mixer)\b", re.I), "top_end.induction.number"),
    (re.compile(r"(?:intake|inlet) manifold(?=,|$)", re.I), "top_end.induction.manifold.number"),
    (re.compile(r"(?:distributor|magneto)(?=,|$)", re.I), "top_end.ignition.number"),
    (re.compile(r"(?:spark )?plugs?(?=,|$)", re.I), "top_end.plugs.number"),
    (re.compile(r"(?:exhaust )?headers?(?=,|$)", re.I), "top_end.exhaust.number"),
    (re.compile(r"oil pump(?=,|$)", re.I), "bottom_end.oil_system.number"),
    (re.compile(r"(?:water|coolant) pump(?=,|$)", re.I), "bottom_end.cooling_system.number"),
    (re.compile(r"timing (?:set|chain|belt|gears)(?=,|$)", re.I), "cam.drive.number"),
)  # fmt: skip


@define.check("part_numbers", "Part numbers")
def _part_numbers(record: RecordValues) -> Iterator[Statement]:
    """Yield the parts of the engine whose number is on none of the parts of that kind that were fitted."""
    by_field: dict[str, list[tuple[int, Part]]] = {}
    for index, part in enumerate(record.build.get("parts.parts") or ()):
        path = next((path for pattern, path in _NUMBERED if pattern.match(part.part)), None)
        if path is not None and part.number:
            by_field.setdefault(path, []).append((index, part))
    for path, parts in by_field.items():
        number = record.build.get(path)
        fitted = [(index, part) for index, part in parts if part.verdict not in _NOT_FITTED]
        if not number or not fitted or _plain(number) in {_plain(part.number or "") for _, part in fitted}:
            continue
        rejected = [part.part for _, part in parts if _plain(part.number or "") == _plain(number)]
        sentence = f"{number} in {path.partition('.')[0]}.yaml, {', '.join(p.number or '' for _, p in fitted)} in "
        sentence += "parts.yaml"
        if rejected:
            sentence += f"; {number} is the number of {rejected[0]}, which was not fitted"
        values = [record.recorded(path, number)]
        values += [
            record.recorded(f"parts.parts.{index}.number", part.number or "", part.part) for index, part in fitted
        ]
        yield Statement(sentence=sentence, values=tuple(values))


def _plain(number: str) -> str:
    return re.sub(r"[\s.\-_/]+", "", number).casefold()


@define.check("received", "Reading as received and in the engine")
def _received(record: RecordValues) -> Iterator[Comparison]:
    """Yield the readings of parts that fit as they came, where the record of the engine says something else."""
    inputs = record.context.registry.inputs
    for index, part in enumerate(record.build.get("parts.parts") or ()):
        if part.verdict != "fits":
            continue
        for number, check in enumerate(part.checked):
            name = input_of_check(part, check, inputs)
            if name is None or check.reading is None or not check.reading.is_measured:
                continue
            path = f"parts.parts.{index}.checked.{number}.reading"
            received = record.reading(check.reading, path, f"{part.part}, {check.what}")
            fitted = record.get(inputs[name].path)
            reading = record.build.get(inputs[name].path)
            if received is None or fitted is None or not reading.is_measured:
                continue
            if received.values.size != fitted.values.size:
                received, fitted = received.mean(), fitted.mean()
            within = "0.5 cc" if check.reading.dimension == "volume" else "0.03 mm"
            yield compare(("as received", received), "equals", ("in the engine", fitted), within=within)


@define.check("piston_as_received", "Pistons as received")
def _piston_as_received(record: RecordValues) -> Iterator[Comparison]:
    """Yield piston diameters that were checked on receipt and do not suit the bores."""
    bore = record.value("bottom_end.block.bores").mean()
    for index, part in enumerate(record.build.get("parts.parts") or ()):
        for number, check in enumerate(part.checked):
            name = input_of_check(part, check, record.context.registry.inputs)
            if part.verdict != "fits" or name != "piston_diameter" or check.reading is None:
                continue
            path = f"parts.parts.{index}.checked.{number}.reading"
            piston = record.reading(check.reading, path, f"{part.part}, {check.what}")
            if piston is not None:
                yield compare(("piston as received", piston.mean()), "at most", ("bore", bore))
                yield compare(("piston as received", piston.mean()), "at least", ("bore less 1 %", bore * 0.99))


@define.check("dates", "Dates")
def _dates(record: RecordValues) -> Iterator[Statement]:
    """Yield the pairs of dates that are in the wrong order."""
    days = tuple(_days(record))
    for early in days:
        for late in days:
            if late.kind in _LATER[early.kind] and late.day < early.day:
                yield Statement(
                    sentence=f"{late.name} {late.day} is before {early.name} {early.day}",
                    values=tuple(record.recorded(item.path, str(item.day), item.name) for item in (late, early)),
                )


_DayKind = Literal["start", "part", "operation", "dyno", "finish", "signature", "delivery"]
_LATER: dict[_DayKind, tuple[_DayKind, ...]] = {
    "start": ("operation", "dyno", "finish", "signature", "delivery"),
    "part": ("dyno", "delivery"),
    "operation": ("finish", "delivery"),
    "dyno": ("finish", "delivery"),
    "finish": ("delivery",),
    "signature": (),
    "delivery": (),
}
"""What cannot be before each kind of day. Parts may come before the block does, and a signature after delivery."""


@dataclass(frozen=True)
class _Day:
    kind: _DayKind
    path: str
    name: str
    day: datetime.date


def _days(record: RecordValues) -> Iterator[_Day]:
    """Yield every day of the record that has an order."""
    build = record.build
    days: list[tuple[_DayKind, str, str, datetime.date | None]] = [
        ("start", "build.started", "start", build.build.started),
        ("finish", "build.finished", "finish", build.build.finished),
        ("dyno", "dyno.date", "dyno session", build.get("dyno.date")),
        ("delivery", "delivery.delivered", "delivery", build.get("delivery.delivered")),
    ]
    for index, operation in enumerate(build.get("work.operations") or ()):
        days.append(("operation", f"work.operations.{index}.when", f"work {operation.what!r}", operation.when))
    for index, signed in enumerate(build.get("delivery.signed") or ()):
        days.append(("signature", f"delivery.signed.{index}.when", f"signature {signed.what!r}", signed.when))
    for index, part in enumerate(build.get("parts.parts") or ()):
        if part.verdict not in _NOT_FITTED:
            days.append(("part", f"parts.parts.{index}.received", f"receipt of {part.part}", part.received))
    for kind, path, name, day in days:
        if day is not None:
            yield _Day(kind, path, name, day)


# A setting at delivery, and how the shop's notes on pulls name it.
_TIMING = re.compile(r"(?:timing|advance)", re.I)
_INJECTION = re.compile(r"injection", re.I)
_JETS = re.compile(r"\bjets?\b", re.I)
_NEW_LEVEL = re.compile(r"(?P<before>\d+(?:\.\d+)?\s+)?(?:back\s+)?to\s+(?P<level>\d+(?:\.\d+)?)", re.I)


@define.check("settings", "Settings at delivery")
def _settings(record: RecordValues) -> Iterator[Result]:
    """Yield the settings at delivery that differ from those of the pull that shows the engine as delivered."""
    for path, pattern in (
        ("delivery.settings.total_timing", _TIMING),
        ("delivery.settings.injection_timing", _INJECTION),
    ):
        stated = record.get(path)
        level = _level_of(record, pattern)
        if stated is not None and level is not None:
            pull_path, text, number = level
            pulled = record.constant(pull_path, text, number, stated.show, "note on the pull")
            yield compare(("as delivered", stated), "equals", ("in the pull of that state", pulled), within="0.5 deg")
    if (logged := _logged_timing(record)) is not None:
        yield logged
    jets, level = record.build.get("delivery.settings.jets"), _level_of(record, _JETS)
    if jets and level is not None and f"{level[2]:g}" not in re.findall(r"\d+(?:\.\d+)?", jets):
        yield Statement(
            sentence=f"delivered with {jets}, pulled with {level[2]:g}",
            values=(
                record.recorded("delivery.settings.jets", jets),
                record.recorded(level[0], level[1], "note on the pull"),
            ),
        )


@define.check("advance_curve", "Total timing and distributor")
def _advance_curve(record: RecordValues) -> Iterator[Result]:
    """Yield total timing at delivery against idle timing and curve, and a curve that falls or passes its limit."""
    path = "top_end.distributor.curve"
    points = record.build.get(path) or ()
    for index, (low, high) in enumerate(pairwise(points)):
        if high.speed.si <= low.speed.si:
            yield Statement(
                sentence=f"speeds of the curve should increase: {high.speed.text} comes after {low.speed.text}",
                values=tuple(
                    record.recorded(f"{path}.{index + step}.speed", point.speed.text, f"point {index + step + 1}")
                    for step, point in enumerate((low, high))
                ),
            )
    limit = record.get("top_end.distributor.limit")
    if points and limit is not None:
        last = max(range(len(points)), key=lambda index: points[index].advance.si)
        most = record.value(f"{path}.{last}.advance")
        yield compare(("most advance of the curve", most), "at most", ("limit", limit), within="1 deg")
    stated = record.get("delivery.settings.total_timing")
    if stated is not None and record.build.get("delivery.settings.idle_timing") is not None and points:
        by_curve = record.figure("timing_by_curve")
        yield compare(("as delivered", stated), "equals", ("idle timing and curve", by_curve), within="1 deg")


def _level_of(record: RecordValues, pattern: re.Pattern[str]) -> tuple[str, str, float] | None:
    """Return path, text and number of a setting as delivered: by that pull's note, or those of the pulls before it."""
    pulls = record.build.pulls
    named = record.build.get("dyno.delivered")
    usable = [i for i, pull in enumerate(pulls) if not pull.left_out and named in (None, pull.name)]
    index = max(usable, default=-1)
    while index >= 0:
        pull = pulls[index]
        if pattern is _TIMING and pull.total_timing is not None:
            return f"dyno.pulls.{index}.total_timing", pull.total_timing.text, pull.total_timing.si
        if pull.setting is not None and pattern.search(pull.setting.name):
            path = f"dyno.pulls.{index}.setting.level"
            return path, pull.setting.level.text, pull.setting.level.si
        for part in re.split(r"[,;]| and ", pull.changed_text):
            if pattern.search(part) and (match := _NEW_LEVEL.search(part)):
                return f"dyno.pulls.{index}.changed", pull.changed_text, float(match["level"])
        index = _pull_before(pulls, index)
    return None


def _pull_before(pulls: tuple[Pull, ...], index: int) -> int:
    """Return the pull that another one started from: the one it names, else the one before it."""
    name = pulls[index].repeat_of or pulls[index].since
    return next((i for i in range(index) if pulls[i].name == name), index - 1)


def _logged_timing(record: RecordValues) -> Comparison | None:
    """Return total timing at delivery against the most advance that was logged in that state."""
    stated, state = record.get("delivery.settings.total_timing"), record.session.delivered if record.session else None
    pull = state.pulls[-1] if state is not None and state.pulls else None
    if stated is None or pull is None or "spark_advance" not in pull.channels:
        return None
    most = float(np.nanmax(pull.channels["spark_advance"]))
    path = f"dyno.pulls.{pull.index}.file"
    logged = record.constant(path, f"up to {most:.1f}°", most, stated.show, "logged advance")
    return compare(("as delivered", stated), "equals", ("logged in the delivered state", logged), within="1.5 deg")
