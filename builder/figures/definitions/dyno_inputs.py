"""Inputs of the figures of air and power: what the dyno session came to, pull by pull, the best one first."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from builder.engine import uncertainty
from builder.engine.air import Air
from builder.engine.constants import INCH_OF_MERCURY, MECHANICAL_HORSEPOWER, MINUTE, POUND_FORCE_FOOT, REV_PER_MINUTE
from builder.engine.correction import Correction
from builder.engine.values import Array
from builder.figures.core import display_units as units
from builder.figures.core.display_units import DisplayUnit, System, UnitScale
from builder.figures.core.inputs import INPUTS, Context, Input, computed, computed_input, register_inputs
from builder.figures.core.types import MEASURED, Axis, InputValue
from builder.figures.dyno.comparisons import ComparisonResult, level_text
from builder.figures.dyno.correction import AmbientConditions
from builder.figures.dyno.pull import PullResult

BMEP = DisplayUnit("pressure", "Pa", UnitScale("psi", 1), UnitScale("bar", 2))
TORQUE_AREA = DisplayUnit(
    "area under torque",
    "N m rev/s",
    UnitScale("lbf ft rpm", 0, POUND_FORCE_FOOT / MINUTE),
    UnitScale("N m rpm", 0, REV_PER_MINUTE),
)
POWER_AREA = DisplayUnit(
    "area under power",
    "W rev/s",
    UnitScale("hp rpm", 0, MECHANICAL_HORSEPOWER / MINUTE),
    UnitScale("kW rpm", 0, 1000 / MINUTE),
)
ENGINE_ACCELERATION = DisplayUnit(
    "engine acceleration", "rev/s^2", UnitScale("rpm/s", 0, REV_PER_MINUTE), UnitScale("rpm/s", 0, REV_PER_MINUTE)
)
INERTIA = DisplayUnit("inertia", "kg m^2", UnitScale("kg.m2", 3), UnitScale("kg.m2", 3))
ENERGY = DisplayUnit("specific energy", "J/kg", UnitScale("MJ/kg", 1), UnitScale("MJ/kg", 1))
FLOW = DisplayUnit("mass flow", "kg/s", UnitScale("lb/h", 1), UnitScale("kg/h", 1))
LEVEL = DisplayUnit(units.FACTOR.dimension, "1", UnitScale("", 4), UnitScale("", 4))
"""A level of a setting, in the unit it was written in."""

Of = Callable[[PullResult], float | None]
Text = Callable[[PullResult, System], str]


def per_pull(
    name: str, label: str, symbol: str, shown: DisplayUnit, path: str, of: Of, text: Text | None = None
) -> None:
    """Declare an input with a value for each pull that counts. ``path`` says what the record should hold."""

    def get(source: Context) -> InputValue | None:
        pulls = source.session.best_first if source.session else ()
        values = [of(pull) for pull in pulls]
        known = np.array([np.nan if value is None else value for value in values])
        if not np.isfinite(known).any():
            return None
        item, system = INPUTS[name], source.system
        texts = tuple(
            "not known" if not np.isfinite(value) else text(pull, system) if text else shown.text(float(value), system)
            for pull, value in zip(pulls, known, strict=True)
        )
        labels = tuple(pull.name for pull in pulls)
        return computed(item, known, source, basis=MEASURED, labels=labels, texts=texts)

    computed_input(name, label, symbol, shown, path, "pull")(get)


A_LOG = "dyno.pulls (with a log that can be counted)"
_FUEL = "dyno.pulls (with fuel flow in the log; by volume it needs build.yaml: engine.fuel.density)"
_AIR_FLOW = "dyno.pulls (with air flow in the log, or fuel flow with AFR or lambda)"
_BOTH = "dyno.pulls (with both torque and power in the log)"

# The air of each pull.


def _day(of: Callable[[AmbientConditions], float | None]) -> Of:
    return lambda pull: of(pull.conditions)


def _written(key: str) -> Text:
    return lambda pull, system: pull.conditions.texts[key]


per_pull("air_temperature", "air at the inlet", "T", units.TEMPERATURE, "dyno.conditions.temperature",
         _day(lambda day: day.temperature), _written("temperature"))  # fmt: skip
per_pull("barometer", "barometer in the room", "P", units.AIR_PRESSURE, "dyno.conditions.barometer",
         _day(lambda day: day.pressure),
         lambda pull, system: units.AIR_PRESSURE.text(pull.conditions.pressure or 0.0, system))  # fmt: skip

_FORMS = {
    "relative_humidity": ("relative humidity", r"\varphi", units.PERCENT),
    "wet_bulb": ("wet bulb", "T_w", units.TEMPERATURE),
    "dew_point": ("dew point", "T_d", units.TEMPERATURE),
    "vapour_pressure": ("vapour pressure, as recorded", "p_v", units.AIR_PRESSURE),
}

_ANY_FORM = "dyno.yaml: conditions: relative_humidity, wet_bulb, dew_point or vapour_pressure"


def _forms(source: Context) -> set[str]:
    pulls = source.session.counted if source.session else ()
    return {pull.conditions.humidity_form for pull in pulls if pull.conditions.humidity_form is not None}


def _humidity(form: str) -> None:
    label, symbol, kind = _FORMS[form]
    name = f"{form}_recorded"

    def of(pull: PullResult) -> float | None:
        return pull.conditions.humidity if pull.conditions.humidity_form == form else None

    per_pull(name, label, symbol, kind, f"dyno.conditions.{form}", of, _written("humidity"))
    whole = INPUTS.pop(name)

    def get(source: Context) -> InputValue | None:
        return whole.get(source) if whole.get is not None and _forms(source) == {form} else None

    register_inputs(Input(name, label, symbol, kind, whole.path, "pull", get=get, hint=_ANY_FORM))


for _form in _FORMS:
    _humidity(_form)
per_pull("vapour_mixed", "vapour pressure, from humidity recorded in different forms", "p_v", units.AIR_PRESSURE,
         "dyno.conditions.relative_humidity", lambda pull: pull.conditions.air.vapour if pull.conditions.air else None,
         lambda pull, system: f"from {_FORMS[pull.conditions.humidity_form or 'vapour_pressure'][0]} {pull.conditions.texts['humidity']}",
         )  # fmt: skip


def factor_text(of: Correction, air: Air | None) -> str:
    """The factor with the day's numbers in it, in the units that the standard is written in."""
    if of.stated.slug == of.wanted.slug:
        return f"1 (the readings are in {of.wanted.name} already)"
    put_in = _standard_text(of.wanted.slug, air) or _engine_factor_text(of, air) or f"{of.put_in:.4f}"
    if of.stated.slug == "observed":
        return put_in
    divided = _standard_text(of.stated.slug, air) or f"{of.divided_out:.4f}"
    return f"({put_in}) / ({divided})" if put_in != "1" else f"1 / ({divided})"


