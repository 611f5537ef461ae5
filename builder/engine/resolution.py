"""The last digit of a log: a value lies anywhere within it, and rows that show the same number share that error.

Source: JCGM 100 (GUM), F.2.2.1 (resolution as a rectangular distribution).
"""

from __future__ import annotations

import numpy as np

from builder.engine.validation import Array

_MAX_DECIMALS = 6


def last_digit(values: Array) -> float:
    """Return the step in which values were written: 0.1 for 101.3, 98.7 ..., 5 where all are multiples of five.

    Shape: (rows,), in the unit they were written in; NaN and infinity do not count. Zero where no step up to the
    sixth decimal fits, or without values: they were calculated, not written.
    """
    finite = np.unique(values[np.isfinite(values)])
    for decimals in range(_MAX_DECIMALS + 1):
        scaled = finite * 10.0**decimals
        multiples = np.round(scaled)
        if finite.size and np.allclose(scaled, multiples, rtol=1e-9, atol=1e-6) and np.abs(multiples).max() < 2**53:
            common = int(np.gcd.reduce(multiples.astype(np.int64)))
            return (common if finite.size > 1 and common else 1) / 10.0**decimals
    return 0.0


def uncertainty_of_mean(values: Array, step: float) -> float:
    """Return the standard uncertainty of the mean of values from the step they were written in.

    A run of equal values shares one error, anywhere within the step; different runs err independently. Never below
    the error of a step spread over all rows. Shape: (rows,) in the order of the log. Source: JCGM 100, F.2.2.1.
    """
    finite = values[np.isfinite(values)]
    if not finite.size or step <= 0:
        return 0.0
    starts = np.flatnonzero(np.concatenate([[True], np.abs(np.diff(finite)) > step / 2]))
    lengths = np.diff(np.concatenate([starts, [finite.size]]))
    return float(step / np.sqrt(12) * np.sqrt(np.sum(lengths.astype(np.float64) ** 2)) / finite.size)
