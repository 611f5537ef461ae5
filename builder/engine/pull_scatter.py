"""How far pulls scatter with nothing changed: few repeats, combined with what was known before.

Two or three repeats tell little about a standard deviation: with two it may be wrong by three quarters. What is known
from other sessions counts as so many degrees of freedom (a scaled inverse chi-square distribution of the variance),
and the squares of this session's repeats are added to it. Degrees of freedom add up, and intervals are Student's t.

Sources: Gelman et al., Bayesian Data Analysis, 3rd ed., 2.6 and ch. 3; JCGM 100 (GUM), 4.2.4 (pooled variance), 4.3
and G.4.2 (a Type B standard uncertainty has degrees of freedom too).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from builder.engine.validation import require_positive


@dataclass(frozen=True, slots=True, kw_only=True)
class Variance:
    """A variance, in any unit squared, with the degrees of freedom it rests on."""

    value: float
    freedom: float

    @property
    def deviation(self) -> float:
        """Return the standard deviation."""
        return float(np.sqrt(self.value))


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