def _engine_factor_text(of: Correction, air: Air | None) -> str:
    """The compression-ignition factor as fa to the power fm; nothing where fa is one and fm does not matter."""
    if air is None or not of.wanted.slug.endswith("compression-ignition"):
        return ""
    turbocharged = "Pd)^0.7" in of.wanted.formula
    pressure, heat = (99e3 / air.dry_pressure), air.temperature / 298.0
    atmosphere = pressure**0.7 * heat**1.5 if turbocharged else pressure * heat**0.7
    if abs(atmosphere - 1) < 1e-4:
        return ""
    exponent = np.log(of.put_in) / np.log(atmosphere)
    powers = ("^0.7", "^1.5") if turbocharged else ("", "^0.7")
    dry, warmth = f"{air.dry_pressure / 1000:.2f} kPa", f"{air.temperature:.2f} K"
    return f"((99 kPa / {dry}){powers[0]} × ({warmth} / 298 K){powers[1]})^{exponent:.3f}"


def _standard_text(slug: str, air: Air | None) -> str:
    if slug == "observed":
        return "1"
    if air is None:
        return ""
    dry, warmth = f"{air.dry_pressure / 1000:.2f} kPa", f"{air.temperature:.2f} K"
    return {
        "sae-j1349": f"1.180 × (99 kPa / {dry}) × √({warmth} / 298.15 K) − 0.180",
        "iso-1585": f"(99 kPa / {dry})^1.2 × ({warmth} / 298 K)^0.6",
        "sae-j607": f"(29.92 inHg / {air.dry_pressure / INCH_OF_MERCURY:.2f} inHg) × √({warmth} / 288.71 K)",
        "din-70020": f"(101.3 kPa / {air.pressure / 1000:.2f} kPa) × √({warmth} / 293 K)",
    }.get(slug, "")


per_pull("pull_factor", "factor by the standard", "k", units.FACTOR,
         "dyno.readings, and conditions: barometer, temperature and humidity",
         lambda pull: pull.correction.factor if pull.correction is not None else None,
         lambda pull, system: factor_text(pull.correction, pull.conditions.air) if pull.correction else "not known",
         )  # fmt: skip

# Peaks, on the smoothed curve. Factors are those at the speed in question: one for all, but for compression ignition.


def _factor_at(pull: PullResult, speed: float) -> float:
    before, after = pull.uncorrected_torque(speed), float(pull.torque_curve.at(speed))
    return after / before if before else 1.0


