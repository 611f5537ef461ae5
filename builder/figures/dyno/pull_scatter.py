"""How far the pulls of a session scatter and drift with nothing changed: assumed, the shop's own, or from repeats."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from builder.engine.curves import mean_over
from builder.engine.pull_scatter import RepeatGroup, Scatter, Variance, scatter_of_repeats
from builder.figures.dyno.common_range import repeats_over
from builder.figures.dyno.pull import PullResult
from builder.record.models.shop import Shop

ScatterSource = Literal["assumed", "shop", "session"]

ASSUMED = Variance(value=0.005**2, freedom=6.0)
"""Scatter of the mean torque of a pull where the shop states none: 0.5 % (common practice, no source)."""

MOST_PRIOR_FREEDOM = 12.0
"""Most degrees of freedom of what other sessions show: engines and days differ (common practice, no source)."""


@dataclass(frozen=True, kw_only=True)
class PullScatter:
    """How far a pull's torque scatters with nothing changed, and how well that is known.

    ``scatter``: of the mean torque of a pull over that torque [-], with the drift from pull to pull [-]. ``source``:
    "assumed" (common practice), "shop" (shop.yaml: repeatability), or "session" where repeat pulls of the session have
    been combined with either; ``prior``: which of the two.
    """

    scatter: Scatter
    source: ScatterSource
    prior: Literal["assumed", "shop"]

    @property
    def relative(self) -> float:
        """Return the standard deviation over the torque [-]."""
        return self.scatter.variance.deviation

    @property
    def freedom(self) -> float:
        """Return the degrees of freedom."""
        return self.scatter.variance.freedom

    @property
    def repeats(self) -> int:
        """Return how many repeat pulls of the session are in it, the first of each group not counted."""
        return self.scatter.repeats


def prior_scatter(shop: Shop) -> PullScatter:
    """Return what is known of the scatter before the session: the shop's own, else common practice."""
    if shop.repeatability is None:
        return PullScatter(scatter=Scatter(variance=ASSUMED), source="assumed", prior="assumed")
    freedom = min(float(shop.repeatability.repeats), MOST_PRIOR_FREEDOM)
    variance = Variance(value=shop.repeatability.value.si**2, freedom=freedom)
    return PullScatter(scatter=Scatter(variance=variance), source="shop", prior="shop")


def session_scatter(
    groups: Sequence[Sequence[PullResult]], prior: PullScatter, low: float = -np.inf, high: float = np.inf
) -> PullScatter:
    """Return the prior combined with all repeats of a session, over the speeds ``low`` to ``high`` [rev/s]."""
    scatter = scatter_of_repeats([relative_means(group, low, high) for group in groups], prior.scatter.variance)
    return replace(prior, scatter=scatter, source="session") if scatter.repeats else prior


def relative_means(group: Sequence[PullResult], low: float = -np.inf, high: float = np.inf) -> RepeatGroup:
    """Return the mean torque of each repeat over that of the group, in the speeds [rev/s] they share.

    A repeat much shorter than the others is left out; without a second one the group is empty.
    """
    pulls, shared = repeats_over(group, low, high)
    if len(pulls) < 2:
        return RepeatGroup(position=(), value=())
    means = np.array([mean_over(pull.corrected.torque_curve, *shared) for pull in pulls])
    level = float(means.mean())
    if not level > 0:
        return RepeatGroup(position=(), value=())
    return RepeatGroup(position=tuple(float(pull.index) for pull in pulls), value=tuple((means / level).tolist()))
