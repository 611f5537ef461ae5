"""When each service of a delivered engine is due next, and when its warranty ends: by days, hours and distance."""

from __future__ import annotations

import calendar
import datetime
from collections.abc import Iterator

from builder.archive.due_item import DueItem
from builder.record.models.build import Build
from builder.record.models.delivery import Interval, Service
from builder.record.models.service import ServiceEntry, ServiceEvent
from builder.record.models.shop import Shop
from builder.record.problem import Problem, did_you_mean

_MIN_DAYS = 14
"""From fewer days of running the hours to come are not estimated (common practice, no source)."""


def due_items(build: Build, shop: Shop) -> tuple[DueItem, ...]:
    """Return every service of the schedule with when it is due next, then the end of the warranty.

    Only for a delivered engine; a service that is once and was done is left out. The schedule is that of delivery.yaml
    or, where it names no service, the shop's.
    """
    delivered = build.delivery.delivered if build.delivery else None
    if delivered is None or build.build.status != "finished":
        return ()
    running = _Running(build, delivered)
    items = [item for service in schedule(build, shop) if (item := _next(service, running)) is not None]
    if (ends := warranty_end(build, shop)) is not None:
        items.append(DueItem("warranty", "warranty ends", ends.isoformat(), is_warranty=True))
    return tuple(items)


def schedule(build: Build, shop: Shop) -> tuple[Service, ...]:
    """Return the services whose day or hours can be calculated: those of the build, else the shop's."""
    own = build.delivery.services if build.delivery else ()
    return tuple(s for s in own if s.name and (s.after or s.every)) or shop.services


def schedule_problems(build: Build, shop: Shop) -> Iterator[Problem]:
    """Yield an error for each service that service.yaml says was done and the schedule does not name."""
    names = [service.name for service in schedule(build, shop) if service.name]
    for index, entry in enumerate(build.service.entries if build.service else ()):
        for name in entry.done:
            if name not in names:
                hint = did_you_mean(name, names, f"known are {', '.join(names)}" if names else "it names none")
                message = f"done: the service schedule has no {name[:60]!r}: {hint}"
                path = f"service.entries.{index}.done"
                yield Problem(*build.where(path), message, "error", (path,))


class _Running:
    """What is known of an engine since it was delivered: its services, and how much it has run."""

    def __init__(self, build: Build, delivered: datetime.date) -> None:
        self.delivered = delivered
        self.entries: tuple[ServiceEntry, ...] = build.service.entries if build.service else ()
        events: tuple[ServiceEvent, ...] = build.service.events if build.service else ()
        every: list[ServiceEntry | ServiceEvent] = [*self.entries, *events]
        timed = [item for item in every if item.hours is not None or item.distance is not None]
        self.last = max(timed, key=lambda item: item.when, default=None)
        hours = [item for item in timed if item.hours is not None]
        self.last_hours = max(hours, key=lambda item: item.when, default=None)
        distances = [item.distance.si for item in timed if item.distance is not None]
        self.distance = max(distances, default=None)
        self.unit = next((item.distance.unit for item in timed if item.distance is not None), "km")

    def last_done(self, name: str | None) -> ServiceEntry | None:
        """Return the last entry that was a service of the schedule."""
        return max((entry for entry in self.entries if name in entry.done), key=lambda entry: entry.when, default=None)

    def day_of(self, hours: float) -> datetime.date | None:
        """Return the day on which the engine will have run so many hours, at the rate since delivery."""
        last = self.last_hours
        if last is None or not last.hours or (last.when - self.delivered).days < _MIN_DAYS:
            return None
        days = (last.when - self.delivered).days * hours / last.hours
        return self.delivered + datetime.timedelta(min(days, 36500.0))


def _next(service: Service, running: _Running) -> DueItem | None:
    done = running.last_done(service.name)
    interval = service.every or service.after
    if interval is None or service.name is None or (service.every is None and done is not None):
        return None
    if service.after is not None and done is None:
        interval = service.after  # the first time; then as often as ``every`` says
    start = done.when if done is not None else running.delivered
    base_hours = (done.hours if done is not None else 0.0) if interval.hours is not None else None
    distance = done.distance.si if done is not None and done.distance is not None else None
    base_distance = distance if done is not None else 0.0
    hours = None if base_hours is None or interval.hours is None else base_hours + interval.hours
    expected = running.day_of(hours) if hours is not None else None
    return DueItem(
        name=service.name,
        what=service.do,
        day=_day_after(start, interval),
        hours=hours,
        distance=None if base_distance is None or interval.distance is None else base_distance + interval.distance.si,
        distance_unit=interval.distance.unit if interval.distance else running.unit,
        last_done=done.when.isoformat() if done is not None else None,
        known_hours=running.last_hours.hours if running.last_hours is not None else None,
        known_distance=running.distance,
        known_on=running.last.when.isoformat() if running.last is not None else None,
        expected=expected.isoformat() if expected is not None else None,
    )


def _day_after(start: datetime.date, interval: Interval) -> str | None:
    if interval.months is None:
        return None
    months, part = divmod(interval.months, 1)
    return (months_later(start, int(months)) + datetime.timedelta(round(part * 30.4))).isoformat()


def warranty_end(build: Build, shop: Shop) -> datetime.date | None:
    """Return the last day of the warranty: that of the delivery sheet, else so many months later as the shop says."""
    delivery = build.delivery
    if delivery is None:
        return None
    if delivery.warranty_ends is None and delivery.delivered is not None and shop.warranty_months:
        return months_later(delivery.delivered, shop.warranty_months)
    return delivery.warranty_ends


def months_later(date: datetime.date, months: int) -> datetime.date:
    """Return the same day some months later, or the last day of that month where it has no such day."""
    year, month = divmod(date.year * 12 + date.month - 1 + months, 12)
    return datetime.date(year, month + 1, min(date.day, calendar.monthrange(year, month + 1)[1]))
