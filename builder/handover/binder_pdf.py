"""The binder as a PDF: tagged, archivable, and the same bytes for the same build on every machine."""

from __future__ import annotations

import dataclasses
import io
import json
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from builder.draw.style import WIDE
from builder.figures.core.registry import FITS, VALVE_TRAIN
from builder.figures.core.types import FigureSheet
from builder.handover.binder_content import Binder
from builder.handover.glyphs import all_settable, all_without_marks, font_folder, renderable, settable_drawing
from builder.publish.errors import PublishError
from builder.publish.pages import templating

if TYPE_CHECKING:
    import typst

    from builder.publish.pages.build.placed_chart import PlacedDrawing
    from builder.publish.photos import BuildPhoto
    from builder.record.models.shop import Shop

STANDARDS: tuple[Literal["a-2a"], Literal["ua-1"]] = ("a-2a", "ua-1")
"""PDF/A-2a (archivable, with structure) and PDF/UA-1 (for who cannot see the page), both at once."""

_NO_DAY = (1980, 1, 1)
"""An archivable document must bear a date, and the day it was printed would be another on every machine."""
_FINISHED = ("cover", "delivery", "dyno", "assembly")
"""Where photos show a finished engine, the likeliest first."""
_WORKED = (
    "displacement", "compression_ratio", "deck_clearance", "quench", "mean_piston_speed", "cam_advance",
    "effective_compression_ratio", "main_oil_clearance", "rod_oil_clearance", "piston_clearance", "correction_factor",
    "peak_power", "peak_torque", "bmep", "volumetric_efficiency",
)  # fmt: skip


@dataclass(frozen=True)
class BinderChart:
    """A drawing with its place in the binder, and its share of the width of a wide one: all have type of one size."""

    place: str
    file: str
    alt: str
    caption: str
    width_ratio: float


def binder_pdf(
    binder: Binder,
    sheet: FigureSheet,
    shop: Shop,
    placed: Sequence[PlacedDrawing],
    photos: Sequence[BuildPhoto],
    pictures: Mapping[str, bytes],
    *,
    archive: Path | None,
    digest: str,
    draft: bool,
) -> bytes:
    """The binder. ``pictures`` are the photos' files by name, ``digest`` that of the data beside it."""
    files: dict[str, bytes] = {}
    drawings = list(_drawings(placed, files))
    shown = []
    for index, each in enumerate(photos):
        largest = each.published.largest
        name = f"photo-{index + 1}{Path(largest.name).suffix}"
        files[name] = pictures[largest.name]
        shown.append({"file": name, "alt": each.photo.alt, "caption": each.photo.caption or ""})
    sections = [each.photo.section for each in photos]
    cover = shown[_cover(sections)] if shown else None
    if binder.address:
        files["qr.svg"] = qr_svg(binder.address)
    data = {
        "binder": dataclasses.asdict(binder),
        "paper": shop.paper,
        "draft": draft,
        "day": day_of(binder),
        "short-title": shortened(binder.title, 90),
        "number-short": shortened(binder.number, 24),
        "shop-short": shortened(binder.shop, 60),
        "shop-head": shortened(binder.shop, 40),
        "cover-owner": [{"title": row.title, "text": shortened(row.text, 110)} for row in binder.owner],
        "cover-title": shortened(binder.title, 200),
        "drawings": [dataclasses.asdict(each) for each in drawings],
        "photos": [
            each for each, section in zip(shown, sections, strict=True) if each is not cover or section != "cover"
        ],
        "cover": cover,
        "qr": binder.address or None,
        "qr-shown": binder.address,
        "workings": _workings(sheet),
        "digest": digest,
    }
    return typeset("handover/binder.typ", _sanitise(data), files, archive=archive, day=day_of(binder))


def _sanitise(data: dict[str, Any]) -> dict[str, Any]:
    """The data with every text settable; the digest stays as it is, since it is cut by its length."""
    return {**all_settable(data), "digest": data["digest"]}


def _cover(sections: Sequence[str | None]) -> int:
    """Which photo is the cover's: the one marked for it, else one of the finished engine, else the first."""
    return min(range(len(sections)), key=lambda i: (*_FINISHED, sections[i]).index(sections[i]))


