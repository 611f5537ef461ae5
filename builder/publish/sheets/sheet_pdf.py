"""One-page sheets as PDFs: first a value of all that is on them, so that the same sheet is not made again."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from functools import cached_property, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from builder.draw.chart_cache import hash_values
from builder.figures.core.types import FigureSheet
from builder.publish.english import English
from builder.publish.pages.build.sheet_link import SheetLink
from builder.publish.sheets.build_sheet import build_sheet_of
from builder.publish.sheets.dyno_sheet import dyno_sheet_of
from builder.publish.sheets.glyphs import map_texts, renderable, renderable_svg
from builder.publish.sheets.identity import Identity, identity_of
from builder.publish.sheets.sheet_layout import BuildLayout, DynoLayout, layout_build_sheet, layout_dyno_sheet
from builder.publish.sheets.typst_pdf import compile_typst, page_count, pdf_date, qr_svg, shorten
from builder.record.models.build import Build
from builder.record.models.shop import Shop

if TYPE_CHECKING:
    from builder.publish.pages.build.page_chart import PageDrawing

SheetKind = Literal["dyno", "build"]
TITLES: dict[SheetKind, str] = {"dyno": "Dyno sheet", "build": "Build sheet"}
FILES: dict[SheetKind, str] = {"dyno": "dyno-sheet.pdf", "build": "build-sheet.pdf"}
TEMPLATE = "handover/sheet.typ"
CHARTS = ("power_curves",)
"""The charts of the build's page that are on a sheet too."""
_ATTEMPTS = 6


@dataclass(frozen=True)
class Sheet:
    """A sheet as PDF, and what it was made from: the values of the template, and the pictures as SVG by file name."""

    file: str
    pdf: bytes
    data: Mapping[str, Any]
    pictures: Mapping[str, str]


@dataclass(frozen=True)
class SheetRequest:
    """A sheet that is to be made: the values that its template prints, and its pictures."""

    kind: SheetKind
    data: Mapping[str, Any]
    layouts: Sequence[Mapping[str, Any]]
    """From the one that should fill the page to smaller ones."""
    date: tuple[int, int, int]
    pictures: Mapping[str, str] = field(default_factory=dict)
    """SVG by file name."""

    @property
    def link(self) -> SheetLink:
        """Return the link to the sheet."""
        return SheetLink(TITLES[self.kind], FILES[self.kind])

    @cached_property
    def key(self) -> str:
        """The hash of everything on the sheet."""
        return hash_values(self.kind, self.data, self.layouts, self.date, self.pictures)

    def pdf(self, archive: Path | None, english: English, previous: Path | None = None) -> bytes:
        """Return the PDF; the file ``previous`` where that has the same contents.

        Raises PublishError where a shop's own template has an error.
        """
        if previous is not None and previous.is_file() and self.key.encode() in (content := previous.read_bytes()):
            return content
        return self.compile(archive, english).pdf

    def compile(self, archive: Path | None, english: English) -> Sheet:
        """Return the sheet in the largest layout that takes one page."""
        pictures = {name: svg.encode() for name, svg in self.pictures.items()}
        for attempt, layout in enumerate(self.layouts):
            data = {**self.data, "key": self.key, "layout": layout, "last_attempt": attempt == len(self.layouts) - 1}
            pdf = compile_typst(TEMPLATE, data, pictures, archive=archive, date=self.date, english=english)
            if page_count(pdf) == 1:
                break
        return Sheet(FILES[self.kind], pdf, data, self.pictures)


def sheet_requests(
    build: Build,
    sheet: FigureSheet,
    shop: Shop,
    charts: Sequence[PageDrawing],
    english: English,
    *,
    draft: bool = False,
) -> tuple[SheetRequest, ...]:
    """Return the sheets of a build from which the private fields were removed: that of the dyno only with a pull.

    They depend on this build alone, on the site as in a pack, so they do not say which build of its engine it is.
    """
    contents = sheet_contents(build, sheet, shop, charts)
    identity = identity_of(build, shop)
    pictures = {"qr.svg": qr_svg(identity.page_url).decode()} if identity.page_url else {}
    requests = []
    for kind, content in contents.items():
        data = {
            "kind": kind,
            "title": TITLES[kind],
            "paper": shop.paper,
            "draft": draft,
            "date": pdf_date(identity.date),
            "identity": identity_texts(identity),
            "sheet": content.data,
        }
        texts = map_texts(data, lambda text: renderable(english.text(text)))
        all_pictures = pictures | {name: english.markup(svg) for name, svg in content.pictures.items()}
        requests.append(SheetRequest(kind, texts, content.layouts, pdf_date(identity.date), all_pictures))
    return tuple(requests)


def sheet_pdfs(
    requests: Sequence[SheetRequest], archive: Path | None, english: English, previous: Path | None = None
) -> dict[str, bytes]:
    """Return the sheets by file name; those that the folder ``previous`` has with the same contents come from there.

    Raises PublishError where a shop's own template has an error.
    """
    return {
        FILES[request.kind]: request.pdf(archive, english, previous / FILES[request.kind] if previous else None)
        for request in requests
    }


@dataclass(frozen=True)
class SheetContent:
    """What is on one sheet below its header: the values for the template, and its pictures as SVG by file name."""

    data: Mapping[str, Any]
    layouts: Sequence[Mapping[str, Any]]
    pictures: Mapping[str, str] = field(default_factory=dict)


def sheet_contents(
    build: Build, sheet: FigureSheet, shop: Shop, charts: Sequence[PageDrawing]
) -> dict[SheetKind, SheetContent]:
    """Return the contents of each sheet that the build has."""
    contents: dict[SheetKind, SheetContent] = {}
    dyno = dyno_sheet_of(build, sheet, shop)
    if dyno is not None:
        chart = next((item.drawing for item in charts if item.drawing.name in CHARTS), None)
        data, pictures = {**asdict(dyno), "chart": None}, {}
        if chart is not None:
            pictures["power.svg"] = renderable_svg(chart.for_pdf("DejaVu Sans"))
            alt = chart.description or chart.title
            data["chart"] = {"file": "power.svg", "alt": alt}
        dyno_layouts = _layouts(partial(layout_dyno_sheet, dyno, shop.paper))
        contents["dyno"] = SheetContent(data, dyno_layouts, pictures)
    content = build_sheet_of(build, sheet, shop)
    build_layouts = _layouts(partial(layout_build_sheet, content, shop.paper))
    contents["build"] = SheetContent(asdict(content), build_layouts)
    return contents


def _layouts(layout: Callable[[int], BuildLayout | DynoLayout]) -> list[dict[str, Any]]:
    """Return the layouts to be tried, each once, and the last one again: then what does not fit is scaled down."""
    layouts = list(dict.fromkeys(layout(attempt) for attempt in range(_ATTEMPTS)))
    return [asdict(item) for item in (*layouts, layouts[-1])]


def identity_texts(identity: Identity) -> dict[str, Any]:
    """Return the identity for a template, with texts cut to the room in headers."""
    return {
        **asdict(identity),
        "invented": shorten(identity.invented, 80),
        "short_title": shorten(identity.title, 90),
        "short_number": shorten(identity.number, 24),
        "short_shop": shorten(identity.shop, 60),
    }
