"""Solving the catalogue for one build: find inputs, broadcast, calculate, carry uncertainty, say what is missing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from builder.engine import uncertainty
from builder.engine.values import InputConflict, Value
from builder.figures.core.display_units import DisplayUnit, System
from builder.figures.core.inputs import INPUTS, Context
from builder.figures.core.registry import FigureDefinition, Method, Missing, catalogue
from builder.figures.core.types import (
    LISTED,
    Axis,
    Figure,
    InputValue,
    MethodDescription,
    MissingInputs,
    Position,
    weakest,
)
from builder.figures.core.working_text import (
    broadcast_contributions,
    headline,
    outlier_index,
    place,
    shown_at,
    with_uncertainty,
    working,
)
from builder.record.problem import Problem

_OUTLIER_AXES = ("cylinder", "main", "crankpin", "cam bearing", "intake valve", "exhaust valve", "bolt")
"""Kinds of position of which one can be the odd one out; lifts and pulls are meant to differ."""

_INDEPENDENT_AXES = ("joint", "fit", "part", "pull", "channel")
"""Kinds of position that have nothing to do with each other."""

_ENGINE_PARAMETER_NAMES = {
    "rod": ("rod_length",),
    "chamber_volume": ("chamber",),
    "compression_ratio": ("compression_wanted",),
    "gasket_volume": ("gasket_bore", "gasket_thickness"),
    "deck_volume": ("bore", "deck_clearance"),
    "land_diameter": ("bore", "top_land_clearance"),
    "land_height": ("top_land_height",),
    "intake_centreline": ("installed_centreline",),
    "duration": ("intake_duration", "exhaust_duration"),
    "opens": ("intake_opens", "exhaust_opens"),
    "closes": ("intake_closes", "exhaust_closes"),
    "housing_bore": ("main_bore", "big_end_bore"),
    "shell_thickness": ("main_shell", "rod_shell"),
    "journal": ("main_journal", "rod_journal"),
    "first_load": ("first_tested_load",),
    "second_load": ("last_tested_load",),
    "first_height": ("first_tested_height",),
    "second_height": ("last_tested_height",),
    "known_load": ("first_tested_load",),
    "known_height": ("first_tested_height",),
    "valve_lift": ("card_valve_lift",),
    "turns": ("preload_turns",),
    "pitch": ("adjuster_pitch",),
    "least": ("fit_least",),
    "most": ("fit_most",),
}
"""What the engine calls an input, where figures have another name for it or make it from several."""

LAST_DIGIT = 2 * 3**0.5 * 1.001
"""Turns the standard uncertainty of a rounded number back into one unit of its last digit."""


@dataclass(frozen=True)
class FigureResult:
    """What a figure's function may return instead of a bare value: the value, with a working of its own."""

    value: Value
    working: str | None = None
    note: str | None = None
    takes: tuple[str, ...] = ()
    """What the value came from, where that is not everything the function was given."""


@dataclass(frozen=True)
class _Solved:
    figure: Figure
    known: InputValue
    route: Method


