"""The highest point of a curve, how well it is known, and the band of speeds around it.

The highest of many noisy values is too high: at 1 % noise the top of the smoothed curve lies 0.4 to 1.4 % above the
engine's. So a polynomial is fitted by least squares to the readings of the stretch in which the smoothed curve holds
92 % of its top, of the degree that the readings support (the lowest corrected AIC: a quiet log shows the waves of its
torque, a noisy one only their mean), and the highest value of the fit is taken, less what the noise of the fit adds
to it on average. Where the stretch has too few readings, the top of the smoothed curve is taken as it is.

Speeds are in [rev/s], values in any unit.

Sources: JCGM 100 (GUM) H.3 (least squares, covariance of a fit); Hurvich and Tsai, Biometrika 76 (1989) 297
(corrected AIC); Box, J. R. Stat. Soc. B 33 (1971) 171 (bias of a nonlinear estimate to second order).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.polynomial import legendre

from builder.engine.constants import REV_PER_MINUTE
from builder.engine.curves import Curve, reading_weight
from builder.engine.validation import Array

STRETCH = 0.92
"""The peak is fitted over the speeds at which the curve holds this share of its top."""
COARSE_SPEED, FINE_SPEED = 50 * REV_PER_MINUTE, 25 * REV_PER_MINUTE
"""Speeds of peaks are given to 50 rev/min, to 25 where the log supports it."""
_FINE_LOG = 100 * REV_PER_MINUTE
"""Most distance between the readings of a log whose peaks have the finer speed."""
_LOWEST_DEGREE, _HIGHEST_DEGREE, _FEW_READINGS_DEGREE = 4, 16, 2
_POINTS = 401
_TRUSTED = 0.03
"""A fit that lies further from the top of the smoothed curve than this share of it is not used."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CurvePeak:
    """The highest point of a curve, and of the rows as logged. Speeds [rev/s].

    ``deviation``: standard uncertainty of the value from the scatter of the readings, on ``freedom`` degrees of
    freedom; zero where too few readings show any. ``speed`` is a multiple of ``speed_step``. ``at_end`` says that the
    curve was still rising when the log ended (or already falling when it began): the engine's own peak may lie
    outside the logged speeds.
    """

    speed: float
    value: float
    speed_step: float
    deviation: float
    freedom: int
    raw_speed: float
    raw_value: float
    at_end: bool


@dataclass(frozen=True, slots=True)
class _Top:
    speed: float
    value: float
    deviation: float
    speed_deviation: float
    freedom: int


def peak(source: Curve) -> CurvePeak:
    """Return the highest point of a curve, freed of what noise adds to the highest of many values.

    With it the highest row as logged. Unit: as the curve's values; speeds [rev/s]. Range: bias below 0.3 % at 1 %
    noise for steps up to 100 rev/min, below 0.5 % up to 250; a wave of the torque that the noise hides is left out.
    Sources: JCGM 100, H.3; Hurvich and Tsai 1989; Box 1971.
    """
    speed, value = source.points()
    highest = int(np.argmax(value))
    top = _smoothed_top(speed, value, highest)
    fitted = _fitted_top(source, speed, value, highest)
    if fitted is not None and abs(fitted.value - top.value) <= _TRUSTED * abs(top.value):
        top = fitted
    step = COARSE_SPEED
    if 2 * top.speed_deviation <= FINE_SPEED and _reading_distance(source) <= _FINE_LOG:
        step = FINE_SPEED
    ends = (source.lowest, source.highest)
    return CurvePeak(
        speed=_rounded(top.speed, step, *ends),
        value=top.value,
        speed_step=step,
        deviation=top.deviation,
        freedom=top.freedom,
        raw_speed=source.raw_peak_speed,
        raw_value=source.raw_peak,
        at_end=min(abs(top.speed - end) for end in ends) <= 1e-6 * source.width,
    )


def _smoothed_top(speed: Array, value: Array, highest: int) -> _Top:
    """Return the top of the smoothed curve, by the parabola through its three highest points."""
    top_speed, top_value = float(speed[highest]), float(value[highest])
    if 0 < highest < speed.size - 1:
        x = speed[highest - 1 : highest + 2] - speed[highest]
        y = value[highest - 1 : highest + 2] - value[highest]
        # Parabola through (0, 0) and its two neighbours: y = b x + c x^2.
        bend = (y[2] / x[2] - y[0] / x[0]) / (x[2] - x[0])
        rise = y[0] / x[0] - bend * x[0]
        off = float(np.clip(-rise / (2 * bend), x[0], x[2])) if bend < 0 else 0.0
        top_speed, top_value = top_speed + off, float(top_value + rise * off + bend * off**2)
    return _Top(top_speed, top_value, 0.0, np.inf, 0)


