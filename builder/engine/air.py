"""The air the engine breathed: water vapor, dry-air pressure, density, speed of sound, station pressure.

Pressures [Pa], temperatures [K], humidity ratio [kg water/kg dry air], relative humidity as a fraction
(0.60, not 60). Every function takes single values or arrays that broadcast together.

Sources: ASHRAE Handbook, Fundamentals, chapter Psychrometrics (Hyland and Wexler's saturation pressures,
the wet-bulb equations, the ideal-gas mixture); ISO 2533 / ICAO Doc 7488 for the standard atmosphere.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from builder.engine.constants import (
    GAS_CONSTANT_DRY_AIR,
    MOLAR_MASS_DRY_AIR,
    MOLAR_MASS_WATER,
    STANDARD_ATMOSPHERE,
    STANDARD_GRAVITY,
    UNIVERSAL_GAS_CONSTANT,
    ZERO_CELSIUS,
)
from builder.engine.validation import (
    InputConflict,
    Value,
    reject_if,
    require_not_negative,
    require_positive,
    unwrap_scalar,
)

#: Where Hyland and Wexler go from ice to water [K], as in ASHRAE: the triple point.
TRIPLE_POINT = 273.16
MASS_RATIO = MOLAR_MASS_WATER / MOLAR_MASS_DRY_AIR  # 0.621945

_OVER_ICE = (-5.6745359e3, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019)
_OVER_WATER = (-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 0.0, 6.5459673)

# The standard atmosphere below 11 km, ISO 2533: sea level, lapse rate, and the exponent R L / g.
STANDARD_TEMPERATURE = 288.15
LAPSE_RATE = 0.0065
LAPSE_EXPONENT = GAS_CONSTANT_DRY_AIR * LAPSE_RATE / STANDARD_GRAVITY


def saturation_vapor_pressure(temperature: Value) -> Value:
    """Return the pressure of water vapor over water, or over ice below the triple point [Pa].

    Shape: as temperature [K]. Raises ValueError outside the range of the equations, -100..200 C.
    Source: Hyland and Wexler 1983, as in the ASHRAE Handbook, Fundamentals, Psychrometrics eq. 5 and 6.
    """
    kelvin = np.asarray(temperature, dtype=np.float64)
    reject_if((kelvin < 173.15) | (kelvin > 473.15), "the temperature must lie between -100 and 200 °C", "temperature")

    def pressure(c: tuple[float, ...]) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
        power_series = c[1] + kelvin * (c[2] + kelvin * (c[3] + kelvin * (c[4] + kelvin * c[5])))
        return np.exp(c[0] / kelvin + power_series + c[6] * np.log(kelvin))

    return unwrap_scalar(np.where(kelvin < TRIPLE_POINT, pressure(_OVER_ICE), pressure(_OVER_WATER)))


def vapor_pressure(
    pressure: Value,
    temperature: Value,
    *,
    relative_humidity: Value | None = None,
    wet_bulb: Value | None = None,
    dew_point: Value | None = None,
    vapor_pressure: Value | None = None,
) -> Value:
    """Return the partial pressure of water vapor [Pa], from the one form the humidity was written in.

    Shapes: barometer (station) pressure [Pa], air temperature [K], and exactly one of relative humidity [-],
    wet bulb [K], dew point [K], vapor pressure [Pa]; they broadcast together. Raises ValueError if none or
    more than one form is given, or if the reading cannot be: a relative humidity outside 0..1, a wet bulb or
    dew point above the air temperature, a wet bulb that would need less than no water, more vapor than the
    air can hold. Range: -100..200 C. Source: ASHRAE Handbook, Fundamentals, Psychrometrics.
    """
    forms = {
        "relative_humidity": relative_humidity,
        "wet_bulb": wet_bulb,
        "dew_point": dew_point,
        "vapor_pressure": vapor_pressure,
    }
    given = [name for name, form in forms.items() if form is not None]
    if len(given) != 1:
        raise InputConflict(
            "humidity must be given in one form: relative humidity, wet bulb, dew point or vapor pressure", *given
        )
    if relative_humidity is not None:
        fraction = np.asarray(relative_humidity, dtype=np.float64)
        reject_if(
            (fraction < 0) | (fraction > 1), "relative humidity must lie between 0 and 100 %", "relative_humidity"
        )
        return unwrap_scalar(fraction * saturation_vapor_pressure(temperature))
    if wet_bulb is not None:
        return _from_wet_bulb(pressure, temperature, wet_bulb)
    if dew_point is not None:
        reject_if(
            np.asarray(dew_point) > np.asarray(temperature),
            "the dew point cannot be above the air temperature",
            "dew_point",
            "temperature",
        )
        return unwrap_scalar(saturation_vapor_pressure(dew_point))
    assert vapor_pressure is not None
    require_not_negative(vapor_pressure=vapor_pressure)
    reject_if(
        np.asarray(vapor_pressure) > np.asarray(saturation_vapor_pressure(temperature)) * (1 + 1e-9),
        "the air cannot hold that much vapor at its temperature",
        "vapor_pressure",
        "temperature",
    )
    return unwrap_scalar(np.broadcast_arrays(vapor_pressure, np.asarray(temperature, dtype=np.float64))[0])


def _from_wet_bulb(pressure: Value, temperature: Value, wet_bulb: Value) -> Value:
    """Return the vapor pressure [Pa] from the psychrometer: ASHRAE's equations over water and over an iced wick."""
    require_positive(pressure=pressure)
    dry = np.asarray(temperature, dtype=np.float64) - ZERO_CELSIUS
    wet = np.asarray(wet_bulb, dtype=np.float64) - ZERO_CELSIUS
    reject_if(wet > dry, "the wet bulb cannot be above the air temperature", "wet_bulb", "temperature")
    saturated = np.asarray(humidity_ratio(pressure, saturation_vapor_pressure(wet_bulb)))
    over_water = ((2501 - 2.326 * wet) * saturated - 1.006 * (dry - wet)) / (2501 + 1.86 * dry - 4.186 * wet)
    over_ice = ((2830 - 0.24 * wet) * saturated - 1.006 * (dry - wet)) / (2830 + 1.86 * dry - 2.1 * wet)
    ratio = np.where(wet >= 0, over_water, over_ice)
    reject_if(
        ratio < 0, "the wet bulb is too far below the air temperature: drier than dry air", "wet_bulb", "temperature"
    )
    return unwrap_scalar(np.asarray(pressure) * ratio / (MASS_RATIO + ratio))


