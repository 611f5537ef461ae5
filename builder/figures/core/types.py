"""The types of figures: a figure, its definition and inputs, what is missing, cautions and discrepancies."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np

from builder.engine.validation import Value
from builder.figures.core.display_units import DisplayUnit, System, join_unit
from builder.record.models.build import Build
from builder.record.problem import Problem
from builder.record.quantities.readings import Accepted
from builder.record.wording import join_and, plain_spaces

if TYPE_CHECKING:
    from builder.figures.dyno.session import DynoSession
    from builder.figures.review.clearance_checks import CheckedClearance
    from builder.figures.review.goals import GoalResult

Provenance = Literal["typical", "listed", "measured", "given"]
"""How a value is known."""
TYPICAL: Final = "typical"
"""Usual for things of its kind; not of this engine."""
LISTED: Final = "listed"
MEASURED: Final = "measured"
GIVEN: Final = "given"
"""Known exactly: a count or a choice, not a reading."""

PROVENANCE_TEXTS: Mapping[Provenance, str] = {
    TYPICAL: "typical, not measured",
    LISTED: "from catalog",
    MEASURED: "measured",
    GIVEN: "given",
}
"""How a value is known, in words."""

_WEAKEST_FIRST: tuple[Provenance, ...] = (TYPICAL, LISTED, MEASURED, GIVEN)


def weakest(provenances: Iterable[Provenance]) -> Provenance:
    """Return the provenance of a figure: that of its weakest input."""
    return min(provenances, key=_WEAKEST_FIRST.index, default=GIVEN)


@dataclass(frozen=True)
class RootReading:
    """One value of the record that a figure goes back to: what it is, and how it is known."""

    label: str
    provenance: Provenance


HeadlinePosition = Literal["mean", "first", "most", "least"]


@dataclass(frozen=True)
class Axis:
    """What the positions of a value are: cylinders, lifts, pulls."""

    kind: str
    labels: tuple[str, ...]
    places: tuple[float, ...] = ()
    """Where each position lies, for kinds that are measured: a lift [m], 0 at the seat."""

    def at(self, indices: Iterable[int]) -> Axis:
        """Return some of the positions."""
        chosen = tuple(indices)
        places = tuple(self.places[index] for index in chosen) if self.places else ()
        return Axis(self.kind, tuple(self.labels[index] for index in chosen), places)


@dataclass(frozen=True, kw_only=True)
class InputValue:
    """A value that a figure takes: from the record, or another figure."""

    name: str
    label: str
    symbol: str
    values: Value
    texts: tuple[str, ...]
    provenance: Provenance
    axis: Axis | None = None
    step: float = 0.0
    """One unit of the last digit that ``texts`` show [SI], the finest of its positions; zero where it is exact."""
    contributions: Mapping[str, Value] = field(default_factory=dict)
    """Slope times standard uncertainty of each reading below it, from its stated resolution or last digit written."""
    has_stated_resolution: bool = False
    """Whether a reading below it states its resolution or was repeated."""
    is_uncertainty_known: bool = True
    """False where something below it was only logged, and how well that is known is not recorded."""
    where: tuple[Path, int] | None = None
    figure: bool = False
    readings: tuple[RootReading, ...] = ()
    """What it was calculated from, down to the record; empty for an input that is one value of the record."""

    @property
    def root_readings(self) -> tuple[RootReading, ...]:
        """Return what the value goes back to in the record: itself, or what the figure was calculated from."""
        return self.readings if self.figure or self.readings else (RootReading(self.label, self.provenance),)

    @property
    def provenance_text(self) -> str:
        """Return in words how the value is known."""
        return "calculated" if self.figure else PROVENANCE_TEXTS[self.provenance]

    @property
    def text(self) -> str:
        """Return the first position as text."""
        return self.texts[0]


@dataclass(frozen=True)
class FigurePosition:
    """The figure at one cylinder, journal, lift or pull."""

    label: str
    value: float
    number: str
    """The value in the unit it is shown in, rounded."""
    unit: str
    """The unit as printed."""
    shown: float
    """The value at the digits shown [SI]: what is compared with a limit."""
    step: float
    """One unit of the last digit shown [SI]."""
    alternate_text: str | None = None
    """The same in the other system, where the shop shows both."""
    place: float | None = None
    """Where it lies, for kinds that are measured: a lift [m], 0 at the seat."""

    @property
    def display(self) -> str:
        """Return number and unit as printed."""
        return join_unit(self.number, self.unit)


@dataclass(frozen=True, kw_only=True)
class FigureDescription:
    """What a figure is for every engine: an entry of the Methods page."""

    slug: str
    title: str
    means: str
    formula: str
    symbols: tuple[tuple[str, str, str], ...]
    source: str
    validity: str
    section: str
    display_unit: DisplayUnit
    headline: HeadlinePosition = "mean"
    """Which position gives the figure's own value."""
    is_listed: bool = True
    """Whether pages and commands list it with the others; one whose positions alone mean something is not listed."""


