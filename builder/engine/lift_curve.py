"""Lift against crank angle, for drawing.

A cam card gives a few durations and one maximum. The curve goes exactly through those points; between them
its shape is APPROXIMATE: smooth, symmetric about the centerline, rising all the way to the nose and level
there. It is good for a picture and for shading the overlap; accelerations from it are a guide only.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from builder.engine.validation import Array, Value, reject_if, require_not_negative, require_positive, unwrap_scalar


@dataclass(frozen=True, slots=True, eq=False)
class LiftCurve:
    """One lobe's lift: known points from the nose outwards, and the slopes that join them smoothly.

    ``half_angles`` [deg of crank, from the centerline], ``lifts`` [m] and ``slopes`` [m/deg] have one
    shape; the last point is where the lift ends. ``cycle`` [deg] is the crank angle after which it repeats.
    """

    centerline: float
    half_angles: Array
    lifts: Array
    slopes: Array
    cycle: float = 720.0

    def at(self, angle: Value) -> Value:
        """Return the lift [m] at crank angles [deg after the TDC of overlap], of any shape; zero where shut.

        Exact at the known points, approximate between them.
        """
        turned = np.mod(np.asarray(angle) - self.centerline + self.cycle / 2, self.cycle) - self.cycle / 2
        away = np.abs(turned)
        piece = np.clip(np.searchsorted(self.half_angles, away, side="right") - 1, 0, self.half_angles.size - 2)
        width = self.half_angles[piece + 1] - self.half_angles[piece]
        t = (away - self.half_angles[piece]) / width
        back = 1 - t
        lift = back**2 * ((1 + 2 * t) * self.lifts[piece] + t * width * self.slopes[piece]) + t**2 * (
            (3 - 2 * t) * self.lifts[piece + 1] - back * width * self.slopes[piece + 1]
        )
        return unwrap_scalar(np.where(away < self.half_angles[-1], np.maximum(lift, 0.0), 0.0))

    def changed(
        self, ratio: float = 1.0, lash_before: float = 0.0, lash_after: float = 0.0, advance: float = 0.0
    ) -> LiftCurve:
        """Return the lift at the valve with another rocker ratio, lash or timing of the same lobe.

        ratio [1] is the rocker ratio after over that before, lash [m] at the valve tip, advance [deg of crank]
        positive where the cam is put in earlier. Lift = (lift + lash before) * ratio - lash after. Raises ValueError
        for a ratio of zero or less or a negative lash. Range: stiff parts; where the valve was shut it stays shut,
        since the ramp below is not known, so that the first opening with less lash is not in it. Source: geometry.
        """
        require_positive(ratio=ratio)
        require_not_negative(lash_before=lash_before, lash_after=lash_after)
        lifts = (self.lifts + lash_before) * ratio - lash_after
        lifts[-1] = min(lifts[-1], 0.0)
        return LiftCurve(self.centerline - advance, self.half_angles, lifts, self.slopes * ratio, self.cycle)

    def strongest_deceleration(self) -> tuple[float, float]:
        """Return the strongest curvature towards the seat [m/deg2], above zero, and the lift [m] where it is.

        On a piecewise cubic it lies at the end of a piece. Approximate, as the curve is.
        """
        widths, drops = np.diff(self.half_angles), -np.diff(self.lifts)
        first, last = self.slopes[:-1], self.slopes[1:]
        starts = (6 * drops / widths + 4 * first + 2 * last) / widths
        ends = -(6 * drops / widths + 2 * first + 4 * last) / widths
        curvatures, lifts = np.concatenate([starts, ends]), np.concatenate([self.lifts[:-1], self.lifts[1:]])
        strongest = int(np.argmax(curvatures))
        return float(curvatures[strongest]), float(lifts[strongest])


def lift_curve(
    centerline: float, lifts: npt.ArrayLike, durations: npt.ArrayLike, max_lift: float, cycle: float = 720.0
) -> LiftCurve:
    """Return a smooth symmetric lift curve through the points of a cam card; approximate between them.

    centerline [deg after the TDC of overlap; an exhaust centerline given BTDC is entered negative], lifts
    [m] and durations [deg of crank] of one shape (n,), in any order, n at least 1; max_lift [m]; cycle
    [deg]: 720, or 360 where the cam turns at crank speed. All lifts at the same place, lobe or valve.

    On each flank the curve is a monotone piecewise cubic, so it never overshoots. Below the least known
    lift it runs out to zero as a parabola, which meets the closed valve without a kink.

    Raises ValueError if lifts and durations do not pair up, a lift is negative or not below max_lift, a
    higher lift has no shorter duration, or a duration does not fit into the cycle.
    Source: see :func:`flank_slopes`.
    """
    known, spans = np.asarray(lifts, dtype=np.float64), np.asarray(durations, dtype=np.float64)
    reject_if(
        known.ndim != 1 or known.shape != spans.shape or known.size == 0,
        "each lift needs one duration, and at least one pair must be given",
        "lifts",
        "durations",
    )
    require_positive(max_lift=max_lift, durations=spans, cycle=cycle)
    reject_if(
        (known < 0) | (known >= max_lift),
        "a duration's lift must lie between zero and the maximum lift",
        "lifts",
        "max_lift",
    )
    order = np.argsort(-known)
    known, spans = known[order], spans[order]
    reject_if(
        (np.diff(known) >= 0) | (np.diff(spans) <= 0),
        "the lower the lift, the longer its duration must be",
        "lifts",
        "durations",
    )
    reject_if(spans[-1] >= cycle, "the longest duration does not fit into one cycle", "durations", "cycle")

    half = np.concatenate([[0.0], spans / 2])
    lift = np.concatenate([[max_lift], known])
    slopes = flank_slopes(half, lift)
    if lift[-1] > 1e-9 * max_lift:
        # A parabola that leaves with the last slope and lands level: it needs twice the straight run.
        run_out = min(-2 * lift[-1] / slopes[-1], cycle / 2 - half[-1])
        half, lift = np.append(half, half[-1] + run_out), np.append(lift, 0.0)
        slopes = np.append(slopes, 0.0)
    else:
        slopes[-1] = 0.0
    return LiftCurve(float(centerline), half, lift, slopes, float(cycle))


def flank_slopes(half_angles: Array, lifts: Array) -> Array:
    """Return the slopes [m/deg] that make the cubic through falling points smooth and monotone, level at the nose.

    Those of the cubic spline (no jump in curvature), each held to three times the flatter of the straight
    lines next to it, which keeps every piece from overshooting.

    Shapes: half_angles [deg] increasing and lifts [m] decreasing, both (n,), n at least 2; result (n,).
    Raises nothing. Source: de Boor and Swartz, J. Approx. Theory 21 (1977), for the limit.
    """
    widths = np.diff(half_angles)
    secants = np.diff(lifts) / widths
    if secants.size == 1:
        # One known point: the flank of a raised cosine through nose and point leaves it at this slope.
        phase = np.arccos(np.sqrt(lifts[-1] / lifts[0]))
        end = -lifts[0] * phase / widths[0] * np.sin(2 * phase)
    else:
        # The slope there of the parabola through the last three points.
        end = secants[-1] + (secants[-1] - secants[-2]) * widths[-1] / (widths[-1] + widths[-2])
    # Never level: the run-out below the last known lift needs a slope to follow.
    end = min(end, 0.1 * secants[-1])

    points = lifts.size
    system, right_side = np.eye(points), np.zeros(points)
    right_side[-1] = end
    for i in range(1, points - 1):
        before, after = widths[i - 1], widths[i]
        system[i, i - 1 : i + 2] = after, 2 * (before + after), before
        right_side[i] = 3 * (after * secants[i - 1] + before * secants[i])
    slopes = np.linalg.solve(system, right_side)
    steepest = 3 * np.maximum(secants[:-1], secants[1:])
    slopes[1:-1] = np.clip(slopes[1:-1], steepest, 0.0)
    return np.asarray(slopes, dtype=np.float64)
