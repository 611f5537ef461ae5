"""The binder as a PDF: text, bookmarks, tags, conformance, fonts and paper, of a full record and of a bare one."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from tests.support.handover_samples import (
    archive_with,
    build_pack_files,
    load_yaml,
    page_texts,
    pdf_reader,
    text_of,
    without_blanks,
    write_yaml,
)

Files = dict[str, bytes]
_CHAPTERS = (
    "Engine summary", "Cautions", "Operating sheet", "Dyno sheet", "Build sheet", "Clearances", "Final checks",
    "Cam as installed", "Torque record", "Parts list", "Photos", "History", "Warranty", "Sign-off", "How we calculate",
)  # fmt: skip


def test_the_binder_has_everything_that_was_recorded(full_files: Files) -> None:
    text = without_blanks(text_of(full_files["binder.pdf"]))
    for said in (
        "Engine for the pilot launch Turnagain", "W-0241", "Merrow Bar Pilots", "PM 118",  # whose it is
        "Strong between 2200 and 3600 rpm",  # what it was asked for
        "Every 250 rpm", "Corrected to SAE J1349", "water brake on the slip", "21.0 °C", "not comparable",  # results
        "0.040 to 0.070 mm", "0.054 to 0.060 mm", "manufacturer's manual",  # fits with their ranges
        "Cam as installed", "offset key, one degree", "30 → 55 → 75 N m", "10 → 20 N m, then 60°",
        "130 main, 50 idle", "0.7 mm", "15W-40, zinc 1200 ppm", "Minimum octane", "95 RON",
        "go straight to 2000 rpm", "Ten runs from a third", "min. 3 bar", "mean piston speed and the propeller",
        "After 10 hours", "QF-L16-050/H", "Returned and rejected parts", "carbon monoxide", "current manual",
        "Service log", "workshop phone 01632 960142", "21 May 2025",  # last day of twelve months of warranty
        "Gasoline vapor collects in a bilge", "Twelve months on our work", "Received by",
        "https://archive.wrackline.example/builds/pilot-launch-four/index.html",
    ):  # fmt: skip
        assert without_blanks(said).casefold() in text.casefold(), said


def test_every_page_has_its_number_the_shops_name_and_the_builds_number(full_files: Files) -> None:
    pages = page_texts(full_files["binder.pdf"])
    for number, page in enumerate(pages, start=1):
        text = without_blanks(page)
        assert "W-0241" in text
        assert "WRACKLINEENGINEWORKS" in text
        assert number == 1 or f"{number}of{len(pages)}" in text


def test_the_chapters_are_in_the_order_in_which_they_are_needed(full_files: Files) -> None:
    pages = [without_blanks(page) for page in page_texts(full_files["binder.pdf"])]
    assert 12 <= len(pages) <= 14
    inside = "\n".join(pages[2:])
    places = [inside.index(without_blanks(title)) for title in _CHAPTERS[2:]]
    assert places == sorted(places)
    # The operating sheet is one sheet of paper, to be pulled out: pages 3 and 4.
    assert "Operatingsheet" in pages[2]
    assert "Servicelog" in pages[3]
    assert "Dynosheet" in pages[4]


def test_no_spec_claims_a_source_that_was_not_recorded(full_files: Files) -> None:
    text = " ".join(text_of(full_files["binder.pdf"]).split())
    assert not re.search(r"\bas recorded\b", text)
    assert "source not recorded" in text


def test_every_chapter_has_a_bookmark(full_files: Files) -> None:
    def titles(outline: list[Any]) -> list[str]:
        return [t for each in outline for t in (titles(each) if isinstance(each, list) else [each.title])]

    found = titles(pdf_reader(full_files).outline)
    for title in _CHAPTERS:
        assert title in found


@pytest.mark.parametrize("name", ["binder.pdf", "engine-tag.pdf", "build-sheet.pdf"])
def test_it_claims_to_be_archivable_and_accessible(full_files: Files, bare_files: Files, name: str) -> None:
    # ISO 19005-2, 6.6.4: pdfaid:part and pdfaid:conformance; ISO 14289-1, clause 5: pdfuaid:part.
    for files in (full_files, bare_files):
        reader = pdf_reader(files, name)
        metadata = reader.trailer["/Root"]["/Metadata"].get_data().decode()
        assert "<pdfaid:part>2</pdfaid:part>" in metadata
        assert "<pdfaid:conformance>A</pdfaid:conformance>" in metadata
        assert "<pdfuaid:part>1</pdfuaid:part>" in metadata
        root = reader.trailer["/Root"]
        assert root["/MarkInfo"]["/Marked"] is True or root["/MarkInfo"]["/Marked"]
        assert root["/Lang"] == "en"
        assert root["/ViewerPreferences"]["/DisplayDocTitle"]
        assert root["/OutputIntents"]


def _tags(element: Any, found: list[Any]) -> list[Any]:
    thing = element.get_object()
    if isinstance(thing, list):
        for each in thing:
            _tags(each, found)
    elif isinstance(thing, dict):
        if "/S" in thing:
            found.append(thing)
        if "/K" in thing:
            _tags(thing.raw_get("/K"), found)
    return found


def test_it_is_tagged_and_every_picture_is_described(full_files: Files) -> None:
    tags = _tags(pdf_reader(full_files).trailer["/Root"]["/StructTreeRoot"], [])
    kinds = {str(tag["/S"]) for tag in tags}
    assert {"/H1", "/H2", "/Table", "/TH", "/TD", "/P", "/Figure"} <= kinds
    figures = [tag for tag in tags if tag["/S"] == "/Figure"]
    assert len(figures) >= 6
    assert all(len(str(tag["/Alt"])) > 10 for tag in figures)


def test_every_font_is_embedded_and_none_is_of_the_system(full_files: Files, bare_files: Files) -> None:
    for files in (full_files, bare_files):
        fonts = set()
        for page in pdf_reader(files).pages:
            for font in page["/Resources"].get("/Font", {}).values():
                (inner,) = font.get_object()["/DescendantFonts"]
                descriptor = inner.get_object()["/FontDescriptor"]
                assert "/FontFile2" in descriptor or "/FontFile3" in descriptor
                fonts.add(str(font.get_object()["/BaseFont"]).partition("+")[2].partition("-")[0])
        assert fonts
        assert fonts <= {"DejaVuSans", "DejaVuSansMono", "LibertinusSerif"}


def test_charts_are_vectors(full_files: Files) -> None:
    texts = page_texts(full_files["binder.pdf"])
    number = next(number for number, text in enumerate(texts) if "Dynosheet" in without_blanks(text)[:80])
    assert len(pdf_reader(full_files).pages[number].images) == 0


@pytest.mark.parametrize(("paper", "size"), [("A4", (595.28, 841.89)), ("Letter", (612.0, 792.0))])
def test_the_paper_is_as_shop_yaml_says(tmp_path: Path, paper: str, size: tuple[float, float]) -> None:
    # ISO 216 A4: 210 x 297 mm; ANSI A: 8.5 x 11 in.
    files = build_pack_files(archive_with(tmp_path, "irrigation-single", shop={"paper": paper}), "irrigation-single")
    box = pdf_reader(files).pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx(size, abs=0.1)


def test_the_cover_has_a_photo_of_the_finished_engine_where_none_is_marked(tmp_path: Path) -> None:
    archive = archive_with(tmp_path, "breakdown-truck-v8")
    photos = load_yaml(archive, "breakdown-truck-v8", "photos")["photos"]
    unmarked = [photo for photo in photos if photo["section"] != "cover"]
    write_yaml(archive / "builds" / "breakdown-truck-v8" / "photos.yaml", {"photos": unmarked})
    pages = pdf_reader(build_pack_files(archive, "breakdown-truck-v8")).pages
    sections = [photo["section"] for photo in unmarked]
    pictures = [image.data for page in pages[1:] for image in page.images]
    assert len(pictures) == len(sections)  # the one on the cover keeps its place and its caption
    assert [image.data for image in pages[0].images] == [pictures[sections.index("assembly")]]


def test_a_bare_record_has_a_binder(bare_files: Files) -> None:
    text = without_blanks(text_of(bare_files["binder.pdf"]))
    assert "Nodatafor" in text
    assert "Cautions" in text
    assert "Firststart" in text
    assert "Ends" in text
    assert not re.search(r"\b(None|nan|null|none)\b", text_of(bare_files["binder.pdf"]))


def test_the_digest_in_the_binder_is_that_of_the_data(full_files: Files) -> None:
    from builder.handover.checksums import pack_digest

    assert pack_digest(full_files) in without_blanks(text_of(full_files["binder.pdf"]))


@pytest.mark.parametrize("slug", ["irrigation-single", "pilot-launch-four"])
def test_draft_is_on_every_page_of_a_draft_only(slug: str, full_files: Files, tmp_path: Path) -> None:
    """The full build has tables that run over a page, of which the mark must not become a part."""
    files = build_pack_files(archive_with(tmp_path, slug), slug, draft=True)
    for name in ("binder.pdf", "engine-tag.pdf", "build-sheet.pdf"):
        assert all("DRAFT" in text for text in page_texts(files[name]))
        assert "DRAFT" not in text_of(full_files[name])
