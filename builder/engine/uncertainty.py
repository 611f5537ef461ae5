"""How sure a figure is: first-order propagation of uncertainty, as in JCGM 100 (GUM).

An uncertainty travels as CONTRIBUTIONS: for each root input (a reading that somebody took), slope times
standard uncertainty, with its sign. A figure built on figures that share a root (compression ratio on swept
and clearance volume, both on the bore) therefore adds that root's parts before it squares them:

    bore = root("bore", 5e-6)
    swept = chain(partials(swept_volume, {"bore": 0.1024, "stroke": 0.0884}), {"bore": bore})
    ...
    ratio = chain(partials(compression_ratio, volumes), {"swept_volume": swept, "clearance_volume": clear})
    expanded(combine(ratio))

Everything works position by position: a value may be one number or one per cylinder, and a contribution has
the shape of whatever it contributes to.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping

import numpy as np
import numpy.typing as npt

from builder.engine.autocorrelated_noise import student_t_quantile
from builder.engine.validation import Value, reject_if, require_not_negative, unwrap_scalar

Contributions = dict[str, Value]
"""Slope times standard uncertainty, signed, for each root input; unit of the figure."""

COVERAGE = 2.0
"""Coverage factor: about 95 % for a result built from several readings. Source: JCGM 100, 6.3."""

_MANY = 1e3
"""Degrees of freedom of which more make no difference."""

# Balances the cut-off of the series against the rounding of the function.
_RELATIVE_STEP = float(np.cbrt(np.finfo(np.float64).eps))
# For an input of exactly zero, in whatever SI unit: a thousandth of a millimeter, a cubic centimeter.
_STEP_AT_ZERO = 1e-6


def from_resolution(resolution: Value) -> Value:
    """Return the standard uncertainty of one reading from the resolution of its instrument = resolution/(2 sqrt 3).

    The true value may lie anywhere within half a division either side. Shape and unit: as resolution.
    Raises ValueError for a negative resolution. Source: JCGM 100, 4.3.7 and F.2.2.1.
    """
    require_not_negative(resolution=resolution)
    return unwrap_scalar(np.asarray(resolution) / (2 * np.sqrt(3)))


def from_repeats(readings: npt.ArrayLike) -> Value:
    """Return the standard uncertainty of the mean of repeat readings = s/sqrt(n), over the last axis.

    readings of shape (..., n) to shape (...), same unit. Raises ValueError for fewer than two readings.
    Range: with few repeats s itself is uncertain (by half at n = 3). Source: JCGM 100, 4.2.3.
    """
    array = np.asarray(readings, dtype=np.float64)
    reject_if(array.ndim == 0 or array.shape[-1] < 2, "repeats need two or more readings", "readings")
    return unwrap_scalar(np.std(array, axis=-1, ddof=1) / np.sqrt(array.shape[-1]))


def root(name: str, *standard_uncertainties: Value) -> Contributions:
    """Return the contributions of a root input: itself, all its standard uncertainties combined.

    Give the one from its resolution, from its repeats, or both. Shapes broadcast; unit of the input.
    Raises ValueError for a negative uncertainty or none at all. Source: JCGM 100, 5.1.2.
    """
    reject_if(not standard_uncertainties, f"no uncertainty was given for {name}", name)
    total: npt.ArrayLike | None = None
    for uncertainty in standard_uncertainties:
        reject_if(np.asarray(uncertainty) < 0, f"the uncertainty of {name} cannot be less than zero", name)
        total = uncertainty if total is None else np.hypot(total, uncertainty)
    return {name: unwrap_scalar(total if total is not None else 0.0)}


def partials(
    function: Callable[..., Value], values: Mapping[str, Value], names: Collection[str] | None = None
) -> dict[str, Value]:
    """Return the partial derivatives of a function with respect to its named inputs, by central differences.

    function is called with ``values`` as keywords and must work position by position; ``of`` names the
    inputs to vary (all unless given: leave out counts and choices). Result: for each of them the slope, of
    the function's shape, in unit of the result per unit of the input. At the edge of what the function
    allows (a gasket of no thickness) the slope is taken on the allowed side.

    Raises whatever the function raises for the values themselves. Range: functions smooth near the values;
    good to about 1e-9. Source: JCGM 100, 5.1.3.
    """
    slopes: dict[str, Value] = {}
    for name in values if names is None else names:
        value = unwrap_scalar(values[name])
        step = unwrap_scalar(np.where(np.equal(value, 0), _STEP_AT_ZERO, np.abs(value) * _RELATIVE_STEP))
        above, below = value + step, value - step
        high, low = (
            _evaluate_if_allowed(function, values, name, above),
            _evaluate_if_allowed(function, values, name, below),
        )
        if high is None or low is None:
            middle = np.asarray(function(**values))
            reject_if(high is None and low is None, f"the {name.replace('_', ' ')} cannot be varied at all", name)
            high, above = (middle, value) if high is None else (high, above)
            low, below = (middle, value) if low is None else (low, below)
        slopes[name] = unwrap_scalar((np.asarray(high) - np.asarray(low)) / (above - below))
    return slopes


def _evaluate_if_allowed(
    function: Callable[..., Value], values: Mapping[str, Value], name: str, changed: Value
) -> Value | None:
    """Return the function with one input changed; None where it does not allow that."""
    try:
        return function(**{**values, name: changed})
    except ValueError:
        return None


def chain(slopes: Mapping[str, Value], inputs: Mapping[str, Mapping[str, Value]]) -> Contributions:
    """Return the contributions to a figure, from its slopes and the contributions to each of its inputs.

    An input without contributions is taken as exactly known. The parts that come from one root through
    several inputs are added with their signs. Shapes broadcast; unit of the figure. Raises ValueError for
    contributions to an input that has no slope. Source: JCGM 100, 5.1.2 and 5.2.
    """
    gathered: Contributions = {}
    for name, contributions in inputs.items():
        reject_if(name not in slopes, f"no slope was given for {name.replace('_', ' ')}", name)
        for source, contribution in contributions.items():
            part = np.asarray(slopes[name]) * np.asarray(contribution)
            gathered[source] = unwrap_scalar(gathered.get(source, 0.0) + part)
    return gathered


def over_positions(contributions: Mapping[str, Value], separate: Collection[str] = ()) -> Contributions:
    """Return the contributions to the mean of a figure over its positions, from those at each position.

    A shared root (one stroke, one gasket thickness) moves all positions together and averages as it is. A
    root named in ``separate`` was read at each position by itself, so its errors partly cancel:
    sqrt(sum of squares)/n. Shapes (n,) to a single value. Raises ValueError for a separate root that has
    no positions. Source: JCGM 100, 5.1.2, of the arithmetic mean.
    """
    mean: Contributions = {}
    for name, contribution in contributions.items():
        parts = np.asarray(contribution)
        if name in separate:
            reject_if(parts.ndim == 0, f"{name.replace('_', ' ')} was not read at each position", name)
            mean[name] = float(np.sqrt(np.sum(parts**2)) / parts.size)
        else:
            mean[name] = float(np.mean(parts))
    return mean


def combine(contributions: Mapping[str, Value]) -> Value:
    """Return the combined standard uncertainty: the root of the sum of the squares of all contributions.

    Shapes broadcast; unit of the figure; zero if there are none. Raises nothing. Range: roots independent
    of each other, and the figure nearly straight over their uncertainties. Source: JCGM 100, 5.1.2.
    """
    total: npt.ArrayLike = 0.0
    for contribution in contributions.values():
        total = np.add(total, np.square(contribution))
    return unwrap_scalar(np.sqrt(total))


def expanded(standard_uncertainty: Value, coverage: float = COVERAGE) -> Value:
    """Return the expanded uncertainty = coverage factor * standard uncertainty.

    Shape and unit: as given. Raises ValueError for a negative uncertainty. Source: JCGM 100, 6.2.1.
    """
    require_not_negative(standard_uncertainty=standard_uncertainty)
    return unwrap_scalar(np.asarray(standard_uncertainty) * coverage)


def half_width(*parts: tuple[float, float], level: float = 0.95) -> float:
    """Return the half width of the interval of a sum of independent parts: Student's t times the combined uncertainty.

    ``parts``: standard uncertainty and degrees of freedom of each; one of zero counts for nothing. The degrees of
    freedom of the sum are by the Welch-Satterthwaite formula. Raises ValueError for a negative uncertainty.
    Source: JCGM 100, G.4.1 and G.3.
    """
    uncertain = [(uncertainty, freedom) for uncertainty, freedom in parts if uncertainty != 0]
    reject_if(any(uncertainty < 0 for uncertainty, _ in uncertain), "an uncertainty cannot be less than zero", "parts")
    if not uncertain:
        return 0.0
    variance = sum(uncertainty**2 for uncertainty, _ in uncertain)
    freedom = effective_freedom(*((uncertainty**2, freedom) for uncertainty, freedom in uncertain))
    return student_t_quantile(level, freedom) * float(np.sqrt(variance))


def effective_freedom(*parts: tuple[float, float]) -> float:
    """Return the degrees of freedom of a sum of independent variances, each given with its own.

    Rounded down to a quarter, which is the safe side, so that quantiles can be looked up; never below one, nor above a
    thousand. A variance that is known exactly has infinitely many. Source: Welch and Satterthwaite; JCGM 100, G.4.1.
    """
    total = sum(variance for variance, _ in parts)
    squares = sum(variance**2 / freedom for variance, freedom in parts if variance > 0)
    return max(1.0, float(np.floor(4 * min(total**2 / squares, _MANY)) / 4)) if squares > 0 else _MANY
