"""Figures of power: what the engine made on the dyno, in the shop's standard, as delivered first."""

from __future__ import annotations

import numpy as np

from builder.engine import power
from builder.engine.correction import OBSERVED
from builder.engine.validation import Value, unwrap_scalar
from builder.figures.core import display_units as units
from builder.figures.core.display_units import System
from builder.figures.core.inputs import Context, Input
from builder.figures.core.registry import COMMON_PRACTICE, HEYWOOD_2, POWER, Definitions, unchanged
from builder.figures.core.types import GIVEN, InputValue
from builder.figures.definitions.pull_inputs import FUEL_LOG, LOG, fuel_per_pull, per_pull, per_state
from builder.figures.dyno.engine_state import EngineState
from builder.figures.dyno.pull import PullResult

define = Definitions(POWER, axis="pull", headline="first")

PEAK_FIT = (
    "least squares, degree by corrected AIC (Hurvich and Tsai 1989), bias of noise removed (Box 1971); "
    "JCGM 100 for the interval"
)
MECHANICS = "mechanics: Newton's second law for rotation"
_RANGE = "dyno.range (within the speeds that were run)"
_BOTH_LOGGED = "dyno.pulls (with both torque and power in the log)"


def _factor_at(state: EngineState, speed: float) -> float:
    """Return the factor on the readings at one speed: the same at all, but for compression ignition."""
    before, after = state.torque_before_factor(speed), float(state.corrected.torque_curve.at(speed))
    return after / before if before else 1.0


def _factor_and_standard(state: EngineState, speed: float) -> str:
    pull = state.last
    if pull.correction is None or pull.correction.stated.slug == pull.correction.target.slug:
        return f"1 ({pull.standard.name})"
    stated = pull.correction.stated
    standard = pull.standard.name if stated is OBSERVED else f"{stated.name} to {pull.standard.name}"
    return f"{_factor_at(state, speed):.4f} ({standard})"


def _band(state: EngineState, end: int) -> float | None:
    """Return the lower (0) or upper (1) end of the part of the torque band that contains the peak [rev/s]."""
    peak = state.peaks.torque.speed
    return next((band[end] for band in state.peaks.torque_band if band[0] - 1e-9 <= peak <= band[1] + 1e-9), None)


def _width(pull: PullResult) -> float | None:
    return pull.means.high - pull.means.low if pull.means else None


def _torque_area(state: EngineState) -> float | None:
    return state.mean_of(lambda pull: pull.means.torque_area if pull.means else None)


def _power_area(state: EngineState) -> float | None:
    return state.mean_of(lambda pull: pull.means.power * (pull.means.high - pull.means.low) if pull.means else None)


def _range_text(pull: PullResult, system: System) -> str:
    low, high = (pull.means.low, pull.means.high) if pull.means else (0.0, 0.0)
    return f"({60 * high:,.0f} − {60 * low:,.0f}) rpm"


def _best_fuel(pull: PullResult) -> int | None:
    """Return the row at which the fuel is used best; None where the fuel is not known."""
    bsfc = pull.derived.get("bsfc")
    return None if bsfc is None or not np.isfinite(bsfc).any() else int(np.nanargmin(bsfc))


def _fuel_at_best(pull: PullResult) -> float | None:
    row = _best_fuel(pull)
    return None if row is None else float(pull.derived["fuel_flow_mass"][row])


def _fuel_text(pull: PullResult, system: System) -> str:
    speed = float(pull.corrected.speed[_best_fuel(pull) or 0])
    return f"{units.MASS_FLOW.text(_fuel_at_best(pull) or 0.0, system)} at {units.SPEED.text(speed, system)}"


def _power_at_best(pull: PullResult) -> float | None:
    row = _best_fuel(pull)
    return None if row is None else float(pull.corrected.observed_power[row])


