"""Cross-checks of cam, valves, springs, rockers and flow bench."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise
from typing import Literal

import numpy as np

from builder.engine import valve_train
from builder.figures.core.display_units import STIFFNESS
from builder.figures.review.cross_checks.comparison import Comparison, CrossChecks, Result, Statement, compare
from builder.figures.review.cross_checks.operand import Operand, combine
from builder.figures.review.cross_checks.record_values import RecordValues
from builder.record.models.cam import Events
from builder.record.models.top_end import FlowPoint
from builder.record.quantities.units import Quantity, UnitProblem, parse_quantity

define = CrossChecks()

Side = Literal["intake", "exhaust"]
SIDES: tuple[Side, Side] = ("intake", "exhaust")

_WHEEL = "2 deg"
"""What a centerline by degree wheel differs by from the card of a lobe that is not symmetrical: common practice."""
_KEYWAY = "5 deg"
"""What cam, keyways and sprockets together are off by: common practice, no source."""
_DURATION = "3 deg"
_PUSHROD_LIFTERS = ("hydraulic flat tappet", "solid flat tappet", "hydraulic roller", "solid roller")


def _rocker_ratio(record: RecordValues, side: Side, *, listed: bool = False) -> Operand | None:
    for path in (f"top_end.rockers.{'exhaust_ratio' if side == 'exhaust' else 'ratio'}", "top_end.rockers.ratio"):
        ratio = (record.get(path, listed=True) if listed else None) or record.get(path)
        if ratio is not None:
            return ratio.mean()
    return None


@define.check("card_lift", "Lift on the cam card")
def _card_lift(record: RecordValues) -> Iterator[Comparison]:
    for side in SIDES:
        lobe, valve = (record.get(f"cam.card.{side}.{name}_lift") for name in ("lobe", "valve"))
        ratio = record.get(f"cam.card.{side}.rocker_ratio") or _rocker_ratio(record, side, listed=True)
        if lobe is not None and valve is not None and ratio is not None:
            product = lobe.mean() * ratio
            yield compare(
                (f"{side} valve lift", valve.mean()), "equals", ("lobe lift × rocker ratio", product), within="0.05 mm"
            )


@define.check("card_lobes", "Intake and exhaust lobes")
def _card_lobes(record: RecordValues) -> Iterator[Comparison]:
    """Yield lobes of one cam whose lifts differ by more than a quarter, and durations that grow with lift."""
    intake, exhaust = (record.get(f"cam.card.{side}.lobe_lift") for side in SIDES)
    if intake is not None and exhaust is not None:
        yield compare(("intake lobe lift", intake.mean()), "equals", ("exhaust lobe lift", exhaust.mean()), share=0.25)


@define.check("durations", "Durations on the cam card")
def _durations(record: RecordValues) -> Iterator[Result]:
    for side in SIDES:
        path = f"cam.card.{side}.durations"
        durations = [(index, item) for index, item in enumerate(record.build.get(path) or ())]
        ordered = sorted(durations, key=lambda entry: entry[1].lift)
        for (first, low), (second, high) in pairwise(ordered):
            if high.duration.si > low.duration.si:
                yield Statement(
                    sentence=f"{side} duration at {high.at} should be shorter than at {low.at}",
                    values=tuple(
                        record.recorded(f"{path}.{index}.duration", item.duration.text, f"{side} duration at {item.at}")
                        for index, item in ((first, low), (second, high))
                    ),
                )


@define.check("lobe_separation", "Lobe separation")
def _lobe_separation(record: RecordValues) -> Iterator[Comparison]:
    stated = record.value("cam.card.lobe_separation")
    for document, name in (("card.{}.centerline", "card's centerlines"), ("installed.{}_centerline", "as installed")):
        if "installed" in document and record.build.get("cam.lifters.kind") not in _PUSHROD_LIFTERS:
            continue  # two cams can be set apart
        intake, exhaust = (record.get(f"cam.{document.format(side)}") for side in SIDES)
        if intake is not None and exhaust is not None:
            middle = combine(valve_train.lobe_separation, intake, exhaust)
            yield compare(
                ("lobe separation", stated),
                "equals",
                (f"half the sum of the {name}" if "card" in name else f"half the sum {name}", middle),
                within="1 deg",
            )


@define.check("installed_against_card", "Centerline installed and on the card")
def _installed_against_card(record: RecordValues) -> Iterator[Comparison]:
    for side in SIDES:
        installed, card = record.get(f"cam.installed.{side}_centerline"), record.get(f"cam.card.{side}.centerline")
        if installed is not None and card is not None:
            yield compare((f"{side} installed", installed), "equals", ("card", card), within="10 deg")


@define.check("drive_offset", "Cam timing and the keyway of the drive")
def _drive_offset(record: RecordValues) -> Comparison:
    """Return the intake centerline as installed against the card's, moved by the keyway, bushing or slot used."""
    installed, card = record.value("cam.installed.intake_centerline"), record.value("cam.card.intake.centerline")
    moved = card - record.value("cam.drive.offset")
    return compare(
        ("intake installed", installed), "equals", ("card less the offset of the drive", moved), within=_KEYWAY
    )


