"""Read the record for cross-checks: fields, lists and figures as operands, each with the line it was written on."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import cached_property

import numpy as np

from builder.engine import uncertainty
from builder.figures.core.display_units import DisplayUnit, written_text
from builder.figures.core.inputs import Context, Input
from builder.figures.core.instruments import certificate_uncertainty, instrument_of
from builder.figures.core.solver import Solver
from builder.figures.core.types import RecordedValue
from builder.figures.definitions.pull_inputs import session_of
from builder.figures.dyno.session import DynoSession
from builder.figures.review.cross_checks.operand import Operand, Source
from builder.record.models.build import DOCUMENTS, Build
from builder.record.models.fields import notes_of
from builder.record.models.shop import Instrument
from builder.record.quantities.readings import Reading
from builder.record.quantities.unit_table import printed_unit
from builder.record.quantities.units import Quantity, to_unit
from builder.record.traversal import model_at

_SHORT_NAMES = {"number", "diameter", "height", "load", "duration", "lift", "flow", "opening", "closing", "level",
                "changed", "file", "kind", "casting", "lash", "rate"}  # fmt: skip
"""Names of fields that say little without the name of what they belong to."""


class NotRecorded(Exception):
    """Raised where the record lacks a value that a check compares."""


class RecordValues:
    """The record of one build, as its cross-checks read it."""

    def __init__(self, solver: Solver) -> None:
        """Read from the build of a solver; its figures can be compared too."""
        self._solver = solver
        self.context: Context = solver.context
        self.build: Build = solver.context.build
        self._operands: dict[tuple[str, bool], Operand | None] = {}

    @cached_property
    def session(self) -> DynoSession | None:
        """Return the dyno session, None where no pull has a log."""
        return session_of(self.context)

    @cached_property
    def _inputs(self) -> dict[str, Input]:
        """Return the first input that is read from each path: the one that is the field itself."""
        inputs: dict[str, Input] = {}
        for item in self.context.registry.inputs.values():
            if item.get is None or item.path not in inputs:
                inputs.setdefault(item.path, item)
        return inputs

    def value(self, path: str, *, listed: bool = False) -> Operand:
        """Return what the record holds at a path, measured before listed. Raises NotRecorded."""
        operand = self.get(path, listed=listed)
        if operand is None:
            raise NotRecorded(path)
        return operand

    def get(self, path: str, *, listed: bool = False) -> Operand | None:
        """Return what the record holds at a path, or None; with ``listed`` the listed value alone."""
        if (path, listed) not in self._operands:
            self._operands[path, listed] = self._read(path, listed=listed)
        return self._operands[path, listed]

    def _read(self, path: str, *, listed: bool) -> Operand | None:
        recorded = self._at(path)
        if isinstance(recorded, Reading):
            return self.reading(recorded, path, self.label(path), listed=listed)
        if isinstance(recorded, Quantity):
            return self.quantities([(path, recorded)], self.label(path))
        if isinstance(recorded, (int, float)) and not isinstance(recorded, bool):
            value = self.recorded(path, f"{recorded:g}")
            return Operand(np.array([float(recorded)]), {}, (Source(path, (value,)),), lambda number: f"{number:.4g}")
        return None

    def _at(self, path: str) -> object:
        """Return what the record holds at a path, which may lead into a list: `top_end.springs.tested.0.load`."""
        value: object = self.build
        for step in path.split("."):
            if isinstance(value, tuple) and step.isdigit():
                value = value[int(step)] if int(step) < len(value) else None
            else:
                value = getattr(value, step, None)
        return value

    def reading(self, reading: Reading, path: str, label: str, *, listed: bool = False) -> Operand | None:
        """Return a reading as an operand: measured, else repeated, else listed; None where it holds no value."""
        if listed:
            pairs = [(f"{path}.listed", reading.listed)] if reading.listed else []
        elif reading.measured:
            pairs = [(f"{path}.measured.{index}", item) for index, item in enumerate(reading.measured)]
        elif reading.repeats:
            pairs = [(f"{path}.repeats.{index}", item) for index, item in enumerate(reading.repeats)]
        else:
            pairs = [(path, reading.listed)] if reading.listed else []
        if not pairs:
            return None
        instrument = None if listed else instrument_of(self.context.shop, reading.instrument)
        operand = self.quantities(pairs, label, reading.resolution, instrument)
        return operand.mean() if not reading.measured and reading.repeats and not listed else operand

    def quantities(
        self,
        pairs: Sequence[tuple[str, Quantity]],
        label: str,
        resolution: Quantity | None = None,
        instrument: Instrument | None = None,
    ) -> Operand:
        """Return quantities of one kind, each with its path, as the positions of one operand."""
        paths, quantities = [path for path, _ in pairs], [quantity for _, quantity in pairs]
        root = paths[0].partition(".measured")[0].partition(".repeats")[0]
        first = max(quantities, key=lambda item: len(item.number.partition(".")[2]))
        step = resolution.si if resolution else max(quantity.step for quantity in quantities)
        certified = certificate_uncertainty(instrument, first.dimension, first.si)
        standard = math.hypot(float(uncertainty.from_resolution(step)), certified or 0.0)
        several = len(quantities) > 1
        axis = self._axis(root)
        values = tuple(
            self.recorded(path, written_text(quantity), f"{label}, {axis} {index + 1}" if several else label)
            for index, (path, quantity) in enumerate(pairs)
        )
        return Operand(
            np.array([quantity.si for quantity in quantities]),
            {root: np.full(len(quantities), standard)},
            (Source(root, values, np.array([quantity.si for quantity in quantities]), standard, tuple(quantities)),),
            _as_written(first),
            axis,
            tuple(str(index + 1) for index in range(len(quantities))) if several else (),
        )

    def figure(self, slug: str) -> Operand:
        """Return a figure, with everything recorded that it was calculated from. Raises NotRecorded."""
        known = self._solver.input(slug)
        if known is None:
            raise NotRecorded(slug)
        inputs = [self._solver.input(name) for name in sorted(self._solver.root_inputs(slug))]
        sources = []
        for item in inputs:
            if item is None or item.where is None:
                continue
            path = self.context.registry.inputs[item.name].path
            texts = item.texts if item.axis == known.axis else item.texts[:1]
            path = path.partition(" ")[0]  # some name what a log must hold, in words after the path
            recorded = tuple(RecordedValue(path=path, label=item.label, text=text, where=item.where) for text in texts)
            sources.append(Source(path, recorded))
        values = np.atleast_1d(np.asarray(known.values, dtype=np.float64))
        unit = self.context.registry.display_unit(slug)
        parts = {name: np.asarray(part) * np.ones_like(values) for name, part in known.contributions.items()}
        axis, labels = (known.axis.kind, known.axis.labels) if known.axis else ("position", ())
        return Operand(values, parts, tuple(sources), self.in_unit(unit), axis, labels)

    def in_unit(self, unit: DisplayUnit) -> Callable[[float], str]:
        """Return what prints a value [SI] in a display unit of the build's own system."""
        return lambda si: unit.text(si, self.context.system)

    def constant(self, path: str, text: str, si: float, show: Callable[[float], str], label: str) -> Operand:
        """Return a value without uncertainty that was read from the text or the log at a path."""
        return Operand(np.array([si]), {}, (Source(path, (self.recorded(path, text, label),)),), show)

    def recorded(self, path: str, text: str, label: str = "") -> RecordedValue:
        """Return one recorded value with its file and line."""
        return RecordedValue(path=path, label=label or self.label(path), text=text, where=self.build.where(path))

    def label(self, path: str) -> str:
        """Return what a field is called inside a sentence."""
        item = self._inputs.get(path)
        if item is not None and item.get is None:
            return item.label
        names = [step.replace("_", " ") for step in path.split(".") if not step.isdigit()]
        return " ".join(names[-2:] if names[-1] in _SHORT_NAMES else names[-1:])

    def _axis(self, path: str) -> str:
        item = self._inputs.get(path)
        if item is not None and item.axis is not None:
            return item.axis
        document, *steps = path.split(".")
        if document not in DOCUMENTS:
            return "position"
        model = model_at(DOCUMENTS[document], tuple(steps[:-1]))
        info = model.model_fields.get(steps[-1])
        return (notes_of(info).axis if info else None) or "position"


def _as_written(first: Quantity) -> Callable[[float], str]:
    """Return what prints a value [SI] in the unit and with the decimals of a written one."""
    decimals = len(first.number.partition(".")[2])
    unit = printed_unit(first.unit)

    def show(si: float) -> str:
        number = to_unit(si, first.unit, first.dimension) if first.unit else si
        text = f"{number:.{decimals}f}"
        if float(text) == 0:
            text = text.lstrip("-")
        return written_text(Quantity(si, text, first.unit, first.dimension)) if unit else text

    return show
