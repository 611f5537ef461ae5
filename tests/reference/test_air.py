"""Air against CoolProp (IAPWS-95 and real humid air), PsychroLib (ASHRAE) and the standard atmosphere."""

from __future__ import annotations

import numpy as np
import psychrolib
import pytest
from CoolProp.CoolProp import HAPropsSI, PropsSI

from builder.engine.air import (
    air_density,
    dry_air_pressure,
    humidity_ratio,
    saturation_vapor_pressure,
    speed_of_sound,
    station_pressure,
    vapor_pressure,
)

CELSIUS = np.arange(0.0, 50.1, 5.0)
HUMIDITY = np.array([0.1, 0.3, 0.6, 0.8, 1.0])
PRESSURE = np.array([80e3, 90e3, 101.325e3, 105e3])


@pytest.fixture(autouse=True)
def _si() -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)


def grid() -> list[tuple[float, float, float]]:
    return [(float(t), float(h), float(p)) for t in CELSIUS for h in HUMIDITY for p in PRESSURE]


def test_vapor_pressure_over_water_is_that_of_iapws_95() -> None:
    """Source: CoolProp, IAPWS-95; within 0.1 % over 0..50 C."""
    celsius = np.linspace(0.01, 50, 101)
    ours = saturation_vapor_pressure(celsius + 273.15)
    theirs = [PropsSI("P", "T", t + 273.15, "Q", 1, "Water") for t in celsius]
    np.testing.assert_allclose(ours, theirs, rtol=1e-3)


def test_vapor_pressure_over_water_and_ice_is_ashraes() -> None:
    """Source: PsychroLib, GetSatVapPres (ASHRAE Handbook, Fundamentals 2017, eq. 5 and 6)."""
    celsius = np.concatenate([np.linspace(-60, -0.01, 60), np.linspace(0.02, 120, 60)])
    ours = saturation_vapor_pressure(celsius + 273.15)
    np.testing.assert_allclose(ours, [psychrolib.GetSatVapPres(float(t)) for t in celsius], rtol=1e-9)


def test_dry_air_pressure_from_relative_humidity_over_the_whole_range() -> None:
    """Source: PsychroLib, GetVapPresFromRelHum; 0..50 C, 10..100 % RH, 80..105 kPa."""
    for t, h, p in grid():
        ours = dry_air_pressure(p, vapor_pressure(p, t + 273.15, relative_humidity=h))
        assert ours == pytest.approx(p - psychrolib.GetVapPresFromRelHum(t, h), rel=1e-6)


def test_vapor_pressure_from_dew_point() -> None:
    """Source: PsychroLib, GetVapPresFromTDewPoint."""
    for dew in (-10.0, 0.5, 12.0, 24.0):
        ours = vapor_pressure(1e5, 303.15, dew_point=dew + 273.15)
        assert ours == pytest.approx(psychrolib.GetVapPresFromTDewPoint(dew), rel=1e-8)


@pytest.mark.parametrize("wet", [-8.0, -0.5, 3.0, 15.0, 24.0])
@pytest.mark.parametrize("pressure", [80e3, 101.325e3])
def test_vapor_pressure_from_wet_bulb(wet: float, pressure: float) -> None:
    """Source: PsychroLib, GetHumRatioFromTWetBulb and GetVapPresFromHumRatio (ASHRAE eq. 33 and 35)."""
    dry = wet + (2.0 if wet < 0 else 7.0)
    ratio = psychrolib.GetHumRatioFromTWetBulb(dry, wet, pressure)
    theirs = psychrolib.GetVapPresFromHumRatio(ratio, pressure)
    ours = vapor_pressure(pressure, dry + 273.15, wet_bulb=wet + 273.15)
    assert ours == pytest.approx(theirs, rel=1e-4)


def test_moist_air_density_is_ashraes_over_the_whole_range() -> None:
    """Source: PsychroLib, GetMoistAirDensity (ASHRAE eq. 11); 0..50 C, 10..100 % RH, 80..105 kPa."""
    for t, h, p in grid():
        vapor = vapor_pressure(p, t + 273.15, relative_humidity=h)
        theirs = psychrolib.GetMoistAirDensity(t, psychrolib.GetHumRatioFromRelHum(t, h, p), p)
        assert air_density(p, t + 273.15, vapor) == pytest.approx(theirs, rel=2e-4)


