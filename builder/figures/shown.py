"""How a figure is written: in which unit, with how many digits, and with the other system beside it."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

from builder.record.build import Build
from builder.record.readings import NUMBER, Reading
from builder.record.units import DIMENSIONS, Quantity, factor, to_unit

System = Literal["inch", "metric"]


@dataclass(frozen=True, slots=True)
class Scale:
    """One unit to show a figure in, and the most decimals that make sense in it."""

    unit: str
    decimals: int
    factor: float | None = None
    """SI of one unit, for units that the record has no dimension for."""


@dataclass(frozen=True, slots=True)
class Shown:
    """The units of a kind of figure, in either system."""

    dimension: str
    si: str
    inch: Scale
    metric: Scale

    def scale(self, system: System) -> Scale:
        """The unit of one system."""
        return self.inch if system == "inch" else self.metric

    def closer(self) -> Shown:
        """The same, with one more decimal."""
        inch, metric = (replace(scale, decimals=scale.decimals + 1) for scale in (self.inch, self.metric))
        return replace(self, inch=inch, metric=metric)

    def _line(self, system: System) -> tuple[float, float]:
        """Slope and offset that take SI to the unit of one system."""
        scale = self.scale(system)
        if scale.factor is not None:
            return 1 / scale.factor, 0.0
        if self.dimension == NUMBER:
            return 1.0, 0.0
        size, offset = factor(scale.unit, self.dimension)
        return 1 / size, -offset / size

    def number(self, si: float, system: System) -> float:
        """The number in the unit of one system."""
        slope, offset = self._line(system)
        return si * slope + offset

    def step(self, si: float, system: System) -> float:
        """A difference (an uncertainty, a tolerance) in the unit of one system."""
        return abs(si * self._line(system)[0])

    def finest(self, uncertainty: float, system: System) -> float:
        """What a figure beside its expanded uncertainty is rounded to: two digits of it where the first is a 1.

        So 46 ± 11 stays what it is, and does not become 50 ± 10. Source: JCGM 100, 7.2.6.
        """
        step = self.step(uncertainty, system)
        leads_with_one = step > 0 and step < 2 * 10.0 ** math.floor(math.log10(step))
        return uncertainty / 2 if leads_with_one else uncertainty

    def spread(self, uncertainty: float, system: System, finest: float) -> str:
        """An expanded uncertainty [SI] in the unit of one system, rounded as the figure beside it."""
        return _rounded(self.step(uncertainty, system), self.step(finest, system), self.scale(system).decimals)

    def text(self, si: float, system: System, uncertainty: float = 0.0, *, with_unit: bool = True) -> str:
        """The figure in one system, with no more digits than its uncertainty leaves meaning to."""
        return self.texts((si,), system, (uncertainty,), with_unit=with_unit)[0]

    def texts(
        self, si: Iterable[float], system: System, uncertainty: Iterable[float], *, with_unit: bool = True
    ) -> list[str]:
        """Several figures in one system, each with its own uncertainty."""
        scale = self.scale(system)
        slope, offset = self._line(system)
        unit = _joined(scale.unit) if with_unit and scale.unit else ""
        texts = []
        for value, unsure in zip(si, uncertainty, strict=True):
            number = _rounded(value * slope + offset, abs(unsure * slope), scale.decimals)
            if number[0] == "-":
                number = number[1:] if float(number) == 0 else f"−{number[1:]}"
            texts.append(number + unit)
        return texts


def _rounded(number: float, unsure: float, most: int) -> str:
    """The number with the digits that its uncertainty leaves meaning to; tens and hundreds are rounded too."""
    decimals = min(most, -math.floor(math.log10(unsure))) if unsure > 0 else most
    return f"{round(number, decimals):.{max(0, decimals)}f}"


def _joined(unit: str) -> str:
    # A no-break space keeps number and unit on one line.
    text = UNIT_TEXT.get(unit, unit)
    return text if text in ("°", ":1") else f"\N{NO-BREAK SPACE}{text}"


UNIT_TEXT = {
    "lbf.ft": "lbf ft",
    "N.m": "N m",
    "deg": "°",
    "degF": "°F",
    "degC": "°C",
    "kg.m2": "kg m²",
    "kg/m3": "kg/m³",
    "cm2": "cm²",
    "mm2": "mm²",
    "in2": "in²",
    "cm3": "cm³",
    "lbf.in": "lbf in",
}
"""How a unit of the record is set in type, where that differs."""


def written_text(quantity: Quantity) -> str:
    """A value as written, its unit set in type."""
    if not quantity.unit:
        return quantity.number
    unit = UNIT_TEXT.get(quantity.unit, quantity.unit)
    return f"{quantity.number.replace('-', '−')}{'' if unit == '°' else chr(0xA0)}{unit}"


def written_mean(reading: Reading) -> str:
    """The mean of a reading's values in the unit they were written in, with a digit more than one of them has."""
    first, count = reading.best[0], len(reading.best)
    if count == 1:
        return written_text(first)
    scale, offset = factor(first.unit, first.dimension) if first.unit else (1.0, 0.0)
    decimals = min(len(quantity.number.partition(".")[2]) for quantity in reading.best) + (count > 2)
    number = f"{(float(reading.values.mean()) - offset) / scale:.{decimals}f}"
    return written_text(replace(first, number=number, fraction=""))


