"""What `millbook due` prints: the services of all delivered engines, those overdue first."""

from __future__ import annotations

import datetime
import json
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import msgspec

from builder.archive.due_item import DueItem, DueStatus, due_text, in_order_of_day
from builder.archive.engine_build import engine_key
from builder.archive.service_due import due_items, schedule_problems
from builder.archive.shop_profile import read_shop_profile
from builder.figures.core.guard import Guard
from builder.record.load import build_folders, read_build
from builder.record.models.build import Build
from builder.record.problem import errors_in
from builder.record.report import CommandReport

_ORDER: tuple[DueStatus, ...] = ("overdue", "due", "later", "not known")


@dataclass(frozen=True)
class _Row:
    build: Build
    item: DueItem
    status: DueStatus


def due_report(archive: Path, today: datetime.date, *, as_json: bool = False) -> CommandReport:
    """Return every service of the engines that are delivered, those overdue on a day first, and ends of warranties.

    Of the builds of one engine the last counts.
    """
    shop, problems = read_shop_profile(archive)
    builds: list[Build] = []
    for folder in build_folders(archive):
        guard = Guard(folder.name)
        build, build_problems = guard.run("the build", partial(read_build, folder, archive), (None, []))
        problems += [*errors_in(build_problems), *guard.problems]
        if build is not None:
            builds.append(build)
            problems += schedule_problems(build, shop)
    current = _last_of_each_engine(builds)
    by_slug = {build.slug: build for build in current}
    ordered = in_order_of_day((build.slug, item) for build in current for item in due_items(build, shop))
    rows = [_Row(by_slug[slug], item, item.status(today)) for slug, item in ordered]
    rows = [row for row in rows if not (row.item.is_warranty and row.status == "overdue")]  # it has ended
    rows.sort(key=lambda row: _ORDER.index(row.status))
    text = _lines(rows, _engines_in_the_shop(current, builds))
    lines = (json.dumps([_json(row) for row in rows], indent=2, ensure_ascii=False),) if as_json else text
    return CommandReport(problems, tuple(lines), ok=not errors_in(problems))


def _last_of_each_engine(builds: list[Build]) -> list[Build]:
    """Return the last build of every engine, and all builds without an engine number."""
    last: dict[str, Build] = {}
    for build in builds:
        number = build.build.engine_number
        key = engine_key(number) if number else f"\0{build.slug}"
        if key not in last or _day(build) >= _day(last[key]):
            last[key] = build
    return [build for build in builds if build in last.values()]


def _engines_in_the_shop(current: list[Build], builds: list[Build]) -> dict[str, str]:
    """Return the slug of the build that has an engine in the shop again, by the slug of the one delivered before."""

    def is_delivered(build: Build) -> bool:
        return build.delivery is not None and build.delivery.delivered is not None

    here = {engine_key(build.build.engine_number or ""): build.slug for build in current if not is_delivered(build)}
    keys = {build.slug: engine_key(build.build.engine_number or "") for build in builds if is_delivered(build)}
    return {slug: here[key] for slug, key in keys.items() if key and key in here}


def _day(build: Build) -> datetime.date:
    return build.build.started or build.build.finished or datetime.date.max


def _lines(rows: list[_Row], in_the_shop: dict[str, str]) -> Iterator[str]:
    if not rows:
        why = "" if in_the_shop else ": no delivered engine has a service schedule with names, or a warranty"
        yield f"nothing due{why}"
    for row in rows:
        build = row.build.build
        identity = ", ".join(filter(None, (build.number, build.engine_number)))
        name = f"{row.build.slug} ({identity})" if identity else row.build.slug
        what = row.item.what if row.item.is_warranty else f"{row.item.name}: {row.item.what}"
        yield f"{row.status:<9} {name}: {what}; {due_text(row.item)}"
    for earlier, later in in_the_shop.items():
        yield f"left out  {earlier}: the engine is in the shop again ({later})"


def _json(row: _Row) -> dict[str, object]:
    item = msgspec.structs.asdict(row.item)
    build = row.build.build
    return {"build": row.build.slug, "number": build.number, "engine_number": build.engine_number,
            "status": row.status, **item}  # fmt: skip