define.add_inputs(
    # Peaks.
    per_state("peak_torque_before_factor", "torque before the factor, at the peak", "T_0", units.TORQUE, LOG,
              lambda state: state.peak_torque.value / _factor_at(state, state.peak_torque.speed),
              uncertainty_of=lambda state: (
                  state.peak_torque.half_width / _factor_at(state, state.peak_torque.speed)
              )),
    per_state("peak_torque_factor", "factor at the peak", "k", units.FACTOR, LOG,
              lambda state: _factor_at(state, state.peak_torque.speed),
              lambda state, system: _factor_and_standard(state, state.peak_torque.speed)),
    per_state("speed_of_peak_torque", "peak torque rpm", "n", units.SPEED, LOG,
              lambda state: state.peak_torque.speed),
    per_state("speed_of_peak_power", "peak power rpm", "n", units.SPEED, LOG,
              lambda state: state.peak_power.speed),
    per_state("torque_at_peak_power", "torque there", "T", units.TORQUE, LOG,
              lambda state: state.peak_power.value / (2 * np.pi * state.peak_power.speed),
              uncertainty_of=lambda state: state.peak_power.half_width / (2 * np.pi * state.peak_power.speed)),
    per_state("highest_torque", "peak torque, unsmoothed", "T", units.TORQUE, LOG,
              lambda state: max(pull.peaks.torque.raw_value for pull in state.pulls)),
    per_state("highest_power", "peak power, unsmoothed", "P", units.POWER, LOG,
              lambda state: max(pull.peaks.power.raw_value for pull in state.pulls)),
    # Over the range, and the band.
    per_state("torque_area", "area under the torque curve", "A", units.TORQUE_AREA, _RANGE, _torque_area,
              uncertainty_of=lambda state: (_torque_area(state) or 0.0) * state.relative_half_width),
    per_state("power_area", "area under the power curve", "A", units.POWER_AREA, _RANGE, _power_area,
              uncertainty_of=lambda state: (_power_area(state) or 0.0) * state.relative_half_width),
    per_pull("range_width", "width of the range", "n_2 - n_1", units.SPEED, _RANGE, _width, _range_text),
    per_state("band_from", "torque band from", "n_1", units.SPEED, LOG, lambda state: _band(state, 0)),
    per_state("band_to", "torque band to", "n_2", units.SPEED, LOG, lambda state: _band(state, 1)),
    # Where the fuel is used best.
    fuel_per_pull("thriftiest_fuel", "fuel flow at best efficiency", _fuel_at_best, _fuel_text),
    per_pull("thriftiest_power", "power there, as observed", "P", units.POWER, FUEL_LOG,
             _power_at_best),
    Input("inertia", "inertia of rotating parts", "J", units.INERTIA, "dyno.inertia"),
    per_state("acceleration", "acceleration at peak torque", "dn/dt", units.ENGINE_ACCELERATION,
              "dyno.pulls (a sweep with time in the log)",
              lambda state: state.corrected.acceleration_at(state.peak_torque.speed)),
    per_pull("power_ratio", "median of all rows of P / (2 pi n T)", "", units.FACTOR, _BOTH_LOGGED,
             lambda pull: pull.consistency.ratio if pull.consistency else None,
             lambda pull, system: f"{pull.consistency.rows if pull.consistency else 0} rows"),
)  # fmt: skip


@define.computed_input(
    "turns_of_a_cycle", "crank angle of a cycle", "", units.FACTOR, "build.engine.cycle", reads=("build.engine.cycle",)
)
def _turns_of_a_cycle(context: Context, item: Input) -> InputValue:
    turns = context.build.revolutions_per_cycle
    text = "4π" if turns == 2 else "2π"
    return item.value(2 * np.pi * turns, (text,), GIVEN, where=context.build.where(item.path))


@define.figure(
    "peak_power",
    "Peak power",
    units.POWER,
    source=HEYWOOD_2,
    means="Highest power of the engine as delivered, in the shop's correction standard.",
    formula=r"P = 2 \pi \, n \, T",
    working="2π × {speed_of_peak_power} × {torque_at_peak_power}",
    validity="the speeds tested; if the curve still rises at the end, the peak lies beyond",
)
def peak_power(speed_of_peak_power: Value, torque_at_peak_power: Value) -> Value:
    """Return the peak of the power curve of each state [W]."""
    return power.power(torque_at_peak_power, speed_of_peak_power)