def beside(quantity: Quantity) -> str | None:
    """The value in the other system, with as many digits as it was written with; None where both agree."""
    if quantity.dimension == NUMBER:
        return None
    dimension = DIMENSIONS[quantity.dimension]
    other = dimension.metric if system_of_unit(quantity) == "inch" else dimension.inch
    if dimension.units.get(other) == dimension.units.get(quantity.unit) or other == quantity.unit:
        return None
    number = to_unit(quantity.si, other, quantity.dimension)
    one_step = abs(to_unit(quantity.si + quantity.step, other, quantity.dimension) - number)
    decimals = max(0, min(6, -math.floor(math.log10(one_step)))) if one_step > 0 else 3
    unit = UNIT_TEXT.get(other, other)
    return f"{number:.{decimals}f}".replace("-", "−") + ("" if unit == "°" else "\N{NO-BREAK SPACE}") + unit


_METRIC_UNITS = {
    "mm",
    "um",
    "cm",
    "m",
    "µm",
    "μm",
    "cc",
    "N.m",
    "Nm",
    "N m",
    "N·m",
    "kgf.m",
    "N",
    "kN",
    "kgf",
    "N/mm",
    "kPa",
    "bar",
    "mbar",
    "hPa",
    "Pa",
    "MPa",
    "mmHg",
    "degC",
    "C",
    "°C",
    "deg C",
    "K",
    "kW",
    "PS",
    "W",
    "L",
    "l",
    "ml",
    "mL",
    "cm3",
    "cm³",
    "mm3",
    "litre",
    "litres",
    "cm2",
    "mm2",
    "g",
    "kg",
    "L/s",
    "L/min",
    "m3/h",
    "l/s",
    "l/min",
    "cc/min",
    "m3/s",
    "kg/h",
    "g/s",
    "g/min",
    "kg/s",
    "kg.m2",
    "kg m2",
    "MJ/kg",
    "kg/m3",
    "kg/L",
    "g/cc",
}


def system_of_unit(quantity: Quantity) -> System:
    """The system a value was written in."""
    return "metric" if quantity.unit in _METRIC_UNITS else "inch"


def system_of(build: Build) -> System:
    """The system a build was measured in: that of its bore, else of its stroke, else metric."""
    for path in ("bottom_end.block.bores", "bottom_end.crankshaft.stroke", "bottom_end.rods.length"):
        reading = build.get(path)
        if isinstance(reading, Reading) and reading.best:
            return system_of_unit(reading.best[0])
    return "metric"


_FT_PER_MIN = 0.3048 / 60

