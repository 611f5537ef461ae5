"""Figures of power: what the engine made on the dyno, in the shop's standard; the best pull stands for it."""

from __future__ import annotations

import numpy as np

from builder.engine import breathing, power
from builder.engine.values import Value, unwrap_scalar
from builder.figures.core import display_units
from builder.figures.core.registry import AIR, COMMON_PRACTICE, HEYWOOD_2, POWER, figure
from builder.figures.definitions import pull_evidence as _evidence  # noqa: F401
from builder.figures.definitions.dyno_inputs import BMEP

SMOOTHED = "Savitzky and Golay 1964 (local quadratic over 500 rev/min); a single spike is set aside"
MECHANICS = "mechanics: Newton's second law for rotation"


@figure(
    "peak_power",
    "Peak power",
    display_units.POWER,
    section=POWER,
    source=HEYWOOD_2,
    axis="pull",
    headline="first",
    means="The most work the engine did in a given time, on the smoothed curve, in the shop's correction standard.",
    formula=r"P = 2 \pi \, n \, T",
    working="2π × {speed_of_peak_power} × {torque_at_peak_power}",
    validity="the speeds that were run; where the curve still rises at the end, the engine's own peak lies beyond",
)
def peak_power(speed_of_peak_power: Value, torque_at_peak_power: Value) -> Value:
    """Peak of the smoothed power curve of each pull [W]."""
    return power.power(torque_at_peak_power, speed_of_peak_power)


@figure(
    "peak_power_speed",
    "Speed of peak power",
    display_units.SPEED,
    section=POWER,
    source=SMOOTHED,
    axis="pull",
    headline="first",
    means="Where the power curve is highest.",
    formula=r"P(n) = \max",
    symbols=(("P", "power", "W"),),
    working="where the smoothed curve is highest, {speed_of_peak_power}",
    validity="the speeds that were run",
)
def peak_power_speed(speed_of_peak_power: Value) -> Value:
    """Speed of peak power of each pull [rev/s]."""
    return speed_of_peak_power


@figure(
    "peak_torque",
    "Peak torque",
    display_units.TORQUE,
    section=POWER,
    source=SMOOTHED,
    axis="pull",
    headline="first",
    means="The hardest the engine twists, on the smoothed curve, in the shop's correction standard.",
    formula=r"T = k \, T_0",
    working="{peak_torque_uncorrected} × {peak_torque_factor}",
    validity="the speeds that were run",
)
def peak_torque(peak_torque_uncorrected: Value, peak_torque_factor: Value) -> Value:
    """Peak of the smoothed torque curve of each pull [N m]."""
    return unwrap_scalar(np.asarray(peak_torque_uncorrected) * np.asarray(peak_torque_factor))


@figure(
    "peak_torque_speed",
    "Speed of peak torque",
    display_units.SPEED,
    section=POWER,
    source=SMOOTHED,
    axis="pull",
    headline="first",
    means="Where the torque curve is highest.",
    formula=r"T(n) = \max",
    symbols=(("T", "torque", "N m"),),
    working="where the smoothed curve is highest, {speed_of_peak_torque}",
    validity="the speeds that were run",
)
def peak_torque_speed(speed_of_peak_torque: Value) -> Value:
    """Speed of peak torque of each pull [rev/s]."""
    return speed_of_peak_torque


@figure(
    "raw_peak_power",
    "Highest reading of power",
    display_units.POWER,
    section=POWER,
    source=COMMON_PRACTICE,
    axis="pull",
    headline="first",
    means="The highest single reading, as a dyno's screen would show it; one reading holds the noise of one reading.",
    formula=r"\max P_i",
    symbols=(("P_i", "power at one reading", "W"),),
    working="the highest corrected reading that is no spike, {highest_power}",
    validity="beside the smoothed peak, never instead of it",
)
def raw_peak_power(highest_power: Value) -> Value:
    """Highest single reading of power of each pull [W]."""
    return highest_power


@figure(
    "raw_peak_torque",
    "Highest reading of torque",
    display_units.TORQUE,
    section=POWER,
    source=COMMON_PRACTICE,
    axis="pull",
    headline="first",
    means="The highest single reading, as a dyno's screen would show it; one reading holds the noise of one reading.",
    formula=r"\max T_i",
    symbols=(("T_i", "torque at one reading", "N m"),),
    working="the highest corrected reading that is no spike, {highest_torque}",
    validity="beside the smoothed peak, never instead of it",
)
def raw_peak_torque(highest_torque: Value) -> Value:
    """Highest single reading of torque of each pull [N m]."""
    return highest_torque