def test_moist_air_density_is_that_of_the_real_gas_over_the_whole_range() -> None:
    """Source: CoolProp humid air (ASHRAE RP-1485, virial equation); within 0.1 %.

    0..50 C, 10..100 % RH, 80..105 kPa, at the same water content: real vapor is a little denser in air than
    alone (the enhancement factor), which is no matter of the density formula.
    """
    worst = 0.0
    for t, h, p in grid():
        kelvin = max(t, 0.01) + 273.15
        vapor = vapor_pressure(p, kelvin, relative_humidity=h)
        ratio = float(humidity_ratio(p, vapor))
        try:
            volume = HAPropsSI("V", "T", kelvin, "P", p, "W", ratio)
        except ValueError:
            volume = HAPropsSI("V", "T", kelvin, "P", p, "R", h)
        theirs = (1 + ratio) / volume
        worst = max(worst, abs(float(air_density(p, kelvin, vapor)) / theirs - 1))
    assert worst < 1e-3


def test_humidity_ratio_is_ashraes() -> None:
    """Source: PsychroLib, GetHumRatioFromVapPres (ASHRAE eq. 20)."""
    assert humidity_ratio(95e3, 3000.0) == pytest.approx(psychrolib.GetHumRatioFromVapPres(3000.0, 95e3), rel=1e-5)


def test_speed_of_sound_in_dry_air() -> None:
    """Source: CoolProp, real air (Lemmon 2000); within 0.2 % over 0..50 C, 80..105 kPa."""
    for t in CELSIUS:
        for p in PRESSURE:
            theirs = PropsSI("A", "T", float(t) + 273.15, "P", float(p), "Air")
            assert speed_of_sound(float(p), float(t) + 273.15) == pytest.approx(theirs, rel=2e-3)


def test_speed_of_sound_rises_with_humidity_as_published() -> None:
    """Source: Cramer, J. Acoust. Soc. Am. 93 (1993) 2510 (from memory): 20 C, saturated, about +0.37 %."""
    vapor = vapor_pressure(101_325.0, 293.15, relative_humidity=1.0)
    rise = float(speed_of_sound(101_325.0, 293.15, vapor)) / float(speed_of_sound(101_325.0, 293.15)) - 1
    assert rise == pytest.approx(0.0037, abs=0.0005)


@pytest.mark.parametrize(("altitude", "pascal"), [(0, 101_325), (500, 95_461), (1000, 89_876), (2000, 79_495)])
def test_station_pressure_on_a_standard_day_is_the_standard_atmospheres(altitude: int, pascal: int) -> None:
    """Source: ISO 2533 / ICAO Doc 7488, table of pressures (from memory)."""
    assert station_pressure(101_325.0, float(altitude)) == pytest.approx(pascal, abs=2)


def test_station_pressure_on_a_standard_day_is_ashraes() -> None:
    """Source: PsychroLib, GetStandardAtmPressure (ASHRAE eq. 3)."""
    for altitude in (0.0, 150.0, 800.0, 1600.0, 3000.0):
        theirs = psychrolib.GetStandardAtmPressure(altitude)
        assert station_pressure(101_325.0, altitude) == pytest.approx(theirs, rel=1e-4)


def test_station_pressure_from_an_altimeter_setting() -> None:
    """Source: the weather services' altimeter relation as in the US Smithsonian tables (from memory).

    station = (A^k - 1013.25^k 0.0065 h/288.15)^(1/k) with k = 0.190284 [hPa, m] gives 828.0 hPa for 1008.0 hPa
    at 1655 m.
    """
    k, setting, height = 0.190284, 1008.0, 1655.0
    theirs = (setting**k - 1013.25**k * 0.0065 * height / 288.15) ** (1 / k)
    assert float(station_pressure(100 * setting, height)) / 100 == pytest.approx(theirs, rel=2e-4)
