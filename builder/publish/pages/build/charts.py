"""Which charts a build has: each from the record and its figures, or left out where those are missing."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from builder.draw.chart_cache import ChartRequest
from builder.draw.charts.positions import Position, Positions, positions
from builder.draw.charts.valve_timing import Event
from builder.draw.style import NARROW
from builder.engine import kinematics
from builder.engine.lift_curve import LiftCurve, lift_curve
from builder.figures.core import display_units as units
from builder.figures.core.display_units import DisplayUnit, System
from builder.figures.core.inputs import Context
from builder.figures.core.types import Figure, FigureSheet, InputValue
from builder.figures.definitions import REGISTRY
from builder.figures.definitions.cam_readings import SIDES, lift_of
from builder.figures.review.clearance_checks import CheckedClearance
from builder.publish.pages.build.dyno_charts import session_charts
from builder.publish.pages.build.placed_chart import PlacedChart
from builder.record.models.build import Build
from builder.record.models.shop import Shop
from builder.record.quantities.readings import Reading
from builder.record.quantities.unit_table import printed_unit


def charts_for(build: Build, sheet: FigureSheet, shop: Shop) -> list[PlacedChart]:
    """Return a request for every chart that the record has enough for, in the order of the page."""
    source = Context(build, shop, REGISTRY)
    chart_lists: tuple[Callable[[Context, FigureSheet], Iterator[PlacedChart]], ...] = (
        _deck_stack_chart,
        _piston_speed,
        _timing,
        _bores,
        _positions,
        _fits,
        _tightening_charts,
    )
    session = session_charts(source, sheet.session)
    return [*session, *(placed for chart_list in chart_lists for placed in chart_list(source, sheet))]


def _to_display(shown: DisplayUnit, system: System, si: float) -> float:
    return shown.number(si, system)


def _unit(shown: DisplayUnit, system: System) -> str:
    unit = shown.scale(system).unit
    return printed_unit(unit)


def _mean(source: Context, name: str) -> float | None:
    known = source.input(name)
    return None if known is None else float(np.nanmean(known.values))


def _deck_stack_chart(source: Context, sheet: FigureSheet) -> Iterator[PlacedChart]:
    from builder.draw.charts.deck_stack import StackUp, stack_up

    names = ("stroke", "rod_length", "compression_height", "deck_height", "bore")
    values = {name: _mean(source, name) for name in names}
    if any(value is None for value in values.values()):
        return
    length = {name: _to_display(units.LENGTH, source.system, float(value or 0)) for name, value in values.items()}
    height: Reading = source.build.get("bottom_end.pistons.compression_height")
    listed = height.listed if height.is_measured and _differs_from_listed(height) else None
    gasket, clearance = _mean(source, "gasket_thickness"), sheet.value("deck_clearance")
    data = StackUp(
        _unit(units.LENGTH, source.system),
        length["stroke"] / 2,
        length["rod_length"],
        length["compression_height"],
        length["deck_height"],
        length["bore"],
        None if gasket is None else _to_display(units.LENGTH, source.system, gasket),
        None if clearance is None else _to_display(units.LENGTH, source.system, clearance),
        None if listed is None else _to_display(units.LENGTH, source.system, listed.si),
        4 if source.system == "inch" else 2,
    )
    request = stack_up.request(data, responsive=True)
    caption = (
        "Half the stroke, the rod and the piston together against the height of the block: "
        "what is left is the deck clearance."
    )
    if listed is not None:
        caption += " The broken line is where the piston would stand if it were as listed."
    yield PlacedChart(units_section("cylinder"), request, caption)


def _differs_from_listed(reading: Reading) -> bool:
    """Whether a part is not what it was listed as, by more than the last digit written."""
    listed = reading.listed
    return listed is not None and abs(float(np.mean(reading.values)) - listed.si) > listed.step


def units_section(name: str) -> str:
    """The section of the page that a drawing belongs to."""
    from builder.figures.core import registry

    return {"cylinder": registry.CYLINDER, "valves": registry.VALVE_TRAIN, "fits": registry.FITS}[name]


def _piston_speed(source: Context, sheet: FigureSheet) -> Iterator[PlacedChart]:
    from builder.draw.charts.piston_speed import PistonSpeed, piston_speed

    stroke, rod, red_line = _mean(source, "stroke"), _mean(source, "rod_length"), _mean(source, "red_line")
    if stroke is None or rod is None or red_line is None or "rod_ratio" not in sheet:
        return
    offset = _mean(source, "pin_offset") or 0.0
    degrees = np.arange(0.0, 361.0, 2.0)
    speed = np.asarray(kinematics.piston_speed(np.radians(degrees), stroke, rod, red_line, offset))
    shown = units.FAST_VELOCITY
    request = piston_speed.request(
        PistonSpeed(
            degrees,
            np.array([_to_display(shown, source.system, float(v)) for v in speed]),
            _unit(shown, source.system),
            units.SPEED.text(red_line, source.system),
            _to_display(shown, source.system, float(kinematics.mean_piston_speed(stroke, red_line))),
        ),
        size=NARROW,
    )
    yield PlacedChart(
        "piston_speed",
        request,
        "Piston speed over one turn of the crank at the red line, by the exact slider-crank; "
        "the shorter the rod, the nearer to the top its peak.",
    )


def _points(known: InputValue | None) -> tuple[tuple[str, float], ...]:
    """Label and value at each lift that was recorded."""
    if known is None or known.axis is None:
        return ()
    return tuple(
        (label, float(value))
        for label, value in zip(known.axis.labels, np.atleast_1d(known.values), strict=True)
        if np.isfinite(value)
    )


def _at(figure: Figure | None, label: str) -> float | None:
    return next((p.value for p in figure.positions if p.label == label), None) if figure else None


def _timing(source: Context, sheet: FigureSheet) -> Iterator[PlacedChart]:
    from builder.draw.charts.valve_timing import RingArc, TimingRing, timing_ring

    events = {name: sheet.get(name) for name in ("intake_opens", "intake_closes", "exhaust_opens", "exhaust_closes")}
    if any(figure is None for figure in events.values()):
        return
    labels = [
        position.label
        for position in (events["intake_opens"].positions if events["intake_opens"] else ())
        if all(_at(figure, position.label) is not None for figure in events.values())
    ]
    if not labels:
        return
    at = labels[0]
    angle = {name: float(_at(figure, at) or 0.0) for name, figure in events.items()}

    def worded(value: float, before: str, after: str) -> str:
        return f"{abs(value):.1f}° {before if value >= 0 else after}".replace(".0°", "°")

    opens_i = Event(-angle["intake_opens"], worded(angle["intake_opens"], "before TDC", "after TDC"))
    closes_i = Event(180 + angle["intake_closes"], worded(angle["intake_closes"], "after BDC", "before BDC"))
    opens_e = Event(-180 - angle["exhaust_opens"], worded(angle["exhaust_opens"], "before BDC", "after BDC"))
    closes_e = Event(angle["exhaust_closes"], worded(angle["exhaust_closes"], "after TDC", "before TDC"))
    lift_text = at if at != "seat" else "the seat"
    yield from _lift_chart(source, sheet, at, lift_text, (opens_e, closes_e), (opens_i, closes_i))

    def arc(label: str, opens: Event, closes: Event) -> RingArc:
        return RingArc(label, opens, closes, f"{closes.angle - opens.angle:.0f}°")

    ring = TimingRing((arc("exhaust", opens_e, closes_e), arc("intake", opens_i, closes_i)), lift_text)
    yield PlacedChart(
        units_section("valves"),
        timing_ring.request(ring, size=NARROW),
        f"When the valves are open, around the crank's circle, at {lift_text} lift.",
    )


def _lift_chart(
    source: Context,
    sheet: FigureSheet,
    at: str,
    lift_text: str,
    exhaust: tuple[Event, Event],
    intake: tuple[Event, Event],
) -> Iterator[PlacedChart]:
    from builder.draw.charts.valve_timing import ValveCurve, ValveTiming, valve_timing

    lift, overlap = sheet.get("valve_lift"), sheet.get("overlap")
    curves = {}
    for side, events in zip(SIDES, (intake, exhaust), strict=True):
        fitted = _curve_of(source, sheet, side)
        peak = _at(lift, side) if lift else None
        if fitted is None or peak is None:
            return
        angles = np.linspace(-360.0, 360.0, 361)
        values = np.asarray(fitted.at(angles))
        open_ = values > 0
        points = _known_points(source, sheet, side)
        curves[side] = ValveCurve(
            side,
            angles[open_],
            np.array([_to_display(units.LENGTH, source.system, float(v)) for v in values[open_]]),
            events[0],
            events[1],
            np.array([a for a, _ in points]),
            np.array([_to_display(units.LENGTH, source.system, v) for _, v in points]),
            units.LENGTH.text(peak, source.system),
        )
    known = lift_of(at)
    data = ValveTiming(
        curves["exhaust"],
        curves["intake"],
        _unit(units.LENGTH, source.system),
        None if known is None else _to_display(units.LENGTH, source.system, known),
        lift_text,
        f"overlap {overlap.positions[0].display if overlap.positions else overlap.display}" if overlap else "",
    )
    request = valve_timing.request(data, responsive=True)
    yield PlacedChart(
        units_section("valves"),
        request,
        "How far each valve is open as the crank turns. Where both stand open together is the overlap.",
    )


def _lobe_data(source: Context, sheet: FigureSheet, side: str) -> tuple[float, list[tuple[float, float]], float] | None:
    """Centreline [deg after TDC], known lifts with their durations, and peak lift [m], all at the valve."""
    centre = sheet.value("installed_centreline" if side == "intake" else "exhaust_centreline")
    lift = sheet.get("valve_lift")
    peak = _at(lift, side) if lift else None
    rocker = source.input("rocker_ratio")
    if centre is None or peak is None or peak <= 0:
        return None
    ratio = 1.0 if rocker is None else float(np.atleast_1d(rocker.values)[SIDES.index(side)])
    if not np.isfinite(ratio):
        return None
    known = []
    for label, duration in _points(source.input(f"{side}_duration")):
        at = lift_of(label)
        # The card takes timing at the lobe; a seat without a stated lift is left out of the curve.
        if at is not None and at * ratio < peak:
            known.append((at * ratio, duration))
    return (centre if side == "intake" else -centre), sorted(known), peak


def _curve_of(source: Context, sheet: FigureSheet, side: str) -> LiftCurve | None:
    flank = _lobe_data(source, sheet, side)
    if flank is None or not flank[1]:
        return None
    centre, known, peak = flank
    try:
        return lift_curve(centre, [lift for lift, _ in known], [duration for _, duration in known], peak)
    except ValueError:
        return None


def _known_points(source: Context, sheet: FigureSheet, side: str) -> list[tuple[float, float]]:
    flank = _lobe_data(source, sheet, side)
    if flank is None:
        return []
    centre, known, peak = flank
    points = [(centre, peak)]
    for lift, duration in known:
        points += [(centre - duration / 2, lift), (centre + duration / 2, lift)]
    return sorted(points)


def _bores(source: Context, sheet: FigureSheet) -> Iterator[PlacedChart]:
    from builder.draw.charts.positions import BoreMap, BoreReadings, bore_map

    gauging = source.build.get("work.bore_gauging")
    if gauging is None or not gauging.cylinders:
        return
    count = max(len(cylinder.depths) for cylinder in gauging.cylinders)
    depths = tuple(gauging.depths) if len(gauging.depths) == count else tuple(f"depth {i + 1}" for i in range(count))
    bores = tuple(
        BoreReadings(str(cylinder.cylinder), np.array([[depth.across, depth.along] for depth in cylinder.depths]))
        for cylinder in gauging.cylinders
        if len(cylinder.depths) == count
    )
    if not bores:
        return
    data = BoreMap(gauging.unit, depths, ("across the crank", "along the crank"), bores)
    request = bore_map.request(data, responsive=True)
    yield PlacedChart(
        units_section("fits"),
        request,
        "Every bore at every depth, across and along the crank: a round, straight bore is a row of equal points.",
    )


READINGS, FASTENERS = "readings", "fasteners"
"""Places on the page that are no section of the catalogue."""
_MAX_NARROW_POINTS = 8
"""So many readings have room in the narrow form of a strip."""

_STRIPS = ("compression_ratio", "deck_clearance", "quench")


def _positions(source: Context, sheet: FigureSheet) -> Iterator[PlacedChart]:
    for slug in _STRIPS:
        figure = sheet.get(slug)
        if figure is None or len(figure.positions) < 2:
            continue
        shown = figure.method.display_unit
        data = Positions(
            figure.title,
            _unit(shown, source.system).removeprefix(":1"),
            tuple(Position(p.label, _to_display(shown, source.system, p.value)) for p in figure.positions),
            outlier=next((i for i, p in enumerate(figure.positions) if p.label == figure.outlier), None),
        )
        yield PlacedChart(slug, _positions_chart(data, f"positions_{slug}"), f"{figure.title}, cylinder by cylinder.")


def _positions_chart(data: Positions, name: str) -> ChartRequest:
    """Return the strip of a few readings in its narrow form, which has room anywhere; of many, in both forms."""
    if len(data.values) <= _MAX_NARROW_POINTS:
        return positions.request(data, name=name, size=NARROW)
    return positions.request(data, name=name, responsive=True)


def _fits(source: Context, sheet: FigureSheet) -> Iterator[PlacedChart]:
    """A strip for every fit and check with more than one reading: the readings against what is allowed."""
    seen: dict[str, int] = {}
    for fit in sheet.clearances:
        if len(fit.readings) < 2 or not np.isfinite([at.value for at in fit.readings]).any():
            continue
        slug = "_".join(fit.path.split(".")[1:])
        seen[slug] = seen.get(slug, 0) + 1
        name = f"fit_{slug}" + (f"_{seen[slug]}" if seen[slug] > 1 else "")
        low, high = fit.allowed.minimum, fit.allowed.maximum
        data = Positions(
            fit.title,
            printed_unit(fit.unit),
            tuple(Position(at.label, fit.in_unit(at.value)) for at in fit.readings),
            None if low is None else fit.in_unit(low),
            None if high is None else fit.in_unit(high),
            next((i for i, at in enumerate(fit.readings) if at.label == fit.outlier), None),
            fit.allowed.authority,
            _decimals(fit),
        )
        each = f", one for each {fit.axis}" if fit.axis and fit.axis != "reading" else ""
        caption = f"{fit.title}{each}" + (
            "; the band is what is allowed." if fit.allowed else "; no range was recorded."
        )
        yield PlacedChart(READINGS, _positions_chart(data, name), caption)


def _decimals(fit: CheckedClearance) -> int:
    """As many decimals as the readings were written with."""
    return max(len(reading.number.partition(".")[2]) for reading in fit.readings)


def _tightening_charts(source: Context, sheet: FigureSheet) -> Iterator[PlacedChart]:
    from builder.draw.charts.tightening import TighteningPattern, tightening_pattern

    fasteners = source.build.get("assembly.fasteners") or ()
    for index, joint in enumerate(fasteners):
        if len(joint.sequence) < 2:
            continue
        steps = ", then ".join(step.text for step in joint.steps)
        data = TighteningPattern(
            joint.joint,
            tuple((place.x, place.y) for place in joint.sequence),
            remark=f"in steps of {steps}" if steps else "",
        )
        yield PlacedChart(
            FASTENERS,
            tightening_pattern.request(data, name=f"tightening_{index + 1}", size=NARROW),
            f"{joint.joint.capitalize()}: the order of tightening.",
        )