def _drawings(placed: Sequence[PlacedDrawing], files: dict[str, bytes]) -> list[BinderChart]:
    """The drawings that the binder holds, each where it belongs."""
    found: list[BinderChart] = []
    for item in placed:
        where = _place_of(item)
        if where is None:
            continue
        name = f"drawn-{len(found) + 1}.svg"
        files[name] = settable_drawing(item.drawing.for_pdf("DejaVu Sans")).encode()
        says, share = item.drawing.description or item.drawing.title, min(1.0, item.drawing.width / WIDE.width)
        found.append(BinderChart(where, name, says, item.caption, round(share, 3)))
    return found


def _place_of(item: PlacedDrawing) -> str | None:
    name = item.drawing.name
    if name == "power_curves":
        return "made"
    if name == "stack_up":
        return "built"
    if item.section == VALVE_TRAIN and name in ("valve_timing", "timing_ring"):
        return "cam"
    if name.startswith("tightening_"):
        return f"joint-{name.removeprefix('tightening_')}"
    if item.section == FITS:
        return "fits"
    return None


def _workings(sheet: FigureSheet) -> list[dict[str, str]]:
    found = [figure for slug in _WORKED if (figure := sheet.get(slug)) is not None]
    return [
        {"title": figure.title, "working": figure.working, "source": f"Source: {figure.method.source}."}
        for figure in found
    ]


Day = tuple[int, int, int]


def day_of(binder: Binder) -> Day:
    """The day that the document bears: that on the cover, or a day that means none."""
    if not binder.dated:
        return _NO_DAY
    year, month, day = (int(part) for part in binder.dated.split("-"))
    return (year, month, day) if year >= _NO_DAY[0] else _NO_DAY


def shortened(text: str, most: int) -> str:
    """The text as it can be set, cut with an ellipsis where it is longer."""
    text = renderable(text).replace("\N{ZERO WIDTH SPACE}", "")
    return text if len(text) <= most else f"{text[: most - 1].rstrip()}…"


def qr_svg(address: str) -> bytes:
    """The QR code of an address, as dark squares on nothing."""
    import segno

    out = io.BytesIO()
    segno.make(address, error="m", micro=False).save(
        out, kind="svg", border=2, dark="#1d2327", svgns=True, xmldecl=False
    )
    return out.getvalue()


@cache
def _fonts() -> typst.Fonts:
    import typst

    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=True, font_paths=[font_folder()])


def typeset(
    template: str,
    data: Mapping[str, Any],
    files: Mapping[str, bytes],
    *,
    archive: Path | None,
    day: Day,
) -> bytes:
    """Set a template of the handover with its data, in a folder of its own that holds nothing else.

    Raises PublishError where a shop's own template is at fault.
    """
    import datetime

    import typst

    moment = datetime.datetime(*day, tzinfo=datetime.UTC)
    with tempfile.TemporaryDirectory(prefix="millbook-") as made:
        root = Path(made)
        for name, source in templating.resolve_all(archive, "handover").items():
            if name.endswith(".typ"):
                (root / Path(name).name).write_bytes(source.read_bytes())
        (root / "data.json").write_text(json.dumps(data, ensure_ascii=False), encoding="utf-8")
        for name, content in files.items():
            (root / name).write_bytes(content)
        compiler = typst.Compiler(root / Path(template).name, root=root, font_paths=_fonts())
        try:
            try:
                made_pdf = compiler.compile(format="pdf", pdf_standards=list(STANDARDS), timestamp=moment)
            except typst.TypstError as error:
                if "codepoints" not in str(error):
                    raise
                # A script whose shapes no longer say which letters they are: set it without its marks.
                (root / "data.json").write_text(
                    json.dumps(all_without_marks(data), ensure_ascii=False), encoding="utf-8"
                )
                made_pdf = compiler.compile(format="pdf", pdf_standards=list(STANDARDS), timestamp=moment)
        except typst.TypstError as error:
            hints = "; ".join(getattr(error, "hints", None) or ())
            raise PublishError(f"{template}: {error}{f' ({hints})' if hints else ''}") from error
    assert isinstance(made_pdf, bytes)
    return made_pdf
