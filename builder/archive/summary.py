"""The summary of a build: what the archive lists, searches, compares and draws in one chart."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from builder.archive.due_item import DueItem
from builder.archive.engine_build import EngineBuild
from builder.engine.constants import REV_PER_MINUTE

CURVE_POINTS = 21
_GRID = 25 * REV_PER_MINUTE
NOT_CORRECTED = "not corrected"
"""The correction of a result that was logged or noted in no standard."""
NOTED_RESULT = "noted, no log"
"""The ``result_source`` of a build of which only its peaks were noted."""


@dataclass(frozen=True, slots=True)
class PartSummary:
    """A part in a build. ``verdict`` is that of the check on receipt, None when it was not checked."""

    maker: str
    number: str
    kind: str
    verdict: str | None = None


@dataclass(frozen=True, slots=True)
class CoarseCurve:
    """A torque curve on an even grid of speeds, small enough for every page.

    ``start`` and ``step`` are engine speeds [rev/s]; ``torque`` is brake torque at each speed [N m].
    Power is 2 pi n T.
    """

    start: float
    step: float
    torque: tuple[float, ...]

    @property
    def speeds(self) -> tuple[float, ...]:
        """Speeds of the grid [rev/s]."""
        return tuple(self.start + self.step * i for i in range(len(self.torque)))


Stage = Literal["planned", "in progress", "waiting for parts", "finished", "ready", "delivered"]
"""How far a job is."""


@dataclass(frozen=True, slots=True)
class LessonSummary:
    """A lesson of a build, and the part that it is about."""

    text: str
    part: str | None = None
    is_public: bool = False


@dataclass(frozen=True, slots=True)
class WaitItem:
    """One thing that a job waits for: a part, a reading for a wanted figure, or something that delivery requires."""

    kind: Literal["part", "reading", "delivery"]
    what: str
    detail: str = ""


@dataclass(frozen=True, slots=True)
class ShopNotes:
    """What only the shop's own edition has of a build.

    ``stage`` is None where it is no job. ``wanted``: by slug of a field, SI values that a planned engine is
    to have. ``delivered`` is ISO 8601.
    """

    stage: Stage | None
    waits: tuple[WaitItem, ...] = ()
    lessons: tuple[LessonSummary, ...] = ()
    wanted: tuple[tuple[str, float], ...] = ()
    delivered: str | None = None


@dataclass(frozen=True, slots=True)
class Summary:
    """One build in the archive. Everything but the slug and the title may be unknown (None).

    Values are SI (m, m3, Pa, N m, W, m/s, rev/s, W/m3); cam timing is in degrees of crank angle, as the
    trade states it. ``date`` is ISO 8601. ``cam``, ``heads`` and ``carburetor`` (or injection) name the parts that
    decide the output. ``compression_source`` and ``result_source`` say whether the ratio was calculated or only
    noted, and whether the peaks come from a dyno log, ``correction`` in which standard these are.
    ``words`` is the text people search for: summary and notes.
    ``status`` is given where the build is not finished.
    """

    slug: str
    title: str
    number: str | None = None
    date: str | None = None
    year: int | None = None
    family: str | None = None
    purpose: str | None = None
    cycle: str | None = None
    cylinders: int | None = None
    displacement: float | None = None
    bore: float | None = None
    stroke: float | None = None
    compression_ratio: float | None = None
    compression_source: str | None = None
    effective_compression_ratio: float | None = None
    intake_duration_050: float | None = None
    exhaust_duration_050: float | None = None
    intake_duration_1mm: float | None = None
    exhaust_duration_1mm: float | None = None
    lobe_separation: float | None = None
    cam_advance: float | None = None
    valve_lift: float | None = None
    head_flow: float | None = None
    valve_diameter: float | None = None
    induction: str | None = None
    fuel_system: str | None = None
    fuel: str | None = None
    fuel_family: str | None = None
    octane: str | None = None
    ignition: str | None = None
    manifold: str | None = None
    rated_flow: float | None = None
    primary_diameter: float | None = None
    ignition_system: str | None = None
    result_source: str | None = None
    correction: str | None = None
    peak_torque: float | None = None
    peak_torque_speed: float | None = None
    peak_power: float | None = None
    peak_power_speed: float | None = None
    bmep: float | None = None
    specific_power: float | None = None
    piston_speed_at_peak_power: float | None = None
    curve: CoarseCurve | None = None
    parts: tuple[PartSummary, ...] = ()
    cam: str | None = None
    heads: str | None = None
    carburetor: str | None = None
    status: str | None = None
    shop: ShopNotes | None = None
    words: str = ""
    system: Literal["inch", "metric"] | None = None
    """The system that the build's own page leads with: inch or metric."""
    engine: EngineBuild | None = None
    """What the build adds to the history of its engine, where the engine has a number."""
    due: tuple[DueItem, ...] = ()
    """When its services are due; in the shop's edition alone."""

    @property
    def engine_key(self) -> str:
        """Return what its engine is known by; an engine without a number by the build itself."""
        return (self.engine.key if self.engine else "") or f"build:{self.slug}"


