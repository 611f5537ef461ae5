"""Preload, nut factor, stress area and stretch against printed worked examples and tables."""

from __future__ import annotations

import numpy as np
import pytest

from builder.engine import fasteners

INCH = 0.0254
POUND_FORCE = 4.448_221_615_260_5
POUND_INCH = POUND_FORCE * INCH


def test_preload_from_torque_and_nut_factor() -> None:
    """Shigley, Mechanical Engineering Design, example 8-3 (from memory): 3750 lbf in for 25 kip, K 0.2, 3/4 in."""
    preload = fasteners.fastener_preload(3750 * POUND_INCH, 0.2, 0.75 * INCH)
    assert preload / POUND_FORCE == pytest.approx(25_000, rel=1e-9)


def test_nut_factor_from_friction() -> None:
    """Shigley, example 8-3 (from memory): 3/4-16 UNF, f = fc = 0.15, 25 kip takes 3551 lbf in."""
    factor = fasteners.nut_factor(0.75 * INCH, INCH / 16, 0.15, 0.15)
    torque = factor * 25_000 * 0.75
    assert torque == pytest.approx(3551, abs=2)


def test_nut_factors_of_equal_friction_are_near_a_fifth() -> None:
    """Shigley, table of torque factors by the long formula (from memory): f = fc = 0.15 gives K near 0.20."""
    for diameter, threads in [(1 / 4, 20), (5 / 16, 18), (3 / 8, 16), (1 / 2, 13), (3 / 4, 16), (1, 8)]:
        factor = fasteners.nut_factor(diameter * INCH, INCH / threads, 0.15, 0.15)
        assert factor == pytest.approx(0.20, abs=0.015)


@pytest.mark.parametrize(
    ("diameter", "pitch", "area"),
    [
        (5, 0.8, 14.2), (6, 1.0, 20.1), (8, 1.25, 36.6), (10, 1.5, 58.0), (12, 1.75, 84.3), (14, 2.0, 115),
        (16, 2.0, 157), (20, 2.5, 245),
    ],
)  # fmt: skip
def test_stress_areas_of_metric_threads(diameter: float, pitch: float, area: float) -> None:
    """ISO 898-1, nominal stress areas of coarse threads [mm2], printed to three figures."""
    found = fasteners.tensile_stress_area(diameter * 1e-3, pitch * 1e-3) * 1e6
    assert float(f"{found:.3g}") == area


@pytest.mark.parametrize(
    ("diameter", "threads", "area"),
    [(1 / 4, 20, 0.0318), (3 / 8, 16, 0.0775), (7 / 16, 20, 0.1187), (1 / 2, 13, 0.1419), (3 / 4, 16, 0.373)],
)
def test_stress_areas_of_unified_threads(diameter: float, threads: int, area: float) -> None:
    """Machinery's Handbook and Shigley, tensile stress areas of unified threads [in2] (from memory)."""
    found = fasteners.tensile_stress_area(diameter * INCH, INCH / threads, "unified") / INCH**2
    assert found == pytest.approx(area, rel=3e-3)


def test_metric_bolts_at_their_proof_load_are_plausible() -> None:
    """ISO 898-1, proof stress of classes 8.8, 10.9 and 12.9: T = K F d at 75 % of it, K 0.12 to 0.20."""
    for diameter, area in [(6, 20.1), (8, 36.6), (10, 58.0), (12, 84.3), (16, 157)]:
        for proof in (580e6, 830e6, 970e6):
            for factor in (0.12, 0.20):
                torque = factor * 0.75 * proof * area * 1e-6 * diameter * 1e-3
                assert fasteners.check_torque(torque, diameter * 1e-3).verdict == "plausible"


def test_scatter_of_a_torque_wrench() -> None:
    """Machinery's Handbook, accuracy of preload by torque wrench on plain bolts (from memory): 25 % either way."""
    assert fasteners.PRELOAD_SPREAD["torque"] == 0.25


def test_stretch_is_hookes_law_for_springs_in_a_row() -> None:
    """Shigley, fastener stiffness: k = Ad At E/(Ad lt + At ld), E of steel 207 GPa (printed as 30 Mpsi)."""
    shank, thread = 1.10 * INCH, 0.55 * INCH
    diameter, area = 0.348 * INCH, 0.0878 * INCH**2
    shank_area = np.pi / 4 * diameter**2
    stiffness = shank_area * area * 207e9 / (shank_area * thread + area * shank)
    found = fasteners.preload_from_stretch(0.0060 * INCH, shank, diameter, thread, area)
    assert found == pytest.approx(stiffness * 0.0060 * INCH, rel=1e-12)
