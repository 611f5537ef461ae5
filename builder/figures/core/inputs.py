"""The inputs of figures: their names, where the record holds them, and how certain they are."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import KW_ONLY, dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from builder.engine import uncertainty
from builder.engine.validation import Value
from builder.figures.core.display_units import DisplayUnit, System, system_for, written_mean, written_text
from builder.figures.core.guard import Guard
from builder.figures.core.instruments import certificate_uncertainty, difference_in, instrument_of
from builder.figures.core.types import GIVEN, LISTED, MEASURED, Axis, FigureDefinition, InputValue, Provenance
from builder.record.models.build import Build
from builder.record.models.shop import Instrument, Shop
from builder.record.quantities.readings import Reading
from builder.record.quantities.units import NUMBER, Quantity
from builder.record.wording import in_sentence

T = TypeVar("T")


@dataclass(frozen=True)
class Input:
    """One thing that a figure may take from the record."""

    name: str
    label: str
    symbol: str
    display_unit: DisplayUnit
    path: str
    axis: str | None = None
    _: KW_ONLY
    provenance: Provenance = MEASURED
    """How a single value (not a listed/measured reading) is known."""
    get: Getter | None = None
    hint: str = ""
    """What to write to have it, where its own path is not enough."""
    reads: tuple[str, ...] = ()
    """What a getter reads of the record, where that is little and known; any part of it may count otherwise."""

    @property
    def known_paths(self) -> tuple[str, ...] | None:
        """Return the paths that the value may come from; None where it may come from anywhere."""
        return (self.path,) if self.get is None else self.reads or None

    @property
    def record_hint(self) -> str:
        """Return what to write, and in which file, to have it."""
        if self.hint:
            return self.hint
        document, _, field = self.path.partition(".")
        return f"{document}.yaml: {field}"

    def value(
        self,
        values: Value,
        texts: tuple[str, ...],
        provenance: Provenance,
        *,
        labels: tuple[str, ...] = (),
        places: tuple[float, ...] = (),
        step: float = 0.0,
        contributions: Mapping[str, Value] | None = None,
        has_stated_resolution: bool = False,
        is_uncertainty_known: bool = True,
        where: tuple[Path, int] | None = None,
    ) -> InputValue:
        """Return a value of this input, at positions where ``labels`` name them and ``places`` say where they lie."""
        return InputValue(
            name=self.name,
            label=self.label,
            symbol=self.symbol,
            values=values,
            texts=texts,
            provenance=provenance,
            axis=Axis(self.axis, labels, places) if self.axis and labels else None,
            step=step,
            contributions=contributions or {},
            has_stated_resolution=has_stated_resolution,
            is_uncertainty_known=is_uncertainty_known,
            where=where,
        )


@dataclass(frozen=True)
class Registry:
    """Every figure, in page order, and every input, by name."""

    figures: Mapping[str, FigureDefinition]
    inputs: Mapping[str, Input]

    def label(self, name: str) -> str:
        """Return what an input or a figure is called inside a sentence."""
        return self.inputs[name].label if name in self.inputs else in_sentence(self.figures[name].description.title)

    def display_unit(self, name: str) -> DisplayUnit:
        """Return the unit that an input or a figure is shown in."""
        return self.inputs[name].display_unit if name in self.inputs else self.figures[name].description.display_unit


@dataclass(frozen=True)
class Context:
    """What figures are computed from: one build, the shop, and the registry of figures and inputs."""

    build: Build
    shop: Shop
    registry: Registry

    @cached_property
    def system(self) -> System:
        """Return the system that the build's figures are shown in first."""
        return system_for(self.build, self.shop)

    @cached_property
    def guard(self) -> Guard:
        """Return the guard of what is computed from this context."""
        return Guard(self.build.slug)

    @cached_property
    def _results(self) -> dict[Callable[[Context], Any], Any]:
        return {}

    @cached_property
    def _inputs(self) -> dict[str, InputValue | None]:
        return {}

    def cached(self, function: Callable[[Context], T]) -> T:
        """Return what a function makes of this context, called once."""
        if function not in self._results:
            self._results[function] = function(self)
        result: T = self._results[function]
        return result

    def input(self, name: str) -> InputValue | None:
        """Return an input as the record has it, read once. Raises ValueError for one that is impossible."""
        if name not in self._inputs:
            self._inputs[name] = self._read(self.registry.inputs[name])
        return self._inputs[name]

    def _read(self, item: Input) -> InputValue | None:
        if item.get is not None:
            return item.get(self, item)
        recorded = self.build.get(item.path)
        value = None if recorded is None else recorded_value(item, recorded, self.shop)
        return replace(value, where=self.build.where(item.path)) if value else None


