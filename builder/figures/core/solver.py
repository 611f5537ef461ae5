"""Compute figures for one build: find inputs, broadcast, calculate, propagate uncertainty, say what is missing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from builder.engine import uncertainty
from builder.engine.validation import Array, InputConflict, Value
from builder.figures.core.display_units import TEMPERATURE, DisplayUnit, System, join_unit
from builder.figures.core.inputs import Context
from builder.figures.core.positions import at_positions, common_axis, figure_positions
from builder.figures.core.registry import Missing
from builder.figures.core.types import (
    LISTED,
    Axis,
    Figure,
    FigureDefinition,
    FigureDescription,
    InputValue,
    Method,
    MissingInputs,
    weakest,
)
from builder.figures.core.working_text import (
    broadcast_contributions,
    headline,
    headline_index,
    number_and_uncertainty,
    outlier_index,
    position_prefix,
    shown_number,
    working,
)
from builder.record.problem import Problem
from builder.record.quantities.digits import rounded
from builder.record.wording import in_sentence, plain_spaces

_OUTLIER_AXES = ("cylinder", "main", "crankpin", "cam bearing", "intake valve", "exhaust valve", "bolt")
"""Kinds of position of which one can be an outlier; lifts and pulls are meant to differ."""

_INPUTS_OF_PARAMETER = {
    "rod": ("rod_length",),
    "chamber_volume": ("chamber",),
    "compression_ratio": ("compression_wanted",),
    "gasket_volume": ("gasket_bore", "gasket_thickness"),
    "deck_volume": ("bore", "deck_clearance"),
    "land_diameter": ("bore", "top_land_clearance"),
    "land_height": ("top_land_height",),
    "intake_centerline": ("installed_centerline",),
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
"""The inputs behind a parameter of the engine package, where their names differ."""

LAST_DIGIT = 2 * 3**0.5 * 1.001
"""Standard uncertainty of a rounded number times this is one unit of its last digit."""


@dataclass(frozen=True)
class FigureResult:
    """What a figure's function may return in place of a value: the value, with a working of its own."""

    value: Value
    working: str | None = None
    note: str | None = None
    inputs: tuple[str, ...] = ()
    """The inputs that the value came from, where that is not everything the function was given."""


@dataclass(frozen=True)
class Solved:
    """A figure, and the same as other figures take it."""

    figure: Figure
    value: InputValue


@dataclass(frozen=True, eq=False)
class _Certainty:
    """How well a figure is known: its expanded uncertainty [SI] at each position, and of its own value."""

    is_known: bool
    is_stated: bool
    """Whether a reading below it states its resolution; otherwise the uncertainty is that of the last digits."""
    by_position: Array
    expanded: float


