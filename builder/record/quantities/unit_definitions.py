"""The units a record and a log may be written in, in pint's own notation.

pint's whole register of units takes a quarter of a second to read, which every command would wait for; these are
the few that an engine shop meets. A test holds each of them against pint's whole register.
Sources: NIST SP 811 (factors), BIPM, The International System of Units.
"""

from __future__ import annotations

from builder.engine.constants import (
    CONVENTIONAL_MERCURY_DENSITY,
    INCH,
    POUND,
    STANDARD_ATMOSPHERE,
    STANDARD_GRAVITY,
    ZERO_CELSIUS,
)

DEFINITIONS = (
    "micro- = 1e-6 = µ- = u-",
    "milli- = 1e-3 = m-",
    "centi- = 1e-2 = c-",
    "deci- = 1e-1 = d-",
    "deca- = 1e1 = da-",
    "hecto- = 1e2 = h-",
    "kilo- = 1e3 = k-",
    "mega- = 1e6 = M-",
    "pi = 3.1415926535897932384626433832795028841971693993751",
    # Base units, and those that only have a name of their own.
    "meter = [length] = m = metre",
    "second = [time] = s = sec",
    "gram = [mass] = g",
    "kelvin = [temperature]; offset: 0 = K",
    "radian = [] = rad",
    "turn = 2 * pi * radian = _ = revolution",
    "degree = pi / 180 * radian = deg",
    "percent = 0.01 = %",
    "minute = 60 * second = min",
    "hour = 60 * minute = h = hr",
    "rpm = revolution / minute",
    # Metric.
    "newton = kilogram * meter / second ** 2 = N",
    "pascal = newton / meter ** 2 = Pa",
    "joule = newton * meter = J",
    "watt = joule / second = W",
    "bar = 1e5 * pascal",
    "liter = decimeter ** 3 = l = L = litre",
    f"standard_gravity = {STANDARD_GRAVITY} * meter / second ** 2 = g_0",
    "kilogram_force = kilogram * g_0 = kgf",
    "metric_horsepower = 75 * kilogram_force * meter / second",
    # Inch and pound.
    f"inch = {INCH} * meter = in",
    "foot = 12 * inch = ft",
    "thou = 0.001 * inch",
    f"pound = {POUND} * kilogram = lb",
    "ounce = pound / 16 = oz",
    "pound_force = pound * g_0 = lbf",
    "psi = pound_force / inch ** 2",
    "horsepower = 550 * foot * pound_force / second = hp",
    "gallon = 231 * inch ** 3 = _ = US_liquid_gallon",
    "quart = gallon / 4",
    "pint = quart / 2",
    "imperial_gallon = 4.54609 * liter",
    "british_thermal_unit = 1055.056 * joule = Btu = BTU",
    # Columns of mercury and of water, of the conventional densities.
    f"millimeter_Hg = millimeter * {CONVENTIONAL_MERCURY_DENSITY} * kilogram / meter ** 3 * g_0 = mmHg",
    f"centimeter_Hg = centimeter * {CONVENTIONAL_MERCURY_DENSITY} * kilogram / meter ** 3 * g_0 = cmHg",
    f"inch_Hg = inch * {CONVENTIONAL_MERCURY_DENSITY} * kilogram / meter ** 3 * g_0 = inHg",
    "centimeter_H2O = centimeter * gram / centimeter ** 3 * g_0 = cmH2O",
    "inch_H2O = inch * gram / centimeter ** 3 * g_0",
    f"standard_atmosphere = {STANDARD_ATMOSPHERE} * pascal",
    # Temperatures with a zero of their own.
    f"degree_Celsius = kelvin; offset: {ZERO_CELSIUS} = °C = degC",
    "degree_Fahrenheit = 5 / 9 * kelvin; offset: 233.15 + 200 / 9 = °F = degF",
)
