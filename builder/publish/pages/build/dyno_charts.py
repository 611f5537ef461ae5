"""Charts of the dyno session: curves, what each change was worth, settings swept, and the engine's health."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from builder.draw.charts.channels import Channels, ChannelTrace, Trace, ViolationPoint, channels
from builder.draw.charts.comparison import GainCurve, Level, SignificantRange, gain_curve, setting_sweep
from builder.draw.charts.comparison import SettingSweep as SweepData
from builder.draw.style import NARROW
from builder.figures.core import display_units as units
from builder.figures.core.display_units import DisplayUnit, System
from builder.figures.core.engine_data import EngineData, read_engine_data
from builder.figures.core.inputs import Context
from builder.figures.core.registry import POWER
from builder.figures.dyno.guideline_traces import (
    blow_by_share,
    exhaust_spread,
    guideline_traces,
    hottest_exhaust,
    lambda_spread,
)
from builder.figures.dyno.pull import by_cylinder, lambda_of
from builder.publish.pages.build.page_chart import PageChart
from builder.publish.pages.build.power_chart import power_charts
from builder.publish.pages.build.readout import (
    Readout,
    ReadoutPanel,
    ReadoutSeries,
    at_speeds,
    in_units,
    reading_speeds,
    readout_units,
)
from builder.record.quantities.unit_table import printed_unit

if TYPE_CHECKING:
    from builder.figures.dyno.comparisons import ComparisonResult, SettingTrials
    from builder.figures.dyno.pull import PullResult
    from builder.figures.dyno.session import DynoSession

Floats = npt.NDArray[np.float64]


def session_charts(source: Context, session: DynoSession | None) -> Iterator[PageChart]:
    """Yield a request for every chart that the session has enough for."""
    if session is None or session.delivered is None:
        return
    both = source.shop.units == "both"
    yield from power_charts(session, source.system, both=both)
    for number, change in enumerate(session.changes):
        if change.gain is not None:
            yield _gain_chart(change, number, source.system, both=both)
    for number, sweep in enumerate(session.settings):
        yield from _sweep_charts(sweep, number, source.system)
    yield from _channel_charts(source, session)
    yield from _cylinder_chart(source, session)


def unit_text(unit: DisplayUnit, system: System) -> str:
    """Return the display unit as it is printed in this system."""
    return printed_unit(unit.scale(system).unit)


def in_unit(unit: DisplayUnit, system: System, values: npt.ArrayLike) -> Floats:
    """Return SI values in the display unit, which is a straight line away from SI."""
    zero, one = unit.number(0.0, system), unit.number(1.0, system)
    return np.asarray(values, dtype=np.float64) * (one - zero) + zero


def _rpm(values: npt.ArrayLike) -> Floats:
    return in_unit(units.SPEED, "metric", values)


def _gain_chart(change: ComparisonResult, number: int, system: System, *, both: bool) -> PageChart:
    gain = change.gain
    assert gain is not None
    torque = unit_text(units.TORQUE, system)
    data = GainCurve(
        f"{change.changed or change.name}",
        torque,
        _rpm(gain.speed),
        in_unit(units.TORQUE, system, gain.difference),
        in_unit(units.TORQUE, system, gain.band),
        tuple(
            SignificantRange(
                float(_rpm(difference.low)),
                float(_rpm(difference.high)),
                f"{float(in_unit(units.TORQUE, system, difference.mean)):+.0f} {torque}".replace("-", "−"),
            )
            for difference in gain.significant_ranges
        ),
        verdict=change.text,
    )
    request = gain_curve.request(data, name=f"gain_{number + 1}", size=NARROW)
    caption = (
        f"Torque of {change.name} less that of {change.since}. Shaded band: difference with nothing changed, "
        "97.5 % confidence at all speeds together."
    )
    return PageChart(POWER, request, caption, readout=_gain_readout(change, system, both=both))


def _gain_readout(change: ComparisonResult, system: System, *, both: bool) -> Readout:
    """Return the difference in torque along the speed with its band, in one or both systems."""
    gain = change.gain
    assert gain is not None
    speed = _rpm(gain.speed)
    x, shown_units = reading_speeds([speed]), readout_units(units.TORQUE, system, both=both)

    def along(values: npt.ArrayLike) -> tuple[tuple[Floats, ...], ...]:
        return (tuple(at_speeds(x, speed, number) for number in in_units(units.TORQUE, shown_units, values)),)

    band = np.broadcast_to(np.asarray(gain.band, dtype=np.float64), speed.shape)
    panel = ReadoutPanel("Torque difference", shown_units, along(gain.difference), along(band), signed=True)
    return Readout(x, (ReadoutSeries(change.name),), (panel,), float(x[0]))


def _sweep_charts(sweep: SettingTrials, number: int, system: System) -> Iterator[PageChart]:
    for index, fit in enumerate(sweep.fits):
        best = fit.best
        scale, zero = (
            fit.display_unit.number(1.0, system) - fit.display_unit.number(0.0, system),
            fit.display_unit.number(0.0, system),
        )
        # A parabola is drawn only where its bend is more than the scatter: the line itself would claim an optimum.
        fitted = None
        if best is not None and best.optimum is not None:
            fitted = (best.curvature * scale, best.slope * scale, best.constant * scale + zero)
        data = SweepData(
            sweep.name,
            printed_unit(sweep.unit),
            fit.quantity,
            unit_text(fit.display_unit, system),
            tuple(
                Level(level, value * scale + zero, position=position)
                for level, value, position in zip(fit.levels, fit.values, fit.indices, strict=True)
            ),
            fitted,
            None if best is None else best.optimum,
            fit.text,
        )
        request = setting_sweep.request(data, name=f"setting_{number + 1}_{index + 1}", size=NARROW)
        caption = f"{fit.quantity[:1].upper()}{fit.quantity[1:]} against {sweep.name}."
        if fitted:
            caption += " Broken line: quadratic fit."
        yield PageChart(POWER, request, caption)


_CHANNELS = (
    ("oil_pressure", "Oil pressure", units.PRESSURE),
    ("oil_temperature", "Oil temperature", units.TEMPERATURE),
    ("coolant_temperature", "Coolant temperature", units.TEMPERATURE),
    ("exhaust_temperature", "Exhaust temperature", units.TEMPERATURE),
    ("hottest_exhaust", "Exhaust temperature, hottest", units.TEMPERATURE),
    ("exhaust_spread", "Exhaust spread of the cylinders", units.TEMPERATURE_STEP),
    ("lambda", "Lambda", units.RATIO),
    ("lambda_spread", "Lambda spread of the cylinders", units.RATIO),
    ("spark_advance", "Spark advance", units.ANGLE),
    ("manifold_pressure", "Manifold pressure", units.PRESSURE),
    ("manifold_vacuum", "Manifold vacuum", units.AIR_PRESSURE),
    ("boost_pressure", "Boost", units.PRESSURE),
    ("turbo_speed", "Turbocharger speed", units.SPEED),
    ("air_temperature", "Inlet air temperature", units.TEMPERATURE),
    ("charge_temperature", "Charge temperature", units.TEMPERATURE),
    ("blow_by_share", "Blow-by, share of the air", units.PERCENT),
    ("blow_by", "Blow-by", units.VOLUME_FLOW),
    ("fuel_pressure", "Fuel pressure", units.PRESSURE),
    ("fuel_flow", "Fuel flow", units.MASS_FLOW),
    ("injector_pulse", "Injector pulse", units.PULSE),
    ("throttle", "Throttle", units.PERCENT),
    ("battery_voltage", "Battery voltage", units.VOLTAGE),
)
"""The channels drawn over engine speed, from top to bottom, where they were logged or follow from what was."""


def _channel_charts(source: Context, session: DynoSession) -> Iterator[PageChart]:
    assert session.delivered is not None
    pull, system, both = session.delivered.last, source.system, source.shop.units == "both"
    speed = _rpm(pull.corrected.speed)
    x = reading_speeds([speed])
    read: list[ReadoutPanel] = []
    facts = read_engine_data(source.build)
    guidelines = {trace.channel: trace for trace in guideline_traces(pull, source.shop, facts)}
    logged = _logged_and_derived(pull, facts)
    panels = []
    for slug, title, unit in _CHANNELS:
        values = logged.get(slug)
        if values is None or not np.isfinite(values).any():
            continue
        guideline = guidelines.get(slug)
        ends = (None, None) if guideline is None else (_constant_limit(guideline.low), _constant_limit(guideline.high))
        low, high = (None if end is None else float(in_unit(unit, system, end)) for end in ends)
        violations = tuple(
            ViolationPoint(float(_rpm(v.speed)), float(in_unit(unit, system, v.value)), v.worst_text)
            for v in session.violations
            if v.channel == slug and v.pull == pull.name
        )
        trace = Trace(pull.name, _rpm(pull.corrected.speed), in_unit(unit, system, values), pull.index)
        panels.append(ChannelTrace(title, unit_text(unit, system), (trace,), low, high, violations))
        shown_units = readout_units(unit, system, both=both)
        along = tuple(at_speeds(x, speed, number) for number in in_units(unit, shown_units, values))
        read.append(ReadoutPanel(title, shown_units, (along,)))
    if panels:
        request = channels.request(Channels(tuple(panels)), responsive=True)
        readout = Readout(x, (ReadoutSeries(pull.name),), tuple(read), float(x[0]))
        yield PageChart(POWER, request, f"Other channels of the pull {pull.name}.", readout=readout)


_BY_CYLINDER = (
    ("exhaust_temperature", "Exhaust temperature by cylinder", units.TEMPERATURE),
    ("lambda", "Lambda by cylinder", units.RATIO),
)
"""The channels that a log may hold for each cylinder."""


def _cylinder_chart(source: Context, session: DynoSession) -> Iterator[PageChart]:
    """Yield the channels that were logged cylinder by cylinder, each cylinder with its own mark."""
    assert session.delivered is not None
    pull, system, both = session.delivered.last, source.system, source.shop.units == "both"
    speed = _rpm(pull.corrected.speed)
    x = reading_speeds([speed])
    logged = [(title, unit, by_cylinder(pull.channels, slug)) for slug, title, unit in _BY_CYLINDER]
    logged = [entry for entry in logged if len(entry[2]) > 1]
    if not logged:
        return
    numbers = sorted({number for _, _, cylinders in logged for number, _ in cylinders})
    panels, read = [], []
    for title, unit, cylinders in logged:
        traces = tuple(
            Trace(f"Cylinder {number}", speed, in_unit(unit, system, values), number - 1)
            for number, values in cylinders
        )
        panels.append(ChannelTrace(title, unit_text(unit, system), traces))
        shown_units, known = readout_units(unit, system, both=both), dict(cylinders)
        along = tuple(
            tuple(
                at_speeds(x, speed, converted)
                for converted in in_units(unit, shown_units, known.get(number, np.full(speed.shape, np.nan)))
            )
            for number in numbers
        )
        read.append(ReadoutPanel(title, shown_units, along))
    request = channels.request(Channels(tuple(panels)), name="cylinders", responsive=True)
    series = tuple(ReadoutSeries(f"Cylinder {number}") for number in numbers)
    readout = Readout(x, series, tuple(read), float(x[0]))
    yield PageChart(POWER, request, f"Each cylinder of the pull {pull.name}.", readout=readout)


def _logged_and_derived(pull: PullResult, facts: EngineData) -> dict[str, Floats]:
    """Return the channels of a pull and what follows from them; blow-by once, as a share where the air is known."""
    spread, share = exhaust_spread(pull), blow_by_share(pull)
    derived = {
        "lambda": lambda_of(pull.channels, facts),
        "hottest_exhaust": hottest_exhaust(pull),
        "exhaust_spread": None if spread is None else spread[0],
        "blow_by_share": share,
        "lambda_spread": lambda_spread(pull),
    }
    logged = {slug: values for slug, values in pull.channels.items() if slug != "blow_by" or share is None}
    return logged | {slug: values for slug, values in derived.items() if values is not None}


def _constant_limit(limit: object) -> float | None:
    """Return a limit that is the same at every speed; one that is not is only in the text of the page."""
    values = np.atleast_1d(np.asarray(limit, dtype=np.float64))
    finite = values[np.isfinite(values)]
    if not finite.size or np.ptp(finite) > 1e-9 * max(1.0, float(np.abs(finite).max())):
        return None
    return float(finite[0])