def _with_standard(pull: PullResult, speed: float) -> str:
    if pull.correction is None or pull.correction.stated.slug == pull.correction.wanted.slug:
        return f"1 ({pull.standard.name})"
    return f"{_factor_at(pull, speed):.4f} ({pull.standard.name})"


per_pull("peak_torque_uncorrected", "torque before correction, at the peak", "T_0", units.TORQUE, A_LOG,
         lambda pull: pull.peak_torque.value / _factor_at(pull, pull.peak_torque.speed))  # fmt: skip
per_pull("peak_torque_factor", "factor at the peak", "k", units.FACTOR, A_LOG,
         lambda pull: _factor_at(pull, pull.peak_torque.speed),
         lambda pull, system: _with_standard(pull, pull.peak_torque.speed))  # fmt: skip
per_pull("speed_of_peak_torque", "speed of peak torque", "n", units.SPEED, A_LOG, lambda pull: pull.peak_torque.speed)
per_pull("speed_of_peak_power", "speed of peak power", "n", units.SPEED, A_LOG, lambda pull: pull.peak_power.speed)
per_pull("torque_at_peak_power", "torque there", "T", units.TORQUE, A_LOG,
         lambda pull: pull.peak_power.value / (2 * np.pi * pull.peak_power.speed))  # fmt: skip
per_pull("highest_torque", "highest reading of torque", "T", units.TORQUE, A_LOG,
         lambda pull: pull.peak_torque.raw_value)  # fmt: skip
per_pull("highest_power", "highest reading of power", "P", units.POWER, A_LOG,
         lambda pull: pull.peak_power.raw_value)  # fmt: skip

# Over the range, and the band.


def _band(pull: PullResult, end: int) -> float | None:
    """The end of the stretch of the torque band that holds the peak."""
    at = pull.peak_torque.speed
    return next((band[end] for band in pull.torque_band if band[0] - 1e-9 <= at <= band[1] + 1e-9), None)


def _width(pull: PullResult) -> float | None:
    return pull.mean_range[1] - pull.mean_range[0] if pull.mean_range else None


def _range_text(pull: PullResult, system: System) -> str:
    low, high = pull.mean_range or (0.0, 0.0)
    return f"({60 * high:,.0f} − {60 * low:,.0f}) rpm"


_RANGE = "dyno.range (within the speeds that were run)"
per_pull("torque_area", "area under the torque curve", "A", TORQUE_AREA, _RANGE, lambda pull: pull.area)
per_pull("power_area", "area under the power curve", "A", POWER_AREA, _RANGE,
         lambda pull: None if pull.mean_power is None else pull.mean_power * (_width(pull) or 0.0))  # fmt: skip
per_pull("range_width", "width of the range", "n_2 - n_1", units.SPEED, _RANGE, _width, _range_text)
per_pull("band_from", "torque band from", "n_1", units.SPEED, A_LOG, lambda pull: _band(pull, 0))
per_pull("band_to", "torque band to", "n_2", units.SPEED, A_LOG, lambda pull: _band(pull, 1))

# Along the curve: where the fuel is used best, where the cylinders fill best.


def _place(pull: PullResult, slug: str, best: Callable[[Array], np.intp]) -> int | None:
    values = pull.derived.get(slug)
    return None if values is None or not np.isfinite(values).any() else int(best(values))


def _there(slug: str, best: Callable[[Array], np.intp], values: Callable[[PullResult], Array | None]) -> Of:
    def of(pull: PullResult) -> float | None:
        place, array = _place(pull, slug, best), values(pull)
        return None if place is None or array is None else float(array[place])

    return of


def _text_there(slug: str, best: Callable[[Array], np.intp], shown: DisplayUnit, of: Of) -> Text:
    def text(pull: PullResult, system: System) -> str:
        place = _place(pull, slug, best) or 0
        return f"{shown.text(of(pull) or 0.0, system)} at {units.SPEED.text(float(pull.speed[place]), system)}"

    return text


_thriftiest_fuel = _there("bsfc", np.nanargmin, lambda pull: pull.derived.get("fuel_flow_mass"))
per_pull("thriftiest_fuel", "fuel where it is used best", "m_f", FLOW, _FUEL, _thriftiest_fuel,
         _text_there("bsfc", np.nanargmin, FLOW, _thriftiest_fuel))  # fmt: skip
per_pull("thriftiest_power", "power there, as observed", "P", units.POWER, _FUEL,
         _there("bsfc", np.nanargmin, lambda pull: pull.observed_power))  # fmt: skip
per_pull("fullest_air", "air taken in where the cylinders fill best", "m_a", FLOW, _AIR_FLOW,
         _there("volumetric_efficiency", np.nanargmax, lambda pull: pull.derived.get("air_flow_mass")))  # fmt: skip
