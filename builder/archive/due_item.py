"""One service that is due, or the end of a warranty."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Sequence
from typing import Literal

import msgspec

from builder.record.quantities.units import to_unit

SOON_DAYS = 30
"""A service counts as due from so many days before its day (common practice, no source)."""

DueStatus = Literal["overdue", "due", "later", "not known"]


class DueItem(msgspec.Struct, frozen=True, array_like=True):
    """One service of one engine, or the end of its warranty: when it is due. It does not depend on today.

    ``day`` is the day it is due by, ``hours`` and ``distance`` [m] what the engine will have run since delivery.
    ``known_hours``, ``known_distance`` and ``known_on`` are the last that was written down; ``expected`` is the day on
    which the hours will be reached if the engine runs as much as until then. Days are ISO 8601.
    """

    name: str
    what: str
    day: str | None = None
    hours: float | None = None
    distance: float | None = None
    distance_unit: str = "km"
    last_done: str | None = None
    known_hours: float | None = None
    known_distance: float | None = None
    known_on: str | None = None
    expected: str | None = None
    is_warranty: bool = False

    def status(self, today: datetime.date) -> DueStatus:
        """Return how the service is on a day: overdue by day, hours or distance, due soon, or later."""
        day = datetime.date.fromisoformat(self.day) if self.day else None
        if day is not None and day < today:
            return "overdue"
        for known, due in ((self.known_hours, self.hours), (self.known_distance, self.distance)):
            if known is not None and due is not None and known >= due:
                return "overdue"
        days = [item for item in (self.day, self.expected) if item]
        if not days:
            return "not known"
        return "due" if datetime.date.fromisoformat(min(days)) <= today + datetime.timedelta(SOON_DAYS) else "later"


def in_order_of_day(items: Iterable[tuple[str, DueItem]]) -> Sequence[tuple[str, DueItem]]:
    """Return services with the build of each, the next one first; those without a day last."""

    def key(item: tuple[str, DueItem]) -> tuple[str, str, str]:
        slug, due = item
        return (min(filter(None, (due.day, due.expected)), default="9999"), slug, due.name)

    return sorted(items, key=key)


def due_text(item: DueItem) -> str:
    """Return when a service is due, and what is known of the running, in one line."""
    if item.is_warranty:
        return f"on {item.day}"
    when = [f"by {item.day}"] if item.day else []
    if item.hours is not None:
        when.append(f"at {item.hours:,.6g} h" + (f" (about {item.expected}, estimated)" if item.expected else ""))
    if item.distance is not None:
        when.append(f"at {_distance(item.distance, item.distance_unit)}")
    text = " or ".join(when) or "hours and distance when last done are not recorded"
    known = [f"{item.known_hours:,.6g} h"] if item.known_hours is not None else []
    known += [_distance(item.known_distance, item.distance_unit)] if item.known_distance is not None else []
    last = f"last done {item.last_done}" if item.last_done else "not done since delivery"
    return f"{text}; {last}" + (f"; {', '.join(known)} on {item.known_on}" if known else "; hours not known")


def _distance(meters: float, unit: str) -> str:
    return f"{to_unit(meters, unit, 'length'):,.0f} {unit}"
