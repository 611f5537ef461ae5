"""The section of a build's page that depends on every other build: the most similar builds, and their curves."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from builder.archive.estimate import MAX_DISTANCE
from builder.archive.fields import BY_SLUG, System, weights_from
from builder.archive.shop_notes import with_wanted_values
from builder.archive.similar_answer import relative_facts
from builder.archive.similarity import Match, build_matrix, most_similar, nearest
from builder.archive.summary import Summary
from builder.draw.chart_cache import ChartCache, ChartRequest
from builder.engine.constants import MINUTE
from builder.publish.english import english_of, shown_texts
from builder.publish.incremental.hashing import hash_parts
from builder.publish.pages.archive.pages import display_units
from builder.publish.pages.build.page_chart import PageChart, chart_guard, draw_page_charts
from builder.publish.pages.build.readout import (
    Readout,
    ReadoutPanel,
    ReadoutSeries,
    ReadoutUnit,
    between_speeds,
    reading_speeds,
)
from builder.publish.pages.build.worker import template_env
from builder.record.models.shop import Shop
from builder.record.problem import Problem

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

_COUNT = 4
_SPEED_STEP = 50.0
"""Between two speeds that curves of several builds can be read off at [rpm]."""


@dataclass(frozen=True)
class SimilarBuilds:
    """A build and those most like it, nearest first; `key` is a hash of all that this section is written from."""

    summary: Summary
    neighbours: tuple[Summary, ...]
    key: str


@dataclass(frozen=True)
class SimilarSection:
    """The section of a build's page: its Markdown, and the SVG of the overlaid curves with its key in the cache."""

    text: str
    svg: bytes | None = None
    chart_key: str = ""
    problems: tuple[Problem, ...] = ()


def stale_similar(
    summaries: Sequence[Summary],
    build_hashes: Mapping[str, str],
    previous_keys: Mapping[str, str],
    *,
    shop: Shop,
    global_hash: str,
) -> list[SimilarBuilds]:
    """Return the builds whose section is out of date, with the builds most similar to them.

    `build_hashes` are hashes of what the archive holds of each build, `previous_keys` the keys of the sections as
    they are published; both by slug.
    """
    weights, _ = weights_from(shop.likeness_weights)
    if len(summaries) < 2:
        sections = [SimilarBuilds(build, (), hash_parts(global_hash, build_hashes[build.slug])) for build in summaries]
        return [section for section in sections if previous_keys.get(section.summary.slug) != section.key]
    table = build_matrix([with_wanted_values(summary) for summary in summaries], weights)
    # An engine that is not finished shows others nothing before it was on the dyno.
    open_builds = [
        i for i, build in enumerate(table.summaries) if build.status is not None and build.peak_power is None
    ]
    stale = []
    for summary, row, distances in zip(table.summaries, *nearest(table, _COUNT, excluded=open_builds), strict=True):
        neighbours = tuple(table.summaries[int(index)] for index in row if index >= 0)
        hashes = (build_hashes[build.slug] for build in (summary, *neighbours))
        key = hash_parts(global_hash, *hashes, *map(repr, distances[: len(neighbours)].tolist()))
        if previous_keys.get(summary.slug) != key:
            stale.append(SimilarBuilds(summary, neighbours, key))
    return stale


def render_similar(
    similar: SimilarBuilds, *, shop: Shop, archive: Path, templates: Path, charts: ChartCache
) -> SimilarSection:
    """Return the section on similar builds, empty where there are none."""
    weights, _ = weights_from(shop.likeness_weights)
    summary = similar.summary
    matches = most_similar(build_matrix(similar.neighbours, weights), summary, weights, _COUNT)
    if not matches:
        return SimilarSection("")
    # An estimate uses no match that is farther away; without any that is nearer, only the nearest is named.
    near = tuple(match for match in matches if match.distance <= MAX_DISTANCE)
    matches = near or matches[:1]
    system = summary.system or display_units(shop)
    guard = chart_guard(summary.slug)
    charts_of_all = guard.collect(
        "the chart of similar builds", partial(_overlay, summary, matches, system, both=shop.units == "both")
    )
    drawings, problems = draw_page_charts(list(charts_of_all), charts, summary.slug)
    overlay = drawings[0] if drawings else None
    template = template_env(archive, templates).get_template("pages/similar_builds.md.j2")
    is_plan = summary.shop is not None and summary.status is not None and not summary.peak_power
    facts = {match.summary.slug: list(relative_facts(match.summary, system)) for match in matches} if is_plan else {}
    english = english_of(shop.english, archive)
    english = english.keeping(list(shown_texts([summary, *(match.summary for match in matches)])))
    text = english.markup(
        template.render(
            summary=summary, matches=matches, has_similar=bool(near), system=system, overlay=overlay, facts=facts
        )
    )
    problems = (*guard.problems, *problems)
    if overlay is None:
        return SimilarSection(text, problems=problems)
    return SimilarSection(text, english.markup(overlay.drawing.svg).encode(), overlay.key, problems)