class Solver:
    """Figures of one build, each solved once, on demand."""

    def __init__(
        self,
        source: Context,
        overrides: Mapping[str, InputValue | None] | None = None,
        *,
        with_uncertainty: bool = True,
    ) -> None:
        """``instead`` puts other values (or nothing) in the place of inputs, to answer what-if questions.

        Without ``uncertain`` nothing is carried along of how sure anything is, nor written for every position,
        which is quicker.
        """
        self.source = source
        self.problems: list[Problem] = []
        self._uncertain = with_uncertainty
        self._reported: set[frozenset[tuple[Path, int]]] = set()
        self._known: dict[str, InputValue | None] = dict(overrides or {})
        self._solved: dict[str, _Solved | MissingInputs] = {}
        self._separate: set[str] = set()

    def figure(self, slug: str) -> Figure | MissingInputs:
        """The figure, or what it needs."""
        solved = self._solve(slug)
        return solved.figure if isinstance(solved, _Solved) else solved

    def known(self, name: str) -> InputValue | None:
        """An input or a figure as something that other figures can take."""
        if name not in self._known:
            if name in INPUTS:
                self._known[name] = self._read(name)
            else:
                solved = self._solve(name)
                self._known[name] = solved.known if isinstance(solved, _Solved) else None
        known = self._known[name]
        if known is not None and known.axis and not known.figure:
            self._separate.add(name)
        return known

    def _read(self, name: str) -> InputValue | None:
        try:
            return self.source.known(name)
        except ValueError as refused:
            path, line = self.source.build.where(INPUTS[name].path)
            self.problems.append(Problem(path, line, f"{INPUTS[name].label} cannot be: {refused}"))
            return None

    def via(self, slug: str, number: int) -> tuple[Figure, InputValue] | None:
        """The figure by one particular route, and as others would take it, to compare two ways to one thing."""
        entry = catalogue()[slug]
        route = entry.routes[number]
        found = self._solved.get(slug)
        solved = found if isinstance(found, _Solved) and found.route is route else self._try(entry, route, [])
        return (solved.figure, solved.known) if solved else None

    def _solve(self, slug: str) -> _Solved | MissingInputs:
        if slug not in self._solved:
            entry = catalogue()[slug]
            lacking: list[tuple[str, ...]] = []
            solved = None
            for route in entry.routes:
                solved = self._try(entry, route, lacking)
                if solved is not None:
                    break
            self._solved[slug] = solved or MissingInputs(slug, entry.method.title, min(lacking, key=len, default=()))
        return self._solved[slug]

    def _try(self, entry: FigureDefinition, route: Method, lacking: list[tuple[str, ...]]) -> _Solved | None:
        taken = {name: known for name in route.inputs if (known := self.known(name)) is not None}
        if missing := [name for name in route.needed if name not in taken]:
            lacking.append(self._wanted(missing))
            return None
        try:
            return self._apply(entry, route, taken)
        except Missing as missed:
            lacking.append((str(missed),))
        except ValueError as refused:
            lacking.append((f"inputs that agree: {refused}",))
            self._conflict(entry, refused, taken)
        return None

    def _wanted(self, missing: list[str]) -> tuple[str, ...]:
        """What the record would have to hold, down to what somebody can write down."""
        wanted: list[str] = []
        for name in missing:
            if name in INPUTS:
                wanted.append(INPUTS[name].wanted)
            else:
                solved = self._solve(name)
                wanted += solved.needs if isinstance(solved, MissingInputs) else ()
        return tuple(dict.fromkeys(wanted))

    def _conflict(self, entry: FigureDefinition, refused: ValueError, taken: Mapping[str, InputValue]) -> None:
        names = [
            name for said in getattr(refused, "inputs", ()) for name in (said, *_ENGINE_PARAMETER_NAMES.get(said, ()))
        ]
        named = [taken[name] for name in dict.fromkeys(names) if name in taken] or list(taken.values())
        roots = [root for known in named for root in self._roots(known)]
        placed = {known.name: (known, known.where) for known in roots if known.where is not None}
        places = [where for _, where in placed.values()]
        if frozenset(places) in self._reported:
            return  # one impossible pair spoils many figures; saying it once is enough
        self._reported.add(frozenset(places))
        path, line = next(iter(places), self.source.build.where("build.engine"))
        values = ", ".join(f"{known.label} {known.text} ({file.name}:{row})" for known, (file, row) in placed.values())
        message = f"{entry.method.title.lower()} cannot be: {refused}; in conflict are {values}"
        self.problems.append(Problem(path, line, message.replace("\N{NO-BREAK SPACE}", " ")))

    def root_inputs(self, slug: str) -> frozenset[str]:
        """The names of all inputs that a figure rests on, directly or by way of others."""
        known = self.known(slug)
        return frozenset(root.name for root in self._roots(known)) if known else frozenset()

    def _roots(self, known: InputValue) -> list[InputValue]:
        if not known.figure:
            return [known]
        solved = self._solve(known.name)
        return [root for k in solved.figure.inputs for root in self._roots(k)] if isinstance(solved, _Solved) else []

    def _apply(self, entry: FigureDefinition, route: Method, taken: Mapping[str, InputValue]) -> _Solved:
        axis = None if entry.vectorised else _axis_of(entry, taken)
        fitted = (
            dict(taken) if entry.vectorised else {name: self._broadcast(known, axis) for name, known in taken.items()}
        )
        result = route.function(**{name: known.values for name, known in fitted.items()})
        outcome = result if isinstance(result, FigureResult) else FigureResult(result)
        if outcome.takes:
            fitted = {name: fitted[name] for name in outcome.takes}
        finite = np.isfinite(outcome.value)
        if not finite.any() or (axis is None and not finite.all()):
            raise InputConflict("the inputs give no finite number", *taken)
        if axis is not None and not finite.all():
            # A position that was not recorded everywhere it counts is left out, not guessed.
            kept = np.flatnonzero(finite)
            fitted = {name: _at(known, axis, kept) for name, known in fitted.items()}
            outcome = replace(outcome, value=np.asarray(outcome.value)[kept])
            axis = Axis(axis.kind, tuple(axis.labels[index] for index in kept))
        if entry.vectorised:
            fitted = {name: self._broadcast(known, None) for name, known in fitted.items()}
        return self._solved_from(entry, route, fitted, outcome, self._contributions(route, fitted, outcome.value), axis)

    def _broadcast(self, known: InputValue, axis: Axis | None) -> InputValue:
        """The input as this figure takes it: kept along the figure's own positions, else averaged over its own."""
        if known.axis is None or known.axis == axis:
            return known
        if axis is not None and known.axis.kind == axis.kind:
            return _at(known, known.axis, np.array([known.axis.labels.index(label) for label in axis.labels]))
        shown = INPUTS[known.name].shown if known.name in INPUTS else catalogue()[known.name].method.display_unit
        known = _at(known, known.axis, np.flatnonzero(np.isfinite(known.values)))
        mean = float(np.mean(known.values))
        parts = broadcast_contributions(known.contributions, np.size(known.values))
        separate = [name for name in parts if name in self._separate]
        return replace(
            known,
            values=mean,
            axis=None,
            texts=(shown.text(mean, self.source.system),),
            contributions=uncertainty.over_positions(parts, separate),
        )

    def _contributions(
        self, route: Method, fitted: Mapping[str, InputValue], value: Value
    ) -> uncertainty.Contributions:
        uncertain = [name for name, known in fitted.items() if known.contributions] if self._uncertain else []
        if not uncertain:
            return {}
        if len(fitted) == 1 and value is fitted[uncertain[0]].values:
            return dict(fitted[uncertain[0]].contributions)  # a reading as it was taken is just as sure

        def value_of(**values: Value) -> Value:
            result = route.function(**values)
            return result.value if isinstance(result, FigureResult) else result

        slopes = uncertainty.partials(value_of, {n: known.values for n, known in fitted.items()}, uncertain)
        return uncertainty.chain(slopes, {name: fitted[name].contributions for name in uncertain})

    def _solved_from(
        self,
        entry: FigureDefinition,
        route: Method,
        fitted: Mapping[str, InputValue],
        outcome: FigureResult,
        contributions: uncertainty.Contributions,
        axis: Axis | None,
    ) -> _Solved:
        method, system = entry.method, self.source.system
        values = np.atleast_1d(np.asarray(outcome.value, dtype=np.float64))
        if axis and len(axis.labels) != len(values):
            axis = None
        value = headline(method.headline, values)
        if not self._uncertain:
            return self._plain_result(method, route, fitted, outcome.value if axis else value, value, axis)
        stated = any(known.has_stated_resolution for known in fitted.values())
        # Where no reading states its resolution, the last digit written is the last that means anything.
        coverage = uncertainty.COVERAGE if stated else LAST_DIGIT
        each = np.full(values.shape, uncertainty.expanded(uncertainty.combine(contributions), coverage))
        at = shown_at(method.headline, values)
        overall = float(each[at])
        if method.headline == "mean" and axis:
            separate = [name for name in contributions if name in self._separate]
            mean_parts = uncertainty.over_positions(broadcast_contributions(contributions, len(values)), separate)
            overall = float(uncertainty.expanded(uncertainty.combine(mean_parts), coverage))
        display = method.display_unit.text(value, system, overall)
        other = self._other_system(method.display_unit)
        beside = None
        if other:
            beside = method.display_unit.text(
                value, other, method.display_unit.rounding_step(overall, other) if stated else overall
            )
        shown_each = (
            np.array([method.display_unit.rounding_step(unsure, system) for unsure in each]) if stated else each
        )
        positions = _positions(method, axis, values, shown_each, system, other) if axis else ()
        displays = tuple(position.display for position in positions) or (display,)
        apart = outlier_index(values, float(each[0])) if axis and axis.kind in _OUTLIER_AXES else None
        texts = {name: known.texts[at if known.axis else 0] for name, known in fitted.items()}
        pattern, where = outcome.working or route.working, place(axis, at) if axis else ""
        figure = Figure(
            method,
            value,
            with_uncertainty(method.display_unit, value, overall, system) if stated else display,
            beside,
            weakest(tuple(known.provenance for known in fitted.values())),
            working(pattern, texts, displays[at if axis else 0], where),
            tuple(fitted.values()),
            positions,
            axis.kind if axis else None,
            axis.labels[apart] if axis and apart is not None else None,
            overall if stated else None,
            outcome.note,
        )
        known = InputValue(
            method.slug, method.title.lower(), "", outcome.value if axis else float(values[0]), displays,
            figure.provenance, axis, contributions, stated, None, figure=True,
        )  # fmt: skip
        return _Solved(figure, known, route)

    def _plain_result(
        self,
        method: MethodDescription,
        route: Method,
        fitted: Mapping[str, InputValue],
        values: Value,
        value: float,
        axis: Axis | None,
    ) -> _Solved:
        """A figure without its uncertainty, its working and its positions."""
        display = method.display_unit.text(value, self.source.system)
        figure = Figure(method, value, display, None, LISTED, "", tuple(fitted.values()))
        known = InputValue(
            method.slug, method.title.lower(), "", values, (display,), LISTED, axis, figure=True
        )  # fmt: skip
        return _Solved(figure, known, route)

    def _other_system(self, shown: DisplayUnit) -> System | None:
        """The system to show beside the build's own, where the shop wants both and they differ."""
        if self.source.shop.units != "both" or shown.inch == shown.metric:
            return None
        return "metric" if self.source.system == "inch" else "inch"


