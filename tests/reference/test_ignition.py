"""Total timing of a distributor by the rule of the trade, and its curve against NumPy."""

from __future__ import annotations

import numpy as np

from builder.engine import ignition


def test_total_timing_of_a_test_machine_curve() -> None:
    """Common practice, no source: 12 deg at idle and 11 deg on the machine, which count double, are 34 deg."""
    assert ignition.total_timing(12.0, 0.0, 2 * 11.0) == 34.0


def test_curve_against_interpolation() -> None:
    """NumPy interp on random speeds."""
    random = np.random.default_rng(5)
    speeds, advance = np.sort(random.uniform(5, 90, 6)), np.sort(random.uniform(0, 25, 6))
    asked = random.uniform(0, 100, 50)
    np.testing.assert_allclose(ignition.advance_at(asked, speeds, advance), np.interp(asked, speeds, advance))