def _fitted_top(source: Curve, speed: Array, value: Array, highest: int) -> _Top | None:
    """Return the top of the polynomial through the readings around the peak; None where they are too few."""
    if not value[highest] > 0:
        return None
    below = np.flatnonzero(value < STRETCH * value[highest])
    first, last = below[below < highest], below[below > highest]
    low = float(speed[first[-1] + 1]) if first.size else float(speed[0])
    high = float(speed[last[0] - 1]) if last.size else float(speed[-1])
    inside = (source.reading_speed >= low - 1e-9) & (source.reading_speed <= high + 1e-9)
    if not low < high:
        return None
    middle, half = (low + high) / 2, (high - low) / 2
    fit = _fit(
        (source.reading_speed[inside] - middle) / half, source.reading_value[inside], source.reading_rows[inside]
    )
    if fit is None:
        return None
    coefficients, covariance, freedom = fit
    degree = coefficients.size - 1
    at = np.linspace(-1.0, 1.0, _POINTS)
    fitted = legendre.legval(at, coefficients)
    best = int(np.argmax(fitted))
    row = legendre.legvander(at[best : best + 1], degree)[0]
    deviation = float(np.sqrt(row @ covariance @ row))
    top_speed, top_value = middle + half * float(at[best]), float(fitted[best])
    curvature = -float(legendre.legval(at[best], legendre.legder(coefficients, 2)))
    if best in (0, _POINTS - 1):
        return _Top(top_speed, top_value, deviation, 0.0, freedom)
    if curvature <= 0:
        return _Top(top_speed, top_value, deviation, np.inf, freedom)
    slopes = np.asarray(legendre.legval(at[best], legendre.legder(np.eye(degree + 1))))
    slope_variance = float(slopes @ covariance @ slopes)
    # Noise moves the top to where it is highest: on average this adds half the slope's variance over the curvature.
    added = min(slope_variance / (2 * curvature), deviation)
    speed_deviation = half * float(np.sqrt(slope_variance)) / curvature
    return _Top(top_speed, top_value - added, deviation, speed_deviation, freedom)


def _fit(x: Array, y: Array, rows: Array) -> tuple[Array, Array, int] | None:
    """Return the Legendre series of the degree that the readings support, its covariance and degrees of freedom.

    Shapes: (readings,), x from -1 to 1. None where there are fewer than four readings.
    """
    count = x.size
    highest = min(_HIGHEST_DEGREE, count - 2)
    if highest < _FEW_READINGS_DEGREE:
        return None
    weight = reading_weight(rows)
    root_weight = np.sqrt(weight / weight.mean())
    # One orthogonal basis serves every degree: each further column takes its own share of the squares.
    basis, triangle = np.linalg.qr(legendre.legvander(x, highest) * root_weight[:, None])
    if np.abs(np.diag(triangle)).min() < 1e-9 * np.abs(np.diag(triangle)).max():
        return None
    shares = basis.T @ (y * root_weight)
    squares = np.maximum(np.sum((y * root_weight) ** 2) - np.cumsum(shares**2), 1e-18 * np.sum(y**2))
    lowest = _LOWEST_DEGREE if highest >= _LOWEST_DEGREE else _FEW_READINGS_DEGREE
    degrees = np.arange(lowest, highest + 1)
    parameters = degrees + 2  # with the variance
    supported = count - parameters - 1 > 0
    if supported.any():
        degrees, parameters = degrees[supported], parameters[supported]
    else:
        degrees, parameters = degrees[:1], parameters[:1]
    remaining = np.maximum(count - parameters - 1, 1)
    criterion = count * np.log(squares[degrees] / count) + 2 * parameters * count / remaining
    degree = int(degrees[np.argmin(criterion)])
    freedom = count - degree - 1
    inverse = np.linalg.inv(triangle[: degree + 1, : degree + 1])
    coefficients = inverse @ shares[: degree + 1]
    return coefficients, inverse @ inverse.T * (squares[degree] / freedom), freedom


def _reading_distance(source: Curve) -> float:
    """Return the middle distance between neighbouring readings that were not meant to be at one speed."""
    distances = np.diff(source.reading_speed)
    distances = distances[distances > source.width / 64]
    return float(np.median(distances)) if distances.size else np.inf


def _rounded(speed: float, step: float, low: float, high: float) -> float:
    """Return the multiple of the step nearest to a speed within the logged ones; the speed where none lies there."""
    first, last = np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9)
    return float(np.clip(np.floor(speed / step + 0.5), first, last)) * step if first <= last else speed


def torque_band(torque: Curve, share: float = 0.9) -> tuple[tuple[float, float], ...]:
    """Return the ranges of speed [rev/s] in which the smoothed curve is at least ``share`` of its peak.

    One range for most engines, more where the curve dips in between; crossings by a straight line between
    points. Raises ValueError unless the share lies between 0 and 1 and the peak is above zero.
    Source: common practice, no source (90 %).
    """
    if not 0 < share <= 1:
        raise ValueError("the share of the peak must lie between 0 and 1")
    speed, value = torque.points()
    highest = float(value.max())
    if highest <= 0:
        raise ValueError("a curve without a peak above zero has no band")
    above = value - share * highest
    bands: list[tuple[float, float]] = []
    start = float(speed[0]) if above[0] >= 0 else None
    for k in np.flatnonzero((above[1:] >= 0) != (above[:-1] >= 0)):
        crossing = float(speed[k] + (speed[k + 1] - speed[k]) * above[k] / (above[k] - above[k + 1]))
        if start is None:
            start = crossing
        else:
            bands.append((start, crossing))
            start = None
    if start is not None:
        bands.append((start, float(speed[-1])))
    return tuple(bands)
