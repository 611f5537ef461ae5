"""Both sheets of every demo build, of a bare one and of an overfull one: one page each, archivable, made once."""

from __future__ import annotations

import io
import re
from pathlib import Path
from typing import Any

import pypdf
import pytest

from builder.publish.english import US
from builder.publish.sheets import sheet_pdf
from builder.publish.sheets.sheet_pdf import FILES, sheet_pdfs, sheet_requests
from builder.record.load import read_shop
from tests.support.demo_builds import ROOT, folders
from tests.support.handover_samples import (
    FULL,
    REPO,
    archive_with,
    bare_archive,
    change_everywhere,
    is_free_text,
    load_yaml,
    pdf_reader,
    public_view,
    sheets_of,
    text_of,
    without_blanks,
    write_yaml,
)

Files = dict[str, bytes]
_WORDS = "and further words about it, as many as the reader takes: " + "word " * 70


def _pages(pdf: bytes) -> int:
    return len(pypdf.PdfReader(io.BytesIO(pdf)).pages)


def test_every_demo_sheet_has_one_page(demo_sheets: Files) -> None:
    published = [folder for folder in folders() if folder.parent.parent == ROOT]
    with_dyno = [folder.name for folder in published if (folder / "dyno.yaml").is_file()]
    assert len(demo_sheets) == len(published) + len(with_dyno)
    assert {name: _pages(pdf) for name, pdf in demo_sheets.items()} == dict.fromkeys(demo_sheets, 1)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_sheets_of_a_bare_and_of_an_overfull_build_have_one_page(tmp_path: Path, paper: str) -> None:
    bare = bare_archive(tmp_path / "bare")
    write_yaml(bare / "builds" / "shop.yaml", {"name": "S", "paper": paper})
    assert {name: _pages(pdf) for name, pdf in sheets_of(bare, "bare").items()} == {"build-sheet.pdf": 1}
    full = archive_with(tmp_path / "full", shop={"paper": paper})
    _overfill(full)
    sheets = sheets_of(full, FULL)
    assert {name: _pages(pdf) for name, pdf in sheets.items()} == {"dyno-sheet.pdf": 1, "build-sheet.pdf": 1}
    text = without_blanks(text_of(sheets["build-sheet.pdf"]))
    assert "moreinclearances" in text
    assert "moreintorques" in text
    for last in ("Drive", "Reversegear", "Joint13"):  # nothing is cut off at the end of a column
        assert last in text
    for name in sheets:
        assert _lowest_text(pdf_reader(sheets, name)) > 10  # [pt] above the edge: the footer is on the page


def _overfill(archive: Path) -> None:
    """Lengthen every text of the record, and give it more clearances and joints than a page holds."""

    def longer(path: str, value: Any, model: Any, name: str) -> Any:
        return f"{value} {_WORDS}"[:390] if value and is_free_text(model, name) else value

    change_everywhere(archive, FULL, longer)
    assembly = load_yaml(archive, FULL, "assembly")
    reading = {"unit": "mm", "allowed": "0.03..0.08", "measured": "0.031"}
    assembly["fits"]["other"] = [{"name": f"clearance number {n}", "reading": dict(reading)} for n in range(40)]
    assembly["fasteners"] = [{"joint": f"joint {n}", "size": "M8", "torque": "20 N.m"} for n in range(30)]
    write_yaml(archive / "builds" / FULL / "assembly.yaml", assembly)


def _lowest_text(reader: pypdf.PdfReader) -> float:
    heights: list[float] = []

    def seen(text: str, cm: Any, tm: Any, font: Any, size: Any) -> None:
        if text.strip():
            heights.append(tm[4] * cm[1] + tm[5] * cm[3] + cm[5])

    reader.pages[0].extract_text(visitor_text=seen)
    return min(heights)


def test_the_build_sheet_has_what_is_needed_at_the_engine(demo_sheets: Files) -> None:
    text = without_blanks(text_of(demo_sheets[f"{FULL}-build-sheet.pdf"]))
    for expected in (
        "81.504 mm × 77.60 mm", "0.040 to 0.070 mm", "0.054 to 0.060 mm", "30 → 55 → 75 N m", "55.3 lbf ft",
        "232° / 228°", "offset key, one degree", "8°", "0.30 mm hot", "130 main, 50 idle", "15W-40, zinc 1200 ppm",
        "1-3-4-2", "95 RON", "https://archive.wrackline.example/builds/pilot-launch-four/index.html",
    ):  # fmt: skip
        assert without_blanks(expected) in text, expected


