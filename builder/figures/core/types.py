"""A Figure: one derived number that shows its working, its source and how well it is known."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np

from builder.engine.values import Value
from builder.figures.core.display_units import DisplayUnit, System
from builder.record.problem import Problem

if TYPE_CHECKING:
    from builder.figures.dyno.session import DynoSession

MEASURED = "measured"
LISTED = "listed"
GIVEN = "given"
"""Known exactly: a count or a choice, not a reading."""

_WEAKEST_FIRST = (LISTED, MEASURED, GIVEN)


def weakest(bases: tuple[str, ...]) -> str:
    """A figure is as well known as its weakest input."""
    return min(bases, key=_WEAKEST_FIRST.index, default=GIVEN)


@dataclass(frozen=True)
class Axis:
    """What the positions of a value stand for: cylinders, lifts, pulls."""

    kind: str
    labels: tuple[str, ...]


@dataclass(frozen=True)
class InputValue:
    """A value that a figure takes: from the record, or another figure."""

    name: str
    label: str
    symbol: str
    values: Value
    texts: tuple[str, ...]
    provenance: str
    axis: Axis | None = None
    contributions: Mapping[str, Value] = field(default_factory=dict)
    """Slope times standard uncertainty for each root reading, from its stated resolution or last digit written."""
    has_stated_resolution: bool = False
    """Whether a reading below it states its resolution or was repeated."""
    where: tuple[Path, int] | None = None
    figure: bool = False

    @property
    def text(self) -> str:
        """The first position as text."""
        return self.texts[0]


@dataclass(frozen=True)
class Position:
    """The figure at one cylinder, journal, lift or pull."""

    label: str
    value: float
    display: str
    alternate_text: str | None = None
    """The same in the other system, where the shop shows both."""


@dataclass(frozen=True)
class MethodDescription:
    """What a figure is, apart from any engine: an entry of the Methods page."""

    slug: str
    title: str
    means: str
    formula: str
    symbols: tuple[tuple[str, str, str], ...]
    source: str
    validity: str
    section: str
    display_unit: DisplayUnit
    headline: str = "mean"
    """Which position stands for the whole: mean, first, most, least."""


@dataclass(frozen=True)
class Figure:
    """One derived number of one engine."""

    method: MethodDescription
    value: float
    display: str
    alternate_text: str | None
    provenance: str
    working: str
    inputs: tuple[InputValue, ...]
    positions: tuple[Position, ...] = ()
    axis: str | None = None
    outlier: str | None = None
    """Label of the position that stands out, if one does."""
    uncertainty: float | None = None
    """Expanded (k = 2), SI; only where a reading states its resolution or was repeated."""
    note: str | None = None
    cautions: tuple[str, ...] = ()

    @property
    def slug(self) -> str:
        """The figure's name in the trade's words."""
        return self.method.slug

    @property
    def title(self) -> str:
        """The figure's name as a heading."""
        return self.method.title

    @property
    def minimum(self) -> Position | None:
        """The position with the least value."""
        return min(self.positions, key=lambda position: position.value, default=None)

    @property
    def maximum(self) -> Position | None:
        """The position with the most."""
        return max(self.positions, key=lambda position: position.value, default=None)

    @property
    def spread(self) -> float:
        """Most less least, SI."""
        values = [position.value for position in self.positions]
        return float(np.ptp(values)) if values else 0.0


@dataclass(frozen=True)
class MissingInputs:
    """A figure that could not be had, and what the record would have to hold for it."""

    slug: str
    title: str
    needs: tuple[str, ...]


@dataclass(frozen=True)
class Caution:
    """Something that breaks a guideline, or lies outside its range: worth a second look, never an error."""

    about: str
    """Slug of the figure it is about, or the path in the record."""
    sentence: str
    guideline: str
    """Whose rule it is, and the rule: `common practice: at least 0.035 in`."""
    where: tuple[Path, int] | None = None

    @property
    def text(self) -> str:
        """What is the matter, and by whose rule."""
        return f"{self.sentence} ({self.guideline})" if self.guideline else self.sentence


@dataclass(frozen=True)
class Discrepancy:
    """Two values for the same thing that differ by more than reading them can explain."""

    kind: Literal["listed against measured", "as received", "two ways"]
    path: str
    title: str
    labels: tuple[str, str]
    """What the two values are: `listed`, `measured`; `by gauge`, `from the parts`."""
    values: tuple[str, str]
    difference: str
    consequence: str | None = None
    """What follows, or would have followed had nobody looked; None where nothing can be computed."""
    matters: bool = False
    """Whether the engine would be another one for it: most differences change nothing that a page shows."""
    where: tuple[Path, int] | None = None

    @property
    def text(self) -> str:
        """One sentence that says it all."""
        pairs = ", ".join(f"{head} {value}" for head, value in zip(self.labels, self.values, strict=True))
        said = f"{self.title}: {pairs}: {self.difference}"
        return f"{said}; {self.consequence}." if self.consequence else f"{said}."


@dataclass(frozen=True)
class FigureSheet:
    """Every figure of one build, what could not be had, and what cannot be true."""

    figures: tuple[Figure, ...]
    needs: tuple[MissingInputs, ...]
    problems: tuple[Problem, ...]
    system: System
    session: DynoSession | None = None
    """What the dyno said, from which the figures of power were taken."""
    cautions: tuple[Caution, ...] = ()
    discrepancies: tuple[Discrepancy, ...] = ()

    def __contains__(self, slug: object) -> bool:
        return any(figure.slug == slug for figure in self.figures)

    def get(self, slug: str) -> Figure | None:
        """The figure of that name, if it could be had."""
        return next((figure for figure in self.figures if figure.slug == slug), None)

    def value(self, slug: str) -> float | None:
        """The value of that name, SI, if it could be had."""
        figure = self.get(slug)
        return figure.value if figure else None
