"""Measured values that no longer hold after a change: carried along where arithmetic can, else set aside.

On what a measurement depends is declared with its field (`depends_on`). Where a factor tells how it moves, that is
declared as well; the functions here are for the others.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property, partial
from pathlib import Path
from typing import Any

import numpy as np

from builder.engine import valve_train as train
from builder.engine.lift_curve import LiftCurve, lift_curve
from builder.engine.validation import Array
from builder.figures.core.display_units import number_decimals
from builder.figures.core.inputs import Context
from builder.figures.core.solver import Solver
from builder.figures.core.types import LISTED, MEASURED, PROVENANCE_TEXTS, Provenance
from builder.figures.definitions import REGISTRY
from builder.figures.definitions.cam_readings import SIDES
from builder.record.changes import is_below, measurements, notes_at, with_value
from builder.record.models.build import Build
from builder.record.models.cam import EqualLift, Events
from builder.record.models.shop import Shop
from builder.record.quantities.digits import rounded
from builder.record.quantities.readings import Reading
from builder.record.quantities.units import Quantity, to_unit


@dataclass(frozen=True, kw_only=True)
class StaleMeasurement:
    """A measured value that no longer holds after a change."""

    path: str
    title: str
    before: Any
    """As the record has it."""
    after: Any
    """Carried along by calculation; None where it has to be measured again."""
    changed: tuple[str, ...]
    """The fields whose change it does not survive."""
    where: tuple[Path, int]
    note: str = ""
    """How well it is carried along."""

    @property
    def is_carried(self) -> bool:
        """Return whether it was carried along by calculation."""
        return self.after is not None

    @property
    def basis(self) -> Provenance:
        """Return how it was known before the change."""
        return LISTED if isinstance(self.before, Reading) and not self.before.is_measured else MEASURED

    @property
    def mark(self) -> str:
        """Return how it is known after the change: `calculated, from measured`."""
        return f"calculated, from {PROVENANCE_TEXTS[self.basis].removeprefix('from ')}" if self.is_carried else ""


@dataclass(frozen=True)
class Engine:
    """One engine, as recorded or as changed, with its figures on demand."""

    build: Build
    shop: Shop

    @cached_property
    def solver(self) -> Solver:
        """Return its figures without uncertainty."""
        return Solver(Context(self.build, self.shop, REGISTRY), with_uncertainty=False)

    def values(self, name: str) -> Array | None:
        """Return an input or a figure [SI], one value for each position; None where it is not known."""
        known = self.solver.input(name)
        return None if known is None else np.atleast_1d(np.asarray(known.values, dtype=np.float64))

    def value(self, name: str) -> float | None:
        """Return the mean of an input or a figure [SI]."""
        values = self.values(name)
        return None if values is None else float(np.mean(values))

    def at_side(self, name: str, side: str) -> float | None:
        """Return the value of one side; None where it is not known."""
        known = self.solver.input(name)
        if known is None:
            return None
        values = np.atleast_1d(np.asarray(known.values, dtype=np.float64))
        if known.axis is None or known.axis.kind != "side":
            return float(np.mean(values))
        index = known.axis.labels.index(side) if side in known.axis.labels else None
        return None if index is None or not np.isfinite(values[index]) else float(values[index])


@dataclass(frozen=True)
class Carrying:
    """The engine before and after a change, and the paths of what was changed."""

    before: Engine
    after: Engine
    changed: frozenset[str]
    """What was changed, and the measurements carried along so far."""
    chosen: frozenset[str]
    """What was changed by choice."""

    def touches(self, path: str) -> bool:
        """Return whether anything at, below or around a path was changed."""
        return bool(_causes((path,), self.changed))

    def difference(self, name: str) -> float | None:
        """Return by how much an input or a figure grew [SI]: 0 where both engines lack it, None where one does."""
        before, after = self.before.value(name), self.after.value(name)
        if before is None and after is None:
            return 0.0
        return None if before is None or after is None else after - before


Carrier = Callable[[Carrying, Any], Any]
"""Returns what a measured value becomes, or None where that cannot be calculated."""


def carry_along(
    before: Engine, after: Build, changed: Iterable[str], only: Collection[str] | None = None
) -> tuple[Build, tuple[StaleMeasurement, ...]]:
    """Return the changed build with every measurement that no longer holds carried along or set aside, and those.

    ``changed`` are the full paths of what was changed; what was changed itself is taken as it is. A measurement still
    holds where a value is filled in that was not recorded: it was made with the part, whatever it is. With ``only``
    no other measurements are looked at.
    """
    chosen = frozenset(path for path in changed if before.build.get(path) is not None or path in _COUNTS_WHEN_MISSING)
    set_by_hand = frozenset(changed)
    paths = set(chosen)
    stale: list[StaleMeasurement] = []
    for path, factors in measurements():
        value = before.build.get(path) if only is None or path in only else None
        if (
            value is None
            or value == ()
            or any(is_below(path, known) or is_below(known, path) for known in (*paths, *set_by_hand))
        ):
            continue
        carrying = Carrying(before, Engine(after, before.shop), frozenset(paths), set_by_hand)
        because = tuple(dependency for dependency in factors if carrying.touches(dependency))
        if not because:
            continue
        carried = _carried(carrying, path, value, {name: factors[name] for name in because})
        after = with_value(after, path, () if carried is None and isinstance(value, tuple) else carried)
        paths.add(path)
        if carried == value:
            continue
        stale.append(
            StaleMeasurement(
                path=path,
                title=_title(path),
                before=value,
                after=carried,
                changed=_causes(because, chosen) or _causes(because, paths),
                where=before.build.where(path),
                note=_NOTES.get(path, ""),
            )
        )
    return after, tuple(stale)


_NONE_FITTED = frozenset(("bottom_end.pistons.dish", "bottom_end.pistons.dome", "top_end.springs.shims"))
"""Fields that are nothing where they are not recorded."""
_COUNTS_WHEN_MISSING = _NONE_FITTED | frozenset(
    (
        "top_end.rockers.exhaust_ratio",
        "top_end.springs.exhaust_installed_height", "top_end.springs.exhaust_retainer_to_seal",
        "cam.card.intake.lash", "cam.card.exhaust.lash", "cam.installed.intake_centerline",
        "cam.installed.exhaust_centerline",
    )
)  # fmt: skip
"""Fields that mean something when they are not recorded: none fitted, the same as on the intake, as on the card."""


def _causes(dependencies: Iterable[str], changed: Iterable[str]) -> tuple[str, ...]:
    """Return those of the changed paths that a measurement depends on."""
    return tuple(
        path
        for path in sorted(changed)
        if any(is_below(path, dependency) or is_below(dependency, path) for dependency in dependencies)
    )


def _title(path: str) -> str:
    document, *steps = path.split(".")
    title = notes_at(path).title or " ".join(step.replace("_", " ") for step in steps[-1:])
    if document == "dyno":
        return "dyno results"
    if path.startswith("cam.degreeing."):
        return f"degree-wheel readings, {title}"
    return title


def _carried(carrying: Carrying, path: str, value: Any, factors: Mapping[str, float | None]) -> Any:
    if carrier := _CARRIERS.get(path):
        return carrier(carrying, value)
    if not isinstance(value, Reading):
        return None
    shift: Any = 0.0
    for dependency, factor in factors.items():
        old, new = (engine.build.get(dependency) for engine in (carrying.before, carrying.after))
        if (
            factor is None
            or not isinstance(new, Reading)
            or not (isinstance(old, Reading) or dependency in _NONE_FITTED)
        ):
            return None
        before = old.values if isinstance(old, Reading) else np.zeros(1)
        shift = shift + factor * _difference(before, new.values, len(value.values))
    return moved(value, shift)


def _difference(old: Array, new: Array, positions: int) -> Any:
    """Return how much readings grew, at each position where they have as many as are asked for, else their means."""
    values = [item if len(item) == positions > 1 else float(item.mean()) for item in (old, new)]
    return values[1] - values[0]


def moved(reading: Reading, shift: Any) -> Reading:
    """Return a reading with every value that it is calculated with moved by a shift [SI], or one at each position."""
    shifts = np.broadcast_to(np.asarray(shift, dtype=np.float64), len(reading.preferred))
    quantities = tuple(moved_quantity(item, float(by)) for item, by in zip(reading.preferred, shifts, strict=True))
    if reading.measured:
        return replace(reading, measured=quantities)
    if reading.repeats:
        return replace(reading, repeats=quantities)
    return replace(reading, listed=quantities[0])


def moved_quantity(quantity: Quantity, shift: float) -> Quantity:
    """Return a quantity moved by a shift [SI], written in its unit with its digits."""
    return quantity_of_value(quantity.si + shift, quantity)


def quantity_of_value(si: float, like: Quantity, extra_digits: int = 0) -> Quantity:
    """Return a value [SI] written as another one was, with some more digits; its exact value stays."""
    number = to_unit(si, like.unit, like.dimension) if like.unit else si
    return replace(like, si=si, number=rounded(number, number_decimals(like) + extra_digits), fraction="")


def _coil_bind(carrying: Carrying, reading: Reading) -> Reading | None:
    """Return the travel left, as the tighter side has it if both had the travel that was measured."""
    solid = carrying.difference("solid_height")
    left: list[float] = []
    for side in SIDES:
        lifts = [engine.at_side("valve_lift", side) for engine in (carrying.before, carrying.after)]
        heights = [engine.at_side("installed_height", side) for engine in (carrying.before, carrying.after)]
        if None in lifts or solid is None or (heights[0] is None) != (heights[1] is None):
            continue
        lower = 0.0 if heights[0] is None or heights[1] is None else heights[0] - heights[1]
        left.append(float(train.carried_coil_bind_clearance(0.0, lifts[0] or 0.0, lifts[1] or 0.0, lower, solid)))
    return moved(reading, min(left)) if left else None


def _retainer_to_seal(carrying: Carrying, reading: Reading) -> Reading | None:
    left: list[float] = []
    for side in SIDES:
        lifts = [engine.at_side("valve_lift", side) for engine in (carrying.before, carrying.after)]
        gaps = [engine.at_side("retainer_to_seal_closed", side) for engine in (carrying.before, carrying.after)]
        if lifts[0] is None or lifts[1] is None or (gaps[0] is None) != (gaps[1] is None):
            continue
        wider = 0.0 if gaps[0] is None or gaps[1] is None else gaps[1] - gaps[0]
        left.append(wider - (lifts[1] - lifts[0]))
    return moved(reading, min(left)) if left else None


def _piston_to_valve(side: str, carrying: Carrying, reading: Reading) -> Reading | None:
    """Return the clearance with the lift near TDC, the crown and the gasket as changed, along the cylinder's axis."""
    deck, gasket = carrying.difference("deck_clearance"), carrying.difference("gasket_thickness")
    if deck is None or gasket is None:
        return None
    shift = deck + gasket
    if any(carrying.touches(path) for path in measured_lift_dependencies()):
        stroke, rod = carrying.after.value("stroke"), carrying.after.value("rod_length")
        curves = [_lift_curve(engine, side) for engine in (carrying.before, carrying.after)]
        if curves[0] is None or curves[1] is None or stroke is None or rod is None:
            return None
        offset = carrying.after.value("pin_offset") or 0.0
        shift += float(train.carried_piston_to_valve(0.0, curves[0], curves[1], stroke, rod, offset))
    return moved(reading, shift)