def humidity_ratio(pressure: Value, vapor: Value) -> Value:
    """Return the water carried by the dry air [kg/kg] = 0.621945 pv/(P - pv).

    Shapes: station pressure and vapor pressure [Pa] broadcast together. Raises ValueError unless the vapor
    pressure is below the pressure. Source: ASHRAE Handbook, Fundamentals, Psychrometrics eq. 20.
    """
    return unwrap_scalar(MASS_RATIO * np.asarray(vapor) / np.asarray(dry_air_pressure(pressure, vapor)))


def dry_air_pressure(pressure: Value, vapor: Value) -> Value:
    """Return the pressure of the dry air [Pa]: the barometer less the vapor, P - pv.

    Shapes: station pressure and vapor pressure [Pa] broadcast together. Raises ValueError for a pressure of
    zero or less, a negative vapor pressure, or vapor at or above the whole pressure. Source: Dalton's law.
    """
    require_positive(pressure=pressure)
    require_not_negative(vapor=vapor)
    dry = np.asarray(pressure, dtype=np.float64) - np.asarray(vapor)
    reject_if(dry <= 0, "the vapor pressure must be below the barometer", "pressure", "vapor")
    return unwrap_scalar(dry)


def air_density(pressure: Value, temperature: Value, vapor: Value = 0.0) -> Value:
    """Return the density of moist air [kg/m3]: dry air and vapor, each as an ideal gas.

    Shapes: pressure [Pa], temperature [K], vapor pressure [Pa] broadcast together. Raises ValueError for a
    temperature of zero or less, or vapor at or above the whole pressure. Range: within 0.1 % of the real gas
    over 0..50 C and 80..105 kPa. Source: ASHRAE Handbook, Fundamentals,
    Psychrometrics (perfect-gas relations).
    """
    require_positive(temperature=temperature)
    dry = np.asarray(dry_air_pressure(pressure, vapor))
    mass = dry * MOLAR_MASS_DRY_AIR + np.asarray(vapor) * MOLAR_MASS_WATER
    return unwrap_scalar(mass / (UNIVERSAL_GAS_CONSTANT * np.asarray(temperature)))


