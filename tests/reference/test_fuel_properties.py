"""Typical fuels against the composition of pure substances, a table of the US Department of Energy, and Heywood."""

from __future__ import annotations

import pytest
from CoolProp.CoolProp import PropsSI

from builder.engine.fuel_properties import TYPICAL_FUELS, air_from_fuel, ethanol_mass_share

BTU_PER_POUND = 2326.0
"""[J/kg]; ISO 31-4, exact."""
OXYGEN_OF_AIR = 0.2095
"""Share by volume of dry air; the rest counts as nitrogen with argon of 28.16 g/mol: Heywood ch. 3."""


def _by_composition(carbon: float, hydrogen: float, oxygen: float) -> float:
    """Return the air-fuel ratio at lambda 1 from the formula of a fuel; atomic masses of IUPAC."""
    fuel = carbon * 12.011 + hydrogen * 1.008 + oxygen * 15.999
    moles = carbon + hydrogen / 4 - oxygen / 2
    air = moles * (31.998 + (1 - OXYGEN_OF_AIR) / OXYGEN_OF_AIR * 28.16)
    return air / fuel


def _by_formation(carbon: int, hydrogen: int, molar_mass: float, formation: float) -> float:
    """Return the lower heating value [J/kg] from heats of formation [kJ/mol]: NIST, from memory."""
    return (carbon * 393.51 + hydrogen / 2 * 241.83 + formation) * 1e6 / molar_mass


@pytest.mark.parametrize(
    ("fuel", "carbon", "hydrogen", "oxygen"),
    [
        ("methanol", 1, 4, 1),
        ("ethanol", 2, 6, 1),
        ("LPG", 3, 8, 0),
        ("gasoline", 1, 1.87, 0),  # C_n H_1.87n, Heywood, appendix D, from memory
        ("diesel", 1, 1.8, 0),  # C_n H_1.8n, Heywood, appendix D, from memory
    ],
)
def test_air_fuel_ratio_by_composition(fuel: str, carbon: float, hydrogen: float, oxygen: float) -> None:
    """Stoichiometry of complete combustion with dry air, Heywood ch. 3: to half a per cent."""
    assert TYPICAL_FUELS[fuel].stoichiometric == pytest.approx(_by_composition(carbon, hydrogen, oxygen), rel=5e-3)


@pytest.mark.parametrize(
    ("fuel", "carbon", "hydrogen", "molar_mass", "formation"),
    [
        ("methanol", 1, 4, 32.042, -238.7),
        ("ethanol", 2, 6, 46.069, -277.0),
        ("LPG", 3, 8, 44.096, -104.7),
    ],
)
def test_heating_value_by_heats_of_formation(
    fuel: str, carbon: int, hydrogen: int, molar_mass: float, formation: float
) -> None:
    """Heats of formation of NIST, from memory: to half a per cent."""
    expected = _by_formation(carbon, hydrogen, molar_mass, formation)
    assert TYPICAL_FUELS[fuel].heating_value == pytest.approx(expected, rel=5e-3)


@pytest.mark.parametrize(
    ("fuel", "british"),
    [
        ("gasoline", 18_676),
        ("diesel", 18_394),
        ("methanol", 8_637),
        ("ethanol", 11_585),
        ("LPG", 19_900),
        ("natural gas", 20_263),
    ],
)
def test_heating_value_of_the_department_of_energy(fuel: str, british: float) -> None:
    """US Department of Energy, Alternative Fuels Data Center, Properties of Fuels, lower heating value in Btu/lb.

    Within twice the spread stated with the typical value.
    """
    typical = TYPICAL_FUELS[fuel]
    assert typical.heating_value == pytest.approx(british * BTU_PER_POUND, rel=2 * typical.heat_uncertainty)


@pytest.mark.parametrize(
    ("fuel", "ratio", "heat"),
    [
        ("gasoline", 14.6, 44.0),
        ("diesel", 14.5, 42.5),
        ("methanol", 6.47, 20.0),
        ("ethanol", 9.0, 26.9),
        ("LPG", 15.67, 46.4),
    ],
)
def test_fuels_of_heywoods_appendix(fuel: str, ratio: float, heat: float) -> None:
    """Heywood, Internal Combustion Engine Fundamentals, appendix D, from memory: gasoline, light diesel, propane ..."""
    assert TYPICAL_FUELS[fuel].stoichiometric == ratio
    assert TYPICAL_FUELS[fuel].heating_value == heat * 1e6


def test_natural_gas_lies_between_heywoods_gas_and_pure_methane() -> None:
    """Heywood, appendix D, from memory: natural gas 14.5 and 45.0 MJ/kg, methane 17.23 and 50.0 MJ/kg."""
    typical = TYPICAL_FUELS["natural gas"]
    assert 14.5 < typical.stoichiometric < 17.23
    assert 45.0e6 < typical.heating_value < 50.0e6


@pytest.mark.parametrize(("fuel", "ratio"), [("E10", 14.1), ("E85", 9.8)])
def test_blends_of_ethanol_and_gasoline(fuel: str, ratio: float) -> None:
    """Common practice, no source: 14.1 for E10 and 9.8 for E85, to one per cent."""
    assert TYPICAL_FUELS[fuel].stoichiometric == pytest.approx(ratio, rel=0.01)


def test_share_of_ethanol_by_mass() -> None:
    """Common practice, no source: 85 per cent by volume is about 86 per cent by mass."""
    assert ethanol_mass_share(0.85) == pytest.approx(0.857, abs=1e-3)
    assert ethanol_mass_share(0.0) == 0.0
    assert ethanol_mass_share(1.0) == 1.0


def test_air_of_a_known_fuel_flow() -> None:
    """Heywood ch. 2, definition: 20 kg/h of gasoline at lambda 0.9 burn with 262.8 kg/h of air."""
    assert air_from_fuel(20 / 3600, 0.9 * 14.6) * 3600 == pytest.approx(262.8)


@pytest.mark.parametrize("fuel", ["methanol", "ethanol"])
def test_density_of_the_alcohols(fuel: str) -> None:
    """CoolProp (Bell et al., 2014) at 20 degC and one atmosphere: to half a per cent."""
    expected = PropsSI("D", "T", 293.15, "P", 101_325, fuel.capitalize())
    assert TYPICAL_FUELS[fuel].density == pytest.approx(expected, rel=5e-3)


@pytest.mark.parametrize(
    ("fuel", "least", "most"), [("gasoline", 720, 775), ("E10", 720, 775), ("diesel", 820, 845), ("kerosene", 775, 840)]
)
def test_density_within_the_fuel_standards(fuel: str, least: float, most: float) -> None:
    """EN 228 and EN 590 at 15 degC, ASTM D1655 for kerosene; from memory."""
    density = TYPICAL_FUELS[fuel].density
    assert density is not None
    assert least < density < most


def test_density_of_a_blend_adds_up_by_volume() -> None:
    """Conservation of mass: 85 L of ethanol and 15 L of gasoline weigh as much as the blend; 782 kg/m3."""
    assert TYPICAL_FUELS["E85"].density == pytest.approx((85 * 789 + 15 * 745) / 100)
    assert TYPICAL_FUELS["LPG"].density is None
    assert TYPICAL_FUELS["natural gas"].density is None
