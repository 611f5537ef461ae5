"""The bracketed root finder."""

from __future__ import annotations

import math

import pytest

from builder.engine.roots import bracketed_root


@pytest.mark.parametrize(
    ("function", "low", "high", "root"),
    [
        (lambda x: x**2 - 2, 0.0, 2.0, math.sqrt(2)),
        (lambda x: math.exp(x) - 5, 0.0, 4.0, math.log(5)),
        (lambda x: x**3, -1.0, 2.0, 0.0),
        (lambda x: math.cos(x), 0.0, 3.0, math.pi / 2),
        (lambda x: 1.0 if x > 0.3 else -1.0, 0.0, 1.0, 0.3),
    ],
)
def test_a_root_between_two_signs_is_found(function: object, low: float, high: float, root: float) -> None:
    assert callable(function)
    for ends in ((low, high), (high, low)):
        assert bracketed_root(function, *ends) == pytest.approx(root, rel=1e-12, abs=1e-12)


def test_it_takes_few_steps() -> None:
    calls: list[float] = []

    def ratio(x: float) -> float:
        calls.append(x)
        return 1 / (1 + x) - 0.3

    bracketed_root(ratio, 0.0, 4.0)
    assert len(calls) < 15


@pytest.mark.parametrize("function", [lambda x: x**2 + 1, lambda x: math.nan])
def test_without_a_change_of_sign_it_refuses(function: object) -> None:
    assert callable(function)
    with pytest.raises(ValueError, match="same sign"):
        bracketed_root(function, 0.0, 1.0)
