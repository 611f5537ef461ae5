"""The page of an engine that was built more than once or is serviced: its builds, its wear, its curves, its parts.

It is written from the summaries of its builds alone, in which nothing private is.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

from builder.archive.engine_build import EngineBuild, EngineService
from builder.archive.engine_dyno import compare_states
from builder.archive.engine_history import EngineHistory
from builder.archive.fields import BY_SLUG, System
from builder.archive.summary import Summary
from builder.draw.chart_cache import ChartCache
from builder.figures.core import display_units as units
from builder.publish.english import english_of, shown_texts
from builder.publish.pages.archive.engine_charts import engine_charts, name_of, states_of
from builder.publish.pages.archive.engine_wear import wear_charts, wear_readings
from builder.publish.pages.archive.pages import display_units
from builder.publish.pages.build.goals_section import with_half_width
from builder.publish.pages.build.page_chart import chart_files, chart_guard, draw_page_charts
from builder.publish.pages.build.worker import template_env
from builder.publish.pages.formatting import group_thousands, sentence
from builder.record.models.shop import Shop
from builder.record.problem import Problem
from builder.record.quantities.unit_table import MILE
from builder.record.wording import capitalize, count_of

if TYPE_CHECKING:
    import jinja2

_ELEMENTS_NAMED = 6
"""How many elements of an oil analysis the timeline names; the charts have them all."""


@dataclass(frozen=True)
class TimelineEntry:
    """One day in the life of the engine; ``slug`` is that of the build it leads to."""

    date: str
    kind: str
    title: str
    slug: str = ""
    facts: tuple[str, ...] = ()
    text: str = ""


@dataclass(frozen=True)
class BackToBackRow:
    """Two states of the engine on the dyno compared."""

    before: str
    after: str
    torque_before: str
    torque_after: str
    difference: str
    range: str


@dataclass(frozen=True)
class EngineOutput:
    """The files of an engine's page, by path below its folder, with the keys of its charts."""

    files: Mapping[str, bytes]
    charts: tuple[str, ...]
    problems: tuple[Problem, ...] = field(default=())


def histories_with_page(histories: Mapping[str, EngineHistory]) -> dict[str, EngineHistory]:
    """Return the engines that have a page: of two builds or more, or with something recorded after delivery."""
    return {
        key: history
        for key, history in histories.items()
        if len(history.builds) > 1 or history.services or history.events
    }


def engine_links(histories: Mapping[str, EngineHistory], environment: jinja2.Environment) -> dict[str, str]:
    """Return, by slug, the line on each build's page that leads to its engine and the builds before and after it."""
    template = environment.get_template("pages/engine_links.md.j2")
    return {
        build.slug: template.render(
            key=key,
            number=history.number,
            place=index + 1,
            count=len(history.builds),
            previous=history.builds[index - 1] if index else None,
            next=history.builds[index + 1] if index + 1 < len(history.builds) else None,
        )
        for key, history in histories.items()
        for index, build in enumerate(history.builds)
    }


def render_engine(
    history: EngineHistory, *, shop: Shop, archive: Path, templates: Path, charts: ChartCache
) -> EngineOutput:
    """Return the page of an engine and its charts."""
    builds = history.builds
    system = builds[-1].system or display_units(shop)
    guard = chart_guard(builds[-1].slug)
    names = {build.slug: name_of(build) for build in builds}
    requests = [
        *guard.collect(
            "a chart of the engine", partial(engine_charts, builds, shop, system, both=shop.units == "both")
        ),
        *guard.collect("a chart of the wear", partial(wear_charts, history, names)),
    ]
    drawings, problems = draw_page_charts(requests, charts, builds[-1].slug)
    english = english_of(shop.english, archive).keeping(list(shown_texts(builds)))
    page = template_env(archive, templates).get_template("pages/engine.md.j2").render(
        number=history.number,
        builds=builds,
        family=next((build.family for build in reversed(builds) if build.family), None),
        running=_total_running(builds),
        timeline=timeline(builds, system),
        charts=drawings,
        back_to_back=list(_back_to_back(builds, system)),
        parts=_parts(builds),
        condition=[(build, build.engine.condition) for build in builds if build.engine and build.engine.condition],
        names=names,
        wear=wear_readings(history),
    )  # fmt: skip
    files = {"index.md": english.markup(page).encode(), **chart_files(drawings, english)}
    return EngineOutput(files, tuple(item.key for item in drawings), (*guard.problems, *problems))


def _result(build: Summary, system: System) -> str:
    """Return what the build made as delivered, in a line."""
    texts = []
    for slug, speed in (("peak_power", "peak_power_speed"), ("peak_torque", "peak_torque_speed")):
        value, rpm = getattr(build, slug), getattr(build, speed)
        if value is not None:
            at = f" at {BY_SLUG[speed].show(rpm, system)}" if rpm is not None else ""
            texts.append(group_thousands(BY_SLUG[slug].show(value, system) + at))
    return ", ".join(texts)


def _total_running(builds: Sequence[Summary]) -> str:
    """Return how long the engine has run since its first build here, as far as it is recorded."""
    engines = [build.engine for build in builds if build.engine is not None]
    last = engines[-1]
    hours = [engine.hours for engine in engines if engine.hours is not None]
    since = [service.hours for service in last.services] + [event.hours for event in last.events]
    hours.append(max((item for item in since if item is not None), default=0.0))
    return group_thousands(f"{sum(hours):g} h") if sum(hours) else ""