Getter = Callable[[Context, Input], InputValue | None]
"""Reads an input that takes more than one look-up in the record."""


def recorded_value(item: Input, value: Reading | Quantity | float | str, shop: Shop) -> InputValue | None:
    """Return a reading, a quantity or a plain number of the record as a value of an input.

    A reading that cites one of the shop's instruments is as uncertain as that.
    """
    if isinstance(value, Reading):
        return _from_reading(item, value, instrument_of(shop, value.instrument))
    if isinstance(value, Quantity):
        # A value off a maker's card is what the maker meant, not a reading rounded to its last digit.
        nominal = item.provenance == LISTED
        step = rounding_of(value)
        contributions = {} if nominal else uncertainty.root(item.name, uncertainty.from_resolution(step))
        return item.value(value.si, (written_text(value),), item.provenance, step=step, contributions=contributions)
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return item.value(float(value), (f"{value:g}",), GIVEN)
    return None


def _from_reading(item: Input, reading: Reading, instrument: Instrument | None) -> InputValue | None:
    values = reading.values
    if not len(values):
        return None
    steps = [rounding_of(quantity) for quantity in reading.preferred]
    is_integer = not any("." in quantity.number for quantity in reading.preferred)
    if reading.dimension == NUMBER and (is_integer or not reading.is_measured):
        steps = [0.0]  # a ratio that was not measured is a choice: a rocker of 1.6 is not 1.55 to 1.65
    mean = float(values.mean())
    shown_by_instrument = difference_in(instrument.resolution, reading.dimension, mean) if instrument else None
    step = reading.resolution.si if reading.resolution else shown_by_instrument or max(steps)
    parts = [uncertainty.from_resolution(step)]
    repeated = not reading.measured and len(reading.repeats) > 1
    if repeated:
        parts.append(uncertainty.from_repeats(np.array([quantity.si for quantity in reading.repeats])))
    count = len(reading.preferred)
    contributions = uncertainty.root(item.name, *parts)
    certified = certificate_uncertainty(instrument, reading.dimension, mean)
    if certified is not None:
        # The error of an instrument is the same at every position: it does not cancel in the mean.
        contributions |= uncertainty.root(f"{item.name}, instrument", certified)
    by_position = item.axis is not None and len(values) > 1
    if not by_position and count > 1:
        item = replace(item, label=f"{item.label}, mean of {count}")
    return item.value(
        values if by_position else float(values[0] if count == 1 else mean),
        tuple(map(written_text, reading.preferred)) if by_position else (written_mean(reading),),
        MEASURED if reading.is_measured else LISTED,
        labels=numbered(len(values)) if by_position else (),
        step=min((step for step in steps if step > 0), default=0.0),
        contributions=contributions,
        has_stated_resolution=reading.resolution is not None or repeated or certified is not None,
    )


def rounding_of(quantity: Quantity) -> float:
    """Return what a written value may have been rounded to [SI]: its last digit, and nothing for a plain 0."""
    is_zero = quantity.si == 0 and "." not in quantity.number
    return 0.0 if is_zero and quantity.dimension not in ("temperature", "angle") else quantity.step


def numbered(count: int) -> tuple[str, ...]:
    """Return the labels 1, 2, 3 ... of positions."""
    return tuple(str(index + 1) for index in range(count))
