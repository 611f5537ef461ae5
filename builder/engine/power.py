"""Power, torque and what they come to per litre, per kilogram of fuel and per cycle.

Engine speed n is in [rev/s] throughout; torque [N m], power [W], volumes [m3], fuel [kg/s]. All functions
take single values or arrays that broadcast together. ``revolutions_per_cycle`` is 2 for a four-stroke,
1 for a two-stroke.

Sources: Heywood, Internal Combustion Engine Fundamentals, ch. 2.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from builder.engine.constants import (
    KILOGRAM_FORCE_METRE,
    MECHANICAL_HORSEPOWER,
    METRIC_HORSEPOWER,
    MINUTE,
    POUND_FORCE_FOOT,
)
from builder.engine.validation import Value, require_not_negative, require_positive, unwrap_scalar


def power(torque: Value, speed: Value) -> Value:
    """Brake power [W] = 2 pi n T.

    Shapes: torque [N m] and speed [rev/s] broadcast together. Raises ValueError for a negative speed.
    Source: Heywood ch. 2.
    """
    require_not_negative(speed=speed)
    return unwrap_scalar(2 * np.pi * np.asarray(speed) * np.asarray(torque))


def torque(power: Value, speed: Value) -> Value:
    """Brake torque [N m] = P/(2 pi n).

    Shapes: power [W] and speed [rev/s] broadcast together. Raises ValueError for a speed of zero or less.
    Source: Heywood ch. 2.
    """
    require_positive(speed=speed)
    return unwrap_scalar(np.asarray(power) / (2 * np.pi * np.asarray(speed)))


def bmep(torque: Value, displacement: Value, revolutions_per_cycle: int = 2) -> Value:
    """Brake mean effective pressure [Pa] = 2 pi nR T/Vd: 4 pi T/Vd four-stroke, 2 pi T/Vd two-stroke.

    Shapes: torque [N m] and displacement of the whole engine [m3] broadcast together. Raises ValueError for a
    displacement of zero or less or revolutions per cycle other than 1 or 2. Source: Heywood ch. 2.
    """
    require_positive(displacement=displacement)
    _check_cycle(revolutions_per_cycle)
    return unwrap_scalar(2 * np.pi * revolutions_per_cycle * np.asarray(torque) / np.asarray(displacement))


def _check_cycle(revolutions_per_cycle: int) -> None:
    if revolutions_per_cycle not in (1, 2):
        raise ValueError("a cycle takes one revolution (two-stroke) or two (four-stroke)")


def specific_torque(torque: Value, displacement: Value) -> Value:
    """Torque per volume swept [N m/m3]; times 1e-3 it is N m per litre.

    Shapes: torque [N m] and displacement [m3] broadcast together. Raises ValueError for a displacement of
    zero or less. Source: Heywood ch. 2.
    """
    require_positive(displacement=displacement)
    return unwrap_scalar(np.asarray(torque) / np.asarray(displacement))


def specific_power(power: Value, displacement: Value) -> Value:
    """Power per volume swept [W/m3]; times 1e-6 it is kW per litre.

    Shapes: power [W] and displacement [m3] broadcast together. Raises ValueError for a displacement of zero
    or less. Source: Heywood ch. 2.
    """
    require_positive(displacement=displacement)
    return unwrap_scalar(np.asarray(power) / np.asarray(displacement))


def bsfc(fuel_flow: Value, power: Value) -> Value:
    """Brake specific fuel consumption [kg/J] = mf/P; times 3.6e9 it is g/(kW h).

    Shapes: fuel mass flow [kg/s] and power [W] broadcast together; where the power is zero or less (coasting)
    the result is NaN. Raises ValueError for a negative fuel flow. Source: Heywood ch. 2.
    """
    require_not_negative(fuel_flow=fuel_flow)
    watts = np.asarray(power, dtype=np.float64)
    return unwrap_scalar(np.asarray(fuel_flow) / np.where(watts > 0, watts, np.nan))


def brake_thermal_efficiency(power: Value, fuel_flow: Value, heating_value: Value) -> Value:
    """Brake thermal efficiency [-] = P/(mf LHV).

    Shapes: power [W], fuel mass flow [kg/s] and lower heating value [J/kg] broadcast together; NaN where no
    fuel flows. Raises ValueError for a negative fuel flow or a heating value of zero or less.
    Range: a value above 0.5 is a slip in the log, not an engine. Source: Heywood ch. 2.
    """
    require_not_negative(fuel_flow=fuel_flow)
    require_positive(heating_value=heating_value)
    fuel = np.asarray(fuel_flow, dtype=np.float64)
    return unwrap_scalar(np.asarray(power) / (np.where(fuel > 0, fuel, np.nan) * np.asarray(heating_value)))


def acceleration_torque(inertia: Value, acceleration: Value) -> Value:
    """Torque that the rotating parts themselves take up while the speed rises [N m] = J dw/dt.

    Added to the torque at the brake it gives the torque of the engine at that speed. Shapes: moment of
    inertia of everything that turns with the crank [kg m2] and rate of change of speed [rev/s2] broadcast
    together (:func:`builder.engine.curves.rate_of_change` takes it from a time series). Raises ValueError for a
    negative inertia. Source: Newton's second law for rotation.
    """
    require_not_negative(inertia=inertia)
    return unwrap_scalar(np.asarray(inertia) * 2 * np.pi * np.asarray(acceleration))


@dataclass(frozen=True, slots=True)
class Consistency:
    """Do the logged torque, power and speed obey P = 2 pi n T?

    ``ratio`` is the middle one of power/(2 pi n T) over the rows [-], ``spread`` half the range that holds
    the middle half of the rows [-], ``rows`` how many rows could be compared. ``slip`` names the likeliest
    slip in words, ``others`` further ones that explain the ratio within the tolerance, likeliest first.
    ``steady`` says whether one factor explains all rows: if not, a column is something else altogether.
    """

    ratio: float
    spread: float
    rows: int
    agrees: bool
    steady: bool
    slip: str | None
    others: tuple[str, ...]


# What is written against what it was read as: how much too large the reading comes out.
_TORQUE_SLIPS = {
    "torque in N m was read as lbf ft": POUND_FORCE_FOOT,
    "torque in lbf ft was read as N m": 1 / POUND_FORCE_FOOT,
    "torque in kgf m was read as N m": 1 / KILOGRAM_FORCE_METRE,
    "torque in N m was read as kgf m": KILOGRAM_FORCE_METRE,
    "torque in kgf m was read as lbf ft": POUND_FORCE_FOOT / KILOGRAM_FORCE_METRE,
    "torque in lbf in was read as lbf ft": 12.0,
    "torque in lbf ft was read as lbf in": 1 / 12.0,
}
_POWER_SLIPS = {
    "power in metric horsepower was read as mechanical horsepower": MECHANICAL_HORSEPOWER / METRIC_HORSEPOWER,
    "power in mechanical horsepower was read as metric horsepower": METRIC_HORSEPOWER / MECHANICAL_HORSEPOWER,
    "power in kW was read as mechanical horsepower": MECHANICAL_HORSEPOWER / 1000,
    "power in mechanical horsepower was read as kW": 1000 / MECHANICAL_HORSEPOWER,
    "power in kW was read as metric horsepower": METRIC_HORSEPOWER / 1000,
    "power in metric horsepower was read as kW": 1000 / METRIC_HORSEPOWER,
    "power in W was read as kW": 1000.0,
    "power in kW was read as W": 1 / 1000.0,
}
_SPEED_SLIPS = {
    "speed in rev/min was read as rev/s": MINUTE,
    "speed in rev/s was read as rev/min": 1 / MINUTE,
    "speed in rad/s was read as rev/min": 2 * np.pi / MINUTE,
    "speed in rev/min was read as rad/s": MINUTE / (2 * np.pi),
}


def _slip_table() -> tuple[tuple[str, float, int], ...]:
    """Words, power over 2 pi n T, and how many slips it takes: one, or one in each of two columns."""
    single = [
        *((words, factor, 1) for words, factor in _POWER_SLIPS.items()),
        *((words, 1 / factor, 1) for words, factor in (_TORQUE_SLIPS | _SPEED_SLIPS).items()),
    ]
    double = [
        (f"{torque_words}, and {power_words}", power_factor / torque_factor, 2)
        for torque_words, torque_factor in _TORQUE_SLIPS.items()
        for power_words, power_factor in _POWER_SLIPS.items()
    ]
    return (*single, *double)


SLIPS = _slip_table()


def torque_power_consistency(speed: Value, torque: Value, power: Value, tolerance: float = 0.005) -> Consistency:
    """Whether logged speed, torque and power obey P = 2 pi n T, and if not, the likely slip of units.

    Shapes: speed [rev/s], torque [N m] and power [W], one per row, as they were read; rows where one is not
    finite, or where the torque or power is less than a tenth of the largest, do not count. ``tolerance`` [-]
    is how far the middle ratio may be off: half a percent, because metric and mechanical horsepower differ by
    1.4 %. A ratio of 0.738 means N m read as lbf ft, 1.356 the other way about, 1.014 metric horsepower read
    as mechanical, 0.746 kW read as horsepower. A slip in one column is preferred to slips in two; with two
    the ratio names a pair, and a pair that cancels cannot be seen at all.

    Raises ValueError if no row can be compared, or for a tolerance of zero or less.
    Source: Heywood ch. 2; NIST SP 811 for the factors.
    """
    require_positive(tolerance=tolerance)
    rows = np.broadcast_arrays(*(np.atleast_1d(np.asarray(each, dtype=np.float64)) for each in (speed, torque, power)))
    n, t, p = (each.ravel() for each in rows)
    finite = np.isfinite(n) & np.isfinite(t) & np.isfinite(p) & (n > 0) & (t > 0) & (p > 0)
    if finite.any():
        finite &= (t >= 0.1 * t[finite].max()) & (p >= 0.1 * p[finite].max())
    if not finite.any():
        raise ValueError("no row has a speed, a torque and a power above zero to compare")
    ratios = p[finite] / (2 * np.pi * n[finite] * t[finite])
    low, middle, high = np.quantile(ratios, [0.25, 0.5, 0.75])
    ratio, spread = float(middle), float(high - low) / 2
    agrees = abs(ratio - 1) <= tolerance
    steady = spread <= max(2 * tolerance, 0.01) * ratio
    likely: list[tuple[int, float, str]] = []
    if steady and not agrees:
        for words, factor, slips in SLIPS:
            off = abs(ratio / factor - 1)
            if off <= tolerance:
                likely.append((slips, off, words))
        likely.sort()
    names = [words for _, _, words in likely]
    return Consistency(
        ratio,
        spread,
        int(finite.sum()),
        agrees and steady,
        steady,
        names[0] if names else None,
        tuple(names[1:]),
    )