per_pull("fullest_speed", "speed there", "n", units.SPEED, _AIR_FLOW,
         _there("volumetric_efficiency", np.nanargmax, lambda pull: pull.speed))  # fmt: skip
register_inputs(
    Input("heating_value", "lower heating value of the fuel", "LHV", ENERGY, "build.engine.fuel.heating_value"),
    Input("inertia", "inertia of all that turns", "J", INERTIA, "dyno.inertia"),
)
per_pull("acceleration", "acceleration at peak torque", "dn/dt", ENGINE_ACCELERATION,
         "dyno.pulls (a sweep with time in the log)",
         lambda pull: pull.at(pull.acceleration, pull.peak_torque.speed) if pull.acceleration is not None else None,
         )  # fmt: skip
per_pull("power_ratio", "middle of all rows of P / (2 pi n T)", "", units.FACTOR, _BOTH,
         lambda pull: pull.consistency.ratio if pull.consistency else None,
         lambda pull, system: f"{pull.consistency.rows if pull.consistency else 0} rows")  # fmt: skip


@computed_input("turns_of_a_cycle", "crank angle of a cycle", "", units.FACTOR, "build.engine.cycle")
def _turns(source: Context) -> InputValue:
    turns = source.build.revolutions_per_cycle
    text = "4π" if turns == 2 else "2π"
    return computed(INPUTS["turns_of_a_cycle"], 2 * np.pi * turns, source, basis="given", texts=(text,))


# Pull against pull.


def _gains(source: Context) -> list[ComparisonResult]:
    return [change for change in (source.session.changes if source.session else ()) if change.gain is not None]


@computed_input("torque_gain", "mean difference of torque, after less before", "D", units.TORQUE,
                "dyno.pulls (one with since: and changed:)", "change")  # fmt: skip
def _gain(source: Context) -> InputValue | None:
    changes = _gains(source)
    if not changes:
        return None
    gains = [change.gain for change in changes if change.gain is not None]
    known = computed(
        INPUTS["torque_gain"],
        np.array([gain.mean for gain in gains]),
        source,
        basis=MEASURED,
        labels=tuple(f"{change.name} against {change.since}" for change in changes),
        texts=tuple(change.mean_text for change in changes),
        # Half of the 95 % interval, so that the figure shows that interval.
        contributions=uncertainty.root("torque_gain", np.array([_half(gain.half_width) for gain in gains])),
    )
    # The interval belongs to the figure, wherever the noise came from; without one nothing is claimed.
    return replace(known, has_stated_resolution=any(np.isfinite(gain.half_width) for gain in gains))


def _half(half_width: float) -> float:
    return half_width / 2 if np.isfinite(half_width) else 0.0


@computed_input("repeat_deviation", "standard deviation at each speed, root mean square", "s", units.TORQUE,
                "dyno.pulls (one with repeat_of:)", "repeats")  # fmt: skip
def _repeats(source: Context) -> InputValue | None:
    found = source.session.repeats if source.session else ()
    if not found:
        return None
    values = np.array([each.repeatability.overall for each in found])
    labels = tuple(each.names[0] for each in found)
    texts = tuple(f"{len(each.names)} pulls" for each in found)
    return computed(INPUTS["repeat_deviation"], values, source, basis=MEASURED, labels=labels, texts=texts)


@computed_input("setting_tried", "levels tried, and their parabola", "x", LEVEL,
                "dyno.pulls (three or more with setting: at different levels)", "setting")  # fmt: skip
def _setting(source: Context) -> InputValue | None:
    """The optimum of each swept setting, for each result; NaN where none may be named."""
    item = INPUTS["setting_tried"]
    labels, values, texts, steps = [], [], [], []
    for sweep in source.session.settings if source.session else ():
        for fit in sweep.fits:
            if fit.best is None:
                continue
            labels.append(f"{sweep.name}{f' [{sweep.unit}]' if sweep.unit else ''}, by {fit.quantity}")
            values.append(np.nan if fit.best.optimum is None else fit.best.optimum)
            steps.append(float(np.max(np.diff(fit.best.levels))))
            levels = ", ".join(level_text(level, sweep.unit) for level in fit.best.levels)
            texts.append(f"top of the parabola through {levels}")
    if not labels:
        return None
    where = source.build.where("dyno.pulls")
    # A parabola places its top no better than to some tenths of a step: no more digits than that are shown.
    parts = uncertainty.root(item.name, np.array(steps) / 20)
    return InputValue(item.name, item.label, item.symbol, np.array(values), tuple(texts), MEASURED,
                 Axis("setting", tuple(labels)), parts, where=where)  # fmt: skip
