"""The air: humidity in four forms agrees with itself, and impossible readings are refused in plain words."""

from __future__ import annotations

import numpy as np
import pytest

from builder.engine.air import (
    TRIPLE_POINT,
    Air,
    air_density,
    dry_air_pressure,
    humidity_ratio,
    saturation_vapor_pressure,
    speed_of_sound,
    station_pressure,
    vapor_pressure,
)


def celsius(value: float) -> float:
    return value + 273.15


def test_four_forms_of_one_days_humidity_give_one_vapor_pressure() -> None:
    from scipy.optimize import brentq

    barometer, air = 97_000.0, celsius(28.0)
    known = float(vapor_pressure(barometer, air, relative_humidity=0.55))
    dew = brentq(lambda t: float(saturation_vapor_pressure(t)) - known, celsius(0.1), air)
    wet = brentq(lambda t: float(vapor_pressure(barometer, air, wet_bulb=t)) - known, dew, air)
    assert dew < wet < air
    assert vapor_pressure(barometer, air, dew_point=dew) == pytest.approx(known, rel=1e-9)
    assert vapor_pressure(barometer, air, wet_bulb=wet) == pytest.approx(known, rel=1e-9)
    assert vapor_pressure(barometer, air, vapor_pressure=known) == known
    assert known / saturation_vapor_pressure(air) == pytest.approx(0.55, rel=1e-12)


def test_saturated_air_has_wet_bulb_and_dew_point_at_its_own_temperature() -> None:
    air = celsius(21.0)
    full = saturation_vapor_pressure(air)
    assert vapor_pressure(1e5, air, wet_bulb=air) == pytest.approx(full, rel=1e-12)
    assert vapor_pressure(1e5, air, dew_point=air) == full


def test_ice_and_water_meet_at_the_triple_point() -> None:
    ice = saturation_vapor_pressure(TRIPLE_POINT - 1e-9)
    water = saturation_vapor_pressure(TRIPLE_POINT)
    assert ice == pytest.approx(water, rel=1e-4)


def test_frost_on_the_wet_bulb_uses_the_equation_over_ice() -> None:
    vapor = vapor_pressure(1e5, celsius(-3.0), wet_bulb=celsius(-5.0))
    assert 0 < vapor < saturation_vapor_pressure(celsius(-5.0))


def test_arrays_broadcast_and_scalars_stay_floats() -> None:
    temperatures = np.array([[celsius(10.0)], [celsius(30.0)]])
    humidities = np.array([0.2, 0.5, 0.9])
    vapor = vapor_pressure(1e5, temperatures, relative_humidity=humidities)
    assert np.shape(vapor) == (2, 3)
    assert np.shape(air_density(1e5, temperatures, vapor)) == (2, 3)
    assert isinstance(vapor_pressure(1e5, 300.0, relative_humidity=0.5), float)
    assert np.shape(vapor_pressure(1e5, temperatures, vapor_pressure=500.0)) == (2, 1)


@pytest.mark.parametrize(
    ("forms", "sentence"),
    [
        ({}, "one form"),
        ({"relative_humidity": 0.5, "dew_point": 280.0}, "one form"),
        ({"relative_humidity": 45.0}, "between 0 and 100 %"),
        ({"relative_humidity": -0.1}, "between 0 and 100 %"),
        ({"dew_point": 301.0}, "dew point cannot be above"),
        ({"wet_bulb": 301.0}, "wet bulb cannot be above"),
        ({"wet_bulb": 275.0}, "drier than dry air"),
        ({"vapor_pressure": 9000.0}, "cannot hold that much"),
        ({"vapor_pressure": -1.0}, "cannot be less than zero"),
    ],
)
def test_impossible_humidity_is_refused_in_plain_words(forms: dict[str, float], sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        vapor_pressure(1e5, 300.0, **forms)


def test_damp_air_is_lighter_and_carries_sound_faster() -> None:
    vapor = vapor_pressure(1e5, 305.0, relative_humidity=0.9)
    assert air_density(1e5, 305.0, vapor) < air_density(1e5, 305.0)
    assert speed_of_sound(1e5, 305.0, vapor) > speed_of_sound(1e5, 305.0)


def test_vapor_cannot_be_all_of_the_pressure() -> None:
    with pytest.raises(ValueError, match="below the barometer"):
        dry_air_pressure(2000.0, 2500.0)
    with pytest.raises(ValueError, match="greater than zero"):
        humidity_ratio(0.0, 0.0)


@pytest.mark.parametrize("celsius_value", [-101.0, 201.0])
def test_saturation_outside_its_range_is_refused(celsius_value: float) -> None:
    with pytest.raises(ValueError, match="-100 and 200"):
        saturation_vapor_pressure(celsius(celsius_value))


def test_station_pressure_is_the_reading_itself_at_sea_level_and_falls_with_height() -> None:
    heights = np.array([0.0, 300.0, 1500.0])
    stations = np.asarray(station_pressure(102_000.0, heights))
    assert stations[0] == pytest.approx(102_000.0, rel=1e-12)
    assert np.all(np.diff(stations) < 0)
    with pytest.raises(ValueError, match="sea-level pressure"):
        station_pressure(29.92, 0.0)
    with pytest.raises(ValueError, match="altitude"):
        station_pressure(101_325.0, 12_000.0)


def test_an_air_knows_its_own_figures() -> None:
    air = Air(95_000.0, 308.15, 3376.7)
    assert air.dry_pressure == pytest.approx(91_623.3)
    assert air.density == air_density(95_000.0, 308.15, 3376.7)
    assert air.speed_of_sound == speed_of_sound(95_000.0, 308.15, 3376.7)
