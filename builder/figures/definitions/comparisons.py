"""Figures of pull against pull: how well pulls repeat, what changes were worth, the best level of a setting."""

from __future__ import annotations

import numpy as np

from builder.engine import uncertainty
from builder.engine.validation import Value
from builder.figures.core import display_units as units
from builder.figures.core.inputs import Context, Input
from builder.figures.core.registry import GUM, POWER, Definitions, Missing, unchanged
from builder.figures.core.types import MEASURED, InputValue
from builder.figures.definitions.pull_inputs import session_of
from builder.figures.dyno.comparisons import level_text

GELMAN = "Gelman et al., Bayesian Data Analysis, 3rd ed., 2.6"

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


@define.computed_input("setting_tried", "settings tested, and their parabola", "x", units.SETTING_LEVEL,
                       "dyno.pulls (three or more with setting: at different values)", "setting")  # fmt: skip
def _setting_tried(context: Context, item: Input) -> InputValue | None:
    """Return the optimum of each swept setting, for each result; NaN where none is named."""
    session = session_of(context)
    labels, values, texts, half_widths = [], [], [], []
    for sweep in session.settings if session else ():
        for fit in sweep.fits:
            if fit.best is None:
                continue
            labels.append(f"{sweep.name}{f' [{sweep.unit}]' if sweep.unit else ''}, by {fit.quantity}")
            values.append(np.nan if fit.best.optimum is None else fit.best.optimum)
            low, high = fit.best.interval or (0.0, 0.0)
            half_widths.append((high - low) / 2)
            levels = ", ".join(level_text(level, sweep.unit) for level in fit.best.levels)
            texts.append(f"top of the parabola through {levels}")
    if not labels:
        return None
    return item.value(
        np.array(values),
        tuple(texts),
        MEASURED,
        labels=tuple(labels),
        # Half of the 95 % interval, so that the figure shows that interval.
        contributions=uncertainty.root(item.name, np.array(half_widths) / 2),
        where=context.build.where("dyno.pulls"),
    )


define.figure(
    "repeatability",
    "Repeatability",
    units.TORQUE,
    source=f"{GUM}, 4.2",
    axis="repeats",
    headline="most",
    means="Torque scatter between repeat pulls.",
    formula=r"s = \sqrt{\overline{s(n)^2}}",
    symbols=(("s(n)", "standard deviation of the torque at one engine speed n", "N m"),),
    working="standard deviation at each speed of {repeat_deviation}, root mean square",
    validity="two or more pulls with nothing changed; with two, the deviation itself is uncertain by three quarters",
    inputs=("repeat_deviation",),
)(unchanged)


define.figure(
    "gain",
    "Back-to-back gain",
    units.TORQUE,
    source=f"{GUM}, 4.2, 4.3 and annex G; {GELMAN}",
    axis="change",
    headline="first",
    means="Torque gain from a change, averaged over the session's range, with its 95 % confidence interval.",
    formula=r"D = \overline{T_{after} - T_{before}}, \quad U = t_{95} \sqrt{s^2 T^2 \left(\frac{1}{n_1} + \frac{1}{n_2}"
    r" + 0.25 \, d^2\right) + u_r^2 + u_q^2}",
    symbols=(
        ("T_{after}, T_{before}", "torque with and without the change, less the drift that repeats show", "N m"),
        ("U", "half width of the 95 % interval", "N m"),
        ("T", "mean torque", "N m"),
        ("s", "scatter between pulls over torque, of all repeats with what was known before", ""),
        ("n_1, n_2", "pulls before and after the change", ""),
        ("d", "pulls between the two, for the drift that may be in it; repeats that show the drift reduce it", ""),
        ("u_r, u_q", "uncertainty from the readings and from the last digit of the log", "N m"),
        ("t_{95}", "Student's t", ""),
    ),
    working="{torque_gain}",
    validity="the speeds that both pulls share. Without repeats the scatter between pulls is the shop's own, or "
    "assumed: 0.5 % of torque with six degrees of freedom (common practice, no source)",
    is_listed=False,
    inputs=("torque_gain",),
)(unchanged)


@define.figure(
    "best_setting",
    "Optimum setting",
    units.SETTING_LEVEL,
    source="least squares; Fieller, J. R. Stat. Soc. B 16 (1954) 175",
    axis="setting",
    headline="first",
    means="Setting at the top of a parabola through the settings tested, with its 95 % confidence interval.",
    formula=r"y = a + b x + c x^2, \quad x^* = -\frac{b}{2c}, \; c < 0",
    symbols=(
        ("x", "the setting, its best with a star", "as written"),
        ("y", "the result, such as peak power", "as measured"),
        ("a, b, c", "of the parabola by least squares", "y over powers of x"),
    ),
    working="{setting_tried}",
    validity="three or more settings; named only where the bend differs from zero at 95 % and the top lies within one "
    "step of the settings tested. The best by torque may lie too near detonation: the manufacturer's limits come first",
    is_listed=False,
)
def best_setting(setting_tried: Value) -> Value:
    """Return the optimum of each swept setting, in the unit it was written in."""
    if not np.isfinite(np.atleast_1d(setting_tried)).any():
        raise Missing("settings further apart, or repeats: the results do not bend measurably, so no optimum is named")
    return setting_tried
