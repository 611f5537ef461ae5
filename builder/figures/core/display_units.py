"""How a figure is written: in which unit, with how many digits, and in the other system as well."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

from builder.engine.constants import (
    CUBIC_INCH,
    FAHRENHEIT_DEGREE,
    FOOT,
    HOUR,
    INCH,
    MECHANICAL_HORSEPOWER,
    MINUTE,
    POUND,
    POUND_FORCE_FOOT,
    REV_PER_MINUTE,
)
from builder.record.models.build import Build
from builder.record.models.shop import Shop
from builder.record.quantities.digits import rounded
from builder.record.quantities.readings import Reading
from builder.record.quantities.unit_table import printed_unit
from builder.record.quantities.units import DIMENSIONS, NUMBER, Quantity, factor, parse_quantity, to_unit

System = Literal["inch", "metric"]


@dataclass(frozen=True, slots=True)
class UnitScale:
    """One unit to show a figure in, and the maximum number of decimals in it."""

    unit: str
    decimals: int
    factor: float | None = None
    """SI of one unit, for units that the record has no dimension for."""
    min_decimals: int | None = None
    """Decimals that are shown however uncertain the value is, where the trade needs them."""


@dataclass(frozen=True, slots=True)
class DisplayUnit:
    """The units of one kind of figure, in each system."""

    dimension: str
    si: str
    inch: UnitScale
    metric: UnitScale

    def scale(self, system: System) -> UnitScale:
        """Return the unit of one system."""
        return self.inch if system == "inch" else self.metric

    def label(self, system: System) -> str:
        """Return the unit of one system as printed."""
        unit = self.scale(system).unit
        return printed_unit(unit)

    def with_extra_decimal(self) -> DisplayUnit:
        """Return the same, with one more decimal."""
        inch, metric = (replace(scale, decimals=scale.decimals + 1) for scale in (self.inch, self.metric))
        return replace(self, inch=inch, metric=metric)

    def decimals(self, system: System, uncertainty: float = 0.0) -> int:
        """Return how many decimals a value of this uncertainty [SI] is shown with; below zero tens are rounded."""
        scale, step = self.scale(system), self.step(uncertainty, system)
        if not step > 0:
            return scale.decimals
        decimals = min(scale.decimals, -math.floor(math.log10(step * (1 + 1e-9))))
        return decimals if scale.min_decimals is None else max(scale.min_decimals, decimals)

    def last_digit(self, system: System, uncertainty: float = 0.0) -> float:
        """Return one unit of the last digit shown [SI], for a value of this uncertainty [SI]."""
        return float(10.0 ** -self.decimals(system, uncertainty) / abs(self._line(system)[0]))

    def as_shown(self, si: float, system: System, uncertainty: float = 0.0) -> float:
        """Return a value [SI] rounded to the digits it is shown with [SI]."""
        slope, offset = self._line(system)
        return (float(rounded(si * slope + offset, self.decimals(system, uncertainty))) - offset) / slope

    def _line(self, system: System) -> tuple[float, float]:
        """Return slope and offset that convert SI to the unit of one system."""
        scale = self.scale(system)
        if scale.factor is not None:
            return 1 / scale.factor, 0.0
        if self.dimension == NUMBER:
            return 1.0, 0.0
        size, offset = factor(scale.unit, self.dimension)
        return 1 / size, -offset / size

    def number(self, si: float, system: System) -> float:
        """Return a value [SI] in the unit of one system."""
        slope, offset = self._line(system)
        return si * slope + offset

    def step(self, si: float, system: System) -> float:
        """Return a difference [SI] (an uncertainty, a tolerance) in the unit of one system."""
        return abs(si * self._line(system)[0])

    def rounding_step(self, uncertainty: float, system: System) -> float:
        """Return what a figure with its expanded uncertainty is rounded to: two digits of it where the first is a 1.

        So 46 ± 11 does not become 50 ± 10. Source: JCGM 100, 7.2.6.
        """
        step = self.step(uncertainty, system)
        leads_with_one = step > 0 and step < 2 * 10.0 ** math.floor(math.log10(step))
        return uncertainty / 2 if leads_with_one else uncertainty

    def uncertainty_text(self, uncertainty: float, system: System, rounding_step: float) -> str:
        """Return an expanded uncertainty [SI] in the unit of one system, rounded as the figure is."""
        return rounded(self.step(uncertainty, system), self.decimals(system, rounding_step))

    def rounds_to_zero(self, difference: float, system: System, uncertainty: float) -> bool:
        """Return whether a difference [SI], written with the digits its uncertainty [SI] allows, is zero."""
        return float(rounded(self.step(difference, system), self.decimals(system, uncertainty))) == 0

    def text(self, si: float, system: System, uncertainty: float = 0.0, *, with_unit: bool = True) -> str:
        """Return a value [SI] in one system, with no more digits than its uncertainty [SI] allows."""
        return self.texts((si,), system, (uncertainty,), with_unit=with_unit)[0]

    def texts(
        self, si: Iterable[float], system: System, uncertainty: Iterable[float], *, with_unit: bool = True
    ) -> list[str]:
        """Return several values [SI] in one system, each with its own uncertainty."""
        slope, offset = self._line(system)
        unit = self.label(system) if with_unit else ""
        texts = []
        for value, step in zip(si, uncertainty, strict=True):
            number = rounded(value * slope + offset, self.decimals(system, step))
            if number[0] == "-":
                number = number[1:] if float(number) == 0 else f"−{number[1:]}"
            texts.append(join_unit(number, unit))
        return texts


def join_unit(number: str, unit: str) -> str:
    """Return a number followed by its unit as printed; a no-break space keeps the two on one line."""
    return f"{number}{unit}" if unit in ("", "°", ":1") else f"{number}\N{NO-BREAK SPACE}{unit}"


def written_number(quantity: Quantity) -> str:
    """Return the number of a value as written, with a minus sign where it has a unit."""
    return quantity.number.replace("-", "−") if quantity.unit else quantity.number


def written_text(quantity: Quantity) -> str:
    """Return a value as written, its unit as printed."""
    return join_unit(written_number(quantity), printed_unit(quantity.unit))


def number_decimals(quantity: Quantity) -> int:
    """Return with how many decimals a value was written."""
    return len(quantity.number.lower().partition("e")[0].partition(".")[2])


def written_mean(reading: Reading) -> str:
    """Return the mean of a reading's values as text, its unit as printed."""
    return written_text(mean_quantity(reading))


