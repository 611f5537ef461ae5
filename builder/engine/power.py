"""Power, torque and what they come to per liter, per kilogram of fuel and per cycle.

Engine speed n is in [rev/s] throughout; torque [N m], power [W], volumes [m3], fuel [kg/s]. All functions
take single values or arrays that broadcast together. ``revolutions_per_cycle`` is 2 for a four-stroke,
1 for a two-stroke.

Sources: Heywood, Internal Combustion Engine Fundamentals, ch. 2.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

import numpy as np

from builder.engine.constants import (
    KILOGRAM_FORCE_METRE,
    MECHANICAL_HORSEPOWER,
    METRIC_HORSEPOWER,
    POUND_FORCE_FOOT,
    REV_PER_MINUTE,
)
from builder.engine.validation import Value, require_not_negative, require_positive, unwrap_scalar


def power(torque: Value, speed: Value) -> Value:
    """Return the brake power [W] = 2 pi n T.

    Shapes: torque [N m] and speed [rev/s] broadcast together. Raises ValueError for a negative speed.
    Source: Heywood ch. 2.
    """
    require_not_negative(speed=speed)
    return unwrap_scalar(2 * np.pi * np.asarray(speed) * np.asarray(torque))


def torque(power: Value, speed: Value) -> Value:
    """Return the brake torque [N m] = P/(2 pi n).

    Shapes: power [W] and speed [rev/s] broadcast together. Raises ValueError for a speed of zero or less.
    Source: Heywood ch. 2.
    """
    require_positive(speed=speed)
    return unwrap_scalar(np.asarray(power) / (2 * np.pi * np.asarray(speed)))


def bmep(torque: Value, displacement: Value, revolutions_per_cycle: int = 2) -> Value:
    """Return the brake mean effective pressure [Pa] = 2 pi nR T/Vd: 4 pi T/Vd four-stroke, 2 pi T/Vd two-stroke.

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
    """Return the torque per volume swept [N m/m3]; times 1e-3 it is N m per liter.

    Shapes: torque [N m] and displacement [m3] broadcast together. Raises ValueError for a displacement of
    zero or less. Source: Heywood ch. 2.
    """
    require_positive(displacement=displacement)
    return unwrap_scalar(np.asarray(torque) / np.asarray(displacement))


def specific_power(power: Value, displacement: Value) -> Value:
    """Return the power per volume swept [W/m3]; times 1e-6 it is kW per liter.

    Shapes: power [W] and displacement [m3] broadcast together. Raises ValueError for a displacement of zero
    or less. Source: Heywood ch. 2.
    """
    require_positive(displacement=displacement)
    return unwrap_scalar(np.asarray(power) / np.asarray(displacement))


def bsfc(fuel_flow: Value, power: Value) -> Value:
    """Return the brake specific fuel consumption [kg/J] = mf/P; times 3.6e9 it is g/(kW h).

    Shapes: fuel mass flow [kg/s] and power [W] broadcast together; where the power is zero or less (coasting)
    the result is NaN. Raises ValueError for a negative fuel flow. Source: Heywood ch. 2.
    """
    require_not_negative(fuel_flow=fuel_flow)
    watts = np.asarray(power, dtype=np.float64)
    return unwrap_scalar(np.asarray(fuel_flow) / np.where(watts > 0, watts, np.nan))


def brake_thermal_efficiency(power: Value, fuel_flow: Value, heating_value: Value) -> Value:
    """Return the brake thermal efficiency [-] = P/(mf LHV).

    Shapes: power [W], fuel mass flow [kg/s] and lower heating value [J/kg] broadcast together; NaN where no
    fuel flows. Raises ValueError for a negative fuel flow or a heating value of zero or less.
    Range: a value above 0.5 is a mistake in the log, not an engine. Source: Heywood ch. 2.
    """
    require_not_negative(fuel_flow=fuel_flow)
    require_positive(heating_value=heating_value)
    fuel = np.asarray(fuel_flow, dtype=np.float64)
    return unwrap_scalar(np.asarray(power) / (np.where(fuel > 0, fuel, np.nan) * np.asarray(heating_value)))


def acceleration_torque(inertia: Value, acceleration: Value) -> Value:
    """Return the torque that the rotating parts themselves take up while the speed rises [N m] = J dw/dt.

    Added to the torque at the brake it gives the torque of the engine at that speed. Shapes: moment of
    inertia of everything that turns with the crank [kg m2] and rate of change of speed [rev/s2] broadcast
    together (:func:`builder.engine.curves.rate_of_change` takes it from a time series). Raises ValueError for a
    negative inertia. Source: Newton's second law for rotation.
    """
    require_not_negative(inertia=inertia)
    return unwrap_scalar(np.asarray(inertia) * 2 * np.pi * np.asarray(acceleration))


TORQUE_UNITS = MappingProxyType(
    {"N m": 1.0, "lbf ft": POUND_FORCE_FOOT, "kgf m": KILOGRAM_FORCE_METRE, "lbf in": POUND_FORCE_FOOT / 12}
)
"""Units that a log may hold torque in [N m]."""

POWER_UNITS = MappingProxyType(
    {"W": 1.0, "kW": 1000.0, "mechanical horsepower": MECHANICAL_HORSEPOWER, "metric horsepower": METRIC_HORSEPOWER}
)
"""Units that a log may hold power in [W]."""

SPEED_UNITS = MappingProxyType({"rev/s": 1.0, "rev/min": REV_PER_MINUTE, "rad/s": 1 / (2 * np.pi)})
"""Units that a log may hold engine speed in [rev/s]."""