def _overlay(summary: Summary, matches: tuple[Match, ...], system: System, *, both: bool) -> Iterator[PageChart]:
    summaries = [summary, *(match.summary for match in matches[:3])]
    request = overlay_request(summaries, system, responsive=True)
    if request is not None and summary.curve is not None:
        readout = _overlay_readout([build for build in summaries if build.curve is not None], system, both=both)
        yield PageChart("relatives", request, "This build against its closest matches.", readout=readout)


def _overlay_readout(summaries: Sequence[Summary], system: System, *, both: bool) -> Readout:
    """Return torque and power of builds that have a curve, between its points by a straight line."""
    import numpy as np

    other: System = "metric" if system == "inch" else "inch"
    systems = (system, other) if both else (system,)
    curves = [(np.array(build.curve.speeds), np.array(build.curve.torque)) for build in summaries if build.curve]
    low, high = min(speed[0] for speed, _ in curves) * MINUTE, max(speed[-1] for speed, _ in curves) * MINUTE
    x = reading_speeds([np.arange(_SPEED_STEP * np.ceil(low / _SPEED_STEP), high + 1, _SPEED_STEP)])

    def panel(title: str, slug: str, values: Sequence[npt.NDArray[np.float64]]) -> ReadoutPanel:
        units = [(name, BY_SLUG[slug].unit(name)) for name in systems]
        return ReadoutPanel(
            title,
            tuple(ReadoutUnit(name, unit.label, unit.decimals) for name, unit in units),
            tuple(
                tuple(between_speeds(x, speed * MINUTE, along * unit.factor) for _, unit in units)
                for (speed, _), along in zip(curves, values, strict=True)
            ),
        )

    return Readout(
        x,
        tuple(ReadoutSeries(build.title) for build in summaries),
        (
            panel("Torque", "peak_torque", [torque for _, torque in curves]),
            panel("Power", "peak_power", [2 * np.pi * speed * torque for speed, torque in curves]),
        ),
        float(x[x.size // 2]),
    )


def overlay_request(summaries: Sequence[Summary], system: System, *, responsive: bool = False) -> ChartRequest | None:
    """Return the chart of several builds' torque and power; None where fewer than two have a curve."""
    import numpy as np

    from builder.draw.charts.power import Overlay, Peak, PullCurves, overlay

    def peak(speed: float | None, value: float | None, factor: float) -> Peak | None:
        # The peak comes from the full curve, of which a summary has only some points.
        return None if speed is None or value is None else Peak(speed * rpm, value * factor)

    torque, power, rpm = BY_SLUG["peak_torque"].unit(system), BY_SLUG["peak_power"].unit(system), MINUTE
    pulls = []
    for index, build in enumerate(summaries):
        if build.curve is None:
            continue
        speed, values = np.array(build.curve.speeds), np.array(build.curve.torque)
        pulls.append(
            PullCurves(
                build.title,
                speed * rpm,
                values * torque.factor,
                2 * np.pi * speed * values * power.factor,
                peak_torque=peak(build.peak_torque_speed, build.peak_torque, torque.factor),
                peak_power=peak(build.peak_power_speed, build.peak_power, power.factor),
                position=index,
            )
        )
    curves = Overlay(tuple(pulls), torque.label, power.label)
    return overlay.request(curves, name="relatives", responsive=responsive) if len(pulls) > 1 else None