def mean_quantity(reading: Reading) -> Quantity:
    """Return the mean of a reading's values in the unit they were written in, with one more digit than they have."""
    first, count = reading.preferred[0], len(reading.preferred)
    if count == 1:
        return first
    scale, offset = factor(first.unit, first.dimension) if first.unit else (1.0, 0.0)
    decimals = min(len(quantity.number.partition(".")[2]) for quantity in reading.preferred) + (count > 2)
    number = rounded((float(reading.values.mean()) - offset) / scale, decimals)
    return replace(first, number=number, fraction="")


_COUNTERPARTS = {
    **dict.fromkeys(("L", "l", "litre", "litres", "liter", "liters"), "qt"),
    **dict.fromkeys(("qt", "US pt", "US gal"), "L"),
    **dict.fromkeys(("hPa", "mbar", "mmHg", "mm Hg"), "inHg"),
    **dict.fromkeys(("inHg", "in Hg"), "hPa"),
    "psi": "bar",
    **dict.fromkeys(("um", "µm", "μm"), "uin"),
    **dict.fromkeys(("uin", "µin", "μin"), "um"),
    **dict.fromkeys(("L/min", "l/min", "lpm"), "gpm"),
    **dict.fromkeys(("gpm", "gal/min"), "L/min"),
}
"""The unit that the trade of the other system uses for what is written in this one, where its usual unit is not it."""


def convert_to_other_system(quantity: Quantity) -> str | None:
    """Return the value in the other system as text; None where both agree."""
    other = number_in_other_system(quantity)
    return join_unit(*other) if other else None


