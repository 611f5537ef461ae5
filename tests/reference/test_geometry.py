"""Cylinder and compression, held against a printed worked example and against facts of the trade."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate

from builder.engine import geometry, kinematics

INCH = 0.0254
CUBIC_INCH = INCH**3
CC = 1e-6


def test_bore_of_a_square_three_litre_six() -> None:
    """Pulkrabek, Engineering Fundamentals of the ICE, example 2-1 (from memory, recomputed)."""
    assert geometry.displacement(geometry.swept_volume(0.0860, 0.0860), 6) == pytest.approx(3.0e-3, rel=2e-3)
    bore = (3.0e-3 / geometry.displacement(geometry.swept_volume(1.0, 1.0), 6)) ** (1 / 3)
    assert round(bore * 1000, 1) == 86.0


def test_clearance_volume_at_a_ratio_of_nine_and_a_half() -> None:
    """Pulkrabek, Engineering Fundamentals of the ICE, example 2-1 (from memory, recomputed)."""
    clearance = geometry.clearance_for_ratio(3.0e-3 / 6, 9.5)
    assert round(clearance / CC, 1) == 58.8
    assert geometry.compression_ratio(3.0e-3 / 6, clearance) == pytest.approx(9.5)


def test_displacement_bored_over_and_standard() -> None:
    """Common practice, no source: 4.090 x 3.780 in, eight cylinders; standard bore 4.050 in from memory."""
    for bore, cubic_inches in ((4.090, 397.3), (4.050, 389.6)):
        swept = geometry.swept_volume(bore * INCH, 3.780 * INCH)
        assert round(geometry.displacement(swept, 8) / CUBIC_INCH, 1) == cubic_inches


def test_volume_above_the_piston_for_a_ratio() -> None:
    """Common practice, no source: 9.28:1 on 4.090 x 3.780 in leaves 98.3 cc; chamber 72, gasket 0.027 in."""
    swept = geometry.swept_volume(4.090 * INCH, 3.780 * INCH)
    clearance = geometry.clearance_for_ratio(swept, 9.28)
    assert round(clearance / CC, 1) == 98.3
    # What the chamber and the gasket leave for deck and crown must bring the ratio back.
    gasket = geometry.gasket_volume(4.090 * INCH, 0.027 * INCH)
    rest = geometry.crown_volume(clearance, 72 * CC, gasket, 0.0)
    assert rest > 0
    whole = geometry.clearance_volume(72 * CC, gasket, 0.0, rest)
    assert geometry.compression_ratio(swept, whole) == pytest.approx(9.28)


def test_a_compression_height_a_tenth_short() -> None:
    """Common practice, no source: 0.100 in short adds 21.5 cc and brings 9.28:1 down to 7.8:1."""
    swept = geometry.swept_volume(4.090 * INCH, 3.780 * INCH)
    added = geometry.deck_volume(4.090 * INCH, 0.100 * INCH)
    assert round(added / CC, 1) == 21.5
    ratio = geometry.compression_ratio(swept, geometry.clearance_for_ratio(swept, 9.28) + added)
    assert round(ratio, 1) == 7.8


def test_the_trapped_volume_is_the_integral_of_the_piston_speed() -> None:
    """SciPy quad: the volume swept from intake closing to TDC, over the clearance volume."""
    bore, stroke, rod, clearance, speed = 0.1039, 0.0960, 0.1680, 85 * CC, 50.0
    for closes, offset in [(43.0, 0.0), (71.0, 0.0), (-20.0, 0.0), (65.0, 0.0012), (65.0, -0.0012)]:
        theta = np.radians(180 + closes)
        distance, _ = integrate.quad(
            lambda angle, offset=offset: kinematics.piston_speed(angle, stroke, rod, speed, offset),
            0.0,
            theta,
            epsabs=1e-12,
            epsrel=1e-12,
        )
        swept_back = np.pi / 4 * bore**2 * distance / (2 * np.pi * speed)
        ratio = geometry.effective_compression_ratio(bore, stroke, rod, clearance, closes, offset)
        assert ratio == pytest.approx(1 + swept_back / clearance, rel=1e-9)