def running_text(hours: float | None, distance: float | None, starts: int | None, system: System) -> str:
    """Return running time, distance [m] and starts as text, what is recorded of it."""
    texts = [f"{hours:g} h"] if hours is not None else []
    if distance is not None:
        far, unit = (distance / MILE, "mi") if system == "inch" else (distance / 1000, "km")
        texts.append(group_thousands(f"{far:.0f} {unit}"))
    if starts is not None:
        texts.append(count_of(starts, "start"))
    return ", ".join(texts)


def timeline(builds: Sequence[Summary], system: System) -> list[TimelineEntry]:
    """Return what happened to an engine by day, its builds oldest first; what has no day comes last."""
    return sorted(_timeline(builds, system), key=lambda entry: entry.date or "9999")


def _timeline(builds: Sequence[Summary], system: System) -> Iterator[TimelineEntry]:
    for index, build in enumerate(builds):
        engine = build.engine
        assert engine is not None
        if index and (engine.reason or engine.hours is not None or engine.distance is not None):
            running = running_text(engine.hours, engine.distance, engine.starts, system)
            yield TimelineEntry(
                engine.started or engine.finished or "",
                "returned",
                f"Came back for {engine.reason}" if engine.reason else "Came back",
                facts=tuple(filter(None, (f"after {running}" if running else "",))),
                text=engine.reason_text or "",
            )
        yield TimelineEntry(
            engine.finished or engine.delivered or "",
            "build",
            f"Build {index + 1}: {build.title}",
            build.slug,
            tuple(filter(None, (build.number, _result(build, system)))),
        )
        yield from _after_delivery(engine, system)


def _after_delivery(engine: EngineBuild, system: System) -> Iterator[TimelineEntry]:
    for service in engine.services:
        running = running_text(service.hours, service.distance, None, system)
        facts = (f"{running} after delivery" if running else "", *_service_readings(service, system))
        yield TimelineEntry(
            service.when,
            "service",
            sentence(service.what, ""),
            facts=tuple(filter(None, facts)),
            text=service.note or "",
        )
    for event in engine.events:
        running = running_text(event.hours, event.distance, None, system)
        facts = (f"{running} after delivery" if running else "",)
        title = capitalize(event.kind)
        yield TimelineEntry(event.when, "event", title, facts=tuple(filter(None, facts)), text=event.what or "")


def _service_readings(service: EngineService, system: System) -> Iterator[str]:
    for title, values, unit in (
        ("leak-down", service.leak_down, units.WHOLE_PERCENT),
        ("cranking compression", service.cranking_compression, units.PRESSURE),
    ):
        if values:
            low, high = unit.text(min(values), system, with_unit=False), unit.text(max(values), system)
            yield f"{title} {high}" if min(values) == max(values) else f"{title} {low} to {high}"
    if service.oil_pressure is not None:
        yield f"oil pressure {units.PRESSURE.text(service.oil_pressure, system)}"
    if service.plug_color:
        yield f"plugs {', '.join(dict.fromkeys(service.plug_color))}"
    if service.elements:
        named = [f"{element} {value:g}" for element, value in service.elements.items() if value][:_ELEMENTS_NAMED]
        yield f"oil: {', '.join(named)} ppm"


def _back_to_back(builds: Sequence[Summary], system: System) -> Iterator[BackToBackRow]:
    """Yield each state on the dyno against the one before it, and each delivery against the one before."""
    states = states_of(builds)
    delivered = [state for state in states if state.delivered]
    for earlier, later in dict.fromkeys((*pairwise(states), *pairwise(delivered))):
        difference = compare_states(earlier.state, later.state)
        if difference is None:
            continue
        step = units.TORQUE.rounding_step(difference.half_width, system)
        before, after = units.TORQUE.texts((difference.before, difference.after), system, (step, step))
        text = with_half_width(units.TORQUE, difference.value, difference.half_width, system)
        sign = "+" if difference.value > 0 and not units.TORQUE.rounds_to_zero(difference.value, system, step) else ""
        low, high = (units.SPEED.text(end, system, with_unit=False) for end in (difference.low, difference.high))
        yield BackToBackRow(
            earlier.name,
            later.name,
            group_thousands(before),
            group_thousands(after),
            group_thousands(f"{sign}{text}"),
            group_thousands(f"{low} to {high} rpm"),
        )


def _parts(builds: Sequence[Summary]) -> list[tuple[str, list[str]]]:
    """Return, for each kind of part, what each build was given of it; only kinds that some build records."""
    by_kind: dict[str, dict[str, list[str]]] = defaultdict(lambda: defaultdict(list))
    for build in builds:
        for part in build.parts:
            text = f"{part.maker} {part.number}".strip()
            if text and part.verdict not in ("returned", "scrapped"):
                by_kind[part.kind][build.slug].append(text)
    return [
        (capitalize(kind), ["; ".join(dict.fromkeys(texts[build.slug])) for build in builds])
        for kind, texts in sorted(by_kind.items())
    ]
