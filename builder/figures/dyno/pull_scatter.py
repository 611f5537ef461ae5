"""How far the pulls of a session scatter with nothing changed: assumed, the shop's own, or from repeats as well."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from builder.engine.curves import mean_over, overlap
from builder.engine.pull_scatter import Variance, pooled_variance, updated_variance
from builder.figures.dyno.pull import PullResult
from builder.record.models.shop import Shop

ScatterSource = Literal["assumed", "shop", "session"]

ASSUMED = Variance(value=0.005**2, freedom=6.0)
"""Scatter of the mean torque of a pull where the shop states none: 0.5 % (common practice, no source)."""

MOST_PRIOR_FREEDOM = 12.0
"""Most degrees of freedom of what other sessions show: engines and days differ (common practice, no source)."""


@dataclass(frozen=True, kw_only=True)
class PullScatter:
    """The standard deviation of a pull's torque with nothing changed, over the torque [-], and how well it is known.

    ``source``: "assumed" (common practice), "shop" (shop.yaml: repeatability), or "session" where repeat pulls of the
    session have been combined with either; ``repeats``: how many those are, the first pull of each group not counted.
    """

    relative: float
    freedom: float
    source: ScatterSource
    repeats: int = 0


def prior_scatter(shop: Shop) -> PullScatter:
    """Return what is known of the scatter before the session: the shop's own, else common practice."""
    if shop.repeatability is None:
        return PullScatter(relative=ASSUMED.deviation, freedom=ASSUMED.freedom, source="assumed")
    freedom = min(float(shop.repeatability.repeats), MOST_PRIOR_FREEDOM)
    return PullScatter(relative=shop.repeatability.value.si, freedom=freedom, source="shop")


def session_scatter(
    groups: Sequence[Sequence[PullResult]], prior: PullScatter, low: float = -np.inf, high: float = np.inf
) -> PullScatter:
    """Return the prior combined with all repeats of a session, over the speeds ``low`` to ``high`` [rev/s]."""
    observed = pooled_variance([relative_means(group, low, high) for group in groups])
    if not observed.freedom:
        return prior
    scatter = updated_variance(Variance(value=prior.relative**2, freedom=prior.freedom), observed)
    return PullScatter(
        relative=scatter.deviation, freedom=scatter.freedom, source="session", repeats=round(observed.freedom)
    )


def relative_means(group: Sequence[PullResult], low: float, high: float) -> tuple[float, ...]:
    """Return the mean torque of each repeat over that of the group, in the speeds [rev/s] they share; () for none."""
    curves = [pull.corrected.torque_curve for pull in group]
    shared = overlap(curves, low, high) if len(curves) > 1 else None
    if shared is None:
        return ()
    means = np.array([mean_over(curve, *shared) for curve in curves])
    level = float(means.mean())
    return tuple((means / level).tolist()) if level > 0 else ()
