"""Clearances, bore geometry, and where a measured value lies in its range.

All lengths [m]; one value or one per position. The shop's or the maker's sheet decides what is allowed:
the rules of thumb here are common practice and give way to it.
"""

from __future__ import annotations

from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from builder.engine.validation import (
    Array,
    InputConflict,
    Value,
    reject_if,
    require_not_negative,
    require_positive,
    unwrap_scalar,
)

RING_GAP_PER_BORE = 0.0045
"""Least ring gap per length of bore [1]. Common practice, no source; the maker's sheet wins."""

OIL_CLEARANCE_PER_JOURNAL = 0.001
"""Oil clearance per length of journal diameter [1]. Common practice, no source."""


def oil_clearance(housing_bore: Value, shell_thickness: Value, journal: Value) -> Value:
    """Return the oil clearance across the diameter [m] = housing bore - 2 shell - journal.

    Negative means that the journal does not fit. Shapes: inputs [m] broadcast together.
    Raises ValueError for a dimension of zero or less. Range: housing torqued, crush included in the shell's
    thickness as fitted; one direction of measurement. Source: geometry.
    """
    require_positive(housing_bore=housing_bore, shell_thickness=shell_thickness, journal=journal)
    return unwrap_scalar(np.asarray(housing_bore) - 2 * np.asarray(shell_thickness) - journal)


def oil_clearance_rule(journal: Value, per_journal: float = OIL_CLEARANCE_PER_JOURNAL) -> Value:
    """Return the oil clearance by rule of thumb [m]: 0.001 in per inch of journal diameter.

    Shape: as journal [m]. Raises ValueError for a diameter or rate of zero or less.
    Source: common practice, no source.
    """
    require_positive(journal=journal, per_journal=per_journal)
    return unwrap_scalar(np.asarray(journal) * per_journal)


def piston_clearance(bore: Value, piston_diameter: Value) -> Value:
    """Return the piston to bore clearance across the diameter [m] = bore - piston at its gauge point.

    Negative means that the piston does not go in. Shapes: inputs [m] broadcast together.
    Raises ValueError for a dimension of zero or less. Source: geometry.
    """
    require_positive(bore=bore, piston_diameter=piston_diameter)
    return unwrap_scalar(np.asarray(bore) - piston_diameter)


def ring_gap_rule(bore: Value, per_bore: float = RING_GAP_PER_BORE) -> Value:
    """Return the least ring end gap by rule of thumb [m]: 0.0045 in per inch of bore for a top ring.

    Shape: as bore [m]. Raises ValueError for a bore or rate of zero or less. Range: naturally aspirated
    street use; boost and nitrous need more, and the ring maker's sheet wins.
    Source: common practice, no source.
    """
    require_positive(bore=bore, per_bore=per_bore)
    return unwrap_scalar(np.asarray(bore) * per_bore)


def bore_taper(readings: npt.ArrayLike) -> Value:
    """Return the taper of a bore [m]: the largest difference between depths along one axis.

    readings [m] have shape (..., depth, axis): a bore measured at three depths and two axes is (3, 2),
    eight of them (8, 3, 2). Result: shape (...). Raises ValueError for fewer than two depths or a reading
    of zero or less. Source: common practice, no source.
    """
    return unwrap_scalar(np.max(np.ptp(_bore_readings(readings, -2, "depths"), axis=-2), axis=-1))


def bore_out_of_round(readings: npt.ArrayLike) -> Value:
    """Return the out of round of a bore [m]: the largest difference between axes at one depth.

    readings [m] have shape (..., depth, axis). Result: shape (...). Raises ValueError for fewer than two
    axes or a reading of zero or less. Source: common practice, no source.
    """
    return unwrap_scalar(np.max(np.ptp(_bore_readings(readings, -1, "axes"), axis=-1), axis=-1))


def resolvable_difference(scatter: Value, step: float, pairs: int) -> Value:
    """Return the least difference of two readings that is not zero [m], where it is the largest of several pairs.

    scatter [m]: standard uncertainty of one reading without its last digit and without what is common to both; step
    [m]: the last digit, by which rounding alone may part two equal lengths. The largest of so many differences of equal
    lengths is above it once in twenty times at most, by Bonferroni's inequality. Raises ValueError for a negative
    scatter or step, or no pairs. Source: JCGM 100, 5.2.2: of two readings with one setting of a gauge the error of the
    setting cancels.
    """
    require_not_negative(scatter=scatter, step=step)
    reject_if(pairs < 1, "a difference needs one pair of readings at least", "pairs")
    coverage = NormalDist().inv_cdf(1 - 0.05 / (2 * pairs))
    return unwrap_scalar(step + coverage * np.sqrt(2) * np.asarray(scatter))


def _bore_readings(readings: npt.ArrayLike, axis: int, name: str) -> Array:
    array = np.asarray(readings, dtype=np.float64)
    if array.ndim < 2 or array.shape[axis] < 2:
        raise InputConflict(f"bore readings are needed at 2 or more {name}", "readings")
    reject_if(array <= 0, "a bore reading must be greater than zero", "readings")
    return array


def position_in_range(value: Value, minimum: Value, maximum: Value) -> Value:
    """Return where a value lies in its range [1]: 0 at the minimum, 1 at the maximum, else below 0 or above 1.

    Shapes: inputs of one unit broadcast together. Raises ValueError if the range is upside down or has no
    width. Source: linear interpolation.
    """
    width = np.asarray(maximum) - minimum
    reject_if(width < 0, "the range is upside down: its least is more than its most", "least", "most")
    reject_if(width == 0, "the range has no width, so nothing can lie inside it", "least", "most")
    return unwrap_scalar((np.asarray(value) - minimum) / width)


def farthest_from_median(values: npt.ArrayLike) -> int | None:
    """Return the index of the position farthest from the median of all; None if no single one is.

    values of shape (n,), any unit; positions not measured (NaN) are passed over, and fewer than three
    measured have no outlier. Raises ValueError unless
    values are a plain list. Range: says which is farthest, not whether it matters.
    Source: common practice, no source.
    """
    array = np.asarray(values, dtype=np.float64)
    reject_if(array.ndim != 1, "the odd one out needs one value for each position", "values")
    measured = np.flatnonzero(~np.isnan(array))
    if measured.size < 3:
        return None
    distance = np.abs(array[measured] - np.median(array[measured]))
    order = np.argsort(distance)
    # Readings that differ only in the last bits of a float are the same reading.
    tie = distance[order[-1]] - distance[order[-2]] <= 1e-9 * np.max(np.abs(array[measured]))
    return None if tie else int(measured[order[-1]])
