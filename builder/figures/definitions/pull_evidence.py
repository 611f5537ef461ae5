"""Figures of pull against pull: how well pulls repeat, what changes were worth, the best level of a setting."""

from __future__ import annotations

import numpy as np

from builder.engine.values import Value
from builder.figures.core import display_units
from builder.figures.core.registry import GUM, POWER, Missing, figure
from builder.figures.definitions import dyno_inputs as _inputs  # noqa: F401
from builder.figures.definitions.dyno_inputs import LEVEL


@figure(
    "repeatability",
    "Repeatability",
    display_units.TORQUE,
    section=POWER,
    source=f"{GUM}, 4.2",
    axis="repeats",
    headline="most",
    means="How far the torque of pulls differs with nothing changed between them: the noise that a gain must beat.",
    formula=r"s = \sqrt{\overline{s(n)^2}}",
    symbols=(("s(n)", "standard deviation of the torque at one engine speed n", "N m"),),
    working="standard deviation at each speed of {repeat_deviation}, root mean square",
    validity="two or more pulls with nothing changed; with two, the deviation itself is uncertain by three quarters",
)
def repeatability(repeat_deviation: Value) -> Value:
    """Standard deviation between repeats, overall [N m]."""
    return repeat_deviation


@figure(
    "gain",
    "Gain of a change",
    display_units.TORQUE,
    section=POWER,
    source=f"{GUM}, 4.2 and annex G",
    axis="change",
    headline="first",
    means="What a change was worth in torque, averaged over the session's range, with its 95 % interval.",
    formula=r"\overline{T_{after} - T_{before}}",
    symbols=(("T_{after}, T_{before}", "torque with and without the change", "N m"),),
    working="{torque_gain}",
    validity="the speeds that both pulls share; the noise is that of repeats where there are any, else of the readings",
)
def gain(torque_gain: Value) -> Value:
    """Mean difference of torque [N m]."""
    return torque_gain


@figure(
    "best_setting",
    "Best setting",
    LEVEL,
    section=POWER,
    source="least squares",
    axis="setting",
    headline="first",
    means="The level of a setting that did or would do best, by a parabola through the levels tried.",
    formula=r"y = a + b x + c x^2, \quad x^* = -\frac{b}{2c}, \; c < 0",
    symbols=(
        ("x", "level of the setting, its best with a star", "as written"),
        ("y", "the result, such as peak power", "as measured"),
        ("a, b, c", "of the curve laid through the levels by least squares", "y over powers of x"),
    ),
    working="{setting_tried}",
    validity="three or more levels; named only where the curve bends down and its top lies within one step of the levels "
    "tried. The best by torque may lie too near detonation: the maker's limits come first",
)
def best_setting(setting_tried: Value) -> Value:
    """Optimum of each swept setting, in the unit it was written in."""
    if not np.isfinite(np.atleast_1d(setting_tried)).any():
        raise Missing("levels beyond those tried, or a curve that bends down: no optimum may be named yet")
    return setting_tried
