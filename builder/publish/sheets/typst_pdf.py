"""PDFs from typst templates: tagged, archivable, and the same bytes for the same data on every machine."""

from __future__ import annotations

import io
import json
import re
import tempfile
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from builder.publish.english import English
from builder.publish.errors import PublishError
from builder.publish.pages import templating
from builder.publish.sheets.glyphs import font_folder, map_texts, renderable, strip_combining
from builder.record.wording import cut

if TYPE_CHECKING:
    import typst

STANDARDS: tuple[Literal["a-2a"], Literal["ua-1"]] = ("a-2a", "ua-1")
"""PDF/A-2a (archivable, with structure) and PDF/UA-1 (accessible)."""

NO_DATE = (1980, 1, 1)
"""Date of a PDF whose build has none: PDF/A requires one, and today's would give other bytes every day."""


def pdf_date(date: tuple[int, int, int] | None) -> tuple[int, int, int]:
    """Return the date of a PDF (year, month, day): that of its build, or a fixed one where there is none."""
    return max(date or NO_DATE, NO_DATE)


def shorten(text: str, length: int) -> str:
    """Return a renderable text, cut with an ellipsis where it is longer than so many characters."""
    return cut(renderable(text).replace("\N{ZERO WIDTH SPACE}", ""), length)


def qr_svg(address: str) -> bytes:
    """Return the QR code of an address as SVG: dark squares without a background."""
    import segno

    out = io.BytesIO()
    segno.make(address, error="m", micro=False).save(
        out, kind="svg", border=2, dark="#1d2327", svgns=True, xmldecl=False
    )
    return out.getvalue()


def page_count(pdf: bytes) -> int:
    """Return the number of pages of a PDF that typst wrote: the count in the root of its tree of pages."""
    counts = re.findall(rb"/Type ?/Pages ?/Count (\d+)", pdf)
    return max(map(int, counts))


@cache
def _fonts() -> typst.Fonts:
    import typst

    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=True, font_paths=[font_folder()])


def compile_typst(
    template: str,
    data: Mapping[str, Any],
    files: Mapping[str, bytes],
    *,
    archive: Path | None,
    date: tuple[int, int, int],
    english: English,
) -> bytes:
    """Return the PDF of a handover template with its data, compiled in a temporary folder of its own.

    Texts of the template, the data and SVG files are put in ``english``, which keeps the shop's own words.

    Raises PublishError where a shop's own template has an error.
    """
    import datetime

    import typst

    timestamp = datetime.datetime(*date, tzinfo=datetime.UTC)
    with tempfile.TemporaryDirectory(prefix="millbook-") as temporary:
        root = Path(temporary)
        for name, source in templating.resolve_all(archive, "handover").items():
            if name.endswith(".typ"):
                (root / Path(name).name).write_text(english.typst(source.read_text(encoding="utf-8")), encoding="utf-8")
        data = map_texts(data, english.text)
        (root / "data.json").write_text(json.dumps(data, ensure_ascii=False), encoding="utf-8")
        for name, content in files.items():
            drawing = name.endswith(".svg")
            (root / name).write_bytes(english.markup(content.decode()).encode() if drawing else content)
        compiler = typst.Compiler(root / Path(template).name, root=root, font_paths=_fonts())
        try:
            try:
                pdf = compiler.compile(format="pdf", pdf_standards=list(STANDARDS), timestamp=timestamp)
            except typst.TypstError as error:
                if "codepoints" not in str(error):
                    raise
                # PDF/A requires text for every glyph, which some scripts with combining marks lack.
                data = map_texts(data, strip_combining)
                (root / "data.json").write_text(json.dumps(data, ensure_ascii=False), encoding="utf-8")
                pdf = compiler.compile(format="pdf", pdf_standards=list(STANDARDS), timestamp=timestamp)
        except typst.TypstError as error:
            hints = "; ".join(getattr(error, "hints", None) or ())
            raise PublishError(f"{template}: {error}{f' ({hints})' if hints else ''}") from error
    assert isinstance(pdf, bytes)
    return pdf