def measured_lift_dependencies() -> tuple[str, ...]:
    """Return the fields that the lift at the valve and its timing depend on."""
    paths = notes_at("assembly.checks.intake_piston_to_valve").depends_on
    return tuple(path for path, factor in paths.items() if factor is None and not path.startswith("top_end.gasket"))


def _lift_curve(engine: Engine, side: str) -> LiftCurve | None:
    """Return the lift at the valve against crank angle after the TDC of overlap, from the points of the card."""
    centerline = engine.value("installed_centerline" if side == "intake" else "exhaust_centerline")
    peak, ratio = engine.at_side("valve_lift", side), engine.at_side("rocker_ratio", side)
    timing = engine.solver.input(f"{side}_duration")
    if centerline is None or peak is None or ratio is None or timing is None or timing.axis is None:
        return None
    lash = engine.at_side("lash", side) or 0.0
    lifts = np.asarray(timing.axis.places) * ratio - lash
    durations = np.asarray(timing.values, dtype=np.float64)
    known = np.isfinite(durations) & (lifts > 0) & (lifts < peak)
    if not known.any():
        return None
    return lift_curve(centerline if side == "intake" else -centerline, lifts[known], durations[known], peak)


def _seat_load(carrying: Carrying, reading: Reading) -> Reading | None:
    """Return the pressure at the new installed height."""
    rate, higher = carrying.after.value("spring_rate"), carrying.difference("installed_height")
    return None if rate is None or higher is None else moved(reading, -rate * higher)