@dataclass(frozen=True)
class Method:
    """One way to compute a figure: a function, its inputs, and the text of its working."""

    function: Callable[..., Any]
    inputs: tuple[str, ...]
    required: tuple[str, ...]
    working: str
    is_sum: bool = False
    """Whether it only adds and subtracts: the sum is shown with the digits of its parts."""


@dataclass(frozen=True)
class FigureDefinition:
    """A figure of the registry: what it is, and the methods that compute it, the preferred one first."""

    description: FigureDescription
    methods: tuple[Method, ...]
    axis: str | None = None
    vectorised: bool = False
    applies: Callable[[Build], bool] | None = None
    """Whether an engine can have it at all, and so lacks it where nothing is recorded; every engine unless given."""


@dataclass(frozen=True, kw_only=True)
class Figure:
    """One derived number of one engine."""

    description: FigureDescription
    value: float
    number: str
    """The value in the unit it is shown in, rounded: `8.99`."""
    unit: str
    """The unit as printed: `hp`, `:1`, `°`."""
    shown: float
    """The value at the digits shown [SI]: what is compared with a limit."""
    step: float
    """One unit of the last digit shown [SI]."""
    uncertainty_text: str | None = None
    """The expanded uncertainty in that unit: `0.01`."""
    alternate_text: str | None = None
    """The same in the other system, where the shop shows both."""
    provenance: Provenance
    working: str = ""
    inputs: tuple[InputValue, ...] = ()
    positions: tuple[FigurePosition, ...] = ()
    axis: str | None = None
    outlier: str | None = None
    """Label of the position that lies apart from all others, if one does."""
    uncertainty: float | None = None
    """Expanded (k = 2), SI; only where a reading states its resolution or was repeated."""
    note: str | None = None
    cautions: tuple[str, ...] = ()
    readings: tuple[RootReading, ...] = ()
    """What it goes back to in the record."""
    is_reading: bool = False
    """Whether it is one value of the record as it is, and nothing was calculated."""

    @property
    def slug(self) -> str:
        """Return the figure's name in the registry."""
        return self.description.slug

    @property
    def title(self) -> str:
        """Return the figure's name as a heading."""
        return self.description.title

    @property
    def number_with_uncertainty(self) -> str:
        """Return number and uncertainty as printed: `10.42 ± 0.05`."""
        return self.number if self.uncertainty_text is None else f"{self.number} ± {self.uncertainty_text}"

    @property
    def display(self) -> str:
        """Return number, uncertainty and unit as printed: `412.3 ± 2.1 hp`; `10.42:1`, but `10.42 ± 0.05`."""
        is_bare_ratio = self.unit == ":1" and self.uncertainty_text is not None
        return join_unit(self.number_with_uncertainty, "" if is_bare_ratio else self.unit)

    @property
    def range_text(self) -> str:
        """Return the range over its positions (`8.94 to 9.03:1`); empty where it has none, or all are the same."""
        low, high = self.minimum, self.maximum
        if low is None or high is None or self.description.headline != "mean" or low.number == high.number:
            return ""
        return join_unit(f"{low.number} to {high.number}", self.unit)

    @property
    def display_with_range(self) -> str:
        """Return the range over its positions first, then the mean: `8.94 to 9.03:1, mean 8.99 ± 0.03`."""
        return f"{self.range_text}, mean {self.number_with_uncertainty}" if self.range_text else self.display

    @property
    def basis(self) -> Provenance | Literal["mixed"]:
        """Return how what it goes back to is known: measured, listed, some of each, or given; typical if any is."""
        known = {reading.provenance for reading in self.readings} - {GIVEN}
        if TYPICAL in known:
            return TYPICAL
        return "mixed" if len(known) > 1 else next(iter(known), GIVEN)

    @property
    def provenance_text(self) -> str:
        """Return in a word how the figure is known: a value of the record, or calculated."""
        return PROVENANCE_TEXTS[self.provenance] if self.is_reading else "calculated"

    @property
    def calculated_from(self) -> str:
        """Return in words what it was calculated from, and how that is known; empty for a value of the record."""
        if self.is_reading:
            return ""
        groups = []
        for provenance in (MEASURED, LISTED, TYPICAL):
            labels = dict.fromkeys(reading.label for reading in self.readings if reading.provenance == provenance)
            if labels:
                groups.append(f"{join_and(labels)} {PROVENANCE_TEXTS[provenance]}")
        return f"calculated: {'; '.join(groups)}" if groups else "calculated"

    @property
    def minimum(self) -> FigurePosition | None:
        """Return the position with the lowest value."""
        return min(self.positions, key=lambda position: position.value, default=None)

    @property
    def maximum(self) -> FigurePosition | None:
        """Return the position with the highest value."""
        return max(self.positions, key=lambda position: position.value, default=None)

    @property
    def where(self) -> tuple[Path, int] | None:
        """Return file and line of the first input that has them."""
        return next((item.where for item in self.inputs if item.where), None)

    @property
    def spread(self) -> float:
        """Return the highest less the lowest value, SI."""
        values = [position.value for position in self.positions]
        return float(np.ptp(values)) if values else 0.0