@define.check("degree_wheel", "Centerline by degree wheel")
def _degree_wheel(record: RecordValues) -> Iterator[Comparison]:
    """Yield readings at equal lift, and events, against the centerline as installed; without one, with each other."""
    for side in SIDES:
        readings = [
            (f"{side} wheel at {pair.lift.text} of lift", _middle_of_pair(record, side, index))
            for index, pair in enumerate(record.build.get(f"cam.degreeing.{side}") or ())
        ]
        name = "as installed"
        installed = record.get(f"cam.installed.{side}_centerline") or record.get(f"cam.card.{side}.centerline")
        if installed is None and readings:
            name, installed = readings.pop(0)
        if installed is None:
            continue
        for label, middle in readings:
            opposite = abs(float(middle.values[0] - installed.values[0])) > 150
            advice = "the two readings may be swapped" if opposite else "look at how both were counted"
            yield compare((label, middle), "equals", (name, installed), within=_WHEEL, advice=advice)
        yield from _events(record, side, name, installed)


def _middle_of_pair(record: RecordValues, side: Side, index: int) -> Operand:
    near, far = ("opening", "closing") if side == "intake" else ("closing", "opening")
    path = f"cam.degreeing.{side}.{index}"
    return combine(valve_train.installed_centerline, record.value(f"{path}.{near}"), record.value(f"{path}.{far}"))


def _events(record: RecordValues, side: Side, name: str, installed: Operand) -> Iterator[Comparison]:
    """Yield the centerline and the duration that valve events make, against installed centerline and card."""
    middle_of = (
        valve_train.intake_centerline_from_events if side == "intake" else valve_train.exhaust_centerline_from_events
    )
    for index, events in enumerate(record.build.get("cam.degreeing.events") or ()):
        path = f"cam.degreeing.events.{index}.{side}"
        opens, closes = record.get(f"{path}_opens"), record.get(f"{path}_closes")
        if opens is None or closes is None:
            continue
        at = f"{side} events at {_mark(events)}"
        middle = combine(middle_of, opens, closes)
        yield compare((f"centerline of the {at}", middle), "equals", (name, installed), within=_WHEEL)
        for number, item in enumerate(record.build.get(f"cam.card.{side}.durations") or ()):
            if abs(item.lift - events.lift) > 1e-6:
                continue
            card = record.value(f"cam.card.{side}.durations.{number}.duration")
            measured = opens + closes + 180.0
            yield compare((f"duration of the {at}", measured), "equals", ("card", card), within=_DURATION)


def _mark(events: Events) -> str:
    return "the seat" if events.at == "seat" else events.at


@define.check("coil_bind", "Coil-bind clearance")
def _coil_bind(record: RecordValues) -> Iterator[Comparison]:
    """Yield the travel measured against what the heights leave, with or without the lash taken off the lift."""
    installed = record.value("top_end.springs.installed_height").mean()
    solid = record.value("top_end.springs.solid_height").mean()
    measured = record.get("assembly.checks.coil_bind")
    lifts = [lift for side in SIDES if (lift := _valve_lift(record, side)) is not None]
    if not lifts:
        return
    lift = max(lifts, key=lambda operand: float(operand.values[0]))
    left = installed - solid - lift
    if measured is None:
        nothing = Operand(np.zeros(1), {}, (), left.show)
        yield compare(("travel that the heights leave", left), "at least", ("none", nothing))
        return
    lashes = [lash for side in SIDES if (lash := record.get(f"cam.card.{side}.lash")) is not None]
    with_lash = left + max(lashes, key=lambda operand: float(operand.values[0])).mean() if lashes else left
    advice = "installed height less solid height less lift"
    yield compare(
        ("measured", measured.mean()), "at least", ("the heights leave", left), within="0.3 mm", advice=advice
    )
    yield compare(
        ("measured", measured.mean()), "at most", ("the heights leave", with_lash), within="0.3 mm", advice=advice
    )


def _valve_lift(record: RecordValues, side: Side) -> Operand | None:
    """Return the lift at the valve before lash: of the card, else of lobe and rocker."""
    stated = record.get(f"cam.card.{side}.valve_lift")
    if stated is not None:
        return stated.mean()
    lobe, ratio = record.get(f"cam.card.{side}.lobe_lift"), _rocker_ratio(record, side)
    return lobe.mean() * ratio if lobe is not None and ratio is not None else None


