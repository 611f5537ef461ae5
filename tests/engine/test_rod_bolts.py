"""What a rod bolt has to hold, and what is refused."""

from __future__ import annotations

import math

import pytest

from builder.engine.rod_bolts import rod_bolt_load


def test_the_load_by_hand() -> None:
    omega2 = (2 * math.pi * 100) ** 2
    by_hand = (1.0 * 0.05 * omega2 * (1 + 0.05 / 0.16) + (0.6 - 0.2) * 0.05 * omega2) / 2
    assert rod_bolt_load(1.0, 0.6, 0.1, 0.16, 100.0, 2, 0.2) == pytest.approx(by_hand)
    assert rod_bolt_load(1.0, 0.6, 0.1, 0.16, 100.0, 2) > by_hand  # a cap that was not weighed is on the safe side


def test_a_tenth_more_speed_is_a_fifth_more_load() -> None:
    load = float(rod_bolt_load(1.0, 0.6, 0.1, 0.16, 100.0, 2))
    assert float(rod_bolt_load(1.0, 0.6, 0.1, 0.16, 110.0, 2)) == pytest.approx(1.21 * load)


def test_the_impossible_is_refused() -> None:
    with pytest.raises(ValueError, match="cannot be heavier"):
        rod_bolt_load(1.0, 0.6, 0.1, 0.16, 100.0, 2, 0.7)
    with pytest.raises(ValueError, match="at least one bolt"):
        rod_bolt_load(1.0, 0.6, 0.1, 0.16, 100.0, 0)
