"""Power and torque: they undo each other, and mix-ups of units are named."""

from __future__ import annotations

import numpy as np
import pytest

from builder.engine.constants import KILOGRAM_FORCE_METRE, MECHANICAL_HORSEPOWER, METRIC_HORSEPOWER, POUND_FORCE_FOOT
from builder.engine.power import (
    UnitMixUp,
    acceleration_torque,
    bmep,
    brake_thermal_efficiency,
    bsfc,
    explanation_text,
    power,
    specific_power,
    specific_torque,
    torque,
    torque_power_consistency,
)

SPEED = np.arange(2000.0, 6600.0, 100.0) / 60
TORQUE = 400 + 120 * np.exp(-(((60 * SPEED - 4400) / 1300) ** 2))
POWER = np.asarray(power(TORQUE, SPEED))


def test_power_and_torque_are_inverse() -> None:
    np.testing.assert_allclose(torque(POWER, SPEED), TORQUE, rtol=1e-14)
    with pytest.raises(ValueError, match="speed"):
        torque(1000.0, 0.0)


def test_bmep_of_two_and_four_strokes() -> None:
    assert bmep(300.0, 3e-3) == 2 * bmep(300.0, 3e-3, 1)
    # The work of a cycle, 2 pi T a turn, is bmep over the volume that is swept for it.
    assert bmep(300.0, 3e-3) * 3e-3 == pytest.approx(2 * 2 * np.pi * 300.0)
    with pytest.raises(ValueError, match="two-stroke"):
        bmep(300.0, 3e-3, 4)


def test_specific_figures_are_per_volume() -> None:
    assert specific_torque(300.0, 3e-3) == pytest.approx(100e3)
    assert specific_power(180e3, 3e-3) == pytest.approx(60e6)


def test_fuel_figures_and_their_gaps() -> None:
    assert bsfc(0.02, 260e3) * 3.6e9 == pytest.approx(276.923, abs=1e-3)
    assert np.isnan(bsfc(0.001, -5.0))
    assert brake_thermal_efficiency(260e3, 0.02, 43e6) == pytest.approx(260 / 860)
    assert np.isnan(brake_thermal_efficiency(1.0, 0.0, 43e6))
    product = bsfc(0.02, 260e3) * brake_thermal_efficiency(260e3, 0.02, 43e6) * 43e6
    assert product == pytest.approx(1.0)


def test_inertia_takes_torque_while_the_speed_rises() -> None:
    assert acceleration_torque(0.4, 5.0) == pytest.approx(0.4 * 2 * np.pi * 5)
    assert acceleration_torque(0.4, -5.0) < 0


def test_columns_within_rounding_agree() -> None:
    rounded = torque_power_consistency(SPEED, np.round(TORQUE), 745.7 * np.round(POWER / 745.7))
    assert rounded.agrees
    assert rounded.explanations == ()
    assert rounded.rows == SPEED.size


METRIC = MECHANICAL_HORSEPOWER / METRIC_HORSEPOWER


@pytest.mark.parametrize(
    ("torque_factor", "power_factor", "ratio", "words"),
    [
        (POUND_FORCE_FOOT, 1.0, 0.738, "torque in N m was read as lbf ft"),
        (1 / POUND_FORCE_FOOT, 1.0, 1.356, "torque in lbf ft was read as N m"),
        (1.0, METRIC, 1.014, "metric horsepower was read as mechanical"),
        (1.0, 1 / METRIC, 0.986, "mechanical horsepower was read as metric"),
        (1.0, MECHANICAL_HORSEPOWER / 1000, 0.746, "kW was read as mechanical horsepower"),
        (1.0, 1000 / MECHANICAL_HORSEPOWER, 1.341, "mechanical horsepower was read as kW"),
        (1 / KILOGRAM_FORCE_METRE, 1.0, 9.807, "kgf m was read as N m"),
        (12.0, 1.0, 1 / 12, "lbf in was read as lbf ft"),
        (1 / POUND_FORCE_FOOT, 1000 / MECHANICAL_HORSEPOWER, 1.818, "lbf ft was read as N m, and power in mech"),
    ],
)
def test_mix_ups_in_torque_and_power_are_named(
    torque_factor: float, power_factor: float, ratio: float, words: str
) -> None:
    result = torque_power_consistency(SPEED, TORQUE * torque_factor, POWER * power_factor)
    assert not result.agrees
    assert result.ratio == pytest.approx(ratio, rel=1e-3)
    assert words in explanation_text(result.explanations[0])


@pytest.mark.parametrize(
    ("factor", "words"),
    [(60.0, "rev/min was read as rev/s"), (1 / 60.0, "rev/s was read as rev/min"), (np.pi / 30, "rad/s")],
)
def test_mix_ups_in_speed_are_named(factor: float, words: str) -> None:
    result = torque_power_consistency(SPEED * factor, TORQUE, POWER)
    assert words in explanation_text(result.explanations[0])


def test_of_two_close_explanations_both_are_given_the_closer_first() -> None:
    result = torque_power_consistency(SPEED, TORQUE * POUND_FORCE_FOOT, POWER)
    first, *others = result.explanations
    assert first == (UnitMixUp("torque", "N m", "lbf ft"),)
    assert (UnitMixUp("power", "kW", "metric horsepower"),) in others


def test_an_unknown_ratio_is_not_explained_away() -> None:
    result = torque_power_consistency(SPEED, TORQUE, POWER * 1.05)
    assert not result.agrees
    assert result.explanations == ()
    assert result.steady


def test_columns_that_have_nothing_to_do_with_each_other_are_not_steady() -> None:
    result = torque_power_consistency(SPEED, POWER / POWER.max() * 400, POWER)
    assert not result.agrees
    assert not result.steady
    assert result.explanations == ()


def test_rows_that_say_nothing_do_not_count() -> None:
    speed = np.concatenate([SPEED, [0.0, np.nan, 30.0]])
    torque_column = np.concatenate([TORQUE, [0.0, 100.0, -20.0]])
    power_column = np.concatenate([POWER, [0.0, 1e5, -4000.0]])
    assert torque_power_consistency(speed, torque_column, power_column).rows == SPEED.size
    with pytest.raises(ValueError, match="no row"):
        torque_power_consistency([0.0], [1.0], [1.0])
