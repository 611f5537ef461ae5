"""The engine tag: a label to be read on the engine, with its most important data."""

from __future__ import annotations

from pathlib import Path

from builder.figures.core.display_units import written_text
from builder.figures.core.types import FigureSheet
from builder.publish.english import English
from builder.publish.pages.build.record_tables import cell
from builder.publish.sheets.glyphs import map_texts, renderable
from builder.publish.sheets.identity import identity_of
from builder.publish.sheets.typst_pdf import compile_typst, pdf_date, qr_svg, shorten
from builder.record.models.build import Build
from builder.record.models.shop import DEFAULT_TAG, Shop

SMALLEST_TYPE = 7.0
"""Smallest size of type [pt] that is read at arm's length."""
_SIZES = tuple(SMALLEST_TYPE + 0.25 * step for step in range(16, -1, -1))
_POINT = 25.4 / 72
_LINE, _CHARACTER = 1.36, 0.57
"""Height of a line and mean width of a character, as shares of the size of type."""
_MARGIN, _HEAD, _GUTTER = 3.0, 12.5, 2.0
"""Margin, height of number and shop's name, and gap between columns [mm]."""
Rows = tuple[tuple[str, str], ...]
"""Title and text of each row."""


def tag_rows(build: Build, sheet: FigureSheet, engine: str = "") -> Rows:
    """Return the rows of the tag that were recorded, as title and text, the most important first.

    ``engine`` is the shop's number of the engine with the place of the build.
    """
    delivery = build.delivery
    displacement, ratio = sheet.get("displacement"), sheet.get("compression_ratio")
    oil = next((f for f in (delivery.fluids if delivery else ()) if "oil" in f.what.casefold()), None)
    oil_text = ", ".join(filter(None, (oil.grade, cell(oil.amount, False).text if oil.amount else None))) if oil else ""
    rows = (
        ("Engine", engine),
        ("Displacement", displacement.display if displacement else ""),
        ("Compression", ratio.display if ratio else ""),
        ("Oil", oil_text),
        ("Firing order", build.build.engine.firing_order or ""),
        ("Timing", _timing(build)),
        ("Lash", _lash(build)),
        ("Min. octane", (delivery.least_octane if delivery else None) or ""),
        ("Plug gap", _plug_gap(build)),
    )
    return tuple((title, text) for title, text in rows if text)


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


def _lash(build: Build) -> str:
    settings = build.delivery.settings if build.delivery else None
    if settings is None:
        return ""
    if settings.intake_lash and settings.intake_lash == settings.exhaust_lash:
        return settings.intake_lash
    sides = (("in", settings.intake_lash), ("ex", settings.exhaust_lash))
    return ", ".join(f"{side} {lash}" for side, lash in sides if lash)


def _plug_gap(build: Build) -> str:
    settings = build.delivery.settings if build.delivery else None
    return written_text(settings.plug_gap) if settings and settings.plug_gap else ""


def tag_size(shop: Shop) -> tuple[float, float]:
    """Return width and height of the label [mm]: 100 x 50 unless shop.yaml says otherwise."""
    width, height = shop.tag.width, shop.tag.height
    return (
        round(width.si * 1000, 2) if width else DEFAULT_TAG[0],
        round(height.si * 1000, 2) if height else DEFAULT_TAG[1],
    )


def tag_pdf(
    build: Build,
    sheet: FigureSheet,
    shop: Shop,
    *,
    archive: Path | None,
    english: English,
    draft: bool,
    place: int | None = None,
) -> bytes:
    """Return the label as a PDF, in the size of the shop's labels. No type on it is smaller than 7 pt.

    Rows for which a small label has no room are left out, the last ones first. The build must be without its private
    fields; ``place`` says which build of its engine it is.
    """
    identity = identity_of(build, shop, place)
    width, height = tag_size(shop)
    rows = tag_rows(build, sheet, identity.engine)
    code = min(0.27 * width, height - 2 * _MARGIN) if identity.page_url else 0.0
    number = shorten(identity.number, 24)
    text_width = width - 2 * _MARGIN - (code + _GUTTER if code else 0.0)
    size, shown = _fitting(rows, text_width, height - 2 * _MARGIN - _HEAD)
    data = {
        "size": (width, height),
        "type": size,
        "number": number,
        "number_size": max(SMALLEST_TYPE, min(22.0, text_width / (len(number) * 0.75 * _POINT))),
        "shop": shorten(identity.shop, 40),
        "rows": [list(row) for row in shown],
        "code": code,
        "qr": identity.page_url or None,
        "date": pdf_date(identity.date),
        "draft": draft,
    }
    files = {"qr.svg": qr_svg(identity.page_url)} if identity.page_url else {}
    texts = map_texts(data, renderable)
    return compile_typst(
        "handover/tag.typ", texts, files, archive=archive, date=pdf_date(identity.date), english=english
    )


def _fitting(rows: Rows, width: float, height: float) -> tuple[float, Rows]:
    """Return the largest size of type [pt] at which the rows fit into a space [mm], and the rows that fit.

    A text longer than two lines is cut.
    """
    for size in _SIZES:
        title_size = max(SMALLEST_TYPE, 0.8 * size)
        titles = max((len(title) for title, _ in rows), default=0) * _CHARACTER * title_size * _POINT
        characters = max(8, int((width - titles - _GUTTER) / (_CHARACTER * size * _POINT)))
        room = int(height / (size * _LINE * _POINT))
        lines = [min(2, -(-len(text) // characters)) for _, text in rows]
        if sum(lines) <= room:
            break
    shown = rows[: sum(sum(lines[: index + 1]) <= room for index in range(len(rows)))]
    return size, tuple((title, shorten(text, 2 * characters)) for title, text in shown)
