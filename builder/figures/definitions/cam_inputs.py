"""Inputs of the valve train: by lift (timing is only ever true at a lift), and by side (intake, exhaust)."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from builder.engine import uncertainty, valve_train
from builder.engine.constants import INCH
from builder.figures.core import display_units as units
from builder.figures.core.display_units import DisplayUnit, written_text
from builder.figures.core.inputs import INPUTS, Context, Input, computed_input, known_of, register_inputs
from builder.figures.core.types import GIVEN, LISTED, MEASURED, Axis, InputValue, weakest
from builder.record.models.cam import Duration, EqualLift, Events
from builder.record.quantities.readings import Reading
from builder.record.quantities.threads import parse_thread
from builder.record.quantities.units import Quantity, parse_quantity

SIDES = ("intake", "exhaust")
_REFERENCES = (0.050 * INCH, 0.001)
"""Lifts that the trade compares cams at: 0.050 in, and 1 mm."""


def lift_of(mark: str) -> float | None:
    """The lift [m] of a timing mark; None for `seat`."""
    return None if mark == "seat" else parse_quantity(mark, "length").si


def _key(mark: str) -> float:
    lift = lift_of(mark)
    return -1.0 if lift is None else round(lift, 7)


def lift_labels(source: Context) -> tuple[str, ...]:
    """Every lift at which the record has timing, the one that cams are compared at first."""
    cam = source.build.cam
    if cam is None:
        return ()
    marks: list[str] = []
    for side in SIDES:
        lobe = getattr(cam.card, side) if cam.card else None
        marks += [duration.at for duration in lobe.durations] if lobe else []
    marks += [events.at for events in cam.degreeing.events] if cam.degreeing else []
    by_key: dict[float, str] = {}
    for mark in marks:
        by_key.setdefault(_key(mark), mark)

    def order(key: float) -> tuple[int, float]:
        rank = next((i for i, reference in enumerate(_REFERENCES) if abs(key - reference) < 1e-6), len(_REFERENCES))
        return (rank if key >= 0 else len(_REFERENCES) + 1, key)

    return tuple(by_key[key] for key in sorted(by_key, key=order))


def _by_lift(
    name: str, source: Context, entries: Sequence[tuple[str, Quantity | None]], basis: str, path: str, last: str
) -> InputValue | None:
    """What a list holds at every lift; ``path`` leads to the list, ``last`` to the value in its entries."""
    labels = lift_labels(source)
    found = {_key(mark): quantity for mark, quantity in entries if quantity is not None}
    if not found:
        return None
    quantities = [found.get(_key(label)) for label in labels]
    values = np.array([np.nan if quantity is None else quantity.si for quantity in quantities])
    # A degree wheel is read to half a degree, also where whole ones were written down.
    steps = np.array([np.nan if quantity is None else min(quantity.step, 0.5) for quantity in quantities])
    texts = tuple("not recorded" if quantity is None else written_text(quantity) for quantity in quantities)
    item = INPUTS[name]
    return InputValue(
        name,
        item.label,
        item.symbol,
        values,
        texts,
        basis,
        Axis("lift", labels),
        {} if basis == LISTED else uncertainty.root(name, steps / (2 * np.sqrt(3))),
        where=source.build.where(f"{path}.{next(i for i, (_, q) in enumerate(entries) if q is not None)}.{last}"),
    )


def _durations(side: str) -> Callable[[Context], InputValue | None]:
    def get(source: Context) -> InputValue | None:
        durations: tuple[Duration, ...] = source.build.get(f"cam.card.{side}.durations") or ()
        entries = [(duration.at, duration.duration) for duration in durations]
        return _by_lift(f"{side}_duration", source, entries, LISTED, f"cam.card.{side}.durations", "duration")

    return get


def _event(event: str) -> Callable[[Context], InputValue | None]:
    def get(source: Context) -> InputValue | None:
        read: tuple[Events, ...] = source.build.get("cam.degreeing.events") or ()
        entries = [(events.at, getattr(events, event)) for events in read]
        return _by_lift(f"{event}_measured", source, entries, MEASURED, "cam.degreeing.events", event)

    return get


for _side in SIDES:
    computed_input(
        f"{_side}_duration",
        f"{_side} duration",
        f"D_{_side[0]}",
        units.ANGLE,
        f"cam.card.{_side}.durations",
        "lift",
    )(_durations(_side))
for _name, _label in (
    ("intake_opens", "intake opens, by degree wheel"),
    ("intake_closes", "intake closes, by degree wheel"),
    ("exhaust_opens", "exhaust opens, by degree wheel"),
    ("exhaust_closes", "exhaust closes, by degree wheel"),
):
    _side = _name.partition("_")[0]
    computed_input(
        f"{_name}_measured", _label, "", units.ANGLE, "cam.degreeing.events", "lift",
        hint=f"cam.yaml: degreeing.events, or card.{_side}.durations with a centreline",
    )(_event(_name))  # fmt: skip


def wheel_centreline(pair: EqualLift, side: str) -> float:
    """The middle of a pair [deg]. Near TDC is the intake's opening side, but the exhaust's closing side."""
    near, far = (pair.opening.si, pair.closing.si) if side == "intake" else (pair.closing.si, pair.opening.si)
    return float(valve_train.installed_centreline(near, far))


def _wheel(side: str) -> Callable[[Context], InputValue | None]:
    """Centreline by the degree wheel: the middle of two equal-lift readings, the mean of several pairs."""

    def get(source: Context) -> InputValue | None:
        pairs: tuple[EqualLift, ...] = source.build.get(f"cam.degreeing.{side}") or ()
        if not pairs:
            return None
        name = f"{side}_centreline_wheel"
        middles = [wheel_centreline(pair, side) for pair in pairs]
        step = min(0.5, max(max(pair.opening.step, pair.closing.step) for pair in pairs))
        parts = [float(uncertainty.from_resolution(step)) / np.sqrt(2 * len(pairs))]
        first = pairs[0]
        more = f", mean of {len(pairs)} pairs" if len(pairs) > 1 else ""
        text = f"({written_text(first.opening)} + {written_text(first.closing)}) / 2{more}"
        item = INPUTS[name]
        return InputValue(
            name,
            item.label,
            item.symbol,
            float(np.mean(middles)),
            (text,),
            MEASURED,
            contributions=uncertainty.root(name, *parts),
            where=source.build.where(f"cam.degreeing.{side}"),
        )

    return get


for _side in SIDES:
    computed_input(
        f"{_side}_centreline_wheel",
        f"{_side} centreline by degree wheel",
        "C",
        units.ANGLE,
        f"cam.degreeing.{_side}",
    )(_wheel(_side))

register_inputs(
    Input("intake_centreline_stated", "intake centreline as installed", "C_i", units.ANGLE,
          "cam.installed.intake_centreline"),
    Input("exhaust_centreline_stated", "exhaust centreline as installed", "C_e", units.ANGLE,
          "cam.installed.exhaust_centreline"),
    Input("intake_centreline_card", "intake centreline on the card", "C_i", units.ANGLE,
          "cam.card.intake.centreline", basis=LISTED),
    Input("exhaust_centreline_card", "exhaust centreline on the card", "C_e", units.ANGLE,
          "cam.card.exhaust.centreline", basis=LISTED),
    Input("lobe_separation_card", "lobe separation on the card", "LSA", units.ANGLE,
          "cam.card.lobe_separation", basis=LISTED),
    Input("preload_turns", "turns past zero lash", "u", units.RATIO, "cam.lifters.preload_turns"),
)  # fmt: skip


def _by_side(
    name: str, source: Context, readings: tuple[Reading | Quantity | None, ...], paths: tuple[str, ...]
) -> InputValue | None:
    """An input with a value for the intake and one for the exhaust side; either may be missing."""
    item = INPUTS[name]
    alike = replace(item, axis=None)  # several springs or valves of one side are the same part
    known = [None if reading is None else known_of(alike, reading) for reading in readings]
    if not any(known):
        return None
    means = [np.nan if k is None else float(np.mean(k.values)) for k in known]
    parts = [np.nan if k is None else float(np.mean(list(k.contributions.values()))) for k in known]
    present = [k for k in known if k is not None]
    where = next(source.build.where(path) for k, path in zip(known, paths, strict=True) if k is not None)
    return InputValue(
        name,
        item.label,
        item.symbol,
        np.array(means),
        tuple("not recorded" if k is None else k.texts[0] for k in known),
        weakest(tuple(k.provenance for k in present)),
        Axis("side", SIDES),
        {name: np.array(parts)},
        any(k.has_stated_resolution for k in present),
        where,
    )


def _sided(
    name: str, label: str, symbol: str, shown: DisplayUnit, intake: str, exhaust: str, *, shared: bool = False
) -> None:
    """Declare an input that the record holds under one path for each side.

    With ``shared`` the exhaust takes the intake's value where it has none of its own.
    """

    def get(source: Context) -> InputValue | None:
        on_intake, on_exhaust = source.build.get(intake), source.build.get(exhaust)
        if shared and on_exhaust is None:
            on_exhaust = on_intake
        return _by_side(name, source, (on_intake, on_exhaust), (intake, exhaust))

    computed_input(name, label, symbol, shown, intake, "side")(get)


_sided("lobe_lift", "lift at the lobe", "l", units.LENGTH, "cam.card.intake.lobe_lift", "cam.card.exhaust.lobe_lift")
_sided(
    "card_valve_lift", "lift at the valve, on the card", "l_v", units.LENGTH,
    "cam.card.intake.valve_lift", "cam.card.exhaust.valve_lift",
)  # fmt: skip
_sided("card_rocker_ratio", "rocker ratio of the card", "R_c", units.RATIO, "cam.card.intake.rocker_ratio",
       "cam.card.exhaust.rocker_ratio", shared=True)  # fmt: skip
_sided("rocker_ratio", "rocker ratio", "R", units.RATIO, "top_end.rockers.ratio", "top_end.rockers.exhaust_ratio",
       shared=True)  # fmt: skip
_sided(
    "valve_diameter", "valve head diameter", "D_v", units.LENGTH,
    "top_end.heads.intake_valve.diameter", "top_end.heads.exhaust_valve.diameter",
)  # fmt: skip
_sided(
    "installed_height", "spring height, valve shut", "h_0", units.LENGTH,
    "top_end.springs.installed_height", "top_end.springs.exhaust_installed_height", shared=True,
)  # fmt: skip
_sided(
    "piston_to_valve_measured", "piston to valve, measured", "", units.LENGTH,
    "assembly.checks.intake_piston_to_valve", "assembly.checks.exhaust_piston_to_valve",
)  # fmt: skip


@computed_input("lash", "lash", "j", units.LENGTH, "cam.card.intake.lash", "side")
def _lash(source: Context) -> InputValue | None:
    """Lash as set where it was recorded, else as the card asks; none for hydraulic lifters."""
    paths = [(f"assembly.checks.{side}_lash", f"cam.card.{side}.lash") for side in SIDES]
    found = [source.build.get(as_set) or source.build.get(card) for as_set, card in paths]
    known = _by_side("lash", source, (found[0], found[1]), (paths[0][1], paths[1][1]))
    if known is None:
        return None
    # A side without lash beside one that has it would lose its lift altogether.
    filled = np.nan_to_num(np.asarray(known.values))
    parts = {name: np.nan_to_num(np.asarray(part)) for name, part in known.contributions.items()}
    return InputValue(
        known.name, known.label, known.symbol, filled, known.texts, known.provenance, known.axis, parts, known.has_stated_resolution,
        known.where,
    )  # fmt: skip


register_inputs(
    Input("rate_listed", "spring rate, as listed", "k", units.STIFFNESS, "top_end.springs.rate"),
    Input("seat_load_recorded", "seat load", "F_0", units.FORCE, "top_end.springs.seat_load"),
    Input("solid_height", "spring height at coil bind", "h_s", units.LENGTH, "top_end.springs.solid_height"),
    Input("coil_bind_measured", "spring travel left, measured", "", units.LENGTH, "assembly.checks.coil_bind"),
)  # fmt: skip


def _tested(source: Context, index: int, what: str) -> Quantity | None:
    tested = source.build.get("top_end.springs.tested") or ()
    return getattr(tested[index], what) if len(tested) > 1 else None


for _number, _which in ((0, "first"), (-1, "last")):
    for _what, _shown in (("height", units.LENGTH), ("load", units.FORCE)):

        def _get(source: Context, index: int = _number, what: str = _what, which: str = _which) -> InputValue | None:
            quantity = _tested(source, index, what)
            return None if quantity is None else known_of(INPUTS[f"{which}_tested_{what}"], quantity)

        computed_input(f"{_which}_tested_{_what}", f"{_which} {_what} on the tester", "", _shown,
                       "top_end.springs.tested")(_get)  # fmt: skip


@computed_input("pivot_ratio", "rocker ratio, the adjuster at its pivot", "R", units.RATIO, "top_end.rockers.ratio",
                "side")  # fmt: skip
def _pivot_ratio(source: Context) -> InputValue | None:
    """The rocker's ratio where the adjuster moves its pivot; not a number where that is known and the ratio is not."""
    if source.build.get("cam.lifters.adjuster_at") != "rocker pivot":
        return None
    item, ratio = INPUTS["pivot_ratio"], source.known("rocker_ratio")
    if ratio is None:
        return InputValue(item.name, item.label, item.symbol, float("nan"), ("not recorded",), GIVEN)
    return replace(ratio, name=item.name, label=item.label, contributions=uncertainty.root(
        item.name, *ratio.contributions.values()))  # fmt: skip


@computed_input("adjuster_pitch", "pitch of the adjuster's thread", "p", units.LENGTH, "cam.lifters.adjuster_thread")
def _pitch(source: Context) -> InputValue | None:
    written = source.build.get("cam.lifters.adjuster_thread")
    thread = parse_thread(written) if written else None
    if thread is None or thread.pitch is None:
        return None
    item = INPUTS["adjuster_pitch"]
    return InputValue(item.name, item.label, item.symbol, thread.pitch, (f"pitch of {written}",), GIVEN)
