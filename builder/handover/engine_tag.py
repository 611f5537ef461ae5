"""The engine tag: a small label for the engine with its most important data."""

from __future__ import annotations

from pathlib import Path

from builder.figures.core.display_units import written_text
from builder.figures.core.types import FigureSheet
from builder.handover.binder_content import Binder
from builder.publish.english import English
from builder.publish.pages.build.record_tables import cell
from builder.publish.sheets.glyphs import map_texts, renderable
from builder.publish.sheets.typst_pdf import compile_typst, pdf_date, qr_svg, shorten
from builder.record.models.build import Build
from builder.record.models.shop import Shop

_MAX_LENGTH = 34


def tag_rows(build: Build, sheet: FigureSheet) -> tuple[tuple[str, str], ...]:
    """Return the rows of the tag that were recorded, as title and text."""
    delivery = build.delivery
    settings = delivery.settings if delivery else None
    displacement, ratio = sheet.get("displacement"), sheet.get("compression_ratio")
    oil = next((f for f in (delivery.fluids if delivery else ()) if "oil" in f.what.casefold()), None)
    oil_text = ", ".join(filter(None, (oil.grade, cell(oil.amount, False).text if oil.amount else None))) if oil else ""
    rows = (
        ("Size", displacement.display if displacement else ""),
        ("Ratio", ratio.display if ratio else ""),
        ("Oil", oil_text),
        ("Fires", build.build.engine.firing_order or ""),
        ("Timing", _timing(build)),
        ("Octane", (delivery.least_octane if delivery else None) or ""),
        ("Gap", written_text(settings.plug_gap) if settings and settings.plug_gap else ""),
    )
    return tuple((title, shorten(text, _MAX_LENGTH)) for title, text in rows if text)


def _timing(build: Build) -> str:
    settings = build.delivery.settings if build.delivery else None
    if settings is None:
        return ""
    texts = []
    if settings.idle_timing is not None:
        texts.append(f"{written_text(settings.idle_timing)} idle")
    if settings.total_timing is not None:
        by = f" by {written_text(settings.total_timing_by)}" if settings.total_timing_by else ""
        texts.append(f"{written_text(settings.total_timing)} total{by}")
    if settings.injection_timing is not None:
        texts.append(f"injection {written_text(settings.injection_timing)}")
    return ", ".join(texts)


def tag_size(shop: Shop) -> tuple[float, float]:
    """Return width and height of the label [mm]: 50 x 25 unless shop.yaml says otherwise."""
    width, height = shop.tag.width, shop.tag.height
    return (round(width.si * 1000, 2) if width else 50.0), (round(height.si * 1000, 2) if height else 25.0)


def tag_pdf(
    binder: Binder,
    build: Build,
    sheet: FigureSheet,
    shop: Shop,
    *,
    archive: Path | None,
    english: English,
    draft: bool,
) -> bytes:
    """Return the label as a PDF, in the size of the shop's labels."""
    number = shorten(binder.number, 22)
    data = {
        "size": tag_size(shop),
        "number": number,
        "number-size": 11 if len(number) <= 9 else 8 if len(number) <= 14 else 5.6,
        "shop": shorten(binder.shop, 40),
        "rows": [list(row) for row in tag_rows(build, sheet)],
        "qr": binder.page_url or None,
        "date": pdf_date(binder.date),
        "draft": draft,
    }
    files = {"qr.svg": qr_svg(binder.page_url)} if binder.page_url else {}
    return compile_typst(
        "handover/tag.typ",
        map_texts(data, renderable),
        files,
        archive=archive,
        date=pdf_date(binder.date),
        english=english,
    )
