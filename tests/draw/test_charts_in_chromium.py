"""Drawings as a reader's browser shows them: light, dark, inlined, printed, wide and on a phone."""

from __future__ import annotations

import io
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

from builder.draw.style import NARROW, PALETTE, WIDE
from tests.support.draw_examples import example

pytestmark = pytest.mark.browser
TOKENS = {t.name: t for t in PALETTE}


def colours(png: bytes) -> dict[str, int]:
    """How many pixels have each exact colour."""
    from PIL import Image

    image = Image.open(io.BytesIO(png)).convert("RGB")
    return {f"#{r:02x}{g:02x}{b:02x}": n for n, (r, g, b) in image.getcolors(1 << 24)}


def shown(chromium: Any, body: str, folder: Path, system: str) -> dict[str, int]:
    page = chromium.new_page(viewport={"width": 800, "height": 600}, color_scheme=system)
    (folder / "page.html").write_text(f"<!doctype html><meta charset=utf-8>{body}", encoding="utf-8")
    page.goto((folder / "page.html").as_uri())
    seen = colours(page.screenshot())
    page.close()
    return seen


@pytest.mark.parametrize("system", ["light", "dark"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("how", ["image", "inlined"])
def test_a_drawing_follows_the_scheme_of_the_page_around_it(
    how: str, scheme: str, system: str, chromium: Any, tmp_path: Path
) -> None:
    """Whatever the reader's system says, the page's own switch decides."""
    drawing = example("tightening_pattern") if how == "image" else example("scatter")
    (tmp_path / "a.svg").write_text(drawing.svg, encoding="utf-8")
    inner = '<img src="a.svg">' if how == "image" else drawing.svg
    ground = getattr(TOKENS["paper"], scheme)
    seen = shown(chromium, f'<body style="background:{ground};color-scheme:{scheme}">{inner}', tmp_path, system)
    name = "metal" if how == "image" else "accent"
    other = "dark" if scheme == "light" else "light"
    assert seen.get(getattr(TOKENS[name], scheme), 0) > 20
    assert getattr(TOKENS[name], other) not in seen


def test_a_marker_drawn_by_reference_changes_its_outline_too(chromium: Any, tmp_path: Path) -> None:
    drawing = example("piston_speed")
    (tmp_path / "a.svg").write_text(drawing.svg, encoding="utf-8")
    body = '<body style="background:#15191c;color-scheme:dark"><img src="a.svg">'
    seen = shown(chromium, body, tmp_path, "light")
    assert TOKENS["second"].dark in seen
    assert TOKENS["second"].light not in seen


@pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="pdftoppm is not installed (poppler-utils)")
def test_print_is_light_even_from_a_dark_page(chromium: Any, tmp_path: Path) -> None:
    """Inlined drawings by themselves; images by the page's word that paper is light."""
    drawing = example("tightening_pattern")
    (tmp_path / "a.svg").write_text(drawing.svg, encoding="utf-8")
    rule = "<style>body{background:#fff;color-scheme:dark}@media print{img{color-scheme:light}}</style>"
    body = f'{rule}<img src="a.svg" width="600">{example("scatter").svg}'
    (tmp_path / "page.html").write_text(f"<!doctype html><meta charset=utf-8>{body}", encoding="utf-8")
    page = chromium.new_page(color_scheme="dark")
    page.goto((tmp_path / "page.html").as_uri())
    page.pdf(path=str(tmp_path / "page.pdf"))
    page.close()
    subprocess.run(["pdftoppm", "-r", "96", "-png", "-singlefile", "page.pdf", "page"], cwd=tmp_path, check=True)
    seen = colours((tmp_path / "page.png").read_bytes())
    for name in ("metal", "accent"):  # the fasteners of the image, the points of the inlined drawing
        assert seen.get(TOKENS[name].light, 0) > 20
        assert TOKENS[name].dark not in seen


def test_a_formula_takes_the_colour_of_the_text_around_it(chromium: Any, tmp_path: Path) -> None:
    drawing = example("formula").svg
    body = f'<body style="background:#fff"><div style="color:#00aa00">{drawing}</div>{example("scatter").svg}'
    assert shown(chromium, body, tmp_path, "light").get("#00aa00", 0) > 20


@pytest.mark.parametrize("size", [WIDE, NARROW], ids=["wide", "narrow"])
@pytest.mark.parametrize(
    "name", ["power_curves", "stack_up", "timing_ring", "positions", "channels", "setting_sweep", "bore_map"]
)
def test_text_is_no_wider_than_it_was_measured(name: str, size: Any, chromium: Any) -> None:
    """With the fonts of this machine, no label leaves the drawing and no two meet."""
    page = chromium.new_page(viewport={"width": 800, "height": 900})
    page.set_content(f"<!doctype html><body style='margin:0'>{example(name, size=size).svg}")
    boxes = page.evaluate(
        "[...document.querySelectorAll('svg text')].map(t => {const b = t.getBBox();"
        " return [t.textContent, b.x, b.y + b.height * 0.12, b.x + b.width, b.y + b.height * 0.86]})"
    )
    page.close()
    drawing = example(name, size=size)
    assert len(boxes) > 4
    for i, (text, left, top, right, bottom) in enumerate(boxes):
        assert left >= -0.5, text
        assert top >= -0.5, text
        assert right <= drawing.width + 0.5, text
        assert bottom <= drawing.height + 0.5, text
        for other, a, b, c, d in boxes[i + 1 :]:
            assert min(right, c) - max(left, a) <= 1 or min(bottom, d) - max(top, b) <= 1, f"{text!r} over {other!r}"
