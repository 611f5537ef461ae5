"""Correction factors against a table made with PsychroLib's vapor pressure, and the standards' own limits."""

from __future__ import annotations

import math

import psychrolib
import pytest

from builder.engine.air import Air, vapor_pressure
from builder.engine.correction import (
    DIN_70020,
    ISO_1585,
    OBSERVED,
    SAE_J607,
    SAE_J1349,
    STANDARDS,
    compression_ignition_factor,
    correct,
)


def day(celsius: float, humidity: float, kilopascal: float) -> Air:
    kelvin, pascal = celsius + 273.15, 1000 * kilopascal
    return Air(pascal, kelvin, float(vapor_pressure(pascal, kelvin, relative_humidity=humidity)))


def by_hand(slug: str, celsius: float, humidity: float, kilopascal: float) -> float:
    """The formulas as printed, with PsychroLib's vapor pressure and nothing of ours."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    dry = kilopascal - psychrolib.GetVapPresFromRelHum(celsius, humidity) / 1000
    kelvin = celsius + 273.15
    return {
        "sae-j1349": 1.180 * (99 / dry) * math.sqrt(kelvin / 298.15) - 0.180,
        "iso-1585": (99 / dry) ** 1.2 * (kelvin / 298) ** 0.6,
        "sae-j607": (29.92 * 3.386389 / dry) * math.sqrt((kelvin * 1.8) / 519.67),
        "din-70020": (101.3 / kilopascal) * math.sqrt(kelvin / 293),
    }[slug]


@pytest.mark.parametrize("slug", ["sae-j1349", "iso-1585", "sae-j607", "din-70020"])
@pytest.mark.parametrize("celsius", [12.0, 21.5, 35.0])
@pytest.mark.parametrize("humidity", [0.1, 0.6, 0.95])
@pytest.mark.parametrize("kilopascal", [84.0, 95.0, 101.9])
def test_factors_over_a_table_of_days(slug: str, celsius: float, humidity: float, kilopascal: float) -> None:
    """Source: SAE J1349, ISO 1585, SAE J607, DIN 70020; vapor pressure by PsychroLib (ASHRAE)."""
    ours = STANDARDS[slug].factor(day(celsius, humidity, kilopascal))
    assert ours == pytest.approx(by_hand(slug, celsius, humidity, kilopascal), rel=1e-6)


@pytest.mark.parametrize(
    ("slug", "factor"), [("sae-j1349", 1.116), ("iso-1585", 1.120), ("sae-j607", 1.142), ("din-70020", 1.094)]
)
def test_factors_on_a_hot_damp_day(slug: str, factor: float) -> None:
    """Source: the standards' formulas by hand at 35 C, 60 %, 95.0 kPa; vapor pressure by PsychroLib.

    ISO 1585 and DIN 70020 divide by 298 K and 293 K; with 298.15 and 293.15 they would come out 0.0003 lower.
    """
    assert STANDARDS[slug].factor(day(35.0, 0.60, 95.0)) == pytest.approx(factor, abs=5e-4)


def test_factors_are_one_on_each_standards_own_day() -> None:
    """Source: the reference conditions of SAE J1349, ISO 1585, SAE J607 and DIN 70020."""
    assert SAE_J1349.factor(Air(99e3, 298.15, 0.0)) == pytest.approx(1.0, abs=1e-12)
    assert ISO_1585.factor(Air(99e3, 298.0, 0.0)) == pytest.approx(1.0, abs=1e-12)
    assert SAE_J607.factor(Air(29.92 * 3386.38864, 519.67 / 1.8, 0.0)) == pytest.approx(1.0, abs=1e-9)
    assert DIN_70020.factor(Air(101.3e3, 293.0, 0.0)) == pytest.approx(1.0, abs=1e-12)


def test_two_days_bring_one_engines_readings_together() -> None:
    """Source: ISO 1585: an engine whose output follows (Pd/99)^1.2 (298/T)^0.6 reads alike once corrected."""
    for air in (day(18.0, 0.35, 101.8), day(31.0, 0.45, 98.0)):
        observed = 400.0 / ((99e3 / air.dry_pressure) ** 1.2 * (air.temperature / 298) ** 0.6)
        corrected = correct(air, OBSERVED, ISO_1585)
        assert corrected.apply(observed) == pytest.approx(400.0, rel=1e-9)
        assert corrected.outside == ()


def test_limits_of_iso_1585_and_un_regulation_85() -> None:
    """Source: UN Regulation 85, Annex 5, 5.3 and 5.4: 288..308 K, 80..110 kPa dry, factor 0.93..1.07."""
    assert ISO_1585.factor_limits == (0.93, 1.07)
    inside = Air(99e3 / 1.06 ** (1 / 1.2), 298.0, 0.0)
    assert ISO_1585.outside(inside) == ()
    thin = Air(99e3 / 1.08 ** (1 / 1.2), 298.0, 0.0)
    assert ISO_1585.outside(thin) == ("the factor 1.080 is outside 0.93 to 1.07",)
    dense = Air(99e3 / 0.92 ** (1 / 1.2), 298.0, 0.0)
    assert ISO_1585.outside(dense) == ("the factor 0.920 is outside 0.93 to 1.07",)
    assert any("temperature" in words for words in ISO_1585.outside(Air(99e3, 287.5, 0.0)))
    assert any("temperature" in words for words in ISO_1585.outside(Air(99e3, 308.6, 0.0)))
    assert any("pressure" in words for words in ISO_1585.outside(Air(110.5e3, 298.0, 0.0)))


@pytest.mark.parametrize(("fuel", "fm"), [(25.0, 0.3), (40.0, 0.3), (52.5, 0.75), (65.0, 1.2), (80.0, 1.2)])
@pytest.mark.parametrize("turbocharged", [False, True])
def test_compression_ignition_factor(fuel: float, fm: float, turbocharged: bool) -> None:
    """Source: UN Regulation 85, Annex 5, 5.4.2: fa^fm, fm = 0.036 qc - 1.14, held at 0.3 and 1.2."""
    dry, kelvin = 93.0, 305.0
    plain, charged = (99 / dry) * (kelvin / 298) ** 0.7, (99 / dry) ** 0.7 * (kelvin / 298) ** 1.5
    fa = charged if turbocharged else plain
    ours = compression_ignition_factor(1000 * dry, kelvin, fuel, turbocharged=turbocharged)
    assert ours == pytest.approx(fa**fm, rel=1e-12)