class Solver:
    """The figures of one build, each computed once, on demand."""

    def __init__(
        self,
        context: Context,
        overrides: Mapping[str, InputValue | None] | None = None,
        *,
        with_uncertainty: bool = True,
        solved: Mapping[str, Solved | MissingInputs] | None = None,
    ) -> None:
        """Use ``overrides`` in place of inputs (None: not recorded), to answer what-if questions.

        Without uncertainty no figure has its working or its positions either, which is quicker.
        ``solved`` are figures that are known already.
        """
        self.context = context
        self.problems: list[Problem] = []
        self._with_uncertainty = with_uncertainty
        self._reported: set[frozenset[tuple[Path, int]]] = set()
        self._inputs: dict[str, InputValue | None] = dict(overrides or {})
        self._solved: dict[str, Solved | MissingInputs] = dict(solved or {})
        self._separate: set[str] = set()

    def figure(self, slug: str) -> Figure | MissingInputs:
        """Return the figure, or what it needs."""
        solved = self._solve(slug)
        return solved.figure if isinstance(solved, Solved) else solved

    @property
    def solved(self) -> Mapping[str, Solved | MissingInputs]:
        """Return every figure that was asked for so far, for another solver to take over."""
        return self._solved

    @property
    def inputs(self) -> Mapping[str, InputValue | None]:
        """Return every input that was asked for so far, for another solver to take over."""
        return {name: value for name, value in self._inputs.items() if name in self.context.registry.inputs}

    def input(self, name: str) -> InputValue | None:
        """Return an input or a figure as a value that figures can take."""
        if name not in self._inputs:
            if name in self.context.registry.inputs:
                self._inputs[name] = self._read(name)
            else:
                solved = self._solve(name)
                self._inputs[name] = solved.value if isinstance(solved, Solved) else None
        value = self._inputs[name]
        if value is not None and value.axis and not value.figure:
            self._separate.add(name)
        return value

    def _read(self, name: str) -> InputValue | None:
        try:
            return self.context.input(name)
        except ValueError as error:
            item = self.context.registry.inputs[name]
            path, line = self.context.build.where(item.path)
            self.problems.append(Problem(path, line, f"{item.label} cannot be: {error}"))
        except Exception as error:
            self.context.guard.report(self.context.registry.label(name), error)
        return None

    def _solve(self, slug: str) -> Solved | MissingInputs:
        if slug not in self._solved:
            definition = self.context.registry.figures[slug]
            missing: list[tuple[str, ...]] = []
            solved = None
            for method in definition.methods:
                solved = self._try(definition, method, missing)
                if solved is not None:
                    break
            self._solved[slug] = solved or _missing_inputs(slug, definition, missing)
        return self._solved[slug]

    def _try(self, definition: FigureDefinition, method: Method, missing: list[tuple[str, ...]]) -> Solved | None:
        inputs = {name: value for name in method.inputs if (value := self.input(name)) is not None}
        if names := [name for name in method.required if name not in inputs]:
            missing += self._record_hints(names)
            return None
        try:
            return self._apply(definition, method, inputs)
        except Missing as error:
            missing.append((str(error),))
        except ValueError as error:
            missing.append((f"inputs that agree: {error}",))
            self._report_conflict(definition, error, inputs)
        except Exception as error:
            missing.append((f"inputs that it can be computed from: {type(error).__name__}",))
            self.context.guard.report(in_sentence(definition.description.title), error)
        return None

    def _record_hints(self, missing: list[str]) -> list[tuple[str, ...]]:
        """Return what the record would have to hold, down to what somebody can write down.

        After the first, each has one of the missing figures by another of its methods.
        """
        ways: list[tuple[tuple[str, ...], ...]] = []
        for name in missing:
            if name in self.context.registry.inputs:
                ways.append(((self.context.registry.inputs[name].record_hint,),))
            else:
                solved = self._solve(name)
                ways.append((solved.needs, *solved.instead) if isinstance(solved, MissingInputs) else ((),))
        usual = [way[0] for way in ways]
        several = [usual]
        for index, way in enumerate(ways):
            several += [[*usual[:index], other, *usual[index + 1 :]] for other in way[1:]]
        return [tuple(dict.fromkeys(hint for hints in each for hint in hints)) for each in several]

    def _report_conflict(
        self, definition: FigureDefinition, error: ValueError, inputs: Mapping[str, InputValue]
    ) -> None:
        parameters: tuple[str, ...] = getattr(error, "inputs", ())
        names = [name for parameter in parameters for name in (parameter, *_INPUTS_OF_PARAMETER.get(parameter, ()))]
        conflicting = [inputs[name] for name in dict.fromkeys(names) if name in inputs] or list(inputs.values())
        roots = [root for value in conflicting for root in self._roots(value)]
        located = {root.name: (root, root.where) for root in roots if root.where is not None}
        places = [where for _, where in located.values()]
        if frozenset(places) in self._reported:
            return  # one impossible pair spoils many figures; one report is enough
        self._reported.add(frozenset(places))
        path, line = next(iter(places), self.context.build.where("build.engine"))
        values = ", ".join(f"{root.label} {root.text} ({file.name}:{row})" for root, (file, row) in located.values())
        message = f"{in_sentence(definition.description.title)} cannot be: {error}; in conflict are {values}"
        self.problems.append(Problem(path, line, plain_spaces(message)))

    def root_inputs(self, slug: str) -> frozenset[str]:
        """Return the names of all inputs that a figure depends on, directly or through other figures."""
        value = self.input(slug)
        return frozenset(root.name for root in self._roots(value)) if value else frozenset()

    def _roots(self, value: InputValue) -> list[InputValue]:
        if not value.figure:
            return [value]
        solved = self._solve(value.name)
        return (
            [root for item in solved.figure.inputs for root in self._roots(item)] if isinstance(solved, Solved) else []
        )

    def _apply(self, definition: FigureDefinition, method: Method, inputs: Mapping[str, InputValue]) -> Solved:
        axis = None if definition.vectorised else common_axis(definition, inputs)
        aligned = dict(inputs)
        if not definition.vectorised:
            aligned = {name: self._broadcast(value, axis) for name, value in inputs.items()}
        returned = method.function(**{name: value.values for name, value in aligned.items()})
        result = returned if isinstance(returned, FigureResult) else FigureResult(returned)
        if result.inputs:
            aligned = {name: aligned[name] for name in result.inputs}
        finite = np.isfinite(result.value)
        if not finite.any() or (axis is None and not finite.all()):
            raise InputConflict("the inputs give no finite number", *inputs)
        if axis is not None and not finite.all():
            # A position that was not recorded everywhere it counts is left out, not guessed.
            indices = np.flatnonzero(finite)
            aligned = {name: at_positions(value, axis, indices) for name, value in aligned.items()}
            result = replace(result, value=np.asarray(result.value)[indices])
            axis = axis.at(indices)
        if definition.vectorised:
            aligned = {name: self._broadcast(value, None) for name, value in aligned.items()}
        contributions = self._contributions(method, aligned, result.value)
        return self._finish(definition, method, aligned, result, contributions, axis)

    def _broadcast(self, value: InputValue, axis: Axis | None) -> InputValue:
        """Return the input as this figure takes it: along the figure's own positions, else the mean over its own."""
        if value.axis is None or value.axis == axis:
            return value
        if axis is not None and value.axis.kind == axis.kind:
            return at_positions(value, value.axis, np.array([value.axis.labels.index(label) for label in axis.labels]))
        value = at_positions(value, value.axis, np.flatnonzero(np.isfinite(value.values)))
        mean = float(np.mean(value.values))
        parts = broadcast_contributions(value.contributions, np.size(value.values))
        separate = [name for name in parts if name in self._separate]
        return replace(
            value,
            values=mean,
            axis=None,
            texts=(self.context.registry.display_unit(value.name).text(mean, self.context.system),),
            contributions=uncertainty.over_positions(parts, separate),
        )

    def _contributions(
        self, method: Method, inputs: Mapping[str, InputValue], result: Value
    ) -> uncertainty.Contributions:
        uncertain = [name for name, value in inputs.items() if value.contributions] if self._with_uncertainty else []
        if not uncertain:
            return {}
        if len(inputs) == 1 and result is inputs[uncertain[0]].values:
            return dict(inputs[uncertain[0]].contributions)  # a figure that is one reading is as certain as the reading

        def value_of(**values: Value) -> Value:
            returned = method.function(**values)
            return returned.value if isinstance(returned, FigureResult) else returned

        slopes = uncertainty.partials(value_of, {name: value.values for name, value in inputs.items()}, uncertain)
        return uncertainty.chain(slopes, {name: inputs[name].contributions for name in uncertain})

    def _finish(
        self,
        definition: FigureDefinition,
        method: Method,
        inputs: Mapping[str, InputValue],
        result: FigureResult,
        contributions: uncertainty.Contributions,
        axis: Axis | None,
    ) -> Solved:
        description, system = definition.description, self.context.system
        unit = description.display_unit
        values = np.atleast_1d(np.asarray(result.value, dtype=np.float64))
        if axis and len(axis.labels) != len(values):
            axis = None
        value = headline(description.headline, values)
        if not self._with_uncertainty:
            return self._plain_result(description, inputs, result.value if axis else value, value, axis)
        index = headline_index(description.headline, values)
        is_reading = len(inputs) == 1 and _is_reading(result.value, *inputs.values())
        certainty = self._certainty(description, inputs, values, contributions, axis)
        stated, expanded = certainty.is_stated, certainty.expanded
        rounding, rounding_of_value = certainty.by_position, expanded
        finest = min((item.step for item in inputs.values() if item.step > 0), default=0.0)
        if stated:
            rounding = np.array([unit.rounding_step(step, system) for step in certainty.by_position])
        elif finest and (method.is_sum or (is_reading and not expanded)):
            rounding = np.full(values.shape, finest)
            # The mean of unequal readings has more digits than they have; that of equal ones has not.
            rounding_of_value = min(finest, expanded) if axis and expanded and np.ptp(values) > 0 else finest
        alternate = None
        other = self._other_system(unit)
        if other:
            alternate = unit.text(value, other, unit.rounding_step(expanded, other) if stated else rounding_of_value)
        positions = figure_positions(description, axis, values, rounding, system, other) if axis else ()
        shown = (number_and_uncertainty if stated else shown_number)(
            unit, value, expanded if stated else rounding_of_value, system
        )
        texts = tuple(position.display for position in positions) or (unit.text(value, system, rounding_of_value),)
        outlier = (
            outlier_index(values, float(certainty.by_position[0])) if axis and axis.kind in _OUTLIER_AXES else None
        )
        input_texts = {name: self._text_in_working(item, index if item.axis else 0) for name, item in inputs.items()}
        figure = Figure(
            description=description,
            value=value,
            number=shown.number,
            unit=unit.label(system),
            shown=shown.value,
            step=shown.step,
            uncertainty_text=shown.uncertainty_text,
            alternate_text=alternate,
            provenance=weakest(item.provenance for item in inputs.values()),
            working=working(
                result.working or method.working,
                input_texts,
                texts[index if axis else 0],
                position_prefix(axis, index) if axis else "",
            ),
            inputs=tuple(inputs.values()),
            positions=positions,
            axis=axis.kind if axis else None,
            outlier=axis.labels[outlier] if axis and outlier is not None else None,
            uncertainty=expanded if stated else None,
            note=result.note,
            readings=tuple(dict.fromkeys(reading for item in inputs.values() for reading in item.root_readings)),
            is_reading=is_reading,
        )
        value_at = result.value if axis else float(values[0])
        as_input = replace(
            _as_input(figure, value_at, texts, axis, contributions), is_uncertainty_known=certainty.is_known
        )
        return Solved(figure, as_input)

    def _certainty(
        self,
        description: FigureDescription,
        inputs: Mapping[str, InputValue],
        values: Array,
        contributions: uncertainty.Contributions,
        axis: Axis | None,
    ) -> _Certainty:
        is_known = all(item.is_uncertainty_known for item in inputs.values())
        # A ± that leaves out the least certain input would make the figure look surer than it is.
        is_stated = is_known and any(item.has_stated_resolution for item in inputs.values())
        # Where no reading states its resolution, the last digit written is the last that means anything.
        coverage = uncertainty.COVERAGE if is_stated else LAST_DIGIT
        by_position = np.full(values.shape, uncertainty.expanded(uncertainty.combine(contributions), coverage))
        expanded = float(by_position[headline_index(description.headline, values)])
        if description.headline == "mean" and axis:
            separate = [name for name in contributions if name in self._separate]
            mean_parts = uncertainty.over_positions(broadcast_contributions(contributions, len(values)), separate)
            expanded = float(uncertainty.expanded(uncertainty.combine(mean_parts), coverage))
        return _Certainty(is_known, is_stated, by_position, expanded)

    def _text_in_working(self, item: InputValue, index: int) -> str:
        """Return an input as the formula takes it: a temperature in kelvin, anything else as it is shown."""
        if self.context.registry.display_unit(item.name) is not TEMPERATURE:
            return item.texts[index]
        return join_unit(rounded(float(np.atleast_1d(item.values)[index]), 2), "K")

    def _plain_result(
        self,
        description: FigureDescription,
        inputs: Mapping[str, InputValue],
        values: Value,
        value: float,
        axis: Axis | None,
    ) -> Solved:
        """Return a figure without its uncertainty, its working and its positions."""
        system = self.context.system
        figure = Figure(
            description=description,
            value=value,
            number=description.display_unit.text(value, system, with_unit=False),
            unit=description.display_unit.label(system),
            shown=value,
            step=0.0,
            provenance=LISTED,
            inputs=tuple(inputs.values()),
        )
        return Solved(figure, _as_input(figure, values, (figure.display,), axis, {}))

    def _other_system(self, unit: DisplayUnit) -> System | None:
        """Return the system to show as well as the build's own, where the shop wants both and they differ."""
        if self.context.shop.units != "both" or unit.inch == unit.metric:
            return None
        return "metric" if self.context.system == "inch" else "inch"