@figure(
    "bmep",
    "Brake mean effective pressure",
    BMEP,
    section=POWER,
    source=HEYWOOD_2,
    axis="pull",
    headline="first",
    means="Torque for the size of the engine, as the steady pressure on the pistons that would make it.",
    formula=r"p = \frac{4 \pi \, T}{V_d} \;\mathrm{(four-stroke)}, \quad \frac{2 \pi \, T}{V_d} "
    r"\;\mathrm{(two-stroke)}",
    symbols=(("T", "peak torque", "N m"),),
    working="{turns_of_a_cycle} × {peak_torque} / {displacement}",
    validity="at peak torque; engines of any size, four-stroke and two-stroke",
)
def bmep(turns_of_a_cycle: Value, peak_torque: Value, displacement: Value) -> Value:
    """Brake mean effective pressure at peak torque [Pa]."""
    return power.bmep(peak_torque, displacement, round(float(np.mean(turns_of_a_cycle)) / (2 * np.pi)))


@figure(
    "specific_torque",
    "Torque for its size",
    display_units.SPECIFIC_TORQUE,
    section=POWER,
    source=HEYWOOD_2,
    axis="pull",
    headline="first",
    means="Peak torque for each unit of displacement.",
    formula=r"T / V_d",
    symbols=(("T", "peak torque", "N m"),),
    working="{peak_torque} / {displacement}",
    validity="any engine",
)
def specific_torque(peak_torque: Value, displacement: Value) -> Value:
    """Peak torque over displacement [N m/m3]."""
    return power.specific_torque(peak_torque, displacement)


@figure(
    "specific_power",
    "Power for its size",
    display_units.SPECIFIC_POWER,
    section=POWER,
    source=HEYWOOD_2,
    axis="pull",
    headline="first",
    means="Peak power for each unit of displacement.",
    formula=r"P / V_d",
    symbols=(("P", "peak power", "W"),),
    working="{peak_power} / {displacement}",
    validity="any engine",
)
def specific_power(peak_power: Value, displacement: Value) -> Value:
    """Peak power over displacement [W/m3]."""
    return power.specific_power(peak_power, displacement)


@figure(
    "mean_torque",
    "Mean torque",
    display_units.TORQUE,
    section=POWER,
    source="trapezoid rule",
    axis="pull",
    headline="first",
    means="Torque averaged over the speeds that the engine works at: two peaks say less than one mean.",
    formula=r"\frac{1}{n_2 - n_1} \int_{n_1}^{n_2} T \, dn",
    symbols=(
        ("T", "torque", "N m"),
        ("n_1, n_2", "ends of the range", "rev/s"),
    ),
    working="{torque_area} / {range_width}",
    validity="pulls that were run over the whole of the session's range",
)
def mean_torque(torque_area: Value, range_width: Value) -> Value:
    """Mean torque of each pull over the range [N m]."""
    return unwrap_scalar(np.asarray(torque_area) / np.asarray(range_width))


@figure(
    "mean_power",
    "Mean power",
    display_units.POWER,
    section=POWER,
    source="trapezoid rule",
    axis="pull",
    headline="first",
    means="Power averaged over the speeds that the engine works at.",
    formula=r"\frac{1}{n_2 - n_1} \int_{n_1}^{n_2} P \, dn",
    symbols=(
        ("P", "power", "W"),
        ("n_1, n_2", "ends of the range", "rev/s"),
    ),
    working="{power_area} / {range_width}",
    validity="pulls that were run over the whole of the session's range",
)
def mean_power(power_area: Value, range_width: Value) -> Value:
    """Mean power of each pull over the range [W]."""
    return unwrap_scalar(np.asarray(power_area) / np.asarray(range_width))


@figure(
    "torque_band",
    "Torque band",
    display_units.SPEED,
    section=POWER,
    source=COMMON_PRACTICE,
    axis="pull",
    headline="first",
    means="How wide the speeds are in which the engine gives at least 90 % of its peak torque: wide is easy to drive.",
    formula=r"n_2 - n_1, \quad T \geq 0.9 \, T_{max}",
    symbols=(("T, T_{max}", "torque, and its peak", "N m"),),
    working="{band_to} − {band_from}",
    validity="the stretch around the peak; where the pull began or ended inside it, the band may be wider",
)
def torque_band(band_from: Value, band_to: Value) -> Value:
    """Width of the torque band around the peak [rev/s]."""
    return unwrap_scalar(np.asarray(band_to) - np.asarray(band_from))


