"""The engine tag: its size, its text, and its QR code."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

from tests.support.handover_samples import (
    FULL,
    archive_with,
    build_pack_files,
    pdf_reader,
    without_blanks,
)

Files = dict[str, bytes]


def test_the_tag_is_100_by_50_mm_with_the_main_data(full_files: Files) -> None:
    (page,) = pdf_reader(full_files, "engine-tag.pdf").pages
    assert float(page.mediabox.width) == pytest.approx(100 / 25.4 * 72, abs=0.1)
    assert float(page.mediabox.height) == pytest.approx(50 / 25.4 * 72, abs=0.1)
    text = without_blanks(page.extract_text())
    for said in (
        "W-0241",
        "1619cc",
        "15W-40",
        "1-3-4-2",
        "30°totalby3200rpm",
        "95RON",
        "in0.30mmhot,ex0.35mmhot",
        "8.99",
    ):
        assert said in text


@pytest.mark.parametrize(("width", "height"), [("120 mm", "60 mm"), ("4 in", "2 in")])
def test_the_tag_has_the_size_in_shop_yaml(tmp_path: Path, width: str, height: str, full_files: Files) -> None:
    files = build_pack_files(archive_with(tmp_path, shop={"tag": {"width": width, "height": height}}), FULL)
    (page,) = pdf_reader(files, "engine-tag.pdf").pages
    in_points = [float(each.split()[0]) * {"mm": 72 / 25.4, "in": 72}[each.split()[1]] for each in (width, height)]
    assert [float(page.mediabox.width), float(page.mediabox.height)] == pytest.approx(in_points, abs=0.1)
    assert without_blanks(page.extract_text()) == without_blanks(
        pdf_reader(full_files, "engine-tag.pdf").pages[0].extract_text()
    )


def test_the_qr_code_is_printed_module_for_module(full_files: Files, tmp_path: Path) -> None:
    """Sampled from the page as rendered, against the symbol of ISO/IEC 18004 as segno makes it."""
    if shutil.which("pdftoppm") is None:
        pytest.skip("no pdftoppm here (apt-get install poppler-utils)")
    import segno
    from PIL import Image

    (tmp_path / "tag.pdf").write_bytes(full_files["engine-tag.pdf"])
    subprocess.run(["pdftoppm", "-r", "1016", "-gray", "-png", "tag.pdf", "tag"], cwd=tmp_path, check=True)
    (picture,) = tmp_path.glob("tag*.png")
    symbol = segno.make("https://archive.wrackline.example/builds/pilot-launch-four/index.html", error="m", micro=False)
    matrix = [[bool(module & 1) for module in row] for row in symbol.matrix]
    count, side, per_mm = len(matrix), 27.0, 40.0  # 1016 dots per inch are 40 per millimeter
    module = side / (count + 4)
    left, top = 100 - 3.0 - side, (50 - side) / 2
    with Image.open(picture).convert("L") as page:
        for y in range(count):
            for x in range(count):
                at = ((left + (x + 2.5) * module) * per_mm, (top + (y + 2.5) * module) * per_mm)
                assert (page.getpixel((round(at[0]), round(at[1]))) < 128) == matrix[y][x], (x, y)


@pytest.mark.parametrize(("width", "height"), [("100 mm", "50 mm"), ("70 mm", "35 mm"), ("200 mm", "40 mm")])
def test_no_type_is_under_7_pt_and_all_is_on_the_label(tmp_path: Path, width: str, height: str) -> None:
    files = build_pack_files(archive_with(tmp_path, shop={"tag": {"width": width, "height": height}}), FULL)
    (page,) = pdf_reader(files, "engine-tag.pdf").pages
    pieces: list[tuple[float, float]] = []

    def seen(text: str, cm: Any, tm: Any, font: Any, size: float) -> None:
        if text.strip():
            pieces.append((abs(size * tm[3] * cm[3]), tm[5] * cm[3] + cm[5]))

    text = page.extract_text(visitor_text=seen)
    assert min(size for size, _ in pieces) >= 7 - 0.01
    assert all(0 <= y <= float(page.mediabox.height) for _, y in pieces)
    assert "1619" in text
    assert "W-0241" in text
