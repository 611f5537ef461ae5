"""The part of a build's page that depends on every other build: its nearest relatives, and their curves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from builder.archive.fields import BY_SLUG, System, weights_from
from builder.archive.similarity import Match, nearest, relatives, build_matrix
from builder.archive.summary import Summary
from builder.draw.canvas import Drawing
from builder.draw.responsive import wide_and_narrow
from builder.draw.chart_cache import reuse
from builder.draw.style import NARROW, WIDE, Size
from builder.publish.incremental.state import digest_of
from builder.publish.pages.build.worker import cached_svgs, template_env
from builder.publish.pages.archive.pages import display_units
from builder.publish.pages.build.placed_chart import Placed
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
    of: SimilarBuilds, *, shop: Shop, archive: Path, templates_key: str, stood: Path | None = None
) -> tuple[str, bytes | None]:
    """The Markdown of this part of the page, and the drawing of the curves together; `stood` is the folder
    in which the builds' drawings stand, where they may be believed.
    """
    weights, _ = weights_from(shop.likeness_weights)
    summary, found = of.summary, relatives(build_matrix(of.near, weights), of.summary, weights, _COUNT)
    if not found:
        return "", None
    system = display_units(shop)
    with reuse(cached_svgs(stood and stood / summary.slug)):
        placed = _overlay(summary, found, system)
    text = (
        template_env(archive, templates_key)
        .get_template("pages/relatives.md.j2")
        .render(summary=summary, relatives=found, system=system, drawing=placed)
    )
    return text, None if placed is None else placed.drawing.svg.encode()


def _overlay(summary: Summary, found: tuple[Match, ...], system: System) -> Placed | None:
    builds = [summary, *(relative.summary for relative in found[:3])]
    wide, narrow = curves_together(builds, system), curves_together(builds, system, "relatives_narrow", NARROW)
    if wide is None or narrow is None or summary.curve is None:
        return None
    return Placed("relatives", wide_and_narrow(wide, narrow), "This build and its nearest relatives on one sheet.")


def curves_together(
    summaries: Sequence[Summary], system: System, name: str = "relatives", size: Size = WIDE
) -> Drawing | None:
    """The torque and power of several builds over each other; None where fewer than two have a curve."""
    import numpy as np

    from builder.draw.charts.power import Overlay, Peak, Pull, overlay

    def peak(speed: float | None, value: float | None, factor: float) -> Peak | None:
        # The thinned curve is coarser than the one that the peak was found on.
        return None if speed is None or value is None else Peak(speed * rpm, value * factor)

    torque, power, rpm = BY_SLUG["peak_torque"].unit(system), BY_SLUG["peak_power"].unit(system), 60.0
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
    return overlay(together, name=name, size=size) if len(pulls) > 1 else None
