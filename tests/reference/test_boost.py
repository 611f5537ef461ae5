"""Boosted charge and choked flow against CoolProp's real air, and the flow of a compressor against its Mach number."""

from __future__ import annotations

import math

import pytest
from CoolProp.CoolProp import HAPropsSI, PropsSI
from scipy.optimize import minimize_scalar

from builder.engine import boost, breathing
from builder.engine.air import vapor_pressure


@pytest.mark.parametrize("gauge", [0.3e5, 1.0e5, 2.0e5])
@pytest.mark.parametrize("charge", [303.15, 333.15, 383.15])
def test_charge_density_against_real_humid_air(gauge: float, charge: float) -> None:
    """Source: CoolProp humid air (ASHRAE RP-1485, virial equation) with the moisture of the air outside."""
    ambient, outside = 99e3, 295.15
    vapor = float(vapor_pressure(ambient, outside, relative_humidity=0.55))
    ratio = float(boost.pressure_ratio(gauge, ambient))
    moisture = HAPropsSI("W", "P", ambient, "T", outside, "R", 0.55)
    specific_volume = HAPropsSI("Vha", "P", ambient + gauge, "T", charge, "W", moisture)
    assert boost.charge_density(ambient + gauge, charge, vapor, ratio) == pytest.approx(1 / specific_volume, rel=2e-3)


@pytest.mark.parametrize("gauge", [0.5e5, 1.2e5])
def test_density_ratio_against_real_dry_air(gauge: float) -> None:
    """Source: CoolProp, real air (Lemmon 2000)."""
    ambient, outside, charge = 97e3, 298.15, 325.0
    ratio = float(boost.pressure_ratio(gauge, ambient))
    ours = boost.charge_density(ambient + gauge, charge, 0.0, ratio) / boost.charge_density(ambient, outside, 0.0, 1.0)
    real = PropsSI("D", "P", ambient + gauge, "T", charge, "Air") / PropsSI("D", "P", ambient, "T", outside, "Air")
    assert ours == pytest.approx(real, rel=1.5e-3)


@pytest.mark.parametrize("diameter", [0.020, 0.034])
def test_choked_flow_against_isentropic_expansion_of_real_air(diameter: float) -> None:
    """Source: CoolProp, real air: the throat pressure of most mass flow, searched for along the isentrope."""
    pressure, temperature = 101_325.0, 293.15
    entropy, enthalpy = (PropsSI(key, "P", pressure, "T", temperature, "Air") for key in ("S", "H"))

    def mass_flux(throat: float) -> float:
        speed = math.sqrt(2 * (enthalpy - PropsSI("H", "P", throat, "S", entropy, "Air")))
        return float(PropsSI("D", "P", throat, "S", entropy, "Air")) * speed

    best = minimize_scalar(lambda p: -mass_flux(p), bounds=(0.4 * pressure, 0.7 * pressure), method="bounded")
    area = math.pi / 4 * diameter**2
    assert breathing.choked_air_flow(area, pressure, temperature) == pytest.approx(area * -best.fun, rel=2e-3)


@pytest.mark.parametrize(("pressure", "temperature"), [(84e3, 308.0), (101e3, 283.0)])
def test_corrected_flow_keeps_the_mach_number_at_the_inlet(pressure: float, temperature: float) -> None:
    """Source: similarity of compressible flow; speed of sound and density from CoolProp, real air."""
    flow, area = 0.3, 2.0e-3

    def mach(mass: float, p: float, t: float) -> float:
        return mass / (PropsSI("D", "P", p, "T", t, "Air") * area) / float(PropsSI("A", "P", p, "T", t, "Air"))

    corrected = float(boost.corrected_compressor_flow(flow, pressure, temperature))
    reference = mach(corrected, boost.REFERENCE_PRESSURE, boost.REFERENCE_TEMPERATURE)
    assert reference == pytest.approx(mach(flow, pressure, temperature), rel=1e-3)


def test_injector_size_by_the_rule_of_the_trade() -> None:
    """Common practice, no source: power x bsfc / (injectors x duty), 400 hp at 0.50 lb/(hp h), eight at 80 %."""
    pound_per_hour = 0.45359237 / 3600
    size = breathing.injector_size_needed(400 * 0.50 * pound_per_hour, 8, 0.80)
    assert size == pytest.approx(31.25 * pound_per_hour)
    assert breathing.injector_duty(400 * 0.50 * pound_per_hour, size, 8) == pytest.approx(0.80)