@dataclass(frozen=True, slots=True)
class UnitMixUp:
    """A column that is in one unit and was read as if it were in another."""

    column: Literal["torque", "power", "speed"]
    unit: str
    read_as: str

    @property
    def factor(self) -> float:
        """Return how many times too large the readings come out [-]."""
        units = {"torque": TORQUE_UNITS, "power": POWER_UNITS, "speed": SPEED_UNITS}[self.column]
        return units[self.read_as] / units[self.unit]

    @property
    def text(self) -> str:
        """Return the mix-up in words: `torque in N m was read as lbf ft`."""
        return f"{self.column} in {self.unit} was read as {self.read_as}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Consistency:
    """Whether the logged torque, power and speed obey P = 2 pi n T.

    ``ratio`` is the median of power/(2 pi n T) over the rows [-], ``spread`` half the range that holds the
    middle half of the rows [-], ``rows`` how many rows could be compared. ``steady`` says whether one factor
    explains all rows: if not, a column is something else altogether. ``explanations`` are the mix-ups of units
    that explain the ratio within the tolerance, likeliest first; each is one mix-up, or one in each of two
    columns.
    """

    ratio: float
    spread: float
    rows: int
    agrees: bool
    steady: bool
    explanations: tuple[tuple[UnitMixUp, ...], ...]


_TORQUE_MIX_UPS = tuple(
    UnitMixUp("torque", unit, read_as)
    for unit, read_as in (
        ("N m", "lbf ft"),
        ("lbf ft", "N m"),
        ("kgf m", "N m"),
        ("N m", "kgf m"),
        ("kgf m", "lbf ft"),
        ("lbf in", "lbf ft"),
        ("lbf ft", "lbf in"),
    )
)
_POWER_MIX_UPS = tuple(
    UnitMixUp("power", unit, read_as)
    for unit, read_as in (
        ("metric horsepower", "mechanical horsepower"),
        ("mechanical horsepower", "metric horsepower"),
        ("kW", "mechanical horsepower"),
        ("mechanical horsepower", "kW"),
        ("kW", "metric horsepower"),
        ("metric horsepower", "kW"),
        ("W", "kW"),
        ("kW", "W"),
    )
)
_SPEED_MIX_UPS = tuple(
    UnitMixUp("speed", unit, read_as)
    for unit, read_as in (("rev/min", "rev/s"), ("rev/s", "rev/min"), ("rad/s", "rev/min"), ("rev/min", "rad/s"))
)
_EXPLANATIONS: tuple[tuple[UnitMixUp, ...], ...] = (
    *((mix_up,) for mix_up in (*_POWER_MIX_UPS, *_TORQUE_MIX_UPS, *_SPEED_MIX_UPS)),
    *((torque_mix_up, power_mix_up) for torque_mix_up in _TORQUE_MIX_UPS for power_mix_up in _POWER_MIX_UPS),
)
"""What may explain a ratio that is not one: one mix-up, or one in torque and one in power."""


def explanation_text(explanation: tuple[UnitMixUp, ...]) -> str:
    """Return the mix-ups of one explanation in words."""
    return ", and ".join(mix_up.text for mix_up in explanation)


def _ratio_of(explanation: tuple[UnitMixUp, ...]) -> float:
    """Return the power/(2 pi n T) that an explanation leads to [-]."""
    ratio = 1.0
    for mix_up in explanation:
        ratio = ratio * mix_up.factor if mix_up.column == "power" else ratio / mix_up.factor
    return ratio


def torque_power_consistency(speed: Value, torque: Value, power: Value, tolerance: float = 0.005) -> Consistency:
    """Return whether logged speed, torque and power obey P = 2 pi n T, and if not, the likely mix-up of units.

    Shapes: speed [rev/s], torque [N m] and power [W], one per row, as they were read; rows where one is not
    finite, or where the torque or power is less than a tenth of the largest, do not count. ``tolerance`` [-]
    is how far the median ratio may be off: half a percent, because metric and mechanical horsepower differ by
    1.4 %. A ratio of 0.738 means N m read as lbf ft, 1.356 the reverse, 1.014 metric horsepower read as
    mechanical, 0.746 kW read as horsepower. A mix-up in one column is preferred to mix-ups in two; with two
    the ratio names a pair, and a pair that cancels cannot be seen at all.

    Raises ValueError if no row can be compared, or for a tolerance of zero or less.
    Source: Heywood ch. 2; NIST SP 811 for the factors.
    """
    require_positive(tolerance=tolerance)
    columns = (np.atleast_1d(np.asarray(column, dtype=np.float64)) for column in (speed, torque, power))
    n, t, p = (column.ravel() for column in np.broadcast_arrays(*columns))
    usable = np.isfinite(n) & np.isfinite(t) & np.isfinite(p) & (n > 0) & (t > 0) & (p > 0)
    if usable.any():
        usable &= (t >= 0.1 * t[usable].max()) & (p >= 0.1 * p[usable].max())
    if not usable.any():
        raise ValueError("no row has a speed, a torque and a power above zero to compare")
    ratios = p[usable] / (2 * np.pi * n[usable] * t[usable])
    low, median, high = np.quantile(ratios, [0.25, 0.5, 0.75])
    ratio, spread = float(median), float(high - low) / 2
    agrees = abs(ratio - 1) <= tolerance
    steady = spread <= max(2 * tolerance, 0.01) * ratio
    explanations: list[tuple[UnitMixUp, ...]] = []
    if steady and not agrees:

        def distance(explanation: tuple[UnitMixUp, ...]) -> float:
            return abs(ratio / _ratio_of(explanation) - 1)

        explanations = [item for item in _EXPLANATIONS if distance(item) <= tolerance]
        explanations.sort(key=lambda item: (len(item), distance(item), explanation_text(item)))
    return Consistency(
        ratio=ratio,
        spread=spread,
        rows=int(usable.sum()),
        agrees=agrees and steady,
        steady=steady,
        explanations=tuple(explanations),
    )
