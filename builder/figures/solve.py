"""Solving the catalogue for one build: find inputs, broadcast, calculate, carry uncertainty, say what is missing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from builder.engine import uncertainty
from builder.engine.fits import odd_one_out
from builder.engine.values import Conflict, Value
from builder.figures.catalogue import Entry, Missing, Route, catalogue
from builder.figures.figure import Axis, Figure, Known, Need, Position, weakest
from builder.figures.inputs import INPUTS, Source, read
from builder.figures.shown import Shown, System
from builder.record.problem import Problem

_PLACES = ("cylinder", "main", "crankpin", "bearing")
"""Kinds of position of which one can be the odd one out; lifts and pulls are meant to differ."""


_LAST_DIGIT = 2 * 3**0.5 * 1.001
"""Turns the standard uncertainty of a rounded number back into one unit of its last digit."""


@dataclass(frozen=True)
class Outcome:
    """What a figure's function may return instead of a bare value: the value, with a working of its own."""

    value: Value
    working: str | None = None
    note: str | None = None


@dataclass(frozen=True)
class _Solved:
    figure: Figure
    known: Known


class Solver:
    """Figures of one build, each solved once, on demand."""

    def __init__(self, source: Source, instead: Mapping[str, Known] | None = None) -> None:
        """``instead`` puts other values in the place of inputs, to answer what-if questions."""
        self.source = source
        self.problems: list[Problem] = []
        self._known: dict[str, Known | None] = dict(instead or {})
        self._solved: dict[str, _Solved | Need] = {}
        self._separate: set[str] = set()

    def figure(self, slug: str) -> Figure | Need:
        """The figure, or what it needs."""
        solved = self._solve(slug)
        return solved.figure if isinstance(solved, _Solved) else solved

    def known(self, name: str) -> Known | None:
        """An input or a figure as something that other figures can take."""
        if name not in self._known:
            if name in INPUTS:
                self._known[name] = read(INPUTS[name], self.source)
            else:
                solved = self._solve(name)
                self._known[name] = solved.known if isinstance(solved, _Solved) else None
        known = self._known[name]
        if known is not None and known.axis and not known.figure:
            self._separate.add(name)
        return known

    def by_route(self, slug: str, number: int) -> Figure | None:
        """The figure by one particular route, to compare two ways to the same thing."""
        entry = catalogue()[slug]
        solved = self._try(entry, entry.routes[number], [])
        return solved.figure if solved else None

    def _solve(self, slug: str) -> _Solved | Need:
        if slug not in self._solved:
            entry = catalogue()[slug]
            lacking: list[tuple[str, ...]] = []
            solved = None
            for route in entry.routes:
                solved = self._try(entry, route, lacking)
                if solved is not None:
                    break
            self._solved[slug] = solved or Need(slug, entry.method.title, min(lacking, key=len, default=()))
        return self._solved[slug]

    def _try(self, entry: Entry, route: Route, lacking: list[tuple[str, ...]]) -> _Solved | None:
        taken = {name: known for name in route.takes if (known := self.known(name)) is not None}
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
                wanted += solved.needs if isinstance(solved, Need) else ()
        return tuple(dict.fromkeys(wanted))

    def _conflict(self, entry: Entry, refused: ValueError, taken: Mapping[str, Known]) -> None:
        named = [taken[name] for name in getattr(refused, "inputs", ()) if name in taken] or list(taken.values())
        roots = [root for known in named for root in self._roots(known)]
        places = {known.where: known for known in roots if known.where is not None}
        path, line = next(iter(places), self.source.build.where("build.engine"))
        values = ", ".join(
            f"{known.label} {known.text} ({where[0].name}:{where[1]})" for where, known in places.items()
        )
        message = f"{entry.method.title.lower()} cannot be: {refused}; in conflict are {values}"
        problem = Problem(path, line, message)
        if problem not in self.problems:
            self.problems.append(problem)

    def _roots(self, known: Known) -> list[Known]:
        if not known.figure:
            return [known]
        solved = self._solve(known.name)
        return [root for k in solved.figure.inputs for root in self._roots(k)] if isinstance(solved, _Solved) else []

    def _apply(self, entry: Entry, route: Route, taken: Mapping[str, Known]) -> _Solved:
        axis = None if entry.whole else _axis_of(entry, taken)
        fitted = {name: known if entry.whole else self._fit(known, axis) for name, known in taken.items()}
        values: dict[str, Any] = {name: known.values for name, known in fitted.items()}
        result = route.function(**values)
        outcome = result if isinstance(result, Outcome) else Outcome(result)
        finite = np.isfinite(outcome.value)
        if not finite.any() or (axis is None and not finite.all()):
            raise Conflict("the inputs give no finite number", *taken)
        if axis is not None and not finite.all():
            # A position that was not recorded everywhere it counts is left out, not guessed.
            kept = np.flatnonzero(finite)
            fitted = {name: _at(known, axis, kept) for name, known in fitted.items()}
            outcome = replace(outcome, value=np.asarray(outcome.value)[kept])
            axis = Axis(axis.kind, tuple(axis.labels[index] for index in kept))
        contributions = self._contributions(entry, route, fitted)
        return self._solved_from(entry, route, fitted, outcome, contributions, axis)

    def _fit(self, known: Known, axis: Axis | None) -> Known:
        """The input as this figure takes it: kept along the figure's own positions, else averaged over its own."""
        if known.axis is None or known.axis == axis:
            return known
        if axis is not None and known.axis.kind == axis.kind:
            return _at(known, known.axis, np.array([known.axis.labels.index(label) for label in axis.labels]))
        shown = INPUTS[known.name].shown if known.name in INPUTS else catalogue()[known.name].method.shown
        known = _at(known, known.axis, np.flatnonzero(np.isfinite(known.values)))
        mean = float(np.mean(known.values))
        parts = _spread_out(known.contributions, np.size(known.values))
        separate = [name for name in parts if name in self._separate]
        return replace(
            known,
            values=mean,
            axis=None,
            texts=(shown.text(mean, self.source.system),),
            contributions=uncertainty.over_positions(parts, separate),
        )

    def _contributions(self, entry: Entry, route: Route, fitted: Mapping[str, Known]) -> uncertainty.Contributions:
        if entry.whole:
            fitted = {name: self._fit(known, None) for name, known in fitted.items()}
        uncertain = [name for name, known in fitted.items() if known.contributions]
        if not uncertain:
            return {}

        def value_of(**values: Value) -> Value:
            result = route.function(**values)
            return result.value if isinstance(result, Outcome) else result

        slopes = uncertainty.partials(value_of, {n: known.values for n, known in fitted.items()}, uncertain)
        return uncertainty.chain(slopes, {name: fitted[name].contributions for name in uncertain})

    def _solved_from(
        self,
        entry: Entry,
        route: Route,
        fitted: Mapping[str, Known],
        outcome: Outcome,
        contributions: uncertainty.Contributions,
        axis: Axis | None,
    ) -> _Solved:
        method, system = entry.method, self.source.system
        values = np.atleast_1d(np.asarray(outcome.value, dtype=np.float64))
        count = len(values)
        if axis and len(axis.labels) != count:
            axis = None
        stated = any(known.stated for known in fitted.values())
        # Where no reading states its resolution, the last digit written is the last that means anything.
        coverage = uncertainty.COVERAGE if stated else _LAST_DIGIT
        each = np.broadcast_to(
            np.asarray(uncertainty.expanded(uncertainty.combine(contributions), coverage)), values.shape
        )
        displays = [method.shown.text(float(v), system, float(u)) for v, u in zip(values, each, strict=True)]
        overall = float(each.mean())
        if method.headline == "mean" and axis:
            parts = _spread_out(contributions, count)
            separate = [name for name in parts if name in self._separate]
            mean_parts = uncertainty.over_positions(parts, separate)
            overall = float(uncertainty.expanded(uncertainty.combine(mean_parts), coverage))
        value = _headline(method.headline, values)
        display = method.shown.text(value, system, overall)
        other: System = "metric" if system == "inch" else "inch"
        beside = None
        if self.source.shop.units == "both" and method.shown.inch != method.shown.metric:
            beside = method.shown.text(value, other, overall)
        if stated:
            display = _with_uncertainty(method.shown, value, overall, system)
        texts = {name: known.texts[0] for name, known in fitted.items()}
        working = (outcome.working or route.working).format_map(_OrNone(texts))
        first = _place(axis, 0) if axis else ""
        positions: tuple[Position, ...] = ()
        odd = None
        if axis:
            positions = tuple(
                Position(label, float(v), text) for label, v, text in zip(axis.labels, values, displays, strict=True)
            )
            if axis.kind in _PLACES:
                odd = _odd(axis, values, displays)
        figure = Figure(
            method,
            value,
            display,
            beside,
            weakest(tuple(known.basis for known in fitted.values())),
            f"{first}{working} = {displays[0]}",
            tuple(fitted.values()),
            positions,
            axis.kind if axis else None,
            odd,
            overall if stated else None,
            outcome.note,
        )
        known = Known(
            method.slug, method.title.lower(), "", outcome.value if axis else float(values[0]), tuple(displays),
            figure.basis, axis, contributions, stated, None, figure=True,
        )  # fmt: skip
        return _Solved(figure, known)


