"""The difference between pulls, and settings swept."""

from __future__ import annotations

import math

import numpy as np
import pytest

from builder.draw.charts.comparison import GainCurve, Level, SettingSweep, SignificantRange, gain_curve, setting_sweep
from builder.draw.style import Size
from tests.support.draw_examples import SIZES
from tests.support.svg import label_conflicts, label_texts, parse_svg

NAN = math.nan


def test_what_exceeds_the_noise_is_drawn_heavy_and_described() -> None:
    speed = np.arange(2500.0, 5001.0, 100)
    gain = np.where(speed < 3500, 0.5, 8.0)
    drawing = gain_curve(GainCurve("Gain", "lbf ft", speed, gain, 2.0, (SignificantRange(3500, 5000, "worth 8"),)))
    heavy = [e for e in parse_svg(drawing).iter() if e.get("stroke-width") == "3.4"]
    assert heavy
    assert "More than the noise from 3,500 to 5,000 rpm (worth 8)." in drawing.description
    plain = gain_curve(GainCurve("Gain", "lbf ft", speed, gain, 20.0))
    assert "Nowhere more than the noise." in plain.description
    assert not [e for e in parse_svg(plain).iter() if e.get("stroke-width") == "3.4"]
    assert "noise" not in gain_curve(GainCurve("Gain", "lbf ft", speed, gain)).description


@SIZES
@pytest.mark.parametrize(
    "data",
    [
        GainCurve("Gain", "N m", [3000], [5.0], 1.0),
        GainCurve("Gain", "N m", [3000, 4000, 5000], [0, 0, 0], 0.0),
        GainCurve("Gain", "N m", [3000, 4000, 5000], [NAN, 2, NAN], [1, NAN, 1]),
        GainCurve("Gain", "N m", [3000, 4000], [-1e9, 1e9], 1.0),
        GainCurve(
            "Gain", "N m", np.arange(2000, 6000, 50), np.sin(np.arange(80) / 5), 0.5,
            tuple(SignificantRange(2000 + 300 * i, 2200 + 300 * i, f"worth {i}.{i} N m") for i in range(9)),
        ),
    ],
)  # fmt: skip
def test_any_gain(data: GainCurve, size: Size) -> None:
    assert label_conflicts(gain_curve(data, size=size)) == []


def test_a_gain_without_points_is_refused() -> None:
    with pytest.raises(ValueError, match="no known point"):
        gain_curve(GainCurve("Gain", "N m", [], []))
    with pytest.raises(ValueError, match="3 values of noise for 2 speeds"):
        gain_curve(GainCurve("Gain", "N m", [1, 2], [1, 2], [1, 2, 3]))


def test_the_sweep_names_an_optimum_only_if_given_one() -> None:
    levels = (Level(28, 398), Level(31, 409), Level(34, 412))
    a, b, c = np.polyfit([28, 31, 34], [398, 409, 412], 2)
    best = -b / (2 * a)
    named = setting_sweep(SettingSweep("Advance", "°", "Power", "hp", levels, (a, b, c), best))
    assert f"best {best:.1f}°" in label_texts(named)
    assert f"highest at {best:.1f}°" in named.description
    rising = setting_sweep(SettingSweep("Advance", "°", "Power", "hp", levels, (a, b, c), verdict="Still rising."))
    assert not any("best" in t for t in label_texts(rising))
    assert "highest" not in rising.description
    assert "Still rising." in rising.description
    assert "28° gave 398 hp, 31° gave 409 hp and 34° gave 412 hp" in rising.description


@SIZES
@pytest.mark.parametrize(
    "levels",
    [
        (Level(70, 400, "Pull 1"),),
        tuple(Level(70, 400 + i, f"Pull {i}", i) for i in range(4)),
        tuple(Level(60 + i, 400.0, f"Pull {i}", i) for i in range(12)),
        (Level(1e-6, 1e9), Level(2e-6, 2e9), Level(NAN, 1.0)),
    ],
)
def test_any_sweep(levels: tuple[Level, ...], size: Size) -> None:
    assert label_conflicts(setting_sweep(SettingSweep("Jet", "", "Torque", "N m", levels, None, 71), size=size)) == []


def test_a_sweep_without_levels_is_refused() -> None:
    with pytest.raises(ValueError, match="no level with a result"):
        setting_sweep(SettingSweep("Jet", "", "Torque", "N m", (Level(70, NAN),)))
