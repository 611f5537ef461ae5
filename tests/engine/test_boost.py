"""Forced induction: what cannot be is refused, and the plain cases come out."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from builder.engine import boost, breathing
from builder.engine.air import air_density
from builder.engine.validation import InputConflict


def test_no_boost_changes_nothing() -> None:
    assert boost.pressure_ratio(0.0, 98e3) == 1.0
    assert boost.charge_density(98e3, 295.0, 1.2e3, 1.0) == pytest.approx(air_density(98e3, 295.0, 1.2e3))
    assert boost.boosted_effective_ratio(7.4, 1.0) == 7.4


def test_flow_at_the_reference_inlet_is_not_corrected() -> None:
    assert boost.corrected_compressor_flow(0.25, 100e3, 298.0) == pytest.approx(0.25)
    thin = boost.corrected_compressor_flow(np.array([0.25, 0.25]), np.array([100e3, 80e3]), 298.0)
    assert np.asarray(thin)[1] == pytest.approx(0.25 / 0.8)


def test_a_discharge_coefficient_takes_its_share() -> None:
    whole = breathing.choked_air_flow(1e-3, 1e5, 293.15)
    assert breathing.choked_air_flow(1e-3, 1e5, 293.15, 0.9) == pytest.approx(0.9 * whole)


@pytest.mark.parametrize(
    ("call", "input_name"),
    [
        (lambda: boost.pressure_ratio(50e3, 0.0), "ambient"),
        (lambda: boost.pressure_ratio(-100e3, 100e3), "manifold_pressure"),
        (lambda: boost.corrected_compressor_flow(-0.1, 1e5, 298.0), "flow"),
        (lambda: boost.corrected_compressor_flow(0.1, 0.0, 298.0), "inlet_pressure"),
        (lambda: boost.boosted_effective_ratio(7.0, 0.0), "pressure_ratio"),
        (lambda: breathing.choked_air_flow(1e-3, 1e5, 293.15, 0.0), "coefficient"),
    ],
)
def test_the_impossible_is_refused(call: Callable[[], object], input_name: str) -> None:
    with pytest.raises(InputConflict) as caught:
        call()
    assert input_name in caught.value.inputs