def solver_without_uncertainty(context: Context) -> Solver:
    """Return a solver for inputs that depend on a figure and for what-if questions; see `Context.cached`."""
    return Solver(context, with_uncertainty=False)


def _is_reading(value: Value, item: InputValue) -> bool:
    """Return whether a figure's value is its only input as the record has it."""
    return not item.figure and np.array_equal(value, item.values)


def _as_input(
    figure: Figure,
    values: Value,
    texts: tuple[str, ...],
    axis: Axis | None,
    contributions: uncertainty.Contributions,
) -> InputValue:
    """Return a figure as a value that other figures can take."""
    return InputValue(
        name=figure.slug,
        label=in_sentence(figure.title),
        symbol="",
        values=values,
        texts=texts,
        provenance=figure.provenance,
        axis=axis,
        step=figure.positions[0].step if figure.positions else figure.step,
        contributions=contributions,
        has_stated_resolution=figure.uncertainty is not None,
        figure=True,
        readings=figure.readings,
    )


_MAX_INSTEAD = 2
"""Other ways to have a figure that a message lists."""


def _missing_inputs(slug: str, definition: FigureDefinition, missing: list[tuple[str, ...]]) -> MissingInputs:
    """Return what a figure needs: the shortest list, then the other short ones that do without something in it."""
    needs, *others = sorted(dict.fromkeys(missing), key=len) or [()]
    instead: list[tuple[str, ...]] = []
    for other in others:
        if not any(set(known) <= set(other) for known in (needs, *instead)):
            instead.append(other)
    return MissingInputs(slug, definition.description.title, needs, tuple(instead[:_MAX_INSTEAD]))
