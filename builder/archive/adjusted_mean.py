"""A mean over the closest builds, adjusted for the fields in which the query differs from them.

It is a ridge regression of their results on the differences (Hoerl, Kennard, "Ridge Regression: Biased Estimation for
Nonorthogonal Problems", Technometrics 12, 1970), each build with a weight, each difference on the scale that
similarity has for its field, times the square root of the field's weight. So nothing is standardized by the sample, and
the slopes do not depend on units. The penalty is that of PENALTIES with the smallest errors of the builds left out one
by one, in closed form: residual / (1 - leverage) (Allen, "The Relationship between Variable Selection and Data
Augmentation and a Method for Prediction", Technometrics 16, 1974). An infinite penalty is the plain weighted mean.

A difference that is not known counts as the mean of those known, so that it adjusts nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

PENALTIES = (math.inf, 5.0, 0.5, 0.1)
"""Chosen among; for weights that add up to the number of builds, and results in natural logarithms."""
MIN_SIGMA = 0.02
"""[ln]: two runs of one engine differ by this much, so builds never agree better."""

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class AdjustedMean:
    """The weighted mean of each query's builds, what each field adds to it, and the error that was left.

    ``mean``, shape (r,); ``adjustments``, shape (r, p); ``sigma``, shape (r,): the standard deviation of the errors of
    the builds left out one by one.
    """

    mean: Floats
    adjustments: Floats
    sigma: Floats

    @property
    def value(self) -> Floats:
        """Return the expected value of each query, shape (r,)."""
        total: Floats = self.mean + self.adjustments.sum(axis=1)
        return total


def adjusted_mean(results: Floats, weights: Floats, differences: Floats) -> AdjustedMean:
    """Return the adjusted mean of k builds for each of r queries.

    Parameters
    ----------
    results : ndarray, shape (r, k)
        Results of the builds at the size of the query [ln].
    weights : ndarray, shape (r, k)
        0 for a build that is not used. A query of less than two builds has none: its sigma is infinite.
    differences : ndarray, shape (r, k, p)
        The query less the build in each field; NaN where unknown.
    """
    is_used = weights > 0.0
    count = is_used.sum(axis=1, keepdims=True)
    shares = weights / np.maximum(weights.sum(axis=1, keepdims=True), 1e-300)
    scaled = shares * count
    mean = np.where(is_used, shares * results, 0.0).sum(axis=1)
    residual = np.where(is_used, results - mean[:, None], 0.0)

    known = np.isfinite(differences) & is_used[:, :, None]
    known_shares = np.where(known, shares[:, :, None], 0.0)
    center = (known_shares * np.where(known, differences, 0.0)).sum(axis=1)
    center /= np.maximum(known_shares.sum(axis=1), 1e-300)
    x = np.where(known, differences - center[:, None, :], 0.0)
    weighted = np.swapaxes(scaled[:, :, None] * x, 1, 2)
    products = weighted @ x
    targets = weighted @ residual[:, :, None]

    variance = np.full(mean.shape, np.inf)
    slopes = np.zeros(center.shape)
    with np.errstate(invalid="ignore", divide="ignore"):
        for penalty in PENALTIES:
            inverse = np.zeros_like(products)
            if math.isfinite(penalty):
                inverse = np.linalg.inv(products + penalty * np.eye(products.shape[1]))
            candidate = inverse @ targets
            leverage = shares + scaled * ((x @ inverse) * x).sum(axis=2)
            error = np.where(is_used, (residual - (x @ candidate)[:, :, 0]) / (1.0 - leverage), 0.0)
            of_candidate = (shares * error**2).sum(axis=1)
            is_better = of_candidate < variance
            variance = np.where(is_better, of_candidate, variance)
            slopes = np.where(is_better[:, None], candidate[:, :, 0], slopes)
    return AdjustedMean(mean, -slopes * center, np.sqrt(variance + MIN_SIGMA**2))
