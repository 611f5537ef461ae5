"""The charts of the valve train: lift curves and the ring of events, from the card and the degree wheel."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from builder.draw.charts.valve_timing import Event
from builder.draw.style import NARROW
from builder.engine.lift_curve import LiftCurve, lift_curve
from builder.figures.core import display_units as units
from builder.figures.core.inputs import Context
from builder.figures.core.registry import VALVE_TRAIN
from builder.figures.core.types import Figure, FigureSheet, InputValue
from builder.figures.definitions.cam_readings import SIDES
from builder.publish.pages.build.dyno_charts import in_unit, unit_text
from builder.publish.pages.build.page_chart import PageChart
from builder.record.quantities.digits import rounded


def _recorded(value: InputValue | None) -> list[tuple[float, float]]:
    """Return lift [m], 0 at the seat, and value at each lift that was recorded."""
    if value is None or value.axis is None:
        return []
    pairs = zip(value.axis.places, np.atleast_1d(value.values), strict=True)
    return [(lift, float(number)) for lift, number in pairs if np.isfinite(number)]


def _at(figure: Figure | None, label: str) -> float | None:
    """Return a figure's value at this position, or None where it has none."""
    return next((p.value for p in figure.positions if p.label == label), None) if figure else None


_EVENTS = ("intake_opens", "intake_closes", "exhaust_opens", "exhaust_closes")


def _event(zero: float, angle: float, direction: int, before: str, after: str) -> Event:
    """Return the event at this angle [deg] before (-1) or after (1) a dead center, which is at ``zero``."""
    written = f"{abs(angle):.1f}".removesuffix(".0")
    is_before = (angle >= 0) == (direction < 0)
    return Event(zero + direction * angle, f"{written}° {before if is_before else after}")


def valve_train_charts(source: Context, sheet: FigureSheet) -> Iterator[PageChart]:
    """Yield the lift curves and the ring of events, at the first lift at which all four events are known."""
    from builder.draw.charts.valve_timing import RingArc, TimingRing, timing_ring

    figures = {name: sheet.get(name) for name in _EVENTS}
    first = figures["intake_opens"]
    if first is None:
        return
    candidates = ((item, [_at(figures[name], item.label) for name in _EVENTS]) for item in first.positions)
    position, angles = next(((item, angles) for item, angles in candidates if None not in angles), (None, []))
    if position is None:
        return
    intake_opens, intake_closes, exhaust_opens, exhaust_closes = (float(angle or 0.0) for angle in angles)
    tdc, bdc = ("before TDC", "after TDC"), ("before BDC", "after BDC")
    intake = _event(0.0, intake_opens, -1, *tdc), _event(180.0, intake_closes, 1, *bdc)
    exhaust = _event(-180.0, exhaust_opens, -1, *bdc), _event(0.0, exhaust_closes, 1, *tdc)
    lift_text = position.label if position.place else "the seat"
    yield from _lift_chart(source, sheet, position.place or None, lift_text, exhaust, intake)
    arcs = tuple(
        RingArc(side, opens, closes, f"{rounded(closes.angle - opens.angle, 0)}°")
        for side, (opens, closes) in (("exhaust", exhaust), ("intake", intake))
    )
    yield PageChart(
        VALVE_TRAIN, timing_ring.request(TimingRing(arcs, lift_text), size=NARROW), f"Valve timing at {lift_text} lift."
    )


def _lift_chart(
    source: Context,
    sheet: FigureSheet,
    at_lift: float | None,
    lift_text: str,
    exhaust: tuple[Event, Event],
    intake: tuple[Event, Event],
) -> Iterator[PageChart]:
    from builder.draw.charts.valve_timing import ValveCurve, ValveTiming, valve_timing

    overlap = sheet.get("overlap")
    curves = {}
    for side, events in zip(SIDES, (intake, exhaust), strict=True):
        lobe = _lobe(source, sheet, side)
        fitted = None if lobe is None else lobe.curve()
        if lobe is None or fitted is None:
            return
        angles = np.linspace(-360.0, 360.0, 361)
        lifts = np.asarray(fitted.at(angles))
        is_open = lifts > 0
        points = lobe.points
        curves[side] = ValveCurve(
            side,
            angles[is_open],
            in_unit(units.LENGTH, source.system, lifts[is_open]),
            events[0],
            events[1],
            np.array([angle for angle, _ in points]),
            in_unit(units.LENGTH, source.system, [lift for _, lift in points]),
            units.LENGTH.text(lobe.peak, source.system),
        )
    data = ValveTiming(
        curves["exhaust"],
        curves["intake"],
        unit_text(units.LENGTH, source.system),
        None if at_lift is None else units.LENGTH.number(at_lift, source.system),
        lift_text,
        f"overlap {overlap.positions[0].display if overlap.positions else overlap.display}" if overlap else "",
    )
    request = valve_timing.request(data, responsive=True)
    yield PageChart(VALVE_TRAIN, request, "Valve lift vs crank angle; overlap where both valves are open.")


@dataclass(frozen=True)
class _Lobe:
    """One side's cam at the valve: centerline [deg after TDC], peak lift [m], and lifts [m] with durations [deg]."""

    centerline: float
    peak: float
    durations: list[tuple[float, float]]

    @property
    def points(self) -> list[tuple[float, float]]:
        """The known points of the lift curve: angle [deg] and lift [m]."""
        points = [(self.centerline, self.peak)]
        for lift, duration in self.durations:
            points += [(self.centerline - duration / 2, lift), (self.centerline + duration / 2, lift)]
        return sorted(points)

    def curve(self) -> LiftCurve | None:
        """Return the lift curve through the known points, or None where there is none."""
        if not self.durations:
            return None
        lifts, durations = zip(*self.durations, strict=True)
        try:
            return lift_curve(self.centerline, lifts, durations, self.peak)
        except ValueError:
            return None


def _lobe(source: Context, sheet: FigureSheet, side: str) -> _Lobe | None:
    """Return one side's cam as far as it is known, or None without centerline and peak lift."""
    centerline = sheet.value("installed_centerline" if side == "intake" else "exhaust_centerline")
    peak = _at(sheet.get("valve_lift"), side)
    rocker = source.input("rocker_ratio")
    if centerline is None or peak is None or peak <= 0:
        return None
    ratio = 1.0 if rocker is None else float(np.atleast_1d(rocker.values)[SIDES.index(side)])
    if not np.isfinite(ratio):
        return None
    durations = []
    for lift, duration in _recorded(source.input(f"{side}_duration")):
        # The card has timing at the lobe; a seat without a stated lift is left out of the curve.
        if 0 < lift * ratio < peak:
            durations.append((lift * ratio, duration))
    return _Lobe(centerline if side == "intake" else -centerline, peak, sorted(durations))
