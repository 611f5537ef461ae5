"""What the cam card, the degree wheel and the installation say: lifts, durations, events and centerlines."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from operator import attrgetter

import numpy as np

from builder.engine import uncertainty, valve_train
from builder.engine.constants import INCH
from builder.figures.core import display_units as units
from builder.figures.core.display_units import written_text
from builder.figures.core.inputs import Context, Input
from builder.figures.core.registry import VALVE_TRAIN, Definitions
from builder.figures.core.types import LISTED, MEASURED, InputValue, Provenance
from builder.record.models.cam import Duration, EqualLift, Events
from builder.record.quantities.units import Quantity

define = Definitions(VALVE_TRAIN, applies=attrgetter("has_valves"))

SIDES = ("intake", "exhaust")
EVENTS = ("intake_opens", "intake_closes", "exhaust_opens", "exhaust_closes")
_REFERENCES = (0.050 * INCH, 0.001)
"""Lifts that the trade compares cams at: 0.050 in, and 1 mm."""


def wheel_centerline(pair: EqualLift, side: str) -> float:
    """Return the middle of a pair of equal-lift readings [deg]: after the top on the intake, before it on the exhaust.

    Near the top is the intake's opening side, but the exhaust's closing side.
    """
    near, far = (pair.opening.si, pair.closing.si) if side == "intake" else (pair.closing.si, pair.opening.si)
    return float(valve_train.installed_centerline(near, far))


def _key(lift: float) -> float:
    """Return a lift such that equal lifts are equal however they were written."""
    return round(lift, 7)


def _lifts(context: Context) -> dict[float, str]:
    """Return every lift [m] at which the record has timing, as written, the one to compare at first and seat last."""
    cam = context.build.cam
    if cam is None:
        return {}
    lobes = [getattr(cam.card, side) for side in SIDES] if cam.card else []
    readings: list[Duration | Events] = [duration for lobe in lobes if lobe for duration in lobe.durations]
    readings += cam.degreeing.events if cam.degreeing else []
    lifts: dict[float, str] = {}
    for reading in readings:
        lifts.setdefault(_key(reading.lift), reading.at)

    def order(lift: float) -> tuple[int, float]:
        rank = next((i for i, reference in enumerate(_REFERENCES) if abs(lift - reference) < 1e-6), len(_REFERENCES))
        return (rank if lift > 0 else len(_REFERENCES) + 1, lift)

    return {lift: lifts[lift] for lift in sorted(lifts, key=order)}


def _by_lift(
    context: Context, item: Input, entries: Sequence[tuple[float, Quantity | None]], provenance: Provenance, field: str
) -> InputValue | None:
    """Return what a list holds at every lift; ``field`` is the value's name in the entries of the list."""
    recorded = {_key(lift): quantity for lift, quantity in entries if quantity is not None}
    if not recorded:
        return None
    lifts = _lifts(context)
    quantities = [recorded.get(lift) for lift in lifts]
    # A degree wheel is read to half a degree, even where integers were written down.
    steps = np.array([np.nan if quantity is None else min(quantity.step, 0.5) for quantity in quantities])
    first = next(index for index, (_, quantity) in enumerate(entries) if quantity is not None)
    return item.value(
        np.array([np.nan if quantity is None else quantity.si for quantity in quantities]),
        tuple("not recorded" if quantity is None else written_text(quantity) for quantity in quantities),
        provenance,
        labels=tuple(lifts.values()),
        places=tuple(lifts),
        step=float(np.nanmin(steps)),
        contributions={} if provenance == LISTED else uncertainty.root(item.name, steps / (2 * np.sqrt(3))),
        where=context.build.where(f"{item.path}.{first}.{field}"),
    )


def _duration(context: Context, item: Input) -> InputValue | None:
    durations: tuple[Duration, ...] = context.build.get(item.path) or ()
    entries = [(duration.lift, duration.duration) for duration in durations]
    return _by_lift(context, item, entries, LISTED, "duration")


def _event(event: str) -> Callable[[Context, Input], InputValue | None]:
    def get(context: Context, item: Input) -> InputValue | None:
        readings: tuple[Events, ...] = context.build.get(item.path) or ()
        entries = [(reading.lift, getattr(reading, event)) for reading in readings]
        return _by_lift(context, item, entries, MEASURED, event)

    return get


def _wheel_centerline_input(side: str) -> Input:
    """Return the centerline by the degree wheel: the middle of two equal-lift readings, the mean of several pairs."""

    def get(context: Context, item: Input) -> InputValue | None:
        pairs: tuple[EqualLift, ...] = context.build.get(item.path) or ()
        if not pairs:
            return None
        step = min(0.5, max(max(pair.opening.step, pair.closing.step) for pair in pairs))
        part = float(uncertainty.from_resolution(step)) / np.sqrt(2 * len(pairs))
        first = pairs[0]
        more = f", mean of {len(pairs)} pairs" if len(pairs) > 1 else ""
        return item.value(
            float(np.mean([wheel_centerline(pair, side) for pair in pairs])),
            (f"({written_text(first.opening)} + {written_text(first.closing)}) / 2{more}",),
            MEASURED,
            contributions=uncertainty.root(item.name, part),
            where=context.build.where(item.path),
        )

    return Input(
        f"{side}_centerline_wheel", f"{side} centerline by degree wheel", "C", units.ANGLE, f"cam.degreeing.{side}",
        get=get, reads=("cam.degreeing",),
    )  # fmt: skip


for _side in SIDES:
    define.add_inputs(
        Input(f"{_side}_duration", f"{_side} duration", f"D_{_side[0]}", units.ANGLE, f"cam.card.{_side}.durations",
              "lift", get=_duration, reads=("cam",)),
        _wheel_centerline_input(_side),
        Input(f"{_side}_centerline_stated", f"{_side} centerline as installed", f"C_{_side[0]}", units.ANGLE,
              f"cam.installed.{_side}_centerline"),
        Input(f"{_side}_centerline_card", f"{_side} centerline on the card", f"C_{_side[0]}", units.ANGLE,
              f"cam.card.{_side}.centerline", provenance=LISTED),
    )  # fmt: skip
for _name in EVENTS:
    _side = _name.partition("_")[0]
    define.add_inputs(
        Input(f"{_name}_measured", f"{_name.replace('_', ' ')}, by degree wheel", "", units.ANGLE,
              "cam.degreeing.events", "lift", get=_event(_name), reads=("cam",),
              hint=f"cam.yaml: degreeing.events, or card.{_side}.durations with a centerline"),
    )  # fmt: skip
define.add_inputs(
    Input("lobe_separation_card", "lobe separation on the card", "LSA", units.ANGLE, "cam.card.lobe_separation",
          provenance=LISTED),
)  # fmt: skip