@define.check("spring_heights", "Spring heights")
def _spring_heights(record: RecordValues) -> Iterator[Comparison]:
    solid = record.value("top_end.springs.solid_height").mean()
    installed = record.value("top_end.springs.installed_height")
    yield compare(("solid height", solid), "at most", ("installed height", installed))
    yield compare(("solid height", solid), "at least", ("40 % of the installed height", installed.mean() * 0.4))
    lift = _valve_lift(record, "intake")
    if lift is not None:
        most = lift * 2.0
        yield compare(("installed less solid height", installed.mean() - solid), "at most", ("twice the lift", most))


@define.check("spring_loads", "Spring pressures")
def _spring_loads(record: RecordValues) -> Iterator[Result]:
    """Yield loads that do not fit the heights they were read at, the listed rate or the seat load."""
    show = record.in_unit(STIFFNESS)
    readings = record.build.get("top_end.springs.tested") or ()
    order = sorted(range(len(readings)), key=lambda index: -readings[index].height.si)
    points = [
        (record.value(f"top_end.springs.tested.{index}.height"), record.value(f"top_end.springs.tested.{index}.load"))
        for index in order
    ]
    for (_, light), (low, heavy) in pairwise(points):
        yield compare(
            (f"load at {low.show(float(low.values[0]))}", heavy), "at least", ("at the greater height", light)
        )
    rates = [_rate(first, second, show) for first, second in pairwise(points)]
    rates = [rate for rate in rates if np.isfinite(rate.values).all()]
    for first, second in pairwise(rates):
        yield compare(
            ("rate between two heights", second), "equals", ("rate between the heights above", first), share=0.25
        )
    rate = record.get("top_end.springs.rate")
    seat = record.get("top_end.springs.seat_load")
    installed = record.get("top_end.springs.installed_height")
    if rate is not None and rates:
        over_all = _rate(points[0], points[-1], show).shown_by(rate.show)
        yield compare(("rate", rate.mean()), "equals", ("from the tester", over_all), share=0.08)
    if seat is None:
        return
    if installed is not None and rates:
        slope = _rate(points[0], points[1], show)
        at_seat = points[0][1] + slope * (points[0][0] - installed.mean())
        yield compare(
            ("seat load", seat.mean()), "equals", ("from the tester", at_seat.shown_by(seat.show)), share=0.06
        )
    solid = record.get("top_end.springs.solid_height")
    known = rate.mean() if rate is not None else _rate(points[0], points[-1], show) if rates else None
    if known is None or installed is None or solid is None:
        return
    # A spring has a free height: seat load over rate is how far it is compressed on the seat.
    compressed = seat.mean() / known
    unit = installed.show
    yield compare(("compression on the seat", compressed.shown_by(unit)), "at most",
                  ("half the installed height", installed.mean() * 0.5), advice="seat load over rate")  # fmt: skip
    yield compare(("compression on the seat", compressed.shown_by(unit)), "at least",
                  ("10 % of the installed height", installed.mean() * 0.1), advice="seat load over rate")  # fmt: skip


def _rate(first: tuple[Operand, Operand], second: tuple[Operand, Operand], show: Callable[[float], str]) -> Operand:
    """Return the rate between two heights on the tester [N/m]."""
    (high, light), (low, heavy) = first, second
    slope = combine(
        lambda h, f, s, g: np.where(h != s, (g - f) / np.where(h != s, h - s, 1.0), np.nan), high, light, low, heavy
    )
    return slope.shown_by(show)


@define.check("valves_in_bore", "Valves and bore")
def _valves_in_bore(record: RecordValues) -> Iterator[Comparison]:
    bore = record.value("bottom_end.block.bores").mean()
    valves = {
        side: (valve.mean(), record.build.get(f"top_end.heads.{side}_valve.per_cylinder") or 1)
        for side in SIDES
        if (valve := record.get(f"top_end.heads.{side}_valve.diameter")) is not None
    }
    for side, (valve, count) in valves.items():
        least, most = (0.2, 0.47) if count > 1 else (0.3, 0.62)
        yield compare(
            (f"{side} valve", valve), "at most", (f"{100 * most:g} % of the bore", (bore * most).shown_by(valve.show))
        )
        yield compare(
            (f"{side} valve", valve),
            "at least",
            (f"{100 * least:g} % of the bore", (bore * least).shown_by(valve.show)),
        )
        lift = _valve_lift(record, side)
        if lift is not None:
            name = f"{side} valve lift"
            yield compare((name, lift), "at most", ("48 % of the valve", (valve * 0.48).shown_by(lift.show)))
            yield compare((name, lift), "at least", ("10 % of the valve", (valve * 0.1).shown_by(lift.show)))
    if len(valves) == 2:
        (intake, intake_count), (exhaust, exhaust_count) = valves["intake"], valves["exhaust"]
        if intake_count == exhaust_count:
            side_by_side = (intake + exhaust).shown_by(bore.show)
            yield compare(("both valves", side_by_side), "at most", ("108 % of the bore", bore * 1.08))
            yield compare(("exhaust valve", exhaust), "at most", ("intake valve", intake), share=0.03)
            yield compare(("exhaust valve", exhaust), "at least", ("65 % of the intake valve", intake * 0.65))