def _exhaust_centerline(carrying: Carrying, quantity: Quantity) -> Quantity:
    """Return the exhaust centerline of a single cam that was turned; two cams are set each by itself."""
    later = _later(carrying, "intake")
    if not _has_one_cam(carrying.before.build) or later is None:
        return quantity
    return moved_quantity(quantity, -later)


def _has_one_cam(build: Build) -> bool:
    """Return whether intake and exhaust lobes are on one cam, as a card with a lobe separation shows."""
    return build.get("cam.card.lobe_separation") is not None


def _later(carrying: Carrying, side: str) -> float | None:
    """Return by how many degrees a centerline grew; that of the exhaust shrinks where one cam is turned."""
    new = carrying.after.build.get(f"cam.installed.{side}_centerline")
    old = carrying.before.value("installed_centerline" if side == "intake" else "exhaust_centerline")
    if f"cam.installed.{side}_centerline" in carrying.chosen:
        return None if new is None or old is None else float(new.si - old)
    if side == "exhaust" and _has_one_cam(carrying.before.build):
        later = _later(carrying, "intake")
        return None if later is None else -later
    return 0.0


def _turned_pairs(side: str, carrying: Carrying, pairs: tuple[EqualLift, ...]) -> tuple[EqualLift, ...] | None:
    """Return pairs of degree-wheel readings with the lobe turned."""
    later = _later(carrying, side)
    if carrying.touches("cam.card") or later is None:
        return None
    return tuple(
        pair.model_copy(
            update={"opening": moved_quantity(pair.opening, later), "closing": moved_quantity(pair.closing, later)}
        )
        for pair in pairs
    )