define.figure(
    "peak_power_speed",
    "Peak power rpm",
    units.SPEED,
    source=PEAK_FIT,
    means="Engine speed at peak power.",
    formula=r"P(n) = \max",
    symbols=(("P", "power", "W"),),
    working="top of the fitted power curve, {speed_of_peak_power}",
    validity="the speeds tested",
    inputs=("speed_of_peak_power",),
)(unchanged)


@define.figure(
    "peak_torque",
    "Peak torque",
    units.TORQUE,
    source=PEAK_FIT,
    means="Highest torque of the engine as delivered, in the shop's correction standard.",
    formula=r"T = k \, T_0",
    working="{peak_torque_before_factor} × {peak_torque_factor}",
    validity="the speeds tested",
)
def peak_torque(peak_torque_before_factor: Value, peak_torque_factor: Value) -> Value:
    """Return the peak of the torque curve of each state [N m]."""
    return unwrap_scalar(np.asarray(peak_torque_before_factor) * np.asarray(peak_torque_factor))


define.figure(
    "peak_torque_speed",
    "Peak torque rpm",
    units.SPEED,
    source=PEAK_FIT,
    means="Engine speed at peak torque.",
    formula=r"T(n) = \max",
    symbols=(("T", "torque", "N m"),),
    working="top of the fitted torque curve, {speed_of_peak_torque}",
    validity="the speeds tested",
    inputs=("speed_of_peak_torque",),
)(unchanged)


define.figure(
    "raw_peak_power",
    "Peak power, unsmoothed",
    units.POWER,
    source=COMMON_PRACTICE,
    means="Highest single reading, as shown on a dyno screen; includes measurement noise.",
    formula=r"\max P_i",
    symbols=(("P_i", "power at one reading", "W"),),
    working="the highest corrected reading that is no spike, {highest_power}",
    validity="in addition to the peak, never instead of it",
    inputs=("highest_power",),
)(unchanged)


define.figure(
    "raw_peak_torque",
    "Peak torque, unsmoothed",
    units.TORQUE,
    source=COMMON_PRACTICE,
    means="Highest single reading, as shown on a dyno screen; includes measurement noise.",
    formula=r"\max T_i",
    symbols=(("T_i", "torque at one reading", "N m"),),
    working="the highest corrected reading that is no spike, {highest_torque}",
    validity="in addition to the peak, never instead of it",
    inputs=("highest_torque",),
)(unchanged)


@define.figure(
    "bmep",
    "BMEP",
    units.BMEP,
    source=HEYWOOD_2,
    means="Torque per displacement, expressed as a mean pressure on the pistons.",
    formula=r"p = \frac{4 \pi \, T}{V_d} \;\mathrm{(four-stroke)}, \quad \frac{2 \pi \, T}{V_d} "
    r"\;\mathrm{(two-stroke)}",
    symbols=(("T", "peak torque", "N m"),),
    working="{turns_of_a_cycle} × {peak_torque} / {displacement}",
    validity="at peak torque; engines of any size, four-stroke and two-stroke",
)
def bmep(turns_of_a_cycle: Value, peak_torque: Value, displacement: Value) -> Value:
    """Return the brake mean effective pressure at peak torque [Pa]."""
    return power.bmep(peak_torque, displacement, round(float(np.mean(turns_of_a_cycle)) / (2 * np.pi)))


define.figure(
    "specific_torque",
    "Torque per liter",
    units.SPECIFIC_TORQUE,
    source=HEYWOOD_2,
    means="Peak torque divided by displacement.",
    formula=r"T / V_d",
    symbols=(("T", "peak torque", "N m"),),
    working="{peak_torque} / {displacement}",
    validity="corrected peak over the geometric displacement; compare only results of one standard",
    inputs=("peak_torque", "displacement"),
)(power.specific_torque)


define.figure(
    "specific_power",
    "Power per liter",
    units.SPECIFIC_POWER,
    source=HEYWOOD_2,
    means="Peak power divided by displacement.",
    formula=r"P / V_d",
    symbols=(("P", "peak power", "W"),),
    working="{peak_power} / {displacement}",
    validity="corrected peak over the geometric displacement; compare only results of one standard",
    inputs=("peak_power", "displacement"),
)(power.specific_power)


