"""Physical constants, and conversions to SI.

Source: NIST SP 811 (2008), appendix B, unless a constant names its own.
"""

from __future__ import annotations

MINUTE = 60.0  # [s] exact
HOUR = 3600.0  # [s] exact
REV_PER_MINUTE = 1 / MINUTE  # [rev/s] exact

INCH = 0.0254  # [m] exact
FOOT = 0.3048  # [m] exact
CUBIC_INCH = 1.6387064e-5  # [m3] exact
LITRE = 1e-3  # [m3] exact
CUBIC_FOOT_PER_MINUTE = FOOT**3 / MINUTE  # [m3/s] exact

POUND = 0.45359237  # [kg] exact
STANDARD_GRAVITY = 9.80665  # [m/s2] exact
POUND_FORCE_FOOT = 1.3558179483314004  # [N m] exact: pound x standard gravity x foot
KILOGRAM_FORCE_METRE = STANDARD_GRAVITY  # [N m] exact
MECHANICAL_HORSEPOWER = 745.6998715822702  # [W] exact: 550 lbf ft/s
METRIC_HORSEPOWER = 735.49875  # [W] exact: 75 kgf m/s

PSI = 6894.757293168361  # [Pa] pound-force per square inch
CONVENTIONAL_MERCURY_DENSITY = 13_595.1  # [kg/m3]
INCH_OF_MERCURY = CONVENTIONAL_MERCURY_DENSITY * STANDARD_GRAVITY * INCH  # [Pa] 3386.389
INCH_OF_WATER = 249.08891  # [Pa] exact: conventional water density x standard gravity x inch
STANDARD_ATMOSPHERE = 101_325.0  # [Pa] exact

ZERO_CELSIUS = 273.15  # [K] exact
FAHRENHEIT_DEGREE = 1 / 1.8  # [K] exact, a difference of temperatures

UNIVERSAL_GAS_CONSTANT = 8.314462618  # [J/(mol K)] CODATA 2018
MOLAR_MASS_DRY_AIR = 28.966e-3  # [kg/mol] ASHRAE Handbook, Fundamentals, chapter Psychrometrics
MOLAR_MASS_WATER = 18.015268e-3  # [kg/mol] the same chapter
GAS_CONSTANT_DRY_AIR = 287.05287  # [J/(kg K)] ISO 2533, the standard atmosphere