def _turned_events(carrying: Carrying, readings: tuple[Events, ...]) -> tuple[Events, ...] | None:
    """Return the valve events with the centerlines moved: every event of a side moves by as much."""
    intake, exhaust = _later(carrying, "intake"), _later(carrying, "exhaust")
    if any(carrying.touches(path) for path in ("cam.card", "top_end.rockers")) or intake is None or exhaust is None:
        return None
    shifts = {"intake_opens": -intake, "intake_closes": intake, "exhaust_opens": exhaust, "exhaust_closes": -exhaust}
    return tuple(
        reading.model_copy(
            update={
                name: moved_quantity(value, shift)
                for name, shift in shifts.items()
                if (value := getattr(reading, name)) is not None
            }
        )
        for reading in readings
    )


_CARRIERS: Mapping[str, Carrier] = {
    "assembly.checks.coil_bind": _coil_bind,
    "assembly.checks.retainer_to_seal": _retainer_to_seal,
    "assembly.checks.intake_piston_to_valve": partial(_piston_to_valve, "intake"),
    "assembly.checks.exhaust_piston_to_valve": partial(_piston_to_valve, "exhaust"),
    "top_end.springs.seat_load": _seat_load,
    "cam.installed.exhaust_centerline": _exhaust_centerline,
    "cam.degreeing.intake": partial(_turned_pairs, "intake"),
    "cam.degreeing.exhaust": partial(_turned_pairs, "exhaust"),
    "cam.degreeing.events": _turned_events,
}
_NOTES = {
    "assembly.checks.intake_piston_to_valve": "approximate: measure it again before the engine is turned under power",
    "assembly.checks.exhaust_piston_to_valve": "approximate: measure it again before the engine is turned under power",
    "top_end.pushrods.checking_length": "the pushrod taken as parallel to the bore",
    "top_end.pushrods.exhaust_checking_length": "the pushrod taken as parallel to the bore",
}