def _odd(axis: Axis, values: np.ndarray[Any, np.dtype[np.float64]], displays: list[str]) -> str | None:
    """Label of the position that stands apart, if by more than the digits shown."""
    index = odd_one_out(values)
    if index is None:
        return None
    middle = int(np.argsort(values)[len(values) // 2])
    return axis.labels[index] if displays[index] != displays[middle] else None


class _OrNone(dict[str, str]):
    """Fills an optional input that the record does not hold."""

    def __missing__(self, key: str) -> str:
        return "0 (none recorded)"


def _at(known: Known, axis: Axis, kept: np.ndarray[Any, np.dtype[np.intp]]) -> Known:
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


def _axis_of(entry: Entry, taken: Mapping[str, Known]) -> Axis | None:
    axes = [known.axis for known in taken.values() if known.axis is not None]
    if entry.axis is not None:
        axes = [axis for axis in axes if axis.kind == entry.axis]
    if not axes:
        return None
    kind = axes[0].kind
    others = [set(axis.labels) for axis in axes if axis.kind == kind]
    labels = tuple(label for label in axes[0].labels if all(label in other for other in others))
    if not labels:
        raise Missing(f"the same {kind} for {' and '.join(k.label for k in taken.values() if k.axis)}")
    return Axis(kind, labels)


def _spread_out(contributions: Mapping[str, Value], count: int) -> uncertainty.Contributions:
    """Contributions with one entry for each position."""
    return {name: np.broadcast_to(np.asarray(part, dtype=np.float64), (count,)) for name, part in contributions.items()}


def _place(axis: Axis, index: int) -> str:
    """`cylinder 3: `, `at 0.050 in: `, `intake: `."""
    label = axis.labels[index]
    if axis.kind == "lift":
        return f"at {label}: "
    return f"{label}: " if axis.kind in ("side", "speed", "pull", "joint") else f"{axis.kind} {label}: "


def _headline(kind: str, values: np.ndarray[Any, np.dtype[np.float64]]) -> float:
    if kind == "first":
        return float(values[0])
    if kind == "most":
        return float(np.max(values))
    return float(np.min(values) if kind == "least" else np.mean(values))


def _with_uncertainty(shown: Shown, value: float, expanded: float, system: System) -> str:
    """`10.42 ± 0.05`, unless the uncertainty is lost in the last digit shown."""
    spread = f"{shown.step(expanded, system):.{shown.decimals(expanded, system)}f}"
    whole = shown.text(value, system, expanded)
    if float(spread) == 0:
        return whole
    number = shown.text(value, system, expanded, with_unit=False)
    unit = whole.removeprefix(number)
    return f"{number} ± {spread}{unit if unit != ':1' else ''}"
