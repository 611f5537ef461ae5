"""What past builds cost the shop, for quoting the next one: hours worked and prices of parts. For the shop alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import median

from builder.engine.constants import HOUR
from builder.record.models.build import Build
from builder.record.quantities.money import Price, read_price

_MIN_FOR_MEDIAN = 3


@dataclass(frozen=True, slots=True)
class JobCosts:
    """Hours and prices of one build.

    ``hours`` is the sum over the operations that state theirs, ``timed`` of ``operations``; None where none does.
    ``parts`` is what the parts cost, a sum for each currency, over the ``priced`` of the ``entries`` of the parts list;
    returned parts and the customer's own are not counted. ``price`` is what the job was charged, as written.
    """

    hours: float | None
    timed: int
    operations: int
    parts: tuple[Price, ...]
    priced: int
    entries: int
    unread: tuple[str, ...]
    """Prices of parts that are not a single amount, as written."""
    price: str | None

    @property
    def hours_text(self) -> str:
        """The hours, and of how many of the operations."""
        if self.hours is None:
            return "hours not recorded"
        if self.timed == self.operations:
            return f"{self.hours:.1f} h"
        return f"{self.hours:.1f} h or more ({self.timed} of {self.operations} operations timed)"

    @property
    def parts_text(self) -> str:
        """The cost of the parts, and of how many of the entries; prices that could not be read are named."""
        if not self.parts:
            text = "prices of parts not recorded"
        else:
            text = f"parts {' + '.join(map(str, self.parts))}"
            if self.priced < self.entries:
                text += f" or more ({self.priced} of {self.entries} entries priced)"
        return f"{text}; not a single amount: {', '.join(map(repr, self.unread))}" if self.unread else text


@dataclass(frozen=True, slots=True)
class CostRange:
    """The range of a sum over several builds; ``partial`` of the ``count`` builds record it only in part."""

    title: str
    lowest: float
    highest: float
    median: float | None
    count: int
    partial: int
    builds: int
    is_money: bool = False
    currency: str = ""

    @property
    def text(self) -> str:
        """The range in words, with how many builds it rests on."""

        def show(value: float) -> str:
            return str(Price(float(round(value)), self.currency)) if self.is_money else f"{value:.0f} h"

        span = show(self.lowest) if self.count == 1 else f"{show(self.lowest)} to {show(self.highest)}"
        middle = f", median {show(self.median)}" if self.median is not None else ""
        partly = f", {self.partial} of them in part" if self.partial else ""
        return f"{self.title} {span}{middle} (recorded by {self.count} of {self.builds}{partly})"


def job_costs(build: Build) -> JobCosts:
    """Return hours and prices of a build, private fields included."""
    operations = build.work.operations if build.work else ()
    times = [operation.hours.si / HOUR for operation in operations if operation.hours is not None]
    entries = [
        part
        for part in (build.parts.parts if build.parts else ())
        if part.verdict != "returned" and part.source != "customer's own"
    ]
    written = [part.price for part in entries if part.price is not None]
    prices = [price for text in written if (price := read_price(text)) is not None]
    sums: dict[str, float] = {}
    for price in prices:
        sums[price.currency] = sums.get(price.currency, 0.0) + price.amount
    return JobCosts(
        hours=sum(times) if times else None,
        timed=len(times),
        operations=len(operations),
        parts=tuple(Price(amount, currency) for currency, amount in sums.items()),
        priced=len(prices),
        entries=len(entries),
        unread=tuple(text for text in written if read_price(text) is None),
        price=build.build.price,
    )


def cost_ranges(costs: Sequence[JobCosts]) -> tuple[CostRange, ...]:
    """Return the range of the hours, and of the cost of parts in each currency, over builds; none where unrecorded."""
    ranges = []
    hours = [(item.hours, item.timed < item.operations) for item in costs if item.hours is not None]
    if hours:
        ranges.append(_range("hours", hours, len(costs)))
    currencies = dict.fromkeys(price.currency for item in costs for price in item.parts)
    for currency in currencies:
        sums = [
            (price.amount, item.priced < item.entries)
            for item in costs
            for price in item.parts
            if price.currency == currency
        ]
        ranges.append(replace(_range("parts", sums, len(costs)), is_money=True, currency=currency))
    return tuple(ranges)


def _range(title: str, sums: Sequence[tuple[float, bool]], builds: int) -> CostRange:
    values = [value for value, _ in sums]
    middle = median(values) if len(values) >= _MIN_FOR_MEDIAN else None
    partial = sum(is_partial for _, is_partial in sums)
    return CostRange(title, min(values), max(values), middle, len(values), partial, builds)
