"""The part of a build's page that depends on every other build: its nearest relatives, and their curves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from builder.archive.fields import BY_SLUG, System, weights_from
from builder.archive.index import index_bytes
from builder.archive.likeness import Relative, nearest, relatives, tabulate
from builder.archive.summary import Summary
from builder.draw.drawing import Drawing
from builder.publish.kept import digest_of
from builder.publish.make import environment
from builder.publish.pages import system_of_shop
from builder.publish.placed import Placed
from builder.record.shop import Shop

_COUNT = 4


def relatives_of(summaries: Sequence[Summary], shop: Shop) -> Mapping[str, tuple[Relative, ...]]:
    """The nearest relatives of every build."""
    weights, _ = weights_from(shop.likeness_weights)
    if len(summaries) < 2:
        return {summary.slug: () for summary in summaries}
    table = tabulate(summaries, weights)
    rows, _ = nearest(table, _COUNT)
    found = {}
    for summary, near in zip(table.summaries, rows, strict=True):
        few = tabulate([table.summaries[int(row)] for row in near if row >= 0], weights)
        found[summary.slug] = relatives(few, summary, weights, _COUNT)
    return found


def block_key(summary: Summary, found: tuple[Relative, ...], *also: str) -> str:
    """The digest of everything that this part of the page is made from."""
    said = [f"{relative.summary.slug} {relative.distance!r}" for relative in found]
    return digest_of(index_bytes([summary]), *(index_bytes([r.summary]) for r in found), *said, *also)


def relatives_block(
    of: tuple[Summary, tuple[Relative, ...]], *, shop: Shop, archive: Path, templates_key: str
) -> tuple[str, bytes | None]:
    """The Markdown of this part of the page, and the drawing of the curves together."""
    summary, found = of
    if not found:
        return "", None
    system = system_of_shop(shop)
    placed = _together(summary, found, system)
    text = (
        environment(archive, templates_key)
        .get_template("pages/relatives.md.j2")
        .render(summary=summary, relatives=found, system=system, drawing=placed)
    )
    return text, None if placed is None else placed.drawing.svg.encode()


def _together(summary: Summary, found: tuple[Relative, ...], system: System) -> Placed | None:
    drawing = curves_together([summary, *(relative.summary for relative in found[:3])], system)
    if drawing is None or summary.curve is None:
        return None
    return Placed("relatives", drawing, "This build and its nearest relatives on one sheet.")


def curves_together(summaries: Sequence[Summary], system: System) -> Drawing | None:
    """The torque and power of several builds over each other; None where fewer than two have a curve."""
    import numpy as np

    from builder.draw.power import Overlay, Pull, overlay

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
                position=index,
            )
        )
    return overlay(Overlay(tuple(pulls), torque.label, power.label), name="relatives") if len(pulls) > 1 else None
