"""Correction: each standard's own limits are told, and nothing is ever corrected twice."""

from __future__ import annotations

import numpy as np
import pytest

from builder.engine.air import Air
from builder.engine.correction import (
    DIN_70020,
    ISO_1585,
    OBSERVED,
    SAE_J607,
    SAE_J1349,
    STANDARDS,
    compression_ignition,
    compression_ignition_factor,
    correct,
    iso_1585_factor,
    sae_j1349_factor,
)

HOT = Air(95_000.0, 308.15, 3376.7)
MILD = Air(100_300.0, 298.15, 1300.0)


def test_the_table_holds_the_standards_by_slug() -> None:
    assert set(STANDARDS) == {"sae-j1349", "iso-1585", "sae-j607", "din-70020", "observed"}
    for slug, standard in STANDARDS.items():
        assert standard.slug == slug
        assert standard.name
        assert standard.source


@pytest.mark.parametrize("standard", [SAE_J1349, ISO_1585, SAE_J607, DIN_70020])
def test_thin_hot_air_corrects_up(standard: object) -> None:
    assert STANDARDS[standard.slug].factor(HOT) > 1.05  # type: ignore[attr-defined]


def test_observed_is_no_correction() -> None:
    assert OBSERVED.factor(HOT) == 1.0
    assert OBSERVED.outside(HOT) == ()


def test_going_to_a_standard_and_back_gives_the_readings_again() -> None:
    readings = np.array([300.0, 402.5, 388.0])
    there = correct(HOT, OBSERVED, SAE_J1349)
    back = correct(HOT, SAE_J1349, OBSERVED)
    np.testing.assert_allclose(back.apply(there.apply(readings)), readings, rtol=1e-14)


def test_from_one_standard_to_another_divides_the_first_factor_out() -> None:
    observed = 400.0
    in_j607 = correct(HOT, OBSERVED, SAE_J607).apply(observed)
    in_j1349 = correct(HOT, SAE_J607, SAE_J1349).apply(in_j607)
    assert in_j1349 == pytest.approx(observed * SAE_J1349.factor(HOT), rel=1e-14)


def test_readings_in_the_target_standard_are_unchanged() -> None:
    same = correct(HOT, ISO_1585, ISO_1585)
    assert same.factor == 1.0
    assert same.apply(412.0) == 412.0
    assert any("factor" in sentence for sentence in same.outside)


@pytest.mark.parametrize(
    ("standard", "air", "words"),
    [
        (SAE_J1349, Air(100_000.0, 273.15 + 35.5, 0.0), "above 35.0 °C"),
        (SAE_J1349, Air(100_000.0, 273.15 + 14.0, 0.0), "below 15.0 °C"),
        (SAE_J1349, Air(90_500.0, 298.15, 1000.0), "below 90.0 kPa"),
        (SAE_J1349, Air(105_500.0, 298.15, 0.0), "above 105.0 kPa"),
        (ISO_1585, Air(79_500.0, 298.15, 0.0), "below 80.0 kPa"),
        (ISO_1585, HOT, "outside 0.93 to 1.07"),
    ],
)
def test_what_lies_outside_a_standard_is_one_plain_sentence(standard: object, air: Air, words: str) -> None:
    sentences = STANDARDS[standard.slug].outside(air)  # type: ignore[attr-defined]
    assert any(words in sentence for sentence in sentences), sentences


@pytest.mark.parametrize("standard", [SAE_J1349, ISO_1585])
def test_a_mild_day_and_the_very_limits_are_inside(standard: object) -> None:
    known = STANDARDS[standard.slug]  # type: ignore[attr-defined]
    assert known.outside(MILD) == ()
    assert known.outside(Air(100_000.0, 273.15 + 15, 0.0)) == ()
    assert known.outside(Air(100_000.0, 273.15 + 35, 0.0)) == ()


def test_withdrawn_standards_are_marked() -> None:
    assert SAE_J607.withdrawn
    assert "withdrawn" in SAE_J607.name
    assert DIN_70020.withdrawn
    assert not SAE_J1349.withdrawn


def test_engine_factor_is_held_at_its_ends() -> None:
    def fm(fuel: float, lowest: float = 40.0) -> float:
        factor = compression_ignition_factor(90e3, 298.0, fuel, lowest_fuel=lowest)
        return float(np.log(factor) / np.log(99 / 90))

    assert fm(20.0) == pytest.approx(0.3)
    assert fm(50.0) == pytest.approx(0.66)
    assert fm(90.0) == pytest.approx(1.2)
    assert fm(20.0, lowest=37.2) == pytest.approx(0.2)


def test_boost_lowers_the_fuel_that_counts_and_heat_weighs_more_when_turbocharged() -> None:
    plain_engine = compression_ignition_factor(95e3, 308.0, 60.0)
    boosted = compression_ignition_factor(95e3, 308.0, 120.0, pressure_ratio=2.0)
    assert boosted == pytest.approx(plain_engine)
    cool = compression_ignition_factor(99e3, 298.0, 60.0, turbocharged=True)
    hot = compression_ignition_factor(99e3, 308.0, 60.0, turbocharged=True)
    assert cool == pytest.approx(1.0)
    assert hot > compression_ignition_factor(99e3, 308.0, 60.0)


def test_compression_ignition_is_a_standard_like_the_others() -> None:
    standard = compression_ignition(60.0, turbocharged=True)
    assert correct(MILD, OBSERVED, standard).factor == pytest.approx(standard.factor(MILD))
    assert standard.outside(MILD) == ()
    assert any("0.9 to 1.1" in each for each in standard.outside(Air(80_500.0, 313.0, 0.0)))
    with pytest.raises(ValueError, match="greater than zero"):
        compression_ignition(0.0)


def test_factors_take_arrays() -> None:
    pressures = np.array([[90e3], [99e3]])
    temperatures = np.array([288.0, 298.15, 308.0])
    assert np.shape(sae_j1349_factor(pressures, temperatures)) == (2, 3)
    assert np.shape(iso_1585_factor(pressures, temperatures)) == (2, 3)
    with pytest.raises(ValueError, match="dry pressure"):
        sae_j1349_factor(0.0, 298.0)
