"""The coarse torque curve of a summary."""

from __future__ import annotations

import numpy as np
import pytest

from builder.archive.summary import coarse_curve


def test_a_coarse_curve_invents_no_power_at_its_ends() -> None:
    # Torque falls so that power is level: a mean of the last readings, held out to the last speed, would add to it.
    speed = np.arange(1800.0, 5401.0, 25.0) / 60
    power = 2 * np.pi * speed * (200 * 90 / speed)
    curve = coarse_curve(speed, power / (2 * np.pi * speed))
    assert curve is not None
    thinned = 2 * np.pi * np.array(curve.speeds) * np.array(curve.torque)
    assert thinned == pytest.approx(np.full(len(curve.torque), power[0]), rel=2e-3)


def test_a_coarse_curve_follows_the_shape_and_not_the_noise() -> None:
    speed = [s / 60 for s in range(2000, 6500, 10)]
    torque = [400 - 1e-5 * (s * 60 - 4300) ** 2 + (5 if i % 2 else -5) for i, s in enumerate(speed)]
    curve = coarse_curve(speed, torque)
    assert curve is not None
    assert len(curve.torque) <= 21
    for n, t in zip(curve.speeds[1:-1], curve.torque[1:-1], strict=True):
        assert t == pytest.approx(400 - 1e-5 * (n * 60 - 4300) ** 2, abs=1.0)
    assert (curve.step * 60) % 25 == pytest.approx(0)
    assert coarse_curve([1.0, 1.0], [5.0, 6.0]) is None
    assert coarse_curve([], []) is None
    assert coarse_curve([float("nan"), 50.0, 100.0], [1.0, 2.0, 4.0]).torque[0] == pytest.approx(2.0)  # type: ignore[union-attr]
    with pytest.raises(ValueError, match="one length"):
        coarse_curve([1.0], [1.0, 2.0])
