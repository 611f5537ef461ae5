"""What is said of changes, drift and optima, against simulated sessions whose truth is known.

Every session has its own scatter between pulls, drift, noise along the speed, spacing of the readings and last digit of
the log. Intervals must hold the truth, and nothing may be claimed where nothing is, at the rates that `main` prints.

    python -m tests.bench --only comparisons

`tests/bench/test_pull_comparisons.py` runs a bounded part of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.signal import lfilter
from scipy.stats import binom

from builder.engine.comparison import PullGroup, gain
from builder.engine.curves import Curve, curve, mean_over
from builder.engine.optimum import best_setting
from builder.engine.peaks import peak
from builder.engine.pull_scatter import RepeatGroup, Scatter, Variance, drift, scatter_of_repeats
from builder.engine.resolution import last_digit, uncertainty_of_mean
from builder.engine.uncertainty import effective_freedom
from builder.engine.validation import Array

LOWEST, HIGHEST = 2000.0, 6000.0
READING_NOISE = 0.003
"""Standard deviation of a reading about the curve of its pull, over the torque.

Noise that lasts for a thousand rev/min cannot be distinguished from a true course within a pull: what it does to the
mean of a pull is scatter between pulls, which only repeats show.
"""

BLOCKS = ("AB", "AAB", "AABB", "AAABBB")
"""Orders of the pulls before (A) and after (B) a change: 1+1, 2+1, 2+2, 3+3."""
INTERLEAVED = ("ABA", "AABA", "ABAB", "ABABAB")
"""The same with the baseline pulled again after the change."""
SCATTERS = (0.001, 0.002, 0.003, 0.004, 0.005, 0.006)
PRIORS = (0.003, 0.004, 0.005)
PRIOR_FREEDOM = 6.0
DRIFTS = (0.0, 0.001, 0.002)
CORRELATIONS = (0.0, 0.5, 0.9)
SPACINGS = (10.0, 50.0, 100.0, 250.0, 500.0)
DIGITS = (0.1, 1.0, 2.0, 5.0)


@dataclass(frozen=True, kw_only=True)
class Conditions:
    """How the pulls of a session come about; scatter, prior and drift (per pull) over the torque.

    ``scatter`` None: drawn from the prior for every session. ``correlation`` of the noise from reading to reading,
    ``spacing`` of the readings [rpm], ``digit`` that torque is written to [N m].
    """

    order: str = "AB"
    scatter: float | None = None
    prior: float = 0.005
    freedom: float = PRIOR_FREEDOM
    drift: float = 0.0
    correlation: float = 0.5
    spacing: float = 100.0
    digit: float = 0.1


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """One session: whether the interval held the true gain, its half width over the torque, and what was claimed."""

    held: bool
    half_width: float
    claimed: bool
    drift_seen: bool


def torque(rpm: Array) -> Array:
    """Return the torque of the invented engine [N m]."""
    return np.asarray(300 * (1 - 0.3 * ((rpm - 4200) / 2400) ** 2))


def session_scatter(random: np.random.Generator, conditions: Conditions) -> float:
    """Return the scatter of one session: the stated one, or one drawn from the prior."""
    if conditions.scatter is not None:
        return conditions.scatter
    return float(conditions.prior * np.sqrt(conditions.freedom / random.chisquare(conditions.freedom)))


@dataclass(frozen=True, eq=False, kw_only=True)
class SimulatedPull:
    """A pull as it comes out of a log."""

    curve: Curve
    resolution: float
    step: float


def simulated_pull(
    random: np.random.Generator, conditions: Conditions, level: float, change: float = 0.0, tilt: float = 0.0
) -> SimulatedPull:
    """Return a pull of the engine times ``level``; ``change`` and ``tilt`` [N m] along the speed are added."""
    # Steps are held at the same speeds in every pull; a sweep is logged wherever it happens to be.
    start = LOWEST + (random.uniform(0, conditions.spacing) if conditions.spacing < 100 else 0.0)
    rpm = np.arange(start, HIGHEST + 1e-6, conditions.spacing)
    true = torque(rpm) + change + tilt * (rpm - 4000) / 2000
    noise = random.normal(0, READING_NOISE * np.sqrt(1 - conditions.correlation**2), rpm.size + 100)
    noise = lfilter([1.0], [1.0, -conditions.correlation], noise)[100:]
    written = np.round(true * level * (1 + noise) / conditions.digit) * conditions.digit
    step = last_digit(np.round(written, 6))
    return SimulatedPull(curve=curve(rpm / 60, written), resolution=uncertainty_of_mean(written, step), step=step)


def pull_levels(random: np.random.Generator, conditions: Conditions, pulls: int) -> Array:
    """Return how much higher or lower each pull of a session comes out, over its true torque."""
    scatter = session_scatter(random, conditions)
    return np.asarray(1 + random.normal(0, scatter, pulls) + conditions.drift * np.arange(pulls))


def known_scatter(groups: Sequence[tuple[Sequence[SimulatedPull], Sequence[int]]], conditions: Conditions) -> Scatter:
    """Return what a session shows of the scatter between its pulls, with the prior."""
    repeats = []
    for pulls, positions in groups:
        means = np.array([mean_over(pull.curve) for pull in pulls])
        position = tuple(float(at) for at in positions)
        repeats.append(RepeatGroup(position=position, value=tuple((means / means.mean()).tolist())))
    return scatter_of_repeats(repeats, Variance(value=conditions.prior**2, freedom=conditions.freedom))


def simulate_change(random: np.random.Generator, conditions: Conditions, *, changed: bool = True) -> Outcome:
    """Return what is said of one change, of -2 to 2 % of torque, or of none."""
    levels = pull_levels(random, conditions, len(conditions.order))
    change, tilt = (random.uniform(-6, 6), random.uniform(-4, 4)) if changed else (0.0, 0.0)
    pulls = [
        simulated_pull(random, conditions, level, *((change, tilt) if side == "B" else ()))
        for side, level in zip(conditions.order, levels, strict=True)
    ]
    sides = [[at for at, side in enumerate(conditions.order) if side == name] for name in "AB"]
    groups = [([pulls[at] for at in side], side) for side in sides]
    before, after = (
        PullGroup(
            curves=tuple(pull.curve for pull in group),
            position=tuple(float(at) for at in positions),
            resolution=max(pull.resolution for pull in group),
            step=max(pull.step for pull in group),
        )
        for group, positions in groups
    )
    repeats = [[pull.curve for pull in group] for group, _ in groups if len(group) > 1]
    found = gain(before, after, known_scatter(groups, conditions), repeats=repeats)
    true = change + tilt * (30 * (found.low + found.high) - 4000) / 2000
    return Outcome(
        held=bool(abs(found.mean - true) <= found.half_width),
        half_width=found.half_width / 270,
        claimed=found.measurable,
        drift_seen=any(_drift_seen(group, positions) for group, positions in groups),
    )


def _drift_seen(pulls: Sequence[SimulatedPull], positions: Sequence[int]) -> bool:
    if len(pulls) < 2:
        return False
    group = RepeatGroup(
        position=tuple(float(at) for at in positions), value=tuple(mean_over(pull.curve) for pull in pulls)
    )
    return drift(group, max(pull.resolution for pull in pulls)).verdict == "seen"


def simulate_drift_test(random: np.random.Generator, conditions: Conditions, pulls: int) -> bool:
    """Return whether drift is seen in repeats."""
    levels = pull_levels(random, conditions, pulls)
    repeats = [simulated_pull(random, conditions, level) for level in levels]
    return _drift_seen(repeats, range(pulls))


def simulate_sweep(random: np.random.Generator, conditions: Conditions, settings: int) -> bool:
    """Return whether an optimum is named where the setting changes nothing, by any of three results."""
    levels = pull_levels(random, conditions, settings)
    pulls = [simulated_pull(random, conditions, level) for level in levels]
    scatter = known_scatter([], conditions)
    tops = [peak(pull.curve) for pull in pulls]
    results = [[mean_over(pull.curve) for pull in pulls], [top.value for top in tops]]
    readings = float(np.mean([(top.deviation / top.value) ** 2 for top in tops]))
    digits = float(np.mean([(pull.step / top.value) ** 2 / 12 for pull, top in zip(pulls, tops, strict=True)]))
    between = scatter.variance.value
    freedom = effective_freedom(
        (between, scatter.variance.freedom), (readings, sum(max(top.freedom, 1) for top in tops)), (digits, np.inf)
    )
    total = between + readings + digits
    position = np.arange(settings) * np.sqrt(scatter.drift_variance * between / total)
    for values in results:
        variance = Variance(value=total * float(np.mean(values)) ** 2, freedom=freedom)
        found = best_setting([30.0 + 2 * k for k in range(settings)], values, variance, position.tolist())
        if found.verdict == "optimum":
            return True
    return False


def random_readings(random: np.random.Generator, conditions: Conditions, spacings: Sequence[float]) -> Conditions:
    """Return the conditions with noise, spacing and last digit drawn from their levels."""
    return replace(
        conditions,
        correlation=float(random.choice(CORRELATIONS)),
        spacing=float(random.choice(spacings)),
        digit=float(random.choice(DIGITS)),
    )


@dataclass(frozen=True, kw_only=True)
class Rates:
    """Shares of the sessions of a cell [-], and the middle half width over the torque [-]."""

    coverage: float
    half_width: float
    claims: float
    trials: int


def rates(
    conditions: Conditions, trials: int, seed: int, spacings: Sequence[float] = (), *, changed: bool = True
) -> Rates:
    """Return the rates of sessions under some conditions; with ``spacings`` their readings are drawn anew each time."""
    random = np.random.default_rng(seed)
    outcomes = [
        simulate_change(
            random, random_readings(random, conditions, spacings) if spacings else conditions, changed=changed
        )
        for _ in range(trials)
    ]
    return Rates(
        coverage=float(np.mean([outcome.held for outcome in outcomes])),
        half_width=float(np.median([outcome.half_width for outcome in outcomes])),
        claims=float(np.mean([outcome.claimed for outcome in outcomes])),
        trials=trials,
    )


def at_most(rate: float, limit: float, trials: int) -> bool:
    """Return whether a rate is at most a limit as far as so many trials can tell: 99.9 % of chance allowed for."""
    return bool(rate * trials <= binom.ppf(0.999, trials, limit))


def at_least(rate: float, limit: float, trials: int) -> bool:
    """Return whether a rate is at least a limit as far as so many trials can tell: 99.9 % of chance allowed for."""
    return bool(rate * trials >= binom.ppf(0.001, trials, limit))


COARSE = (100.0, 250.0, 500.0)
"""Spacings that the cells of pulls are run with; all of them in the cells of readings."""


def print_averages(trials: int, orders: Sequence[str] = (*BLOCKS, *INTERLEAVED)) -> None:
    """Print coverage, width and false gains averaged over scatter drawn from the prior."""
    print("  averaged over scatter drawn from the prior; drift of 0, 0.1 and 0.2 % a pull")
    for order in orders:
        for prior in PRIORS:
            cells = [Conditions(order=order, prior=prior, drift=slope) for slope in DRIFTS]
            found = [rates(cell, trials, 1, COARSE) for cell in cells]
            false = [rates(cell, trials, 2, COARSE, changed=False).claims for cell in cells]
            print(
                f"  {order:<7}{prior:.1%}  coverage {' '.join(f'{cell.coverage:.1%}' for cell in found)}"
                f"  mean {np.mean([cell.coverage for cell in found]):.1%}"
                f"  width/prior {np.mean([cell.half_width for cell in found]) / prior:.2f}"
                f"  false gain {' '.join(f'{rate:.1%}' for rate in false)}",
                flush=True,
            )


def print_cells(trials: int, orders: Sequence[str] = (*BLOCKS, *INTERLEAVED)) -> None:
    """Print coverage at each scatter up to 1.5 times the prior's; a cell below its aim is run five times longer."""
    print("  coverage by order, prior and drift; scatter of 0.1 % and up")
    for order in orders:
        for prior in PRIORS:
            for slope in DRIFTS:
                texts = []
                for scatter in SCATTERS:
                    if scatter > 1.5 * prior + 1e-9:
                        continue
                    aim, count = (0.93 if scatter <= prior else 0.85), trials
                    cell = Conditions(order=order, prior=prior, drift=slope, scatter=scatter)
                    found = rates(cell, count, 3, COARSE).coverage
                    if found < aim:
                        count = 5 * trials
                        found = rates(cell, count, 4, COARSE).coverage
                    texts.append(f"{found:.1%}{'' if at_least(found, aim, count) else ' MISSED'}")
                print(f"  {order:<7}{prior:.1%} {slope:.1%}  {' '.join(texts)}", flush=True)