def coarse_curve(speed: npt.ArrayLike, torque: npt.ArrayLike, points: int = CURVE_POINTS) -> CoarseCurve | None:
    """Return a measured torque curve on an even, coarse grid of speeds.

    Each grid value is the mean of the readings within half a step of it, or interpolated linearly between
    neighbouring readings where none lies there, so a coarse curve neither follows noise nor invents a peak.

    Parameters
    ----------
    speed, torque : array_like, shape (m,)
        Engine speed [rev/s] and brake torque [N m], in any order; readings that are not finite are dropped.
    points : int
        Maximum number of points; the step is a multiple of 25 rev/min.

    Returns
    -------
    Curve or None
        None when fewer than two different speeds remain.
    """
    n = np.asarray(speed, dtype=float)
    t = np.asarray(torque, dtype=float)
    if n.shape != t.shape or n.ndim != 1:
        raise ValueError("speed and torque must be two lists of one length")
    finite = np.isfinite(n) & np.isfinite(t)
    n, t = n[finite], t[finite]
    order = np.argsort(n, kind="stable")
    n, t = n[order], t[order]
    if n.size < 2 or n[-1] <= n[0]:
        return None
    step = max(1.0, np.ceil((n[-1] - n[0]) / _GRID / max(1, points - 1))) * _GRID
    first = np.ceil(n[0] / _GRID - 1e-9) * _GRID
    count = int(np.floor((n[-1] - first) / step + 1e-9)) + 1
    speeds = first + step * np.arange(max(count, 1))
    if speeds.size < 2:
        speeds, first, step = np.array([n[0], n[-1]]), n[0], n[-1] - n[0]
    values = np.interp(speeds, n, t)
    cell = np.rint((n - first) / step).astype(int)
    inside = (cell >= 0) & (cell < speeds.size)
    torque_sum = np.bincount(cell[inside], weights=t[inside], minlength=speeds.size)
    speed_sum = np.bincount(cell[inside], weights=n[inside], minlength=speeds.size)
    readings = np.bincount(cell[inside], minlength=speeds.size)
    # A cell's mean torque belongs to its mean speed; interpolation moves it to the middle of the cell.
    filled = readings > 0
    if filled.sum() >= 2:
        mean_speed = speed_sum[filled] / readings[filled]
        means = np.interp(speeds, mean_speed, torque_sum[filled] / readings[filled])
        # An end of the grid has readings on one side only: their mean extended to it would invent torque there.
        between = (speeds >= mean_speed[0]) & (speeds <= mean_speed[-1])
        values = np.where((readings >= 2) & between, means, values)
    return CoarseCurve(start=float(first), step=float(step), torque=tuple(float(v) for v in values))


def newest_first(summaries: Iterable[Summary]) -> tuple[Summary, ...]:
    """Return builds in the archive's order: latest date first, undated last, then by slug."""
    by_slug = sorted(summaries, key=lambda s: s.slug)
    return tuple(sorted(by_slug, key=lambda s: s.date or "", reverse=True))
