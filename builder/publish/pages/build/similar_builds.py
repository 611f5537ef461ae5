"""The part of a build's page that depends on every other build: its nearest relatives, and their curves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from builder.archive.fields import BY_SLUG, System, weights_from
from builder.archive.similarity import Match, build_matrix, most_similar, nearest
from builder.archive.summary import Summary
from builder.draw.chart_cache import ChartCache, ChartRequest
from builder.engine.constants import MINUTE
from builder.publish.incremental.state import digest_of
from builder.publish.pages.archive.pages import display_units
from builder.publish.pages.build.placed_chart import PlacedChart
from builder.publish.pages.build.worker import template_env
from builder.record.models.shop import Shop

_COUNT = 4


@dataclass(frozen=True)
class SimilarBuilds:
    """A build and those most like it, nearest first; `key` is a digest of all that this part is made from."""

    summary: Summary
    near: tuple[Summary, ...]
    key: str


def stale_similar(
    summaries: Sequence[Summary], build_hashes: Mapping[str, str], known: Mapping[str, str], *, shop: Shop, whole: str
) -> list[SimilarBuilds]:
    """Those builds, with their nearest relatives, for which this part is not known as it would be made now.

    `said` is by slug a digest of all that is known of a build, `known` the key that this part had.
    """
    weights, _ = weights_from(shop.likeness_weights)
    if len(summaries) < 2:
        related = [SimilarBuilds(summary, (), digest_of(whole, build_hashes[summary.slug])) for summary in summaries]
        return [of for of in related if known.get(of.summary.slug) != of.key]
    table = build_matrix(summaries, weights)
    related = []
    for summary, row, distances in zip(table.summaries, *nearest(table, _COUNT), strict=True):
        near = tuple(table.summaries[int(index)] for index in row if index >= 0)
        far = map(repr, distances[: len(near)].tolist())
        key = digest_of(whole, build_hashes[summary.slug], *(build_hashes[each.slug] for each in near), *far)
        if known.get(summary.slug) != key:
            related.append(SimilarBuilds(summary, near, key))
    return related


def render_similar(
    of: SimilarBuilds, *, shop: Shop, archive: Path, templates_key: str, charts: ChartCache
) -> tuple[str, bytes | None]:
    """Return the Markdown of this part of the page, and the SVG of the overlaid curves if there is one."""
    weights, _ = weights_from(shop.likeness_weights)
    summary, found = of.summary, most_similar(build_matrix(of.near, weights), of.summary, weights, _COUNT)
    if not found:
        return "", None
    system = display_units(shop)
    chart = _overlay(summary, found, system)
    placed = None if chart is None else chart.drawn(charts.draw(chart.request))
    text = (
        template_env(archive, templates_key)
        .get_template("pages/similar_builds.md.j2")
        .render(summary=summary, matches=found, system=system, overlay=placed)
    )
    return text, None if placed is None else placed.drawing.svg.encode()


def _overlay(summary: Summary, found: tuple[Match, ...], system: System) -> PlacedChart | None:
    request = overlay_request([summary, *(relative.summary for relative in found[:3])], system, responsive=True)
    if request is None or summary.curve is None:
        return None
    return PlacedChart("relatives", request, "This build and its nearest relatives on one sheet.")


def overlay_request(summaries: Sequence[Summary], system: System, *, responsive: bool = False) -> ChartRequest | None:
    """Return the chart of several builds' torque and power; None where fewer than two have a curve."""
    import numpy as np

    from builder.draw.charts.power import Overlay, Peak, Pull, overlay

    def peak(speed: float | None, value: float | None, factor: float) -> Peak | None:
        # The thinned curve is coarser than the one that the peak was found on.
        return None if speed is None or value is None else Peak(speed * rpm, value * factor)

    torque, power, rpm = BY_SLUG["peak_torque"].unit(system), BY_SLUG["peak_power"].unit(system), MINUTE
    pulls = []
    for index, build in enumerate(summaries):
        if build.curve is None:
            continue
        speed, values = np.array(build.curve.speeds), np.array(build.curve.torque)
        pulls.append(
            Pull(
                build.title,
                speed * rpm,
                values * torque.factor,
                2 * np.pi * speed * values * power.factor,
                peak_torque=peak(build.peak_torque_speed, build.peak_torque, torque.factor),
                peak_power=peak(build.peak_power_speed, build.peak_power, power.factor),
                position=index,
            )
        )
    together = Overlay(tuple(pulls), torque.label, power.label)
    return overlay.request(together, name="relatives", responsive=responsive) if len(pulls) > 1 else None