@dataclass(frozen=True)
class MissingInputs:
    """A figure that cannot be computed, and what the record would have to hold for it."""

    slug: str
    title: str
    needs: tuple[str, ...]
    instead: tuple[tuple[str, ...], ...] = ()
    """What would do in place of ``needs``, each by another method."""

    @property
    def text(self) -> str:
        """What the record would have to hold, and what would do in place of some of it, in one line."""
        texts = ["; ".join(self.needs)]
        for hints in self.instead:
            dropped = "; ".join(hint for hint in self.needs if hint not in hints)
            added = " and ".join(hint for hint in hints if hint not in self.needs)
            texts.append(f"{added}, in place of {dropped}" if len(self.needs) > 1 else added)
        return " (or ".join(texts[:2]) + "".join(f"; or {text}" for text in texts[2:]) + (")" if self.instead else "")


@dataclass(frozen=True)
class Caution:
    """Something outside a guideline or its range: worth checking, never an error."""

    name: str
    """What the record calls it when it accepts it: one of `builder.record.models.delivery.CAUTIONS`."""
    subject: str
    """Slug of the figure it is about, or the path in the record."""
    sentence: str
    guideline: str
    """Whose rule it is, and the rule: `common practice: at least 0.035 in`."""
    where: tuple[Path, int] | None = None
    is_accepted: bool = False
    """Whether the shop accepted it."""
    accepted: Accepted | None = None
    """Why it was accepted and by whom; None where that is not for the reader."""

    @property
    def is_shown(self) -> bool:
        """Return whether a reader sees it: one that was accepted only together with the reason."""
        return not self.is_accepted or self.accepted is not None

    @property
    def text(self) -> str:
        """Return what was noticed, by whose rule, and why it was accepted."""
        text = f"{self.sentence} ({self.guideline})" if self.guideline else self.sentence
        return f"{text}. {self.answer}" if self.accepted else text

    @property
    def answer(self) -> str:
        """Return by whom it was accepted, and why; empty where it was not, or the reason is not for the reader."""
        return f"Accepted by {self.accepted.by}: {self.accepted.why}" if self.accepted else ""


@dataclass(frozen=True, kw_only=True)
class Discrepancy:
    """Two values for the same thing that differ by more than reading them can explain."""

    kind: Literal["listed against measured", "as received"]
    path: str
    title: str
    labels: tuple[str, str]
    """What the two values are: `listed`, `measured`; `by gauge`, `from the parts`."""
    values: tuple[str, str]
    difference: str
    consequence: str | None = None
    """What follows from it, or would have if the part had gone in; None where nothing can be computed."""
    matters: bool = False
    """Whether it changes what a page shows of the engine; most differences do not."""
    where: tuple[Path, int] | None = None

    @property
    def text(self) -> str:
        """Return title, values, difference and consequence as one sentence."""
        values = ", ".join(f"{label} {value}" for label, value in zip(self.labels, self.values, strict=True))
        consequence = f"; {self.consequence}" if self.consequence else ""
        return f"{self.title}: {values}: {self.difference}{consequence}."