def print_readings(trials: int) -> None:
    """Print coverage by what the log is like, over four orders."""
    print("  coverage by noise, spacing [rpm] and last digit: 0.1, 1, 2, 5 N m; scatter drawn from the prior")
    for correlation in CORRELATIONS:
        for spacing in SPACINGS:
            texts = []
            for digit in DIGITS:
                log = Conditions(correlation=correlation, spacing=spacing, digit=digit)
                cells = [replace(log, order=order) for order in ("AB", "AAB", "AABB", "ABA")]
                texts.append(f"{np.mean([rates(cell, max(1, trials // 4), 5).coverage for cell in cells]):.1%}")
            print(f"  {correlation:.1f} {spacing:>5.0f}  {' '.join(texts)}", flush=True)


def print_false_claims(trials: int) -> None:
    """Print how often drift is seen and an optimum named where there is none."""
    random = np.random.default_rng(6)

    def conditions(slope: float = 0.0) -> Conditions:
        return random_readings(random, Conditions(drift=slope), COARSE)

    for pulls in (3, 4, 5):
        seen = [simulate_drift_test(random, conditions(), pulls) for _ in range(trials)]
        print(f"  false drift, {pulls} repeats: {np.mean(seen):.1%}", flush=True)
    for settings in (3, 4, 5):
        for slope in (0.0, 0.002):
            named = [simulate_sweep(random, conditions(slope), settings) for _ in range(trials)]
            print(f"  false optimum, {settings} settings, drift {slope:.1%}: {np.mean(named):.1%}", flush=True)


def main(trials: int = 300) -> None:
    """Print coverage, widths and false claims of every cell, and which miss their aim."""
    print_averages(trials)
    print_cells(trials)
    print_readings(trials)
    print_false_claims(trials)


if __name__ == "__main__":
    main()
