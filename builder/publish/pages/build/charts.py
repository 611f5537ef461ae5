"""Which charts a build has: each from the record and its figures, or left out where those are missing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from builder.draw.chart_cache import ChartRequest
from builder.draw.charts.positions import Position, Positions, positions
from builder.draw.style import NARROW
from builder.engine import kinematics
from builder.figures.core import display_units as units
from builder.figures.core.guard import Guard
from builder.figures.core.inputs import Context
from builder.figures.core.registry import AIR, CYLINDER, FITS, PORTS
from builder.figures.core.types import FigureSheet
from builder.figures.definitions import REGISTRY
from builder.figures.definitions.ignition import advance_curve
from builder.figures.review.clearance_checks import CheckedClearance
from builder.publish.pages.build.dyno_charts import in_unit, session_charts, unit_text
from builder.publish.pages.build.page_chart import PageChart
from builder.publish.pages.build.valve_train_charts import valve_train_charts
from builder.record.models.build import Build
from builder.record.models.shop import Shop
from builder.record.quantities.readings import Reading
from builder.record.quantities.unit_table import printed_unit

if TYPE_CHECKING:
    from builder.draw.charts.port_map import PortShape


def charts_for(build: Build, sheet: FigureSheet, shop: Shop, guard: Guard) -> list[PageChart]:
    """Return a request for every chart that the record has enough for, in the order of the page.

    An error in one list of charts is a problem of ``guard``, and leaves out the rest of that list.
    """
    source = Context(build, shop, REGISTRY)
    chart_lists: tuple[Callable[[Context, FigureSheet], Iterator[PageChart]], ...] = (
        _session_charts,
        _deck_stack_chart,
        _port_map_chart,
        _piston_speed_chart,
        valve_train_charts,
        _advance_chart,
        _bore_chart,
        _position_charts,
        _clearance_charts,
        _tightening_charts,
    )
    return [
        page_chart
        for chart_list in chart_lists
        for page_chart in guard.collect(_name(chart_list.__name__), partial(chart_list, source, sheet))
    ]


def _name(chart_list: str) -> str:
    return f"a chart of the {chart_list.strip('_').rpartition('_')[0].replace('_', ' ')}"


def _session_charts(source: Context, sheet: FigureSheet) -> Iterator[PageChart]:
    return session_charts(source, sheet.session)


def _mean(source: Context, name: str) -> float | None:
    """Return the mean of an input over its positions [SI], or None where it is not known."""
    value = source.input(name)
    return None if value is None else float(np.nanmean(value.values))


def _deck_stack_chart(source: Context, sheet: FigureSheet) -> Iterator[PageChart]:
    from builder.draw.charts.deck_stack import StackUp, stack_up

    names = ("stroke", "rod_length", "compression_height", "deck_height", "bore")
    values = {name: _mean(source, name) for name in names}
    if any(value is None for value in values.values()):
        return
    length = {name: units.LENGTH.number(float(value or 0), source.system) for name, value in values.items()}
    height: Reading = source.build.get("bottom_end.pistons.compression_height")
    listed = height.listed if height.is_measured and _differs_from_listed(height) else None
    gasket, clearance = _mean(source, "gasket_thickness"), sheet.value("deck_clearance")
    data = StackUp(
        unit_text(units.LENGTH, source.system),
        length["stroke"] / 2,
        length["rod_length"],
        length["compression_height"],
        length["deck_height"],
        length["bore"],
        None if gasket is None else units.LENGTH.number(gasket, source.system),
        None if clearance is None else units.LENGTH.number(clearance, source.system),
        None if listed is None else units.LENGTH.number(listed.si, source.system),
        4 if source.system == "inch" else 2,
    )
    request = stack_up.request(data, responsive=True)
    caption = "Crank radius, rod and compression height vs deck height; the difference is the deck clearance."
    if listed is not None:
        caption += " Broken line: with the catalog piston."
    yield PageChart(CYLINDER, request, caption)


def _differs_from_listed(reading: Reading) -> bool:
    """Return whether a part is not what it was listed as, by more than the last digit written."""
    listed = reading.listed
    return listed is not None and abs(float(np.mean(reading.values)) - listed.si) > listed.step


_PORT_PLACES = {"exhaust": 0.0, "transfer": 75.0, "boost": 180.0, "intake": 180.0}
"""Where ports are drawn around the bore [deg] if the record does not say."""


def _port_map_chart(source: Context, sheet: FigureSheet) -> Iterator[PageChart]:
    from builder.draw.charts.port_map import PortMap, port_map

    ports, bore, stroke = source.build.ports, _mean(source, "bore"), _mean(source, "stroke")
    clearance, rod = sheet.value("deck_clearance"), _mean(source, "rod_length")
    if ports is None or bore is None or stroke is None or clearance is None or rod is None:
        return
    offset = _mean(source, "pin_offset") or 0.0
    bottom = kinematics.bottom_dead_centre(stroke, rod, offset)
    travel = float(kinematics.piston_position(bottom, stroke, rod, offset))
    shapes = tuple(filter(None, (_port_shape(source, sheet, kind) for kind in _PORT_PLACES)))
    if not shapes:
        return
    unit = units.LENGTH
    request = port_map.request(
        PortMap(
            unit_text(unit, source.system),
            unit.number(bore, source.system),
            unit.number(clearance, source.system),
            unit.number(clearance + travel, source.system),
            shapes,
            3 if source.system == "inch" else 1,
        ),
        responsive=True,
    )
    caption = "To scale, at the wall of the bore; angles are when each port opens."
    if any(ports_of.at is None and ports_of.count > 0 for ports_of in (ports.transfer, ports.boost) if ports_of):
        caption += " Positions around the bore that are not recorded are typical."
    yield PageChart(PORTS, request, caption)


def _port_shape(source: Context, sheet: FigureSheet, kind: str) -> PortShape | None:
    from builder.draw.charts.port_map import PortShape

    port = source.build.get(f"ports.{kind}")
    roof = _mean(source, "intake_roof") if kind == "intake" else sheet.value(f"{kind}_port_roof")
    if port is None or roof is None or port.width is None:
        return None
    floor = _mean(source, f"{kind}_floor")

    def shown(value: float) -> float:
        return units.LENGTH.number(value, source.system)

    recorded_place = getattr(port, "at", None)
    return PortShape(
        kind,
        port.count,
        shown(roof),
        shown(port.width.si),
        _PORT_PLACES[kind] if recorded_place is None else recorded_place.si,
        None if floor is None else shown(floor),
        sheet.value(f"{kind}_port_opens"),
    )


def _piston_speed_chart(source: Context, sheet: FigureSheet) -> Iterator[PageChart]:
    from builder.draw.charts.piston_speed import PistonSpeed, piston_speed

    stroke, rod, red_line = _mean(source, "stroke"), _mean(source, "rod_length"), _mean(source, "red_line")
    if stroke is None or rod is None or red_line is None or "rod_ratio" not in sheet:
        return
    offset = _mean(source, "pin_offset") or 0.0
    degrees = np.arange(0.0, 361.0, 2.0)
    speed = np.asarray(kinematics.piston_speed(np.radians(degrees), stroke, rod, red_line, offset))
    unit = units.FAST_VELOCITY
    request = piston_speed.request(
        PistonSpeed(
            degrees,
            in_unit(unit, source.system, speed),
            unit_text(unit, source.system),
            units.SPEED.text(red_line, source.system),
            unit.number(float(kinematics.mean_piston_speed(stroke, red_line)), source.system),
        ),
        size=NARROW,
    )
    yield PageChart("piston_speed", request, "Piston speed vs crank angle at redline, exact slider-crank.")


def _advance_chart(source: Context, sheet: FigureSheet) -> Iterator[PageChart]:
    """Yield the advance curve of the distributor: spark timing where that at idle is known, else advance alone."""
    from builder.draw.charts.channels import Channels, ChannelTrace, Trace, channels

    curve, timing = advance_curve(source), sheet.get("timing_by_curve")
    if curve is None or curve[0].size < 2:
        return
    speeds, advance = curve
    title = "Mechanical advance" if timing is None else "Spark advance, before TDC"
    base = 0.0 if timing is None else timing.value - float(advance.max())
    rpm = in_unit(units.SPEED, source.system, speeds)
    traces = [Trace("Full throttle", rpm, base + advance, 0)]
    vacuum = source.input("vacuum_advance")
    if vacuum is not None:
        traces.append(Trace("With vacuum advance", rpm, base + advance + float(np.mean(vacuum.values)), 1))
    panel = ChannelTrace(title, unit_text(units.ANGLE, source.system), tuple(traces))
    request = channels.request(Channels((panel,)), name="advance_curve", responsive=True)
    yield PageChart(AIR, request, "The advance curve of the distributor, in crankshaft degrees.")


def _bore_chart(source: Context, sheet: FigureSheet) -> Iterator[PageChart]:
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
    yield PageChart(FITS, request, "Each bore at each depth, across and along the crank.")


READINGS, FASTENERS = "readings", "fasteners"
"""Places on the page that are no section of the catalog."""
_MAX_NARROW_POINTS = 8
"""So many readings have room in the narrow form of a strip."""

_STRIPS = ("compression_ratio", "deck_clearance", "quench")


def _position_charts(source: Context, sheet: FigureSheet) -> Iterator[PageChart]:
    for slug in _STRIPS:
        figure = sheet.get(slug)
        if figure is None or len(figure.positions) < 2:
            continue
        unit = figure.description.display_unit
        data = Positions(
            figure.title,
            unit_text(unit, source.system).removeprefix(":1"),
            tuple(Position(p.label, unit.number(p.value, source.system)) for p in figure.positions),
            outlier=next((i for i, p in enumerate(figure.positions) if p.label == figure.outlier), None),
        )
        yield PageChart(slug, _positions_chart(data, f"positions_{slug}"), f"{figure.title}, cylinder by cylinder.")


def _positions_chart(data: Positions, name: str) -> ChartRequest:
    """Return the strip of a few readings in its narrow form, which has room anywhere; of many, in both forms."""
    if len(data.values) <= _MAX_NARROW_POINTS:
        return positions.request(data, name=name, size=NARROW)
    return positions.request(data, name=name, responsive=True)


def _clearance_charts(source: Context, sheet: FigureSheet) -> Iterator[PageChart]:
    """Yield a strip for every clearance with more than one reading: the readings against what is allowed."""
    slugs: Counter[str] = Counter()
    for fit in sheet.clearances:
        if len(fit.readings) < 2 or not np.isfinite([reading.value for reading in fit.readings]).any():
            continue
        slug = "_".join(fit.path.split(".")[1:])
        slugs[slug] += 1
        name = f"fit_{slug}" + (f"_{slugs[slug]}" if slugs[slug] > 1 else "")
        low, high = fit.allowed.minimum, fit.allowed.maximum
        data = Positions(
            fit.title,
            printed_unit(fit.unit),
            tuple(Position(reading.label, fit.in_unit(reading.value)) for reading in fit.readings),
            None if low is None else fit.in_unit(low),
            None if high is None else fit.in_unit(high),
            next((i for i, reading in enumerate(fit.readings) if reading.label == fit.outlier), None),
            fit.allowed.authority,
            _decimals(fit),
        )
        axis = f", one for each {fit.axis}" if fit.axis and fit.axis != "reading" else ""
        band = "band = spec" if fit.allowed else "no spec recorded"
        caption = f"{fit.title}{axis}; {band}."
        yield PageChart(READINGS, _positions_chart(data, name), caption)


def _decimals(fit: CheckedClearance) -> int:
    """Return as many decimals as the readings were written with."""
    return max(len(reading.number.partition(".")[2]) for reading in fit.readings)


def _tightening_charts(source: Context, sheet: FigureSheet) -> Iterator[PageChart]:
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
        yield PageChart(
            FASTENERS,
            tightening_pattern.request(data, name=f"tightening_{index + 1}", size=NARROW),
            f"{joint.joint.capitalize()}: the order of tightening.",
        )