def speed_of_sound(pressure: Value, temperature: Value, vapor: Value = 0.0) -> Value:
    """Return the speed of sound in moist air [m/s] = sqrt(gamma R T / M) of the ideal mixture.

    Shapes: pressure [Pa], temperature [K], vapor pressure [Pa] broadcast together. Raises ValueError as
    :func:`air_density` does. Assumes constant molar heats: 7/2 R for dry air, 4.04 R for water vapor.
    Range: within 0.2 % over 0..50 C. Source: ideal-gas relation, e.g. Heywood appendix C.
    """
    density = np.asarray(air_density(pressure, temperature, vapor))
    share = np.asarray(vapor) / np.asarray(pressure)
    molar_heat = 3.5 * (1 - share) + 4.04 * share
    return unwrap_scalar(np.sqrt(molar_heat / (molar_heat - 1) * np.asarray(pressure) / density))


def station_pressure(sea_level_pressure: Value, altitude: Value) -> Value:
    """Return the barometer where the engine was [Pa], from a reading at sea level (standard atmosphere).

    p = (p0^k - pS^k L h / TS)^(1/k), k = R L/g = 0.190263, with the standard atmosphere's pS = 101 325 Pa,
    TS = 288.15 K, L = 6.5 K/km. That is the reduction behind an altimeter setting ("QNH"), which is what
    airfields and most weather reports give. A mean-sea-level pressure reduced with the day's own temperature
    differs from it by up to 1 % at 1 500 m, so a barometer on the wall of the dyno room is always better.

    Shapes: sea-level pressure [Pa] and altitude above sea level [m] broadcast together. Raises ValueError for
    a pressure outside 80..110 kPa or an altitude outside -500..11 000 m. Source: ISO 2533; ICAO Doc 7488.
    """
    sea = np.asarray(sea_level_pressure, dtype=np.float64)
    height = np.asarray(altitude, dtype=np.float64)
    reject_if((sea < 80e3) | (sea > 110e3), "a sea-level pressure lies between 80 and 110 kPa", "sea_level_pressure")
    reject_if((height < -500) | (height > 11000), "the altitude must lie between -500 and 11 000 m", "altitude")
    drop = STANDARD_ATMOSPHERE**LAPSE_EXPONENT * LAPSE_RATE * height / STANDARD_TEMPERATURE
    return unwrap_scalar((sea**LAPSE_EXPONENT - drop) ** (1 / LAPSE_EXPONENT))


@dataclass(frozen=True, slots=True)
class Air:
    """One state of the air at the intake: station pressure [Pa], temperature [K], vapor pressure [Pa]."""

    pressure: float
    temperature: float
    vapor: float

    @property
    def dry_pressure(self) -> float:
        """Return the dry-air pressure [Pa]. Raises ValueError where the vapor would fill the whole pressure."""
        return float(dry_air_pressure(self.pressure, self.vapor))

    @property
    def density(self) -> float:
        """Return the density [kg/m3] of the ideal-gas mixture."""
        return float(air_density(self.pressure, self.temperature, self.vapor))

    @property
    def speed_of_sound(self) -> float:
        """Return the speed of sound [m/s] of the ideal-gas mixture."""
        return float(speed_of_sound(self.pressure, self.temperature, self.vapor))