def _positions(
    method: MethodDescription,
    axis: Axis,
    values: np.ndarray[Any, np.dtype[np.float64]],
    each: np.ndarray[Any, np.dtype[np.float64]],
    system: System,
    other: System | None,
) -> tuple[Position, ...]:
    """The figure at every position.

    Positions of one kind are written with the same number of decimals; joints and fits are each their own.
    Only joints have the other system beside each; elsewhere the whole has it.
    """
    unsure = each.tolist() if axis.kind in _INDEPENDENT_AXES else [float(each.max())] * len(values)
    displays = method.display_unit.texts(values.tolist(), system, unsure)
    besides: list[str | None] = [None] * len(values)
    if other and axis.kind == "joint":
        besides = [*method.display_unit.texts(values.tolist(), other, unsure)]
    return tuple(map(Position, axis.labels, values.tolist(), displays, besides))


def _at(known: InputValue, axis: Axis, kept: np.ndarray[Any, np.dtype[np.intp]]) -> InputValue:
    """An input at some of the positions of an axis."""
    if known.axis != axis:
        return known
    return replace(
        known,
        values=np.asarray(known.values)[kept],
        texts=tuple(known.texts[index] for index in kept) if len(known.texts) == len(axis.labels) else known.texts,
        axis=Axis(axis.kind, tuple(axis.labels[index] for index in kept)),
        contributions={
            name: np.asarray(part)[kept] if np.ndim(part) else part for name, part in known.contributions.items()
        },
    )


def _axis_of(entry: FigureDefinition, taken: Mapping[str, InputValue]) -> Axis | None:
    axes = [known.axis for known in taken.values() if known.axis is not None]
    if entry.axis is not None:
        axes = [axis for axis in axes if axis.kind == entry.axis]
    if not axes:
        return None
    if all(axis is axes[0] or axis == axes[0] for axis in axes):
        return axes[0]
    kind = axes[0].kind
    others = [set(axis.labels) for axis in axes if axis.kind == kind]
    labels = tuple(label for label in axes[0].labels if all(label in other for other in others))
    if not labels:
        raise Missing(f"the same {kind} for {' and '.join(k.label for k in taken.values() if k.axis)}")
    return Axis(kind, labels)
