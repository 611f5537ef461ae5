"""Power, torque and breathing against textbook examples, NIST factors and the trade's own numbers."""

from __future__ import annotations

import numpy as np
import pytest

from builder.engine.breathing import (
    air_demand,
    choked_air_flow,
    flow_at_depression,
    head_flow_ceiling,
    induction_headroom,
    inlet_mach_index,
    volumetric_efficiency,
)
from builder.engine.constants import (
    CUBIC_FOOT_PER_MINUTE,
    CUBIC_INCH,
    INCH_OF_MERCURY,
    INCH_OF_WATER,
    KILOGRAM_FORCE_METRE,
    MECHANICAL_HORSEPOWER,
    METRIC_HORSEPOWER,
    POUND,
    POUND_FORCE_FOOT,
    PSI,
)
from builder.engine.power import (
    bmep,
    brake_thermal_efficiency,
    bsfc,
    power,
    specific_power,
    torque,
    torque_power_consistency,
)
from builder.figures.review.cross_checks.output import MOST_EFFICIENCY


def test_unit_factors_of_torque_and_power() -> None:
    """Source: NIST SP 811, appendix B.8."""
    assert pytest.approx(1.355_817_948, rel=1e-9) == POUND_FORCE_FOOT
    assert KILOGRAM_FORCE_METRE == 9.806_65
    assert pytest.approx(745.699_872, rel=1e-9) == MECHANICAL_HORSEPOWER
    assert pytest.approx(735.498_75, rel=1e-9) == METRIC_HORSEPOWER


def test_unit_factors_of_flow_and_depression() -> None:
    """Source: NIST SP 811, appendix B.8 (conventional inch of water and of mercury)."""
    assert pytest.approx(4.719_474e-4, rel=1e-6) == CUBIC_FOOT_PER_MINUTE
    assert pytest.approx(249.0889, rel=1e-6) == INCH_OF_WATER
    assert pytest.approx(3386.389, rel=1e-6) == INCH_OF_MERCURY
    assert pytest.approx(6894.757, rel=1e-7) == PSI
    assert pytest.approx(1.638_706e-5, rel=1e-6) == CUBIC_INCH
    assert POUND == 0.453_592_37


def test_the_textbook_v6() -> None:
    """Source: Pulkrabek, Engineering Fundamentals of the ICE, example 2-2 (from memory, recomputed)."""
    assert float(power(205.0, 60.0)) / 1000 == pytest.approx(77.3, abs=0.05)
    assert float(bmep(205.0, 3.0e-3)) / 1000 == pytest.approx(859, abs=0.5)
    assert float(bmep(205.0, 3.0e-3)) / 0.85 / 1000 == pytest.approx(1010, abs=1)


def test_torque_at_the_power_peak_of_a_shop_pull() -> None:
    """Source: common practice, no source: 364 hp at 4500 rev/min is 424.8 lbf ft."""
    found = float(torque(364 * MECHANICAL_HORSEPOWER, 4500 / 60)) / POUND_FORCE_FOOT
    assert found == pytest.approx(424.8, abs=0.05)
    assert found < 436


def test_power_and_torque_cross_at_5252() -> None:
    """Source: common practice, no source: in hp and lbf ft the two curves cross at 5252 rev/min."""
    assert float(power(POUND_FORCE_FOOT, 5252.1131 / 60)) == pytest.approx(MECHANICAL_HORSEPOWER, rel=1e-8)


def test_bmep_of_a_shop_engine() -> None:
    """Source: common practice, no source: 445 lbf ft from 397.3 cu in is a bmep of 168.9 psi."""
    found = float(bmep(445 * POUND_FORCE_FOOT, 397.3 * CUBIC_INCH)) / PSI
    assert found == pytest.approx(168.9, abs=0.05)


def test_bmep_by_the_trades_own_constants() -> None:
    """Source: common practice, no source: 150.8 T/cu in for a four-stroke, 75.4 for a two-stroke [psi, lbf ft]."""
    four = float(bmep(POUND_FORCE_FOOT, CUBIC_INCH)) / PSI
    assert four == pytest.approx(150.8, abs=0.02)
    assert float(bmep(POUND_FORCE_FOOT, CUBIC_INCH, 1)) / PSI == pytest.approx(75.4, abs=0.01)


def test_power_per_cubic_inch() -> None:
    """Source: common practice, no source: 413 hp from 397.3 cu in is 1.04 hp per cu in."""
    found = float(specific_power(413 * MECHANICAL_HORSEPOWER, 397.3 * CUBIC_INCH))
    assert found * CUBIC_INCH / MECHANICAL_HORSEPOWER == pytest.approx(1.04, abs=0.005)


def test_bsfc_and_efficiency_of_a_gasoline_engine() -> None:
    """Source: unit conversion by hand: 0.45 lb/(hp h) is 273.7 g/(kW h), 29.9 % of 44.0 MJ/kg."""
    fuel = 0.45 * POUND / 3600
    assert float(bsfc(fuel, MECHANICAL_HORSEPOWER)) * 3.6e9 == pytest.approx(273.7, abs=0.1)
    assert brake_thermal_efficiency(MECHANICAL_HORSEPOWER, fuel, 44.0e6) == pytest.approx(0.299, abs=5e-4)


