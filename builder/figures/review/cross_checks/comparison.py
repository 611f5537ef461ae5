"""Define cross-checks and run them: values that cannot all be true, each with every value, file and line involved.

A check is one function of the record that returns a comparison, or several. Written as arithmetic on recorded values,
it carries their uncertainties and their lines along::

    @define.check("deck_clearance", "Deck clearance")
    def _deck_clearance(record: RecordValues) -> Comparison:
        dial = record.value("bottom_end.deck_clearance")
        parts = record.value("bottom_end.block.deck_height").mean() - ...
        return compare(("dial indicator", dial), "equals", ("from the parts", parts), within="0.05 mm")

A check whose values are not recorded is left out. Two sides agree where they differ by no more than the expanded
uncertainty of both (k = 3) and what the method itself scatters by (``within``), added as squares.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import partial
from itertools import combinations
from typing import Literal

import numpy as np

from builder.engine.validation import Array, InputConflict
from builder.figures.core.display_units import written_text
from builder.figures.core.types import Contradiction, RecordedValue
from builder.figures.review.cross_checks.operand import Operand, Source
from builder.figures.review.cross_checks.probable_slips import without_slip
from builder.figures.review.cross_checks.record_values import NotRecorded, RecordValues
from builder.record.quantities.units import parse_quantity
from builder.record.wording import in_sentence

_COVERAGE = 3.0
"""Coverage factor of the uncertainties: some hundred positions of a build are compared, and k = 2 would report
five of them by chance alone."""

Relation = Literal["equals", "at most", "at least"]


@dataclass(frozen=True, eq=False, kw_only=True)
class Comparison:
    """Two sides that should be equal, or of which the first should not be above or below the second; see `compare`."""

    first_label: str
    first: Operand
    second_label: str
    second: Operand
    relation: Relation
    scatter: float
    share: float
    advice: str


@dataclass(frozen=True, kw_only=True)
class Statement:
    """A contradiction that is not one of two numbers: what is wrong, and the values that say so."""

    sentence: str
    values: tuple[RecordedValue, ...]


Result = Comparison | Statement
CheckFunction = Callable[[RecordValues], Result | Iterable[Result]]


@dataclass(frozen=True)
class CrossCheck:
    """One check: its name, its title and the function that compares."""

    slug: str
    title: str
    function: CheckFunction


class CrossChecks:
    """The cross-checks of one module."""

    def __init__(self) -> None:
        """Start without a check."""
        self.checks: list[CrossCheck] = []

    def check(self, slug: str, title: str) -> Callable[[CheckFunction], CheckFunction]:
        """Return a decorator that defines a function as a check."""

        def define(function: CheckFunction) -> CheckFunction:
            self.checks.append(CrossCheck(slug, title, function))
            return function

        return define


def compare(
    first: tuple[str, Operand],
    relation: Relation,
    second: tuple[str, Operand],
    *,
    within: str = "",
    share: float = 0.0,
    advice: str = "",
) -> Comparison:
    """Return the comparison of two sides, each with what it is called.

    ``within`` is what the method itself scatters by, whatever the gauges resolve: a quantity such as `0.05 mm`;
    ``share`` is the same as a share of the second side. ``advice`` says what to look at first.
    """
    return Comparison(
        first_label=first[0],
        first=first[1],
        relation=relation,
        second_label=second[0],
        second=second[1],
        scatter=parse_quantity(within, None).si if within else 0.0,
        share=share,
        advice=advice,
    )


def run_checks(checks: Iterable[CrossCheck], record: RecordValues) -> Iterator[Contradiction]:
    """Yield the contradictions that the checks find, in their order."""
    for check in checks:
        yield from record.context.guard.collect(
            f"the comparison of {in_sentence(check.title)}", partial(_run, check, record)
        )


def _run(check: CrossCheck, record: RecordValues) -> Iterator[Contradiction]:
    for result in _results(check, record):
        contradiction = _contradiction(check, result) if isinstance(result, Comparison) else _stated(check, result)
        if contradiction is not None:
            yield contradiction


def _results(check: CrossCheck, record: RecordValues) -> Iterator[Result]:
    try:
        results = check.function(record)
        if isinstance(results, (Comparison, Statement)):
            yield results
        else:
            yield from results
    except (NotRecorded, InputConflict):
        return  # what is impossible in itself is a problem of the figures


def _stated(check: CrossCheck, statement: Statement) -> Contradiction:
    return Contradiction(check=check.slug, title=check.title, sentence=statement.sentence, values=statement.values)


def _contradiction(check: CrossCheck, comparison: Comparison) -> Contradiction | None:
    first, second = comparison.first, comparison.second
    difference = first - second
    scatter = np.hypot(comparison.scatter, comparison.share * np.abs(second.values))
    tolerance = np.hypot(scatter, _COVERAGE * difference.standard_uncertainty) * (1 + 1e-9) + 1e-12
    excess = _excess(difference.values, comparison.relation) - tolerance
    failing = np.flatnonzero(excess > 0)
    order = _wrong_order(comparison, difference)
    if order is not None:
        return _order_contradiction(check, comparison, difference, *order)
    if not failing.size:
        return None
    worst = int(np.argmax(excess))
    size = difference.values.size
    labels = difference.labels if len(difference.labels) == size > 1 else ()
    values = [value for operand in (first, second) for value in _values_at(operand, worst, size)]
    return Contradiction(
        check=check.slug,
        title=check.title,
        sentence=_sentence(comparison, worst, size, float(difference.values[worst]), _at(tolerance, worst)),
        values=tuple(dict.fromkeys(values)),
        axis=difference.axis if labels else None,
        positions=tuple(labels[index] for index in failing) if labels else (),
        worst=labels[worst] if labels else None,
        meant=tuple(_meant(comparison, difference, worst, _at(tolerance, worst))),
    )


def _meant(comparison: Comparison, difference: Operand, index: int, tolerance: float) -> Iterator[tuple[str, str]]:
    """Yield field and text of each written value that would make both sides agree at one position, one slip mended.

    A limit says too little of what was meant: almost any other number keeps it.
    """
    if comparison.relation != "equals":
        return
    size = difference.values.size
    for source in (*comparison.first.sources, *comparison.second.sources):
        part = difference.uncertainties.get(source.path)
        if part is None or not source.uncertainty or len(source.written) not in (1, size):
            continue
        position = index if len(source.written) == size else 0
        slope = _at(part, index) / source.uncertainty
        written = source.written[position]
        for candidate in without_slip(written):
            left = float(difference.values[index]) + slope * (candidate.si - written.si)
            if abs(left) <= tolerance:
                yield source.values[position].path, written_text(candidate)
                break


_MOST_POSITIONS = 24
_CLOSER = 10.0
"""How much smaller the sum of squares must become before an order is reported: no pattern of noise does that."""


def _wrong_order(comparison: Comparison, difference: Operand) -> tuple[Source, tuple[int, ...]] | None:
    """Return the field whose positions, two of them swapped or all turned round, would make both sides agree.

    With the positions that would move. Differences inside the tolerance can show it: they vanish in the right order.
    """
    count = difference.values.size
    if comparison.relation != "equals" or not 3 <= count <= _MOST_POSITIONS:
        return None
    floor = float(np.sum(np.square(difference.standard_uncertainty)))
    now = float(np.sum(np.square(difference.values)))
    if not floor or now < _CLOSER * floor:
        return None
    orders = [np.arange(count)[::-1]]
    for one, other in combinations(range(count), 2):
        orders.append(np.arange(count))
        orders[-1][[one, other]] = other, one
    for source in (*comparison.first.sources, *comparison.second.sources):
        if source.numbers.size != count or not source.uncertainty or source.path not in difference.uncertainties:
            continue
        slope = difference.uncertainties[source.path] / source.uncertainty
        moved = source.numbers[np.array(orders)] - source.numbers
        sums = np.sum(np.square(difference.values + slope * moved), axis=1)
        best = int(np.argmin(sums))
        if now >= _CLOSER * max(float(sums[best]), floor):
            return source, tuple(np.flatnonzero(moved[best]).tolist())
    return None


def _order_contradiction(
    check: CrossCheck, comparison: Comparison, difference: Operand, source: Source, positions: tuple[int, ...]
) -> Contradiction:
    labels = difference.labels or tuple(str(index + 1) for index in range(difference.values.size))
    names = " and ".join(labels[index] for index in positions) if len(positions) == 2 else "all, end to end"
    field = source.values[0].label.partition(",")[0]
    size = difference.values.size
    others = [
        value
        for operand in (comparison.first, comparison.second)
        for item in operand.sources
        if item is not source and len(item.values) == size
        for value in (item.values[index] for index in positions)
    ]
    return Contradiction(
        check=check.slug,
        title=check.title,
        sentence=f"{comparison.first_label} and {comparison.second_label} agree with the {field} readings in another "
        f"order ({difference.axis} {names} swapped)",
        values=tuple(dict.fromkeys([*(source.values[index] for index in positions), *others])),
        axis=difference.axis,
        positions=tuple(labels[index] for index in positions),
        worst=labels[positions[0]],
    )


def _excess(difference: Array, relation: Relation) -> Array:
    if relation == "equals":
        return np.abs(difference)
    return difference if relation == "at most" else -difference


def _values_at(operand: Operand, index: int, size: int) -> Iterator[RecordedValue]:
    """Yield the recorded values behind one position: of a field with as many positions the one, else all."""
    for source in operand.sources:
        if len(source.values) == size:
            yield source.values[index]
        else:
            yield from source.values


def _at(values: Array, index: int) -> float:
    return float(values[index if values.size > 1 else 0])


def _sentence(comparison: Comparison, index: int, size: int, difference: float, tolerance: float) -> str:
    first, second = (
        operand.show(float(operand.values[index if operand.values.size == size else 0]))
        for operand in (comparison.first, comparison.second)
    )
    if comparison.relation == "equals":
        sides = f"{comparison.first_label} {first}, {comparison.second_label} {second}"
        allowed = comparison.first.show(tolerance)
        sides += f": {comparison.first.show(abs(difference))} apart, {allowed} allowed"
    else:
        beyond = "more" if comparison.relation == "at most" else "less"
        sides = f"{comparison.first_label} {first}, {beyond} than {comparison.second_label} ({second})"
    return f"{sides}; {comparison.advice}" if comparison.advice else sides
