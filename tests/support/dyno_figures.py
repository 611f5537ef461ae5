"""Figures of a dyno session written as a shop would write it."""

from __future__ import annotations

from pathlib import Path

from builder.engine.air import Air, vapor_pressure
from builder.figures.core.types import Figure, FigureSheet
from builder.figures.evaluate import compute
from builder.record.models.shop import Shop
from tests.support.dyno_samples import write_build

METRIC, INCH = Shop(units="metric"), Shop(units="inch")
AIR = Air(1e5, 293.15, float(vapor_pressure(1e5, 293.15, relative_humidity=0.5)))


def sheet_of(archive: Path, record: str, logs: dict[str, str], shop: Shop = METRIC, **more: str) -> FigureSheet:
    """Return the figures of a dyno record and its logs."""
    build, _ = write_build(archive, record, logs, **more)  # type: ignore[arg-type]
    return compute(build, shop)


def figure(sheet: FigureSheet, slug: str) -> Figure:
    """Return one figure, which must be there."""
    assert slug in sheet, [missing for missing in sheet.needs if missing.slug == slug]
    return sheet[slug]


def plain(text: str) -> str:
    """Return a text without no-break spaces."""
    return text.replace("\N{NO-BREAK SPACE}", " ")
