"""The budget against the published example of the GUM, and the sensitivities of the correction by hand."""

from __future__ import annotations

import math

import pytest
from scipy.stats import t

from builder.engine.uncertainty_budget import Influence, UncertaintyBudget


def test_the_end_gauge_of_the_gum() -> None:
    """Source: JCGM 100:2008, H.1, Table H.1 (numbers from memory): contributions in nm with degrees of freedom."""
    rows = (
        ("standard", 25.0, 1.0, 18.0),
        ("repeated observations", 5.8, 1.0, 24.0),
        ("random effects of the comparator", 3.9, 1.0, 5.0),
        ("systematic effects of the comparator", 6.7, 1.0, 8.0),
        ("difference in expansion", 0.58e-6, -50.0e6 * 0.1, 50.0),
        ("difference in temperature", 0.029, -50.0e6 * 11.5e-6, 2.0),
    )
    budget = UncertaintyBudget(
        tuple(Influence(name=name, standard_uncertainty=u, sensitivity=c, freedom=v) for name, u, c, v in rows)
    )
    assert [item.contribution for item in budget.influences][-2:] == pytest.approx([2.9, 16.6], abs=0.1)
    assert budget.combined == pytest.approx(32, abs=0.5)
    assert math.floor(budget.freedom) == 16
    # The example takes 2.92 for 99 % and 16 degrees of freedom, and U99 = 93 nm.
    assert budget.coverage(0.99) == pytest.approx(2.92, abs=0.02)
    assert budget.coverage(0.99) == pytest.approx(t.ppf(0.995, budget.freedom), rel=1e-6)
    assert budget.expanded(0.99) == pytest.approx(93, abs=1.5)


def test_certificates_alone_give_the_normal_factor() -> None:
    """Source: JCGM 100, Table G.2: 1.96 for 95 % and infinite degrees of freedom."""
    row = Influence(name="certificate", standard_uncertainty=0.5, sensitivity=2.0)
    assert UncertaintyBudget((row,)).coverage() == pytest.approx(1.96, abs=0.005)
    assert UncertaintyBudget((row,)).combined == pytest.approx(1.0)
