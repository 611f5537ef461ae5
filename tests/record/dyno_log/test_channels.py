"""The units of a log against pint, the library of units."""

from __future__ import annotations

import pint
import pytest

from builder.record.dyno_log.channels import _SPELLINGS, factor

# What the first spelling of each unit means, in pint's words, written by hand and apart from the table of units.
MEANS = {
    "time": "second millisecond microsecond minute hour",
    "speed": "turn/minute turn/second radian/second kiloturn/minute",
    "voltage": "volt millivolt",
    "torque": "force_pound*foot force_pound*inch newton*meter kilonewton*meter decanewton*meter force_kilogram*meter",
    "power": "horsepower metric_horsepower watt kilowatt",
    "mass_flow": "kilogram/hour kilogram/minute kilogram/second gram/second gram/minute gram/hour pound/hour"
    " pound/minute pound/second",
    "volume_flow": "foot**3/minute meter**3/hour meter**3/minute meter**3/second liter/hour liter/minute liter/second"
    " milliliter/minute milliliter/second US_liquid_gallon/hour imperial_gallon/hour",
    "pressure": "psi bar millibar pascal hectopascal kilopascal megapascal inch_Hg mmHg cmHg inch_H2O cmH2O"
    " force_kilogram/centimeter**2 standard_atmosphere",
    "angle": "degree radian",
    "fraction": "percent dimensionless",
}
SI = {
    "voltage": "volt",
    "time": "second", "speed": "turn/second", "torque": "newton*meter", "power": "watt", "mass_flow": "kilogram/second",
    "volume_flow": "meter**3/second", "pressure": "pascal", "angle": "degree", "fraction": "dimensionless",
}  # fmt: skip


@pytest.fixture(scope="module")
def ureg() -> pint.UnitRegistry:
    return pint.UnitRegistry()


@pytest.mark.parametrize("dimension", MEANS)
def test_every_unit_as_pint_converts_it(dimension: str, ureg: pint.UnitRegistry) -> None:
    """pint, the library of units."""
    table = _SPELLINGS[dimension][0]
    for spellings, meaning in zip(table.values(), MEANS[dimension].split(), strict=True):
        scale = ureg.Quantity(1.0, meaning).to(SI[dimension]).magnitude
        for spelling in spellings.split():
            assert factor(spelling, dimension) == (pytest.approx(scale, rel=1e-12), 0.0), spelling


@pytest.mark.parametrize("suffixed", ["absolute_pressure", "gauge_pressure"])
def test_a_suffix_does_not_change_the_factor(suffixed: str) -> None:
    """The same unit, marked absolute or gauge."""
    plain, *marked = _SPELLINGS[suffixed]
    for table in marked:
        for name, spellings in table.items():
            for spelling in spellings.split():
                assert factor(spelling, suffixed) == factor(plain[name].split()[0], suffixed)