def number_in_other_system(quantity: Quantity) -> tuple[str, str] | None:
    """Return number and unit in the other system, with as many digits as written; None where both agree."""
    if quantity.dimension == NUMBER:
        return None
    dimension = DIMENSIONS[quantity.dimension]
    usual = dimension.metric if system_of_unit(quantity) == "inch" else dimension.inch
    other = _COUNTERPARTS.get(quantity.unit, usual)
    if dimension.units.get(other) == dimension.units.get(quantity.unit) or other == quantity.unit:
        return None
    number = to_unit(quantity.si, other, quantity.dimension)
    one_step = abs(to_unit(quantity.si + quantity.step, other, quantity.dimension) - number)
    decimals = max(0, min(6, -math.floor(math.log10(one_step)))) if one_step > 0 else 3
    return rounded(number, decimals).replace("-", "−"), "US qt" if other == "qt" else printed_unit(other)


def quantity_in_system(quantity: Quantity, system: System) -> Quantity:
    """Return the quantity as it would be written in a system, rounded to as many digits as it was written with."""
    other = number_in_other_system(quantity)
    if other is None or system_of_unit(quantity) == system:
        return quantity
    return parse_quantity(f"{other[0].replace('−', '-')} {other[1]}", quantity.dimension)


def system_of_unit(quantity: Quantity) -> System:
    """Return the system that a value was written in; "inch" where its unit belongs to both."""
    return "metric" if quantity.system == "metric" else "inch"


def system_of(build: Build) -> System:
    """Return the system that a build was measured in: that of its bore, else of its stroke, else metric."""
    for path in ("bottom_end.block.bores", "bottom_end.crankshaft.stroke", "bottom_end.rods.length"):
        reading = build.get(path)
        if isinstance(reading, Reading) and reading.preferred:
            return system_of_unit(reading.preferred[0])
    return "metric"


def system_for(build: Build, shop: Shop) -> System:
    """Return the system that figures are shown in first: the shop's, or the build's own where the shop shows both."""
    return system_of(build) if shop.units == "both" else shop.units


