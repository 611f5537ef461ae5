"""What a cross-check calculates with: recorded values with their uncertainty, and where each was written."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from builder.engine.validation import Array, Value
from builder.figures.core.types import RecordedValue
from builder.record.quantities.units import Quantity


@dataclass(frozen=True, eq=False)
class Source:
    """One field of the record behind an operand: its values as written, one for each position or one for all."""

    path: str
    values: tuple[RecordedValue, ...]
    numbers: Array = field(default_factory=lambda: np.zeros(0))
    """The same [SI], where the source is a field with several positions."""
    uncertainty: float = 0.0
    """Standard uncertainty of each of them [SI]."""
    written: tuple[Quantity, ...] = ()
    """The same as written."""

    def summary(self, show: Callable[[float], str]) -> Source:
        """Return the values of several positions as one: the range from the least to the most."""
        if len(self.values) < 3 or self.numbers.size != len(self.values):
            return self
        first, label = self.values[0], self.values[0].label.rpartition(", ")[0]
        text = f"{show(float(self.numbers.min()))} to {show(float(self.numbers.max()))}"
        return Source(self.path, (replace(first, path=self.path, label=label, text=text),))


@dataclass(frozen=True, eq=False)
class Operand:
    """Values [SI] at one position or several, their standard uncertainty by field, and the fields they came from.

    Arithmetic keeps all three, so that a check is written as the trade would write it. Uncertainties of one field
    that enters twice are added with their signs. ``show`` prints a value in the unit that was written.
    """

    values: Array
    uncertainties: Mapping[str, Array]
    sources: tuple[Source, ...]
    show: Callable[[float], str]
    axis: str = "position"
    labels: tuple[str, ...] = field(default=())

    @property
    def standard_uncertainty(self) -> Array:
        """Return the standard uncertainty at every position."""
        parts = [np.square(part) for part in self.uncertainties.values()]
        return np.sqrt(sum(parts)) * np.ones_like(self.values) if parts else np.zeros_like(self.values)

    def __add__(self, other: Operand | float) -> Operand:
        return combine(lambda a, b: a + b, self, other)

    def __sub__(self, other: Operand | float) -> Operand:
        return combine(lambda a, b: a - b, self, other)

    def __mul__(self, other: Operand | float) -> Operand:
        return combine(lambda a, b: a * b, self, other)

    def __truediv__(self, other: Operand | float) -> Operand:
        return combine(lambda a, b: a / b, self, other)

    def mean(self) -> Operand:
        """Return the mean over the positions; half their range counts as uncertainty as well."""
        if self.values.size == 1:
            return self
        spread = float(np.ptp(self.values)) / 2
        uncertainties = {path: np.array([float(np.mean(part))]) for path, part in self.uncertainties.items()}
        name = f"spread of {self.sources[0].path}"
        return replace(
            self,
            sources=tuple(source.summary(self.show) for source in self.sources),
            values=np.array([float(np.mean(self.values))]),
            uncertainties={**uncertainties, name: np.array([spread / np.sqrt(3)])},
            labels=(),
        )

    def shown_by(self, show: Callable[[float], str]) -> Operand:
        """Return the same values printed by another function."""
        return replace(self, show=show)


def exactly(value: float, like: Operand) -> Operand:
    """Return one value [SI] without uncertainty, printed like another operand."""
    return Operand(np.array([value]), {}, (), like.show)


def combine(function: Callable[..., Value], *operands: Operand | float) -> Operand:
    """Return a function of operands, position by position, with its uncertainty to first order.

    Operands with different numbers of positions are not of the same places: the shorter ones count by their mean.
    """
    given = [operand for operand in operands if isinstance(operand, Operand)]
    count = max(operand.values.size for operand in given)
    aligned = [
        operand.mean() if isinstance(operand, Operand) and operand.values.size not in (1, count) else operand
        for operand in operands
    ]
    arguments = [item.values if isinstance(item, Operand) else np.array([float(item)]) for item in aligned]
    values = np.asarray(function(*arguments), dtype=np.float64)
    uncertainties: dict[str, Array] = {}
    for index, item in enumerate(aligned):
        if not isinstance(item, Operand):
            continue
        step = 1e-6 * np.maximum(np.abs(arguments[index]), 1e-6)
        moved = [*arguments[:index], arguments[index] + step, *arguments[index + 1 :]]
        slope = (np.asarray(function(*moved)) - values) / step
        for path, part in item.uncertainties.items():
            uncertainties[path] = uncertainties.get(path, np.zeros(1)) + slope * part
    sources = {source.path: source for item in aligned if isinstance(item, Operand) for source in item.sources}
    first = next((item for item in given if item.values.size == count), given[0])
    return Operand(values, uncertainties, tuple(sources.values()), given[0].show, first.axis, first.labels)
