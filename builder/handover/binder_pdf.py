"""The binder as a PDF: tagged, archivable, and the same bytes for the same build on every machine."""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from builder.draw.style import WIDE
from builder.figures.core.registry import FITS, VALVE_TRAIN
from builder.figures.core.types import FigureSheet
from builder.handover.binder_content import Binder
from builder.handover.issue import Issue
from builder.publish.english import English
from builder.publish.pages.formatting import format_date
from builder.publish.sheets.glyphs import map_texts, renderable, renderable_svg
from builder.publish.sheets.sheet_pdf import Sheet, identity_texts
from builder.publish.sheets.typst_pdf import compile_typst, pdf_date, qr_svg, shorten
from builder.record.wording import cut

if TYPE_CHECKING:
    from builder.publish.pages.build.page_chart import PageDrawing
    from builder.publish.photos import BuildPhoto
    from builder.record.models.shop import Shop

_COVER_SECTIONS = ("cover", "delivery", "dyno", "assembly")
"""Sections whose photos show a finished engine, the best first."""
_WORKINGS = (
    "displacement", "compression_ratio", "deck_clearance", "quench", "mean_piston_speed", "cam_advance",
    "effective_compression_ratio", "main_oil_clearance", "rod_oil_clearance", "piston_clearance", "correction_factor",
    "peak_power", "peak_torque", "bmep", "volumetric_efficiency",
)  # fmt: skip


_MAX_CHANGES, _MAX_TEXT = 120, 240
"""How many changes since the former issue are printed, and how many characters of each value."""


@dataclass(frozen=True)
class BinderChart:
    """A chart with its section of the binder, and its width as a share of a wide one: all have one font size."""

    section: str
    file: str
    alt: str
    caption: str
    width_ratio: float


def binder_pdf(
    binder: Binder,
    issue: Issue | None,
    sheet: FigureSheet,
    shop: Shop,
    sheets: Sequence[Sheet],
    drawings: Sequence[PageDrawing],
    photos: Sequence[BuildPhoto],
    pictures: Mapping[str, bytes],
    *,
    archive: Path | None,
    english: English,
    digest: str,
    draft: bool,
) -> bytes:
    """Return the binder as a PDF.

    ``issue`` is None for a draft. ``sheets`` are the one-page sheets, which are pages of the binder too,
    ``pictures`` the files of the photos by name, ``digest`` is that of the pack's other files.
    """
    identity = binder.identity
    files: dict[str, bytes] = {}
    for item in sheets:
        files |= {name: svg.encode() for name, svg in item.pictures.items()}
    charts = _charts(drawings, files)
    images = []
    for index, photo in enumerate(photos):
        largest = photo.published.largest
        name = f"photo-{index + 1}{Path(largest.name).suffix}"
        files[name] = pictures[largest.name]
        images.append({"file": name, "alt": photo.photo.alt, "caption": photo.photo.caption or ""})
    sections = [photo.photo.section for photo in photos]
    cover = images[_cover_index(sections)] if images else None
    if identity.page_url:
        files["qr.svg"] = qr_svg(identity.page_url)
    data = {
        "binder": dataclasses.asdict(binder),
        "issue": _issue_texts(issue) if issue else None,
        "identity": identity_texts(identity),
        "paper": shop.paper,
        "draft": draft,
        "date": pdf_date(identity.date),
        "shop_head": shorten(binder.identity.shop, 40),
        "cover_customer": [{"title": row.title, "text": shorten(row.text, 110)} for row in binder.customer],
        "cover_title": shorten(identity.title, 200),
        "charts": [dataclasses.asdict(chart) for chart in charts],
        "photos": [
            image for image, section in zip(images, sections, strict=True) if image is not cover or section != "cover"
        ],
        "cover": cover,
        "workings": _workings(sheet),
    }
    # Texts of the sheets are renderable already. Digests stay as they are: the template cuts them by their length.
    digests = [{"number": item.number, "digest": item.digest} for item in (issue.former if issue else ())]
    texts = {
        **map_texts(data, renderable),
        "sheets": [item.data for item in sheets],
        "digest": digest,
        "former_digests": digests,
    }
    return compile_typst(
        "handover/binder.typ", texts, files, archive=archive, date=pdf_date(identity.date), english=english
    )


def _issue_texts(issue: Issue) -> dict[str, object]:
    """Return the issue as the binder prints it; of very many changes the first ones, and how many there are more."""
    former = issue.former[-1] if issue.former else None
    shown = issue.changes[:_MAX_CHANGES]
    return {
        "number": str(issue.number),
        "text": f"Issue {issue.number}, {_date_text(issue.date)}",
        "former": f"issue {former.number}, {_date_text(former.date)}" if former else "",
        "former_number": str(former.number) if former else "",
        "changes": [
            (change.section, change.field, cut(change.before, _MAX_TEXT), cut(change.after, _MAX_TEXT))
            for change in shown
        ],
        "more_changes": len(issue.changes) - len(shown),
    }


def _date_text(date: str) -> str:
    return format_date(datetime.date.fromisoformat(date))


def _cover_index(sections: Sequence[str | None]) -> int:
    """Return the photo for the cover: the one marked for it, else one of the finished engine, else the first."""
    return min(range(len(sections)), key=lambda i: (*_COVER_SECTIONS, sections[i]).index(sections[i]))


def _charts(drawings: Sequence[PageDrawing], files: dict[str, bytes]) -> list[BinderChart]:
    """Return the charts of the binder but that on the dyno sheet, and add their SVG to ``files``."""
    charts: list[BinderChart] = []
    for item in drawings:
        section = _section_of(item)
        if section is None:
            continue
        name = f"chart-{len(charts) + 1}.svg"
        files[name] = renderable_svg(item.drawing.for_pdf("DejaVu Sans")).encode()
        alt, width_ratio = item.drawing.description or item.drawing.title, min(1.0, item.drawing.width / WIDE.width)
        charts.append(BinderChart(section, name, alt, item.caption, round(width_ratio, 3)))
    return charts


def _section_of(item: PageDrawing) -> str | None:
    name = item.drawing.name
    if name == "stack_up":
        return "stack"
    if item.section == VALVE_TRAIN and name in ("valve_timing", "timing_ring"):
        return "cam"
    if name.startswith("tightening_"):
        return f"joint-{name.removeprefix('tightening_')}"
    if item.section == FITS:
        return "clearances"
    return None


def _workings(sheet: FigureSheet) -> list[dict[str, str]]:
    return [
        {"title": figure.title, "working": figure.working, "source": f"Source: {figure.description.source}."}
        for slug in _WORKINGS
        if (figure := sheet.get(slug)) is not None
    ]
