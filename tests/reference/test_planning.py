"""Solved values against SciPy's root finders over the same functions, and against the formulas of the trade."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import brentq

from builder.engine.roots import bracketed_root
from builder.figures.core.types import Figure
from builder.figures.planning.carried import Engine
from builder.figures.planning.changed_engine import changed_engine
from builder.figures.planning.solve import SolvedField, Target, solutions
from builder.record.models.build import Build
from builder.record.models.shop import Shop
from tests.support.figure_records import V8, read

WANTED = {"compression_ratio": 9.6, "quench": 1.0e-3, "effective_compression_ratio": 8.2, "valve_lift": 13e-3}


@pytest.fixture
def build(tmp_path: Path) -> Build:
    return read(tmp_path, {**V8, "cam": V8["cam"] + "    installed: {intake_centerline: 105 deg}\n"})


@pytest.mark.parametrize("slug", WANTED)
def test_every_solved_value_is_scipys(build: Build, slug: str) -> None:
    """SciPy 1.x, `optimize.brentq`, over the figure of the changed record."""
    engine = Engine(build, Shop())
    compared = 0
    for solution in solutions(engine, Target(slug=slug, value=WANTED[slug], text="")):
        if not solution.values or not solution.before:
            continue
        field = SolvedField.of(engine, solution.path, slug)

        def distance(shift: float, field: SolvedField = field) -> float:
            values = {field.path: field.value_of(field.before + shift)}
            figure = Engine(changed_engine(build, values, Shop()).build, Shop()).solver.figure(slug)
            assert isinstance(figure, Figure)
            return figure.value - WANTED[slug]

        found = solution.values[0] - solution.before[0]
        low, high = sorted((0.0, 1.1 * found))
        root = brentq(distance, low, high, xtol=1e-16, rtol=1e-14)
        assert found == pytest.approx(root, rel=1e-9), solution.path
        compared += 1
    assert compared >= 2


@pytest.mark.parametrize(
    ("function", "low", "high"),
    [
        (lambda x: x * math.exp(x) - 1, 0.0, 1.0),
        (lambda x: x**3 - 2 * x - 5, 2.0, 3.0),
        (lambda x: math.tan(x) - x, 4.0, 4.6),
        (lambda x: math.log(x) - 1e-6, 0.5, 20.0),
    ],
)
def test_the_root_finder_is_scipys(function: object, low: float, high: float) -> None:
    """SciPy 1.x, `optimize.brentq`; x**3 - 2x - 5 is Wallis's example."""
    assert callable(function)
    assert bracketed_root(function, low, high) == pytest.approx(brentq(function, low, high, xtol=1e-15), rel=1e-12)


def test_the_crown_for_a_ratio_is_the_closed_form(build: Build) -> None:
    """Clearance volume = swept volume / (ratio - 1), less everything but the crown: common practice, no source."""
    engine = Engine(build, Shop())
    (crown,) = solutions(
        engine, Target(slug="compression_ratio", value=9.6, text=""), fields=("bottom_end.pistons.dish",)
    )
    bores = engine.values("bore")
    assert bores is not None
    inch = 0.0254
    swept = math.pi / 4 * bores**2 * 3.480 * inch
    gasket = math.pi / 4 * (4.100 * inch) ** 2 * 0.039 * inch
    deck = math.pi / 4 * bores**2 * (9.025 - 3.480 / 2 - 5.700 - 1.560) * inch
    chambers = np.array([64.2, 64.0, 64.1, 64.2, 64.0, 64.1, 64.3, 64.1]) * 1e-6

    def mean_ratio(dish: float) -> float:
        return float(np.mean((swept + (space := chambers + gasket + deck + dish)) / space))

    assert mean_ratio(crown.values[0]) == pytest.approx(9.6, rel=1e-12)


def test_the_gasket_for_a_quench_is_the_closed_form(build: Build) -> None:
    """Gasket = quench - deck clearance: common practice, no source."""
    (gasket,) = solutions(
        Engine(build, Shop()),
        Target(slug="quench", value=0.0400 * 0.0254, text=""),
        fields=("top_end.gasket.thickness",),
    )
    assert gasket.values[0] / 0.0254 == pytest.approx(0.0400 - (9.025 - 1.740 - 5.700 - 1.560), rel=1e-9)