@pytest.mark.parametrize(
    ("grams_per_kilowatt_hour", "heating_value", "efficiency"),
    [(270.0, 44.0e6, 0.303), (200.0, 42.5e6, 0.424), (250.0, 43.0e6, 0.335)],
)
def test_efficiency_from_the_fuel_used(grams_per_kilowatt_hour: float, heating_value: float, efficiency: float) -> None:
    """Source, from memory: Heywood ch. 2, 3600 / (sfc [g/(kW h)] x heating value [MJ/kg]), with the values he gives.

    270 g/(kW h) is his best of ordinary spark-ignition engines and 200 of large diesels: 75 and 55 micrograms a joule.
    """
    fuel = grams_per_kilowatt_hour / 3.6e9 * 1e5
    found = brake_thermal_efficiency(1e5, fuel, heating_value)
    assert found == pytest.approx(efficiency, abs=5e-4)
    assert found == pytest.approx(3600 / (grams_per_kilowatt_hour * heating_value / 1e6))
    assert found < MOST_EFFICIENCY["compression" if grams_per_kilowatt_hour == 200.0 else "spark"]


def test_best_specific_consumption_in_other_units() -> None:
    """Source, from memory: Heywood ch. 2: 75 ug/J is 270 g/(kW h) and about 0.44 to 0.47 lb/(hp h); 55 is 0.32."""
    for micrograms, grams, pounds in ((75.0, 270.0, 0.444), (55.0, 198.0, 0.3255)):
        specific = float(bsfc(micrograms * 1e-9 * 1e5, 1e5))
        assert specific * 3.6e9 == pytest.approx(grams, rel=1e-9)
        assert specific / POUND * MECHANICAL_HORSEPOWER * 3600 == pytest.approx(pounds, abs=5e-4)


def test_air_through_a_choked_opening() -> None:
    """Source, from memory: m = 0.0404 p0 A / sqrt(T0) for air in SI units (compressible flow in any textbook).

    And the 20 mm restrictor of student racing at 101.325 kPa and 20 degC: 0.0748 kg/s without losses, by hand.
    """
    assert choked_air_flow(1.0, 1e5, 288.15) == pytest.approx(0.0404 * 1e5 / np.sqrt(288.15), rel=2e-3)
    assert choked_air_flow(np.pi / 4 * 0.020**2, 101_325.0, 293.15) == pytest.approx(0.0751, abs=5e-4)


@pytest.mark.parametrize(
    ("read_torque", "read_power", "ratio"),
    [
        (POUND_FORCE_FOOT, 1.0, 0.738),
        (1 / POUND_FORCE_FOOT, 1.0, 1.356),
        (1.0, MECHANICAL_HORSEPOWER / METRIC_HORSEPOWER, 1.014),
        (1.0, METRIC_HORSEPOWER / MECHANICAL_HORSEPOWER, 0.986),
        (1.0, MECHANICAL_HORSEPOWER / 1000, 0.746),
        (1.0, 1000 / MECHANICAL_HORSEPOWER, 1.341),
    ],
)
def test_the_well_known_ratios_of_misread_units(read_torque: float, read_power: float, ratio: float) -> None:
    """Source: NIST SP 811 factors."""
    speed = np.arange(40.0, 110.0, 5.0)
    made = 400 * np.ones(speed.size)
    found = torque_power_consistency(speed, made * read_torque, np.asarray(power(made, speed)) * read_power)
    assert found.ratio == pytest.approx(ratio, abs=5e-4)
    assert found.explanations


def test_air_for_a_large_v8() -> None:
    """Source: common practice, no source: 397 cu in at 6000 rev/min is 690 cfm, cu in * rpm/3456."""
    demand = float(air_demand(397 * CUBIC_INCH, 100.0)) / CUBIC_FOOT_PER_MINUTE
    assert demand == pytest.approx(690, abs=1)
    assert demand == pytest.approx(397 * 6000 / 3456, rel=1e-6)


def test_a_750_cfm_carburettor_has_headroom_on_it() -> None:
    """Source: common practice, no source: four-barrel carburettors are rated at 1.5 inHg."""
    demand = air_demand(397 * CUBIC_INCH, 100.0)
    rated = 750 * CUBIC_FOOT_PER_MINUTE
    depression = 1.5 * INCH_OF_MERCURY
    assert induction_headroom(rated, depression, demand, depression) == pytest.approx(1.088, abs=0.001)


def test_bench_flow_at_28_inches_from_10() -> None:
    """Source: Bernoulli: flow at 28 inH2O is 1.673 times that at 10 inH2O."""
    assert flow_at_depression(100.0, 10 * INCH_OF_WATER, 28 * INCH_OF_WATER) == pytest.approx(167.3, abs=0.05)


def test_head_flow_ceiling() -> None:
    """Source: common practice, no source: 240 cfm at 28 inH2O on eight cylinders, 0.257 hp/cfm: 493 hp."""
    assert float(head_flow_ceiling(240 * CUBIC_FOOT_PER_MINUTE, 8)) / MECHANICAL_HORSEPOWER == pytest.approx(
        493.4, abs=0.1
    )


def test_inlet_mach_index_by_hand() -> None:
    """Source: Taylor vol. 1 ch. 6, formula by hand: (4/2)^2 * 15/(0.35 * 343) = 0.4998."""
    assert inlet_mach_index(0.100, 0.050, 1, 15.0, 0.35, 343.0) == pytest.approx(0.4998, abs=1e-4)


def test_volumetric_efficiency_by_hand() -> None:
    """Source: Heywood ch. 2, by hand: 0.100 kg/s at 1.2 kg/m3 in 2.0 L at 100 rev/s is 83.3 %."""
    assert volumetric_efficiency(0.100, 1.2, 2.0e-3, 100.0) == pytest.approx(0.8333, abs=1e-4)
