"""The binder as a PDF: its text, bookmarks, tags, identification and type; Letter and A4; much and next to nothing."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pypdf
import pytest

from builder.handover.pack import customer_view, pack_files
from builder.handover.performance import step_for
from builder.record.load import read_build, read_shop
from tests.support.handover_samples import (
    FULL,
    archive_with,
    bare_archive,
    load_yaml,
    text_of,
    without_blanks,
)

Files = dict[str, bytes]


def _pack(archive: Path, slug: str, *, draft: bool = False) -> Files:
    shop, _ = read_shop(archive)
    build, problems = read_build(archive / "builds" / slug, archive)
    assert build is not None, problems
    return pack_files(build, customer_view(build, shop), shop, archive, draft=draft)


@pytest.fixture(scope="module")
def full(tmp_path_factory: pytest.TempPathFactory) -> Files:
    return _pack(archive_with(tmp_path_factory.mktemp("full")), FULL)


@pytest.fixture(scope="module")
def bare(tmp_path_factory: pytest.TempPathFactory) -> Files:
    return _pack(bare_archive(tmp_path_factory.mktemp("bare")), "bare")


def _reader(files: Files, name: str = "binder.pdf") -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(files[name]))


def test_it_says_everything_that_goes_into_a_binder(full: Files) -> None:
    text = without_blanks(text_of(full["binder.pdf"]))
    for said in (
        "Engine for the pilot launch Turnagain", "W-0241", "Merrow Bar Pilots", "PM 118",  # whose it is
        "Strong between 2200 and 3600 rpm",  # what it was asked for
        "Every 250 rpm, SAE J1349", "water brake on the slip", "19.8 °C", "compare like with like",  # what it made
        "0.040 to 0.070 mm", "0.054 to 0.060 mm", "maker's book",  # fits with their ranges
        "Cam as installed", "offset key, one degree", "30 → 55 → 75 N m", "10 → 20 N m, then 60°",
        "130 main, 50 idle", "0.7 mm", "15W-40, zinc 1200 ppm", "Least octane", "95 RON",
        "go straight to 2000 rpm", "Ten runs from a third", "not under 3 bar", "mean piston speed and the propeller",
        "After 10 hours", "QF-L16-050/H", "Looked at, and not used", "carbon monoxide", "current manual",
        "Petrol vapour collects in a bilge", "Twelve months on our work", "Received by",
        "https://archive.wrackline.example/builds/pilot-launch-four/index.html",
    ):  # fmt: skip
        assert without_blanks(said).casefold() in text.casefold(), said


def test_the_table_is_the_curve_of_the_best_pull(full: Files, tmp_path: Path) -> None:
    archive = archive_with(tmp_path)
    shop, _ = read_shop(archive)
    build, _ = read_build(archive / "builds" / FULL, archive)
    assert build is not None
    session = customer_view(build, shop).sheet.session
    assert session is not None
    assert session.best is not None
    lines = text_of(full["binder.pdf"]).splitlines()
    for rpm in (2000, 3500, 5000):
        torque = float(session.best.corrected.torque_curve.at(rpm / 60))
        row = next(line for line in lines if line.startswith(f"{rpm} "))
        written = [float(each) for each in row.split()]
        # 1 lbf ft = 1.3558179 N m, 1 hp = 745.69987 W (NIST SP 811, appendix B)
        power = 2 * 3.141592653589793 * rpm / 60 * torque
        expected = [rpm, torque, torque / 1.3558179483, power / 1000, power / 745.69987158]
        assert written == pytest.approx(expected, abs=0.051)


@pytest.mark.parametrize(
    ("low", "high", "step"), [(1500, 5200, 250), (800, 2400, 250), (1500, 7500, 500), (2000, 14500, 1000)]
)
def test_the_step_of_the_table_goes_by_the_range(low: float, high: float, step: int) -> None:
    assert step_for(low, high) == step


def test_every_page_has_its_number_the_shops_name_and_the_builds_number(full: Files) -> None:
    pages = _reader(full).pages
    for number, page in enumerate(pages, start=1):
        text = without_blanks(page.extract_text())
        assert "W-0241" in text
        assert "WRACKLINEENGINEWORKS" in text
        assert number == 1 or f"{number}of{len(pages)}" in text


def test_bookmarks_lead_through_it(full: Files) -> None:
    def titles(outline: list[Any]) -> list[str]:
        return [t for each in outline for t in (titles(each) if isinstance(each, list) else [each.title])]

    found = titles(_reader(full).outline)
    for title in ("What it made", "Measured fits", "Fasteners as tightened", "First start", "Running in", "Cautions"):
        assert title in found


@pytest.mark.parametrize("name", ["binder.pdf", "engine-tag.pdf"])
def test_it_says_that_it_is_archivable_and_accessible(full: Files, bare: Files, name: str) -> None:
    # ISO 19005-2, 6.6.4: pdfaid:part and pdfaid:conformance; ISO 14289-1, clause 5: pdfuaid:part.
    for files in (full, bare):
        reader = _reader(files, name)
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


def test_it_is_tagged_and_every_picture_is_described(full: Files) -> None:
    tags = _tags(_reader(full).trailer["/Root"]["/StructTreeRoot"], [])
    kinds = {str(tag["/S"]) for tag in tags}
    assert {"/H1", "/H2", "/Table", "/TH", "/TD", "/P", "/Figure"} <= kinds
    figures = [tag for tag in tags if tag["/S"] == "/Figure"]
    assert len(figures) >= 6
    assert all(len(str(tag["/Alt"])) > 10 for tag in figures)


def test_every_font_is_embedded_and_none_is_the_machines(full: Files, bare: Files) -> None:
    for files in (full, bare):
        fonts = set()
        for page in _reader(files).pages:
            for font in page["/Resources"].get("/Font", {}).values():
                (inner,) = font.get_object()["/DescendantFonts"]
                descriptor = inner.get_object()["/FontDescriptor"]
                assert "/FontFile2" in descriptor or "/FontFile3" in descriptor
                fonts.add(str(font.get_object()["/BaseFont"]).partition("+")[2].partition("-")[0])
        assert fonts
        assert fonts <= {"DejaVuSans", "DejaVuSansMono", "LibertinusSerif"}


def test_drawings_are_vectors(full: Files) -> None:
    made = next(page for page in _reader(full).pages if "Whatitmade" in without_blanks(page.extract_text())[:80])
    assert len(made.images) == 0


@pytest.mark.parametrize(("paper", "size"), [("A4", (595.28, 841.89)), ("Letter", (612.0, 792.0))])
def test_the_paper_is_the_shops(tmp_path: Path, paper: str, size: tuple[float, float]) -> None:
    # ISO 216 A4: 210 x 297 mm; ANSI A: 8.5 x 11 in.
    files = _pack(archive_with(tmp_path, "irrigation-single", shop={"paper": paper}), "irrigation-single")
    box = _reader(files).pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx(size, abs=0.1)


def test_the_tag_is_fifty_by_twenty_five_millimetres_and_says_what_is_asked_first(full: Files) -> None:
    (page,) = _reader(full, "engine-tag.pdf").pages
    assert float(page.mediabox.width) == pytest.approx(50 / 25.4 * 72, abs=0.1)
    assert float(page.mediabox.height) == pytest.approx(25 / 25.4 * 72, abs=0.1)
    text = without_blanks(page.extract_text())
    for said in ("W-0241", "1619cc", "15W-40", "1-3-4-2", "30°totalby3200rpm", "95RON"):
        assert said in text


@pytest.mark.parametrize(("width", "height"), [("80 mm", "30 mm"), ("2 in", "2 in"), ("40 mm", "20 mm")])
def test_the_tag_is_as_large_as_the_shops_labels(tmp_path: Path, width: str, height: str, full: Files) -> None:
    files = _pack(archive_with(tmp_path, shop={"tag": {"width": width, "height": height}}), FULL)
    (page,) = _reader(files, "engine-tag.pdf").pages
    in_points = [float(each.split()[0]) * {"mm": 72 / 25.4, "in": 72}[each.split()[1]] for each in (width, height)]
    assert [float(page.mediabox.width), float(page.mediabox.height)] == pytest.approx(in_points, abs=0.1)
    assert without_blanks(page.extract_text()) == without_blanks(
        _reader(full, "engine-tag.pdf").pages[0].extract_text()
    )


def test_the_cover_has_a_photo_of_the_finished_engine_where_none_is_marked(tmp_path: Path) -> None:
    archive = archive_with(tmp_path, "breakdown-truck-v8")
    pages = _reader(_pack(archive, "breakdown-truck-v8")).pages
    sections = [photo["section"] for photo in load_yaml(archive, "breakdown-truck-v8", "photos")["photos"]]
    assert "cover" not in sections
    inside = next(page for page in pages if without_blanks(page.extract_text() or "").find("Photos") in range(60))
    pictures = [image.data for image in inside.images]
    assert len(pictures) == len(sections)  # the one on the cover keeps its place and its caption
    assert [image.data for image in pages[0].images] == [pictures[sections.index("assembly")]]


def test_a_build_of_which_next_to_nothing_is_known_still_makes_a_binder(bare: Files) -> None:
    text = without_blanks(text_of(bare["binder.pdf"]))
    assert "Nothingwasrecordedunder" in text
    assert "Cautions" in text
    assert "Firststart" in text
    assert not re.search(r"\b(None|nan|null|none)\b", text_of(bare["binder.pdf"]))


def test_the_digest_in_the_binder_is_that_of_the_data(full: Files) -> None:
    from builder.handover.checksums import data_digest

    assert data_digest(full) in without_blanks(text_of(full["binder.pdf"]))


@pytest.mark.parametrize("slug", ["irrigation-single", "pilot-launch-four"])
def test_draft_stands_on_every_page_and_only_on_a_draft(slug: str, full: Files, tmp_path: Path) -> None:
    """The full build has tables that run over a page, of which the mark must not become a part."""
    files = _pack(archive_with(tmp_path, slug), slug, draft=True)
    for name in ("binder.pdf", "engine-tag.pdf"):
        assert all("DRAFT" in page.extract_text() for page in _reader(files, name).pages)
        assert "DRAFT" not in text_of(full[name])


def test_the_code_on_the_tag_is_printed_module_for_module(full: Files, tmp_path: Path) -> None:
    """Sampled from the page as rendered, against the symbol of ISO/IEC 18004 as segno makes it."""
    if shutil.which("pdftoppm") is None:
        pytest.skip("no pdftoppm here (apt-get install poppler-utils)")
    import segno
    from PIL import Image

    (tmp_path / "tag.pdf").write_bytes(full["engine-tag.pdf"])
    subprocess.run(["pdftoppm", "-r", "1016", "-gray", "-png", "tag.pdf", "tag"], cwd=tmp_path, check=True)
    (picture,) = tmp_path.glob("tag*.png")
    symbol = segno.make("https://archive.wrackline.example/builds/pilot-launch-four/index.html", error="m", micro=False)
    matrix = [[bool(module & 1) for module in row] for row in symbol.matrix]
    count, side, per_mm = len(matrix), 14.0, 40.0  # 1016 dots per inch are 40 per millimetre
    module = side / (count + 4)
    left, top = 50 - 1.8 - side, (25 - side) / 2
    with Image.open(picture).convert("L") as page:
        for y in range(count):
            for x in range(count):
                at = ((left + (x + 2.5) * module) * per_mm, (top + (y + 2.5) * module) * per_mm)
                assert (page.getpixel((round(at[0]), round(at[1]))) < 128) == matrix[y][x], (x, y)
