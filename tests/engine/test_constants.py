"""The derived units follow from the exact ones they are defined by. Source: NIST SP 811, appendix B."""

from __future__ import annotations

import pytest

from builder.engine import constants

POUND_FORCE = constants.POUND * constants.STANDARD_GRAVITY


@pytest.mark.parametrize(
    ("unit", "definition"),
    [
        (constants.FOOT, 12 * constants.INCH),
        (constants.CUBIC_INCH, constants.INCH**3),
        (constants.POUND_FORCE_FOOT, POUND_FORCE * constants.FOOT),
        (constants.PSI, POUND_FORCE / constants.INCH**2),
        (constants.MECHANICAL_HORSEPOWER, 550 * POUND_FORCE * constants.FOOT),
        (constants.METRIC_HORSEPOWER, 75 * constants.STANDARD_GRAVITY),
        (constants.INCH_OF_WATER, 1000 * constants.STANDARD_GRAVITY * constants.INCH),
    ],
)
def test_derived_units_follow_from_their_definition(unit: float, definition: float) -> None:
    assert unit == pytest.approx(definition, rel=1e-15)


def test_gas_constant_of_dry_air_is_that_of_its_molar_mass() -> None:
    """Source: ISO 2533 and the ASHRAE Handbook, which differ in the fifth digit of the molar mass."""
    molar = constants.UNIVERSAL_GAS_CONSTANT / constants.MOLAR_MASS_DRY_AIR
    assert molar == pytest.approx(constants.GAS_CONSTANT_DRY_AIR, rel=1e-4)