LENGTH = Shown("length", "m", Scale("in", 4), Scale("mm", 3))
VOLUME = Shown("volume", "m^3", Scale("cc", 1), Scale("cc", 1))
DISPLACEMENT = Shown("volume", "m^3", Scale("cu in", 1), Scale("cc", 0))
RATIO = Shown(NUMBER, "1", Scale("", 3), Scale("", 3))
INDEX = Shown(NUMBER, "1", Scale("", 2), Scale("", 2))
COMPRESSION = Shown(NUMBER, "1", Scale(":1", 2), Scale(":1", 2))
PERCENT = Shown("fraction", "1", Scale("%", 1), Scale("%", 1))
WHOLE_PERCENT = Shown("fraction", "1", Scale("%", 0), Scale("%", 0))
ANGLE = Shown("angle", "deg", Scale("deg", 1), Scale("deg", 1))
AREA = Shown("area", "m^2", Scale("sq in", 3), Scale("cm2", 2))
VELOCITY = Shown("velocity", "m/s", Scale("ft/min", 0, _FT_PER_MIN), Scale("m/s", 2, 1.0))
FAST_VELOCITY = Shown("velocity", "m/s", Scale("ft/s", 0, 0.3048), Scale("m/s", 1, 1.0))
ACCELERATION = Shown("acceleration", "m/s^2", Scale("ft/s²", 0, 0.3048), Scale("m/s²", 0, 1.0))
FORCE = Shown("force", "N", Scale("lbf", 0), Scale("N", 0))
CLAMPING = Shown("force", "N", Scale("lbf", 0), Scale("kN", 1))
STIFFNESS = Shown("stiffness", "N/m", Scale("lbf/in", 0), Scale("N/mm", 1))
MASS = Shown("mass", "kg", Scale("g", 1), Scale("g", 1))
PULSE = Shown("time", "s", Scale("ms", 2, 1e-3), Scale("ms", 2, 1e-3))
SPEED = Shown("engine speed", "rev/s", Scale("rpm", 0), Scale("rpm", 0))
TORQUE = Shown("torque", "N m", Scale("lbf.ft", 1), Scale("N.m", 1))
POWER = Shown("power", "W", Scale("hp", 1), Scale("kW", 1))
PRESSURE = Shown("pressure", "Pa", Scale("psi", 1), Scale("kPa", 0))
AIR_PRESSURE = Shown("pressure", "Pa", Scale("inHg", 2), Scale("kPa", 2))
BENCH_PRESSURE = Shown("pressure", "Pa", Scale("inH2O", 1), Scale("inH2O", 1))
DENSITY = Shown("density", "kg/m^3", Scale("lb/cu ft", 4, 16.018463373960142), Scale("kg/m3", 3))
TEMPERATURE = Shown("temperature", "K", Scale("degF", 0), Scale("degC", 1))
TEMPERATURE_STEP = Shown("temperature difference", "K", Scale("°F", 0, 1 / 1.8), Scale("°C", 0, 1.0))
VOLUME_FLOW = Shown("volume flow", "m^3/s", Scale("cfm", 0), Scale("L/s", 1))
MASS_FLOW = Shown("mass flow", "kg/s", Scale("lb/h", 1), Scale("kg/h", 1))
FACTOR = Shown(NUMBER, "1", Scale("", 4), Scale("", 4))
SPECIFIC_TORQUE = Shown(
    "specific torque", "N m/m^3", Scale("lbf ft/cu in", 2, 1.3558179483314004 / 1.6387064e-5), Scale("N m/L", 1, 1e3)
)
SPECIFIC_POWER = Shown(
    "specific power", "W/m^3", Scale("hp/cu in", 2, 745.6998715822702 / 1.6387064e-5), Scale("kW/L", 1, 1e6)
)
SPECIFIC_FUEL = Shown(
    "specific fuel", "kg/J", Scale("lb/hp h", 3, 0.45359237 / (745.6998715822702 * 3600)), Scale("g/kWh", 0, 1 / 3.6e9)
)
COUNT = Shown(NUMBER, "1", Scale("", 0), Scale("", 0))