@figure(
    "bsfc",
    "Brake specific fuel consumption",
    display_units.SPECIFIC_FUEL,
    section=POWER,
    source=HEYWOOD_2,
    axis="pull",
    headline="first",
    means="Fuel burnt for each unit of work, where the engine is thriftiest.",
    formula=r"\dot m_f / P",
    working="{thriftiest_fuel} / {thriftiest_power}",
    validity="full load; fuel and power both as on the day, not corrected",
)
def bsfc(thriftiest_fuel: Value, thriftiest_power: Value) -> Value:
    """Least brake specific fuel consumption of each pull [kg/J]."""
    return power.bsfc(thriftiest_fuel, thriftiest_power)


@figure(
    "brake_thermal_efficiency",
    "Brake thermal efficiency",
    display_units.PERCENT,
    section=POWER,
    source=HEYWOOD_2,
    axis="pull",
    headline="first",
    means="How much of the fuel's heat comes out as work, where the engine is thriftiest.",
    formula=r"\frac{P}{\dot m_f \, LHV}",
    working="{thriftiest_power} / ({thriftiest_fuel} × {heating_value})",
    validity="above 50 % is a slip in the log, not an engine",
)
def brake_thermal_efficiency(thriftiest_power: Value, thriftiest_fuel: Value, heating_value: Value) -> Value:
    """Best brake thermal efficiency of each pull [-]."""
    return power.brake_thermal_efficiency(thriftiest_power, thriftiest_fuel, heating_value)


@figure(
    "volumetric_efficiency",
    "Volumetric efficiency",
    display_units.PERCENT,
    section=AIR,
    source=HEYWOOD_2,
    axis="pull",
    headline="first",
    means="How well the cylinders fill, where they fill best: air taken in over what the swept volume would hold.",
    formula=r"\frac{\dot m_a}{\rho \, V_d \, n / r}",
    symbols=(
        (r"\rho", "density of the air outside", "kg/m^3"),
        ("V_d", "displacement", "m^3"),
    ),
    working="{fullest_air} / ({air_density} × {displacement} × {fullest_speed} / {revolutions_per_cycle})",
    validity="air by a flow meter, or fuel flow times air-fuel ratio, which counts fuel that leaves unburnt",
)
def volumetric_efficiency(
    fullest_air: Value, air_density: Value, displacement: Value, fullest_speed: Value, revolutions_per_cycle: Value
) -> Value:
    """Highest volumetric efficiency of each pull [-]."""
    revolutions = round(float(np.mean(revolutions_per_cycle)))
    return breathing.volumetric_efficiency(fullest_air, air_density, displacement, fullest_speed, revolutions)


@figure(
    "acceleration_torque",
    "Torque spent on accelerating",
    display_units.TORQUE,
    section=POWER,
    source=MECHANICS,
    axis="pull",
    headline="first",
    means="What a fast sweep spends on speeding up its own rotating parts, at peak torque; it is added back.",
    formula=r"J \, \frac{d \omega}{dt} = 2 \pi \, J \, \frac{dn}{dt}",
    symbols=(
        (r"\omega", "crank speed", "rad/s"),
        ("n", "crank speed", "rev/s"),
        ("t", "time", "s"),
    ),
    working="{inertia} × 2π × {acceleration}",
    validity="sweeps with time in the log, where the inertia of all that turns is stated",
)
def acceleration_torque(inertia: Value, acceleration: Value) -> Value:
    """Torque that accelerating takes at peak torque [N m]."""
    return power.acceleration_torque(inertia, acceleration)


@figure(
    "torque_power_consistency",
    "Torque against power",
    display_units.FACTOR,
    section=POWER,
    source=HEYWOOD_2,
    axis="pull",
    headline="first",
    means="Whether the logged torque, power and speed fit together: one when they do.",
    formula=r"\frac{P}{2 \pi \, n \, T}",
    symbols=(("P, T, n", "power, torque and speed as logged", "W, N m, rev/s"),),
    working="middle one of {power_ratio}",
    validity="0.995 to 1.005; 0.738 means N m read as lbf ft, 1.356 the other way about, 1.014 metric horsepower read "
    "as mechanical",
)
def torque_power_consistency(power_ratio: Value) -> Value:
    """Logged power over the power that torque and speed make [-]."""
    return power_ratio