LENGTH = DisplayUnit("length", "m", UnitScale("in", 4, min_decimals=3), UnitScale("mm", 3, min_decimals=2))
VOLUME = DisplayUnit("volume", "m^3", UnitScale("cc", 1), UnitScale("cc", 1))
DISPLACEMENT = DisplayUnit("volume", "m^3", UnitScale("cu in", 1), UnitScale("cc", 0))
RATIO = DisplayUnit(NUMBER, "1", UnitScale("", 3), UnitScale("", 3))
INDEX = DisplayUnit(NUMBER, "1", UnitScale("", 2), UnitScale("", 2))
COMPRESSION = DisplayUnit(NUMBER, "1", UnitScale(":1", 2), UnitScale(":1", 2))
PERCENT = DisplayUnit("fraction", "1", UnitScale("%", 1), UnitScale("%", 1))
WHOLE_PERCENT = DisplayUnit("fraction", "1", UnitScale("%", 0), UnitScale("%", 0))
ANGLE = DisplayUnit("angle", "deg", UnitScale("deg", 1), UnitScale("deg", 1))
AREA = DisplayUnit("area", "m^2", UnitScale("sq in", 3), UnitScale("cm2", 2))
ANGLE_AREA = DisplayUnit("angle area", "m2 deg", UnitScale("sq in deg", 1, INCH**2), UnitScale("cm² deg", 0, 1e-4))
VELOCITY = DisplayUnit("velocity", "m/s", UnitScale("ft/min", 0, FOOT / MINUTE), UnitScale("m/s", 2, 1.0))
FAST_VELOCITY = DisplayUnit("velocity", "m/s", UnitScale("ft/s", 0, FOOT), UnitScale("m/s", 1, 1.0))
ACCELERATION = DisplayUnit("acceleration", "m/s^2", UnitScale("ft/s²", 0, FOOT), UnitScale("m/s²", 0, 1.0))
BALANCE_GRADE = DisplayUnit("velocity", "m/s", UnitScale("mm/s", 1, 1e-3), UnitScale("mm/s", 1, 1e-3))
IMBALANCE = DisplayUnit("imbalance", "kg m", UnitScale("oz.in", 2), UnitScale("g.mm", 0))
FORCE = DisplayUnit("force", "N", UnitScale("lbf", 0), UnitScale("N", 0))
CLAMPING = DisplayUnit("force", "N", UnitScale("lbf", 0), UnitScale("kN", 1))
STIFFNESS = DisplayUnit("stiffness", "N/m", UnitScale("lbf/in", 0), UnitScale("N/mm", 1))
MASS = DisplayUnit("mass", "kg", UnitScale("g", 1), UnitScale("g", 1))
PULSE = DisplayUnit("time", "s", UnitScale("ms", 2, 1e-3), UnitScale("ms", 2, 1e-3))
VOLTAGE = DisplayUnit(NUMBER, "V", UnitScale("V", 1), UnitScale("V", 1))
CURVATURE = DisplayUnit("curvature", "m/deg^2", UnitScale("µin/deg²", 1, INCH * 1e-6), UnitScale("µm/deg²", 2, 1e-6))
FREQUENCY = DisplayUnit("frequency", "Hz", UnitScale("Hz", 0, 1.0), UnitScale("Hz", 0, 1.0))
SPEED = DisplayUnit("engine speed", "rev/s", UnitScale("rpm", 0), UnitScale("rpm", 0))
TORQUE = DisplayUnit("torque", "N m", UnitScale("lbf.ft", 1), UnitScale("N.m", 1))
POWER = DisplayUnit("power", "W", UnitScale("hp", 1), UnitScale("kW", 1))
PRESSURE = DisplayUnit("pressure", "Pa", UnitScale("psi", 1), UnitScale("kPa", 0))
STRESS = DisplayUnit("pressure", "Pa", UnitScale("psi", 0), UnitScale("MPa", 0))
AIR_PRESSURE = DisplayUnit("pressure", "Pa", UnitScale("inHg", 2), UnitScale("kPa", 2))
BENCH_PRESSURE = DisplayUnit("pressure", "Pa", UnitScale("inH2O", 1), UnitScale("inH2O", 1))
DENSITY = DisplayUnit("density", "kg/m^3", UnitScale("lb/cu ft", 4, POUND / FOOT**3), UnitScale("kg/m3", 3))
TEMPERATURE = DisplayUnit("temperature", "K", UnitScale("degF", 0), UnitScale("degC", 1))
TEMPERATURE_STEP = DisplayUnit(
    "temperature difference", "K", UnitScale("°F", 0, FAHRENHEIT_DEGREE), UnitScale("°C", 0, 1.0)
)
VOLUME_FLOW = DisplayUnit("volume flow", "m^3/s", UnitScale("cfm", 0), UnitScale("L/s", 1))
MASS_FLOW = DisplayUnit("mass flow", "kg/s", UnitScale("lb/h", 1), UnitScale("kg/h", 1))
FACTOR = DisplayUnit(NUMBER, "1", UnitScale("", 4), UnitScale("", 4))
SPECIFIC_TORQUE = DisplayUnit(
    "specific torque",
    "N m/m^3",
    UnitScale("lbf ft/cu in", 2, POUND_FORCE_FOOT / CUBIC_INCH),
    UnitScale("N m/L", 1, 1e3),
)
SPECIFIC_POWER = DisplayUnit(
    "specific power", "W/m^3", UnitScale("hp/cu in", 2, MECHANICAL_HORSEPOWER / CUBIC_INCH), UnitScale("kW/L", 1, 1e6)
)
SPECIFIC_POWER_PER_PRESSURE = DisplayUnit(
    "specific power per pressure",
    "W/(m^3 Pa)",
    UnitScale("hp/(cu in bar)", 2, MECHANICAL_HORSEPOWER / CUBIC_INCH / 1e5),
    UnitScale("kW/(L bar)", 1, 10.0),
)
SPECIFIC_FUEL = DisplayUnit(
    "specific fuel",
    "kg/J",
    UnitScale("lb/(hp h)", 3, POUND / (MECHANICAL_HORSEPOWER * HOUR)),
    UnitScale("g/kWh", 0, 1 / 3.6e9),
)
COUNT = DisplayUnit(NUMBER, "1", UnitScale("", 0), UnitScale("", 0))
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
SPECIFIC_ENERGY = DisplayUnit("specific energy", "J/kg", UnitScale("MJ/kg", 1), UnitScale("MJ/kg", 1))
SETTING_LEVEL = DisplayUnit(NUMBER, "1", UnitScale("", 4), UnitScale("", 4))
"""A level of a setting, in the unit it was written in."""