@dataclass(frozen=True, kw_only=True)
class RecordedValue:
    """One value of the record: the path of its field, what it is called, how it was written, and file and line."""

    path: str
    label: str
    text: str
    where: tuple[Path, int]

    @property
    def place(self) -> str:
        """Return file and line as printed: `bottom_end.yaml:12`."""
        return f"{self.where[0].name}:{self.where[1]}"


@dataclass(frozen=True, kw_only=True)
class Contradiction:
    """Values of the record that cannot all be true."""

    check: str
    """Name of the cross-check that found it."""
    title: str
    sentence: str
    """Both sides with their values, and by how much they differ, at the worst position."""
    values: tuple[RecordedValue, ...]
    """Every recorded value involved."""
    axis: str | None = None
    positions: tuple[str, ...] = ()
    """The positions that do not agree, of a comparison with several."""
    worst: str | None = None
    consequence: str | None = None
    """What it changes in a figure, where that can be computed."""
    suspect: RecordedValue | None = None
    """The value that more checks name than any other of these: the most likely slip."""
    meant: tuple[tuple[str, str], ...] = ()
    """Fields that would agree with one slip mended (digits swapped, decimal, unit, sign), and what each would be."""

    @property
    def text(self) -> str:
        """Return title, positions, both sides and the consequence as one sentence."""
        parts = [f"{self.title}{self.position_text}: {self.sentence}"]
        return "; ".join([*parts, self.consequence] if self.consequence else parts)

    def meant_for(self, value: RecordedValue) -> str:
        """Return what a value probably was meant to be, or nothing: `1.4495 in meant?`."""
        text = dict(self.meant).get(value.path)
        return f"{text} meant?" if text and self.suspect in (None, value) else ""

    @property
    def position_text(self) -> str:
        """Return at which positions the sides do not agree: `, cylinder 3 (also 1, 2)`."""
        if self.worst is None:
            return ""
        others = [label for label in self.positions if label != self.worst]
        return f", {self.axis} {self.worst}" + (f" (also {', '.join(others)})" if others else "")

    @property
    def problem(self) -> Problem:
        """Return the warning of `millbook check`: the text, then every value with its file and line."""
        values = ", ".join(
            f"{value.label} {value.text} ({', '.join(filter(None, (value.place, self.meant_for(value))))})"
            for value in self.values
        )
        likely = f" Look first at {self.suspect.label}." if self.suspect else ""
        message = plain_spaces(f"{self.text}.{likely} Compare {values}")
        fields = tuple(dict.fromkeys(value.path for value in self.values))
        return Problem(*(self.suspect or self.values[0]).where, message, "warning", fields)


@dataclass(frozen=True, kw_only=True)
class FigureSheet(Mapping[str, Figure]):
    """Every figure of one build by slug, in page order; what is missing, and what cannot be right."""

    figures: tuple[Figure, ...]
    needs: tuple[MissingInputs, ...]
    problems: tuple[Problem, ...]
    system: System
    session: DynoSession | None = None
    """The dyno session that the figures of power come from."""
    clearances: tuple[CheckedClearance, ...] = ()
    """Every clearance against what is allowed."""
    cautions: tuple[Caution, ...] = ()
    discrepancies: tuple[Discrepancy, ...] = ()
    goals: tuple[GoalResult, ...] = ()
    """The customer's goals with a number, each met or not."""
    contradictions: tuple[Contradiction, ...] = ()
    """Values of the record that cannot all be true."""

    @cached_property
    def _by_slug(self) -> dict[str, Figure]:
        return {figure.slug: figure for figure in self.figures}

    def __getitem__(self, slug: str) -> Figure:
        return self._by_slug[slug]

    def __iter__(self) -> Iterator[str]:
        return iter(self._by_slug)

    def __len__(self) -> int:
        return len(self._by_slug)

    @property
    def listed(self) -> tuple[Figure, ...]:
        """Return the figures that pages and commands list."""
        return tuple(figure for figure in self.figures if figure.description.is_listed)

    @property
    def shown_cautions(self) -> tuple[Caution, ...]:
        """Return the cautions that a reader sees."""
        return tuple(caution for caution in self.cautions if caution.is_shown)

    def value(self, slug: str) -> float | None:
        """Return the value of a figure, SI, or None where it is missing."""
        figure = self.get(slug)
        return figure.value if figure else None