@define.check("gasket_bore", "Gasket bore")
def _gasket_bore(record: RecordValues) -> Iterator[Comparison]:
    gasket, bore = record.value("top_end.gasket.bore").mean(), record.value("bottom_end.block.bores").mean()
    yield compare(("gasket bore", gasket), "at least", ("bore", bore), within="0.02 mm")
    yield compare(("gasket bore", gasket), "at most", ("108 % of the bore", (bore * 1.08).shown_by(gasket.show)))


@define.check("lash", "Valve lash")
def _lash(record: RecordValues) -> Iterator[Comparison]:
    """Yield lash as set against the cam card and the settings at delivery."""
    for side in SIDES:
        set_to = record.get(f"assembly.checks.{side}_lash")
        card = record.get(f"cam.card.{side}.lash")
        delivered = _leading_length(record, f"delivery.settings.{side}_lash")
        if set_to is not None and card is not None:
            yield compare((f"{side} lash as set", set_to), "equals", ("cam card", card.mean()), within="0.06 mm")
        if delivered is not None and (other := card if set_to is None else set_to) is not None:
            name = f"{side} lash as delivered"
            yield compare((name, delivered), "equals", ("as set" if set_to else "cam card", other.mean()),
                          within="0.06 mm")  # fmt: skip


def _leading_length(record: RecordValues, path: str) -> Operand | None:
    """Return the length that a line such as `0.022 in hot` begins with."""
    words = (record.build.get(path) or "").split()
    try:
        quantity = parse_quantity(" ".join(words[:2]), "length")
    except UnitProblem:
        return None
    return record.quantities([(path, quantity)], record.label(path))


@define.check("flow_bench", "Flow bench")
def _flow_bench(record: RecordValues) -> Iterator[Result]:
    """Yield flows that fall by more than a tenth as the valve opens further."""
    for side in SIDES:
        path = f"top_end.heads.flow_bench.{side}"
        points: Sequence[FlowPoint] = record.build.get(path) or ()
        for index, (first, second) in enumerate(pairwise(points)):
            values = (
                record.recorded(f"{path}.{index}.lift", first.lift.text),
                record.recorded(f"{path}.{index}.flow", first.flow.text),
                record.recorded(f"{path}.{index + 1}.lift", second.lift.text),
                record.recorded(f"{path}.{index + 1}.flow", second.flow.text),
            )
            rises = second.lift.si > first.lift.si
            if not rises or second.flow.si < 0.9 * first.flow.si or not _steady(points, index):
                yield Statement(
                    sentence=f"{side} port: {_point(first)}, then {_point(second)}: the flow does not rise evenly "
                    "with lift",
                    values=values,
                )


def _steady(points: Sequence[FlowPoint], index: int) -> bool:
    """Return whether flow grows no faster than lift from one point to the next: a port only chokes more."""
    first, second = points[index], points[index + 1]
    if not first.flow.si or not first.lift.si:
        return True
    return bool(second.flow.si / first.flow.si <= 1.15 * second.lift.si / first.lift.si)


def _point(point: FlowPoint) -> str:
    return f"{_text(point.flow)} at {_text(point.lift)}"


def _text(quantity: Quantity) -> str:
    return quantity.text


@define.check("discharge_coefficient", "Discharge coefficient")
def _discharge_coefficient(record: RecordValues) -> Iterator[Comparison]:
    return _at_most_one(record, "discharge_coefficient", "intake discharge coefficient")


@define.check("exhaust_discharge_coefficient", "Exhaust discharge coefficient")
def _exhaust_discharge_coefficient(record: RecordValues) -> Iterator[Comparison]:
    return _at_most_one(record, "exhaust_discharge_coefficient", "exhaust discharge coefficient")


def _at_most_one(record: RecordValues, slug: str, name: str) -> Iterator[Comparison]:
    one = Operand(np.ones(1), {}, (), lambda value: f"{value:g}")
    yield compare((name, record.figure(slug)), "at most", ("any opening", one))
