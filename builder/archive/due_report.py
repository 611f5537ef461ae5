"""What `millbook due` prints: the services of all delivered engines, those overdue first."""

from __future__ import annotations

import datetime
import json
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import msgspec

from builder.archive.engine_build import engine_key
from builder.archive.service_due import DueItem, DueStatus, due_items, in_order_of_day, schedule_problems
from builder.archive.shop_profile import read_shop_profile
from builder.figures.core.guard import Guard
from builder.record.load import build_folders, read_build
from builder.record.models.build import Build
from builder.record.models.shop import Shop
from builder.record.problem import Problem, errors_in
from builder.record.quantities.units import to_unit

_ORDER: tuple[DueStatus, ...] = ("overdue", "due", "later", "not known")


@dataclass(frozen=True)
class DueReport:
    """The services as lines or as JSON, the problems of the records, and whether all could be read."""

    lines: tuple[str, ...]
    problems: tuple[Problem, ...]

    @property
    def ok(self) -> bool:
        """Return whether every record could be read."""
        return not errors_in(self.problems)


@dataclass(frozen=True)
class _Row:
    build: Build
    item: DueItem
    status: DueStatus


def due_report(archive: Path, today: datetime.date, *, as_json: bool = False) -> DueReport:
    """Return every service of the engines that are delivered, those overdue on a day first, and ends of warranties.

    Of the builds of one engine the last counts.
    """
    shop, problems = read_shop_profile(archive)
    builds: list[Build] = []
    for folder in build_folders(archive):
        guard = Guard(folder.name)
        build, found = guard.run("the build", partial(read_build, folder, archive), (None, []))
        problems += [*errors_in(found), *guard.problems]
        if build is not None:
            builds.append(build)
            problems += schedule_problems(build, shop)
    current = _last_of_each_engine(builds)
    by_slug = {build.slug: build for build in current}
    ordered = in_order_of_day((build.slug, item) for build in current for item in due_items(build, shop))
    rows = [_Row(by_slug[slug], item, item.status(today)) for slug, item in ordered]
    rows = [row for row in rows if not (row.item.is_warranty and row.status == "overdue")]  # it has ended
    rows.sort(key=lambda row: _ORDER.index(row.status))
    lines = (json.dumps([_json(row) for row in rows], indent=2, ensure_ascii=False),) if as_json else _lines(rows, shop)
    return DueReport(tuple(lines), tuple(problems))


def _last_of_each_engine(builds: list[Build]) -> list[Build]:
    """Return the last build of every engine, and all builds without an engine number."""
    last: dict[str, Build] = {}
    for build in builds:
        number = build.build.engine_number
        key = engine_key(number) if number else f"\0{build.slug}"
        if key not in last or _day(build) >= _day(last[key]):
            last[key] = build
    return [build for build in builds if build in last.values()]


def _day(build: Build) -> datetime.date:
    return build.build.started or build.build.finished or datetime.date.max


def _lines(rows: list[_Row], shop: Shop) -> Iterator[str]:
    if not rows:
        yield "nothing due: no delivered engine has a service schedule with names, or a warranty"
        return
    for row in rows:
        build = row.build.build
        identity = ", ".join(filter(None, (build.number, build.engine_number)))
        name = f"{row.build.slug} ({identity})" if identity else row.build.slug
        what = row.item.what if row.item.is_warranty else f"{row.item.name}: {row.item.what}"
        yield f"{row.status:<9} {name}: {what}; {due_text(row.item)}"


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


def _json(row: _Row) -> dict[str, object]:
    item = msgspec.structs.asdict(row.item)
    build = row.build.build
    return {"build": row.build.slug, "number": build.number, "engine_number": build.engine_number,
            "status": row.status, **item}  # fmt: skip
