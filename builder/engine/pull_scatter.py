"""How far pulls scatter and drift with nothing changed: few repeats, combined with what was known before.

Two or three repeats tell little about a standard deviation: with two it may be wrong by three quarters. What is known
from other sessions counts as so many degrees of freedom (a scaled inverse chi-square distribution of the variance),
and the squares of this session's repeats are added to it. Degrees of freedom add up, and intervals are Student's t.

Pulls of a session may also drift, as oil and air warm up. The drift is taken as steady, so much a pull, and as normally
distributed about zero before the session with ``DRIFT`` times the scatter; repeats then show more of it.

Sources: Gelman et al., Bayesian Data Analysis, 3rd ed., 2.6, ch. 3 and 14 (regression with a normal prior); JCGM 100
(GUM), 4.2.4 (pooled variance), 4.3 and G.4.2 (a Type B standard uncertainty has degrees of freedom too). The size of
the drift: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from builder.engine.autocorrelated_noise import student_t_quantile
from builder.engine.validation import require_positive

#: Standard deviation of the drift from pull to pull before anything is known of it, over that of the scatter.
DRIFT = 0.5
#: Share of sessions without drift in which none is seen. At 95 % it would be seen falsely in just 5 of 100.
DRIFT_CONFIDENCE = 0.97
#: Fewest repeats of one group whose drift can be distinguished from their scatter.
MIN_DRIFT_PULLS = 3

DriftVerdict = Literal["cannot be told", "not seen", "seen"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Variance:
    """A variance, in any unit squared, with the degrees of freedom it rests on."""

    value: float
    freedom: float

    @property
    def deviation(self) -> float:
        """Return the standard deviation."""
        return float(np.sqrt(self.value))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class RepeatGroup:
    """Pulls with nothing changed between them: their positions in the session (0, 1, 2 ...) and one result of each."""

    position: tuple[float, ...]
    value: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Scatter:
    """Scatter and drift of one result of the pulls of a session, in the unit of the result.

    ``variance``: of one pull about its true value; ``repeats``: how many of its degrees of freedom are repeats of the
    session. ``drift``: change from one pull to the next; ``drift_variance``: variance of that, over ``variance``.
    """

    variance: Variance
    repeats: int = 0
    drift: float = 0.0
    drift_variance: float = DRIFT**2

    def variance_of_difference(self, before: Sequence[float], after: Sequence[float]) -> float:
        """Return the variance of the difference of two means of pulls at these positions, over that of one pull."""
        distance = float(np.mean(after) - np.mean(before))
        return 1 / len(before) + 1 / len(after) + distance**2 * self.drift_variance


def pooled_variance(groups: Sequence[Sequence[float]]) -> Variance:
    """Return the variance within groups of repeats, each about its own mean, over all groups together.

    A group of one adds nothing; without any repeat the variance is NaN, with zero degrees of freedom.
    Source: JCGM 100, 4.2.4.
    """
    squares, freedom = 0.0, 0
    for group in groups:
        values = np.asarray(group, dtype=np.float64)
        squares += float(np.sum((values - values.mean()) ** 2)) if values.size else 0.0
        freedom += max(0, values.size - 1)
    return Variance(value=squares / freedom if freedom else float("nan"), freedom=float(freedom))


def updated_variance(prior: Variance, observed: Variance) -> Variance:
    """Return the prior variance after what was observed: squares and degrees of freedom add up.

    It is the scale of the scaled inverse chi-square distribution that the variance then has. Raises ValueError for
    a prior of zero or less, or on zero degrees of freedom. Source: Gelman et al., 2.6.
    """
    require_positive(prior=prior.value, prior_freedom=prior.freedom)
    if observed.freedom <= 0:
        return prior
    freedom = prior.freedom + observed.freedom
    squares = prior.freedom * prior.value + observed.freedom * observed.value
    return Variance(value=squares / freedom, freedom=freedom)


def scatter_of_repeats(groups: Sequence[RepeatGroup], prior: Variance) -> Scatter:
    """Return scatter and drift after all groups of repeats of a session.

    Every group has a level of its own; scatter and drift are common to all. What a drift does to the repeats counts as
    scatter too, so that the scatter is not too small where there was none. Raises ValueError for a prior of zero or
    less. Source: Gelman et al., 2.6 and 14.8 (normal prior of a coefficient).
    """
    require_positive(prior=prior.value, prior_freedom=prior.freedom)
    observed = pooled_variance([group.value for group in groups])
    if not observed.freedom:
        return Scatter(variance=prior)
    moved, crossed = 0.0, 0.0
    for group in groups:
        position, value = _centered(group)
        moved += float(position @ position)
        crossed += float(position @ value)
    drift_variance = 1 / (1 / DRIFT**2 + moved)
    return Scatter(
        variance=updated_variance(prior, observed),
        repeats=round(observed.freedom),
        drift=crossed * drift_variance,
        drift_variance=drift_variance,
    )


def _centered(group: RepeatGroup) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    position, value = np.asarray(group.position, dtype=np.float64), np.asarray(group.value, dtype=np.float64)
    if position.size != value.size:
        raise ValueError("every repeat needs a position and a value")
    return (position - position.mean(), value - value.mean()) if value.size else (position, value)


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """Whether repeats crept up or down: ``per_pull``, the slope of their means [unit of the means per pull].

    ``half_width`` of its 97 % interval from the residuals about the line, NaN with fewer than three pulls.
    """

    per_pull: float
    half_width: float
    verdict: DriftVerdict
    pulls: int


def drift(group: RepeatGroup, resolution: float = 0.0) -> Drift:
    """Return the slope of repeats over their positions, tested against their own residuals at 97 %.

    ``resolution``: standard uncertainty of one mean from the last digit of the log; residuals count as no smaller than
    that. Raises ValueError for fewer than two repeats or repeats all at one position.
    Source: least squares and Student's t with two degrees of freedom less than the pulls; JCGM 100, H.3.
    """
    position, value = _centered(group)
    if value.size < 2 or not np.ptp(position) > 0:
        raise ValueError("drift needs a first and a last pull with nothing changed between them")
    moved = float(position @ position)
    slope = float(position @ value) / moved
    if value.size < MIN_DRIFT_PULLS:
        return Drift(per_pull=slope, half_width=float("nan"), verdict="cannot be told", pulls=value.size)
    rest = value - slope * position
    freedom = value.size - 2
    variance = max(float(rest @ rest) / freedom, resolution**2)
    half_width = student_t_quantile(DRIFT_CONFIDENCE, freedom) * float(np.sqrt(variance / moved))
    seen = abs(slope) > half_width + 1e-12 * float(np.abs(group.value).max())
    return Drift(per_pull=slope, half_width=half_width, verdict="seen" if seen else "not seen", pulls=value.size)