@define.figure(
    "mean_torque",
    "Mean torque",
    units.TORQUE,
    source="trapezoid rule",
    means="Torque averaged over the session's rpm range.",
    formula=r"\frac{1}{n_2 - n_1} \int_{n_1}^{n_2} T \, dn",
    symbols=(
        ("T", "torque", "N m"),
        ("n_1, n_2", "ends of the range", "rev/s"),
    ),
    working="{torque_area} / {range_width}",
    validity="pulls that cover the session's range",
)
def mean_torque(torque_area: Value, range_width: Value) -> Value:
    """Return the mean torque of each pull over the range [N m]."""
    return unwrap_scalar(np.asarray(torque_area) / np.asarray(range_width))


@define.figure(
    "mean_power",
    "Mean power",
    units.POWER,
    source="trapezoid rule",
    means="Power averaged over the session's rpm range.",
    formula=r"\frac{1}{n_2 - n_1} \int_{n_1}^{n_2} P \, dn",
    symbols=(
        ("P", "power", "W"),
        ("n_1, n_2", "ends of the range", "rev/s"),
    ),
    working="{power_area} / {range_width}",
    validity="pulls that cover the session's range",
)
def mean_power(power_area: Value, range_width: Value) -> Value:
    """Return the mean power of each pull over the range [W]."""
    return unwrap_scalar(np.asarray(power_area) / np.asarray(range_width))


@define.figure(
    "torque_band",
    "90 % torque band",
    units.SPEED,
    source=COMMON_PRACTICE,
    means="Width of the rpm range with at least 90 % of peak torque.",
    formula=r"n_2 - n_1, \quad T \geq 0.9 \, T_{max}",
    symbols=(("T, T_{max}", "torque, and its peak", "N m"),),
    working="{band_to} − {band_from}",
    validity="the range around the peak; wider where the pull began or ended inside it",
)
def torque_band(band_from: Value, band_to: Value) -> Value:
    """Return the width of the torque band around the peak [rev/s]."""
    return unwrap_scalar(np.asarray(band_to) - np.asarray(band_from))


define.figure(
    "bsfc",
    "BSFC",
    units.SPECIFIC_FUEL,
    source=HEYWOOD_2,
    means="Fuel flow per unit power, at the most efficient speed; lower is more efficient.",
    formula=r"\dot m_f / P",
    working="{thriftiest_fuel} / {thriftiest_power}",
    validity="full load; fuel and power uncorrected",
    inputs=("thriftiest_fuel", "thriftiest_power"),
)(power.bsfc)


define.figure(
    "brake_thermal_efficiency",
    "Brake thermal efficiency",
    units.PERCENT,
    source=HEYWOOD_2,
    means="Share of the fuel's energy that becomes work, at the most efficient speed.",
    formula=r"\frac{P}{\dot m_f \, LHV}",
    working="{thriftiest_power} / ({thriftiest_fuel} × {heating_value})",
    validity="above 50 % is a logging error",
    inputs=("thriftiest_power", "thriftiest_fuel", "heating_value"),
)(power.brake_thermal_efficiency)


define.figure(
    "acceleration_torque",
    "Inertia correction",
    units.TORQUE,
    source=MECHANICS,
    means="Torque a sweep uses to accelerate rotating parts, at peak torque; added back.",
    formula=r"J \, \frac{d \omega}{dt} = 2 \pi \, J \, \frac{dn}{dt}",
    symbols=(
        (r"\omega", "crank speed", "rad/s"),
        ("n", "crank speed", "rev/s"),
        ("t", "time", "s"),
    ),
    working="{inertia} × 2π × {acceleration}",
    validity="sweeps with time in the log and a stated inertia",
)(power.acceleration_torque)


define.figure(
    "torque_power_consistency",
    "Torque/power cross-check",
    units.FACTOR,
    source=HEYWOOD_2,
    means="Logged power over torque times speed; 1 when they agree.",
    formula=r"\frac{P}{2 \pi \, n \, T}",
    symbols=(("P, T, n", "power, torque and speed as logged", "W, N m, rev/s"),),
    working="median of {power_ratio}",
    validity="0.995 to 1.005; 0.738 means N m read as lbf ft, 1.356 the reverse, 1.014 metric hp read as mechanical hp",
    inputs=("power_ratio",),
)(unchanged)
