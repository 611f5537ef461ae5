"""Figures of pull against pull: how well pulls repeat, what changes were worth, the best level of a setting."""

from __future__ import annotations

import numpy as np

from builder.engine import uncertainty
from builder.engine.validation import Value
from builder.figures.core import display_units as units
from builder.figures.core.inputs import Context, Input
from builder.figures.core.registry import GUM, POWER, Definitions, Missing
from builder.figures.core.types import MEASURED, InputValue
from builder.figures.definitions.pull_inputs import session_of
from builder.figures.dyno.comparisons import level_text

define = Definitions(POWER)


@define.computed_input("torque_gain", "mean difference of torque, after less before", "D", units.TORQUE,
                       "dyno.pulls (one with since: and changed:)", "change")  # fmt: skip
def _torque_gain(context: Context, item: Input) -> InputValue | None:
    session = session_of(context)
    changes = [(change, change.gain) for change in session.changes if change.gain is not None] if session else []
    if not changes:
        return None
    half_widths = np.array([gain.half_width for _, gain in changes])
    has_interval = np.isfinite(half_widths)
    return item.value(
        np.array([gain.mean for _, gain in changes]),
        tuple(change.mean_text for change, _ in changes),
        MEASURED,
        labels=tuple(f"{change.name} against {change.since}" for change, _ in changes),
        # Half of the 95 % interval, so that the figure shows that interval; without one no uncertainty is shown.
        contributions=uncertainty.root(item.name, np.where(has_interval, half_widths, 0.0) / 2),
        has_stated_resolution=bool(has_interval.any()),
        where=context.build.where(item.path),
    )


@define.computed_input("repeat_deviation", "standard deviation at each speed, root mean square", "s", units.TORQUE,
                       "dyno.pulls (one with repeat_of:)", "repeats")  # fmt: skip
def _repeat_deviation(context: Context, item: Input) -> InputValue | None:
    session = session_of(context)
    if session is None or not session.repeats:
        return None
    return item.value(
        np.array([group.repeatability.overall for group in session.repeats]),
        tuple(f"{len(group.names)} pulls" for group in session.repeats),
        MEASURED,
        labels=tuple(group.names[0] for group in session.repeats),
        where=context.build.where(item.path),
    )


@define.computed_input("setting_tried", "levels tried, and their parabola", "x", units.SETTING_LEVEL,
                       "dyno.pulls (three or more with setting: at different levels)", "setting")  # fmt: skip
def _setting_tried(context: Context, item: Input) -> InputValue | None:
    """Return the optimum of each swept setting, for each result; NaN where none may be named."""
    session = session_of(context)
    labels, values, texts, steps = [], [], [], []
    for sweep in session.settings if session else ():
        for fit in sweep.fits:
            if fit.best is None:
                continue
            labels.append(f"{sweep.name}{f' [{sweep.unit}]' if sweep.unit else ''}, by {fit.quantity}")
            values.append(np.nan if fit.best.optimum is None else fit.best.optimum)
            steps.append(float(np.max(np.diff(fit.best.levels))))
            levels = ", ".join(level_text(level, sweep.unit) for level in fit.best.levels)
            texts.append(f"top of the parabola through {levels}")
    if not labels:
        return None
    return item.value(
        np.array(values),
        tuple(texts),
        MEASURED,
        labels=tuple(labels),
        # A parabola locates its top to some tenths of a step at best: no more digits than that are shown.
        contributions=uncertainty.root(item.name, np.array(steps) / 20),
        where=context.build.where("dyno.pulls"),
    )


@define.figure(
    "repeatability",
    "Repeatability",
    units.TORQUE,
    source=f"{GUM}, 4.2",
    axis="repeats",
    headline="most",
    means="Torque scatter between repeat pulls: a gain must be larger than this.",
    formula=r"s = \sqrt{\overline{s(n)^2}}",
    symbols=(("s(n)", "standard deviation of the torque at one engine speed n", "N m"),),
    working="standard deviation at each speed of {repeat_deviation}, root mean square",
    validity="two or more pulls with nothing changed; with two, the deviation itself is uncertain by three quarters",
)
def repeatability(repeat_deviation: Value) -> Value:
    """Return the overall standard deviation between repeats [N m]."""
    return repeat_deviation


@define.figure(
    "gain",
    "Back-to-back gain",
    units.TORQUE,
    source=f"{GUM}, 4.2 and annex G",
    axis="change",
    headline="first",
    means="Torque gain of a change, averaged over the session's range, with its 95 % confidence interval.",
    formula=r"\overline{T_{after} - T_{before}}",
    symbols=(("T_{after}, T_{before}", "torque with and without the change", "N m"),),
    working="{torque_gain}",
    validity="the speeds that both pulls share; the noise is that of repeats where there are any, else of the readings",
)
def gain(torque_gain: Value) -> Value:
    """Return the mean difference of torque [N m]."""
    return torque_gain


@define.figure(
    "best_setting",
    "Optimum setting",
    units.SETTING_LEVEL,
    source="least squares",
    axis="setting",
    headline="first",
    means="Setting at the top of a parabola through the settings tested.",
    formula=r"y = a + b x + c x^2, \quad x^* = -\frac{b}{2c}, \; c < 0",
    symbols=(
        ("x", "level of the setting, its best with a star", "as written"),
        ("y", "the result, such as peak power", "as measured"),
        ("a, b, c", "of the curve laid through the levels by least squares", "y over powers of x"),
    ),
    working="{setting_tried}",
    validity="three or more levels; named only where the curve bends down and its top lies within one step of the "
    "levels tried. The best by torque may lie too near detonation: the maker's limits come first",
)
def best_setting(setting_tried: Value) -> Value:
    """Return the optimum of each swept setting, in the unit it was written in."""
    if not np.isfinite(np.atleast_1d(setting_tried)).any():
        raise Missing("levels beyond those tried, or a curve that bends down: no optimum may be named yet")
    return setting_tried
