"""Propagation of uncertainty against the GUM's own worked example and against Monte Carlo."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import t

from builder.engine import clearances, geometry, uncertainty
from builder.engine.uncertainty import chain, combine, from_repeats, from_resolution, half_width, partials, root
from builder.engine.validation import Value

INCH = 0.0254
CC = 1e-6
DRAWS = 100_000


def test_impedance_from_correlated_readings() -> None:
    """JCGM 100:2008, H.2, tables H.2 to H.4 (from memory): R, X and Z from five sets of readings."""
    volts = np.array([5.007, 4.994, 5.005, 4.990, 4.999])
    amperes = np.array([19.663, 19.639, 19.640, 19.685, 19.678]) * 1e-3
    phase = np.array([1.0456, 1.0438, 1.0468, 1.0428, 1.0433])
    values: dict[str, Value] = {"v": volts.mean(), "i": amperes.mean(), "p": phase.mean()}

    # Each set of readings is a root of its own: what it adds to every mean keeps their correlation.
    def by_set(readings: np.ndarray) -> dict[str, Value]:
        parts = (readings - readings.mean()) / np.sqrt(readings.size * (readings.size - 1))
        return {f"set {number}": float(part) for number, part in enumerate(parts)}

    inputs = {"v": by_set(volts), "i": by_set(amperes), "p": by_set(phase)}
    assert combine(inputs["v"]) == pytest.approx(from_repeats(volts))
    assert from_repeats(volts) == pytest.approx(0.0032, abs=5e-5)

    published = [
        (lambda v, i, p: v / i * np.cos(p), 127.732, 0.071),
        (lambda v, i, p: v / i * np.sin(p), 219.847, 0.295),
        (lambda v, i, p: v / i + 0 * p, 254.260, 0.236),
    ]
    for function, value, standard in published:
        assert function(**values) == pytest.approx(value, abs=6e-4)
        assert combine(chain(partials(function, values), inputs)) == pytest.approx(standard, abs=6e-4)


def test_resolution_is_a_rectangular_distribution() -> None:
    """JCGM 100:2008, F.2.2.1: a digital reading of resolution dx has standard uncertainty 0.29 dx."""
    assert round(from_resolution(1.0), 2) == 0.29
    draws = np.random.default_rng(3).uniform(-0.5, 0.5, DRAWS)
    assert from_resolution(1.0) == pytest.approx(draws.std(), rel=0.01)


def rectangular(rng: np.random.Generator, value: Value, resolution: float) -> np.ndarray:
    return np.asarray(value) + rng.uniform(-resolution / 2, resolution / 2, (DRAWS, *np.shape(value)))


def test_compression_ratio_of_every_cylinder_by_monte_carlo() -> None:
    """Monte Carlo (JCGM 101): the chained uncertainty of eight ratios agrees within 5 %, fixed seed."""
    rng = np.random.default_rng(41)
    bores = (4.0300 + 1e-4 * np.array([5, 4, 6, 5, 3, 5, 6, 4])) * INCH
    chambers = np.array([64.2, 64.0, 63.8, 64.1, 64.4, 64.0, 63.9, 64.1]) * CC
    decks = np.array([5.0, 6.0, 5.5, 5.0, 4.5, 5.0, 6.5, 6.0]) * 1e-3 * INCH
    stroke, gasket_bore, thickness, crown = 3.750 * INCH, 4.100 * INCH, 0.041 * INCH, -6.2 * CC
    steps = {"bore": 1e-3 * INCH, "stroke": 2e-3 * INCH, "deck": 1e-3 * INCH, "thickness": 2e-3 * INCH,
             "chamber": 0.5 * CC}  # fmt: skip
    roots = {name: root(name, from_resolution(step)) for name, step in steps.items()}

    swept = chain(
        partials(geometry.swept_volume, {"bore": bores, "stroke": stroke}),
        {"bore": roots["bore"], "stroke": roots["stroke"]},
    )
    deck = chain(
        partials(geometry.deck_volume, {"bore": bores, "deck_clearance": decks}),
        {"bore": roots["bore"], "deck_clearance": roots["deck"]},
    )
    gasket = chain(
        partials(geometry.gasket_volume, {"gasket_bore": gasket_bore, "gasket_thickness": thickness}),
        {"gasket_thickness": roots["thickness"]},
    )
    parts: dict[str, Value] = {
        "chamber_volume": chambers,
        "gasket_volume": geometry.gasket_volume(gasket_bore, thickness),
        "deck_volume": geometry.deck_volume(bores, decks),
        "crown_volume": crown,
    }
    clearance = chain(
        partials(geometry.clearance_volume, parts),
        {"chamber_volume": roots["chamber"], "gasket_volume": gasket, "deck_volume": deck},
    )
    volumes: dict[str, Value] = {
        "swept_volume": geometry.swept_volume(bores, stroke),
        "clearance_volume": geometry.clearance_volume(**parts),
    }
    ratio = chain(
        partials(geometry.compression_ratio, volumes),
        {"swept_volume": swept, "clearance_volume": clearance},
    )

    bore = rectangular(rng, bores, steps["bore"])
    shared = (DRAWS, 1)
    stroke_drawn = rectangular(rng, stroke, steps["stroke"]).reshape(shared)
    gasket_drawn = rectangular(rng, thickness, steps["thickness"]).reshape(shared)
    left = geometry.clearance_volume(
        rectangular(rng, chambers, steps["chamber"]),
        geometry.gasket_volume(gasket_bore, gasket_drawn),
        geometry.deck_volume(bore, rectangular(rng, decks, steps["deck"])),
        crown,
    )
    drawn = geometry.compression_ratio(geometry.swept_volume(bore, stroke_drawn), left)
    np.testing.assert_allclose(combine(ratio), drawn.std(axis=0), rtol=0.05)

    # The mean of the eight: chambers, bores and decks were read one by one, stroke and gasket were not.
    mean = uncertainty.over_positions(ratio, separate=("bore", "chamber", "deck"))
    assert combine(mean) == pytest.approx(drawn.mean(axis=1).std(), rel=0.05)


def test_quench_by_monte_carlo() -> None:
    """Monte Carlo (JCGM 101): deck height, stroke, rod, compression height and gasket within 5 %, fixed seed."""
    rng = np.random.default_rng(42)
    values: dict[str, Value] = {
        "deck_height": 9.018 * INCH, "stroke": 3.480 * INCH, "rod": 5.700 * INCH,
        "compression_height": 1.560 * INCH,
    }  # fmt: skip
    steps = {"deck_height": 1e-3 * INCH, "stroke": 1e-3 * INCH, "rod": 5e-4 * INCH,
             "compression_height": 5e-4 * INCH}  # fmt: skip
    roots = {name: root(name, from_resolution(step)) for name, step in steps.items()}
    deck = chain(partials(geometry.deck_clearance, values), roots)
    quench_values: dict[str, Value] = {
        "deck_clearance": geometry.deck_clearance(**values), "gasket_thickness": 0.041 * INCH,
    }  # fmt: skip
    gasket = root("gasket", from_resolution(1e-3 * INCH))
    quench = chain(partials(geometry.quench, quench_values), {"deck_clearance": deck, "gasket_thickness": gasket})
    drawn_deck = geometry.deck_clearance(**{name: rectangular(rng, values[name], steps[name]) for name in values})
    drawn = geometry.quench(drawn_deck, rectangular(rng, 0.041 * INCH, 1e-3 * INCH))
    assert combine(quench) == pytest.approx(drawn.std(), rel=0.05)
    # Twice that holds about 95 of 100.
    inside = np.abs(drawn - drawn.mean()) <= uncertainty.expanded(combine(quench))
    assert 0.93 < inside.mean() < 0.98


def test_oil_clearance_by_monte_carlo() -> None:
    """Monte Carlo (JCGM 101): housing from repeats, shell and journal from resolution, within 5 %, fixed seed."""
    rng = np.random.default_rng(43)
    repeats = np.array([2.6411, 2.6410, 2.6412, 2.6411]) * INCH
    values: dict[str, Value] = {
        "housing_bore": repeats.mean(), "shell_thickness": 0.0951 * INCH, "journal": 2.4484 * INCH,
    }  # fmt: skip
    roots = {
        "housing_bore": root("housing bore", from_repeats(repeats), from_resolution(1e-4 * INCH)),
        "shell_thickness": root("shell", from_resolution(1e-4 * INCH)),
        "journal": root("journal", from_resolution(1e-4 * INCH)),
    }
    ours = combine(chain(partials(clearances.oil_clearance, values), roots))
    housing = rectangular(rng, repeats.mean(), 1e-4 * INCH) + rng.normal(0, from_repeats(repeats), DRAWS)
    drawn = clearances.oil_clearance(
        housing, rectangular(rng, 0.0951 * INCH, 1e-4 * INCH), rectangular(rng, 2.4484 * INCH, 1e-4 * INCH)
    )
    assert ours == pytest.approx(drawn.std(), rel=0.05)


def test_effective_ratio_by_monte_carlo() -> None:
    """Monte Carlo (JCGM 101): slider-crank with closing angle, rod and clearance volume within 5 %, fixed seed."""
    rng = np.random.default_rng(44)
    values: dict[str, Value] = {
        "bore": 0.1024, "stroke": 0.0884, "rod": 0.1448, "clearance_volume": 72 * CC, "intake_closes": 64.0,
    }  # fmt: skip
    standard = {"rod": 5e-5, "clearance_volume": 0.4 * CC, "intake_closes": 0.7}
    slopes = partials(geometry.effective_compression_ratio, values, names=standard)
    ours = combine(chain(slopes, {name: root(name, u) for name, u in standard.items()}))
    drawn = geometry.effective_compression_ratio(
        **values | {name: rng.normal(values[name], u, DRAWS) for name, u in standard.items()}
    )
    assert ours == pytest.approx(drawn.std(), rel=0.05)


def test_the_interval_of_a_sum_is_welch_satterthwaites() -> None:
    """Source: JCGM 100, G.4.1, its three parts as a percentage with degrees of freedom; the quantile is SciPy's."""
    # 0.25 %, 0.57 % and 0.82 % on 9, 4 and 14 degrees of freedom give 19.0 in all (the example of G.4.1, from memory).
    parts = ((0.25, 9.0), (0.57, 4.0), (0.82, 14.0))
    combined = math.sqrt(sum(uncertainty**2 for uncertainty, _ in parts))
    assert combined == pytest.approx(1.03, abs=0.005)
    assert half_width(*parts) == pytest.approx(t.ppf(0.975, 19.0) * combined, rel=2e-3)
    assert half_width((0.3, 5.0), (0.0, 1.0)) == pytest.approx(0.3 * t.ppf(0.975, 5.0), rel=1e-4)
    assert half_width() == 0.0