def test_a_reading_out_of_spec_is_on_the_sheet(demo_sheets: Files) -> None:
    text = without_blanks(text_of(demo_sheets["breakdown-truck-v8-build-sheet.pdf"]))
    assert without_blanks("0.0014 to 0.0024 in") in text
    assert without_blanks("0.0018 to 0.0026 in") in text


@pytest.mark.parametrize("name", ["dyno-sheet.pdf", "build-sheet.pdf"])
def test_a_sheet_claims_to_be_archivable_and_accessible(demo_sheets: Files, name: str) -> None:
    # ISO 19005-2, 6.6.4: pdfaid:part and pdfaid:conformance; ISO 14289-1, clause 5: pdfuaid:part.
    root = pdf_reader(demo_sheets, f"{FULL}-{name}").trailer["/Root"]
    metadata = root["/Metadata"].get_data().decode()
    assert "<pdfaid:part>2</pdfaid:part>" in metadata
    assert "<pdfaid:conformance>A</pdfaid:conformance>" in metadata
    assert "<pdfuaid:part>1</pdfuaid:part>" in metadata
    assert root["/Lang"] == "en"
    assert root["/OutputIntents"]


@pytest.mark.parametrize(("paper", "size"), [("A4", (595.28, 841.89)), ("Letter", (612.0, 792.0))])
def test_the_paper_is_as_shop_yaml_says(tmp_path: Path, paper: str, size: tuple[float, float]) -> None:
    # ISO 216 A4: 210 x 297 mm; ANSI A: 8.5 x 11 in.
    sheets = sheets_of(archive_with(tmp_path, "irrigation-single", shop={"paper": paper}), "irrigation-single")
    box = pdf_reader(sheets, "build-sheet.pdf").pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx(size, abs=0.1)


def test_no_type_is_too_small_to_read(demo_sheets: Files) -> None:
    sizes: dict[str, float] = {}
    for name, pdf in demo_sheets.items():
        if "build-sheet" in name:
            sizes[name] = min(_type_sizes(pypdf.PdfReader(io.BytesIO(pdf))))
    assert min(sizes.values()) >= 6.0, sizes


def _type_sizes(reader: pypdf.PdfReader) -> list[float]:
    sizes: list[float] = []

    def seen(text: str, cm: Any, tm: Any, font: Any, size: float) -> None:
        if text.strip():
            sizes.append(abs(size * tm[3] * cm[3]))

    reader.pages[0].extract_text(visitor_text=seen)
    return sizes


def test_a_sheet_with_the_same_contents_is_not_made_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    archive = archive_with(tmp_path, "irrigation-single")
    build, sheet = public_view(archive, "irrigation-single")
    shop, _ = read_shop(archive)
    requests = sheet_requests(build, sheet, shop, (), US)
    (pdf,) = sheet_pdfs(requests, archive, US).values()
    (tmp_path / FILES["build"]).write_bytes(pdf)
    compiled: list[str] = []
    monkeypatch.setattr(sheet_pdf, "compile_typst", lambda template, *_, **__: compiled.append(template) or pdf)
    assert sheet_pdfs(requests, archive, US, tmp_path) == {FILES["build"]: pdf}
    assert compiled == []
    other = sheet_requests(build, sheet, shop.model_copy(update={"paper": "Letter"}), (), US)
    sheet_pdfs(other, archive, US, tmp_path)
    assert compiled == [sheet_pdf.TEMPLATE]


def test_the_same_record_gives_the_same_bytes(demo_sheets: Files) -> None:
    again = sheets_of(REPO, FULL)
    assert all(demo_sheets[f"{FULL}-{name}"] == pdf for name, pdf in again.items())


def test_no_sheet_shows_an_empty_value(demo_sheets: Files) -> None:
    for name, pdf in demo_sheets.items():
        assert not re.search(r"\b(None|nan|null)\b", text_of(pdf)), name
