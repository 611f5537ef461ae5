"""The height of a build's page, its tables at every width, and its print, in a real browser."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page
from pypdf import PdfReader

from tests.support import demo_site as demo
from tests.support.browser import wait_until

pytestmark = pytest.mark.browser
Open = Callable[..., Page]
HEIGHT_LIMIT = 9000
PRINTED_PAGES = 8
PHONE, TABLET, DESKTOP = 360, 768, 1440
FULL_LAYOUT = "* { content-visibility: visible !important }"
CARDS = (".mb-fasteners", ".mb-fits", ".mb-received", ".mb-differences", "#pulls table", "#delivery ~ .mb-pair table")
"""Tables of words, whose rows become cards on a phone."""
BEYOND_THE_EDGE = """table => {
  const box = table.closest('.mb-scroll').getBoundingClientRect();
  return [...table.querySelectorAll('tbody > tr > *')]
    .filter(cell => cell.getClientRects().length && cell.getBoundingClientRect().right > box.right + 1)
    .map(cell => cell.textContent);
}"""
LINES_OF_CELLS = """table => [...table.querySelectorAll('tbody > tr > *')].map(cell => {
  const range = document.createRange();
  range.selectNodeContents(cell);
  const lineHeight = parseFloat(getComputedStyle(cell).lineHeight);
  return [cell.textContent, Math.round(range.getBoundingClientRect().height / lineHeight)];
})"""


@pytest.fixture
def opened(chromium: Browser, published: Path) -> Iterator[Open]:
    """Open a page at a width, everything laid out."""
    contexts = []

    def go(page: str, width: int = DESKTOP) -> Page:
        context = chromium.new_context(viewport={"width": width, "height": 900}, bypass_csp=True)
        contexts.append(context)
        tab = context.new_page()
        tab.goto(f"{published.as_uri()}/{page}")
        tab.add_style_tag(content=FULL_LAYOUT)
        return tab

    yield go
    for context in contexts:
        context.close()


def printed(tab: Page, path: Path) -> list[str]:
    tab.pdf(path=path, format="A4")
    return [" ".join(page.extract_text().split()) for page in PdfReader(path).pages]


@pytest.mark.parametrize("slug", [slug for slug in demo.BUILDS if slug != "post-van-four"])
def test_a_page_with_its_details_closed_is_not_too_tall(opened: Open, slug: str) -> None:
    tab = opened(f"builds/{slug}/index.html")
    assert tab.locator("article details[open]").count() == 0
    height = tab.evaluate("document.documentElement.scrollHeight")
    print(f"{slug}: {height} px")
    assert height <= HEIGHT_LIMIT


@pytest.mark.parametrize("width", [PHONE, TABLET])
def test_no_value_of_a_table_of_words_is_beyond_the_edge(opened: Open, width: int) -> None:
    tab = opened(demo.BUILD, width)
    tab.evaluate("document.querySelectorAll('article details').forEach(fold => fold.open = true)")
    for selector in CARDS:
        tables = tab.locator(selector).all()
        assert tables, selector
        for table in tables:
            assert table.evaluate(BEYOND_THE_EDGE) == [], selector
    assert tab.evaluate("document.documentElement.scrollWidth") == width


def test_every_value_of_a_card_has_its_name(opened: Open) -> None:
    tab = opened(demo.BUILD, PHONE)
    names = tab.locator(".mb-fasteners tbody tr").first.locator("td").evaluate_all(
        "cells => cells.filter(cell => cell.textContent).map(cell => getComputedStyle(cell, '::before').content)"
    )  # fmt: skip
    heads = tab.locator(".mb-fasteners thead th").all_inner_texts()
    assert names
    assert {name.strip('"') for name in names} <= set(heads)


def test_a_box_that_scrolls_keeps_its_first_column_and_has_a_shadow_at_the_edge(opened: Open) -> None:
    tab = opened(demo.BUILD, PHONE)
    tab.evaluate("document.querySelectorAll('article details').forEach(fold => fold.open = true)")
    box = tab.locator(".mb-scroll:has(> table:not(.mb-rows))").filter(has=tab.locator("th[scope=row]")).evaluate_all(
        "boxes => boxes.findIndex(box => box.scrollWidth > box.clientWidth + 100)"
    )  # fmt: skip
    assert box >= 0
    scrolling = tab.locator(".mb-scroll:has(> table:not(.mb-rows))").filter(has=tab.locator("th[scope=row]")).nth(box)
    assert "gradient" in scrolling.evaluate("box => getComputedStyle(box).backgroundImage")
    first = scrolling.locator("tbody th").first
    before = first.evaluate("cell => cell.getBoundingClientRect().left")
    scrolling.evaluate("box => box.scrollLeft = 80")
    assert first.evaluate("cell => cell.getBoundingClientRect().left") == pytest.approx(before, abs=1)


@pytest.mark.parametrize("selector", [".mb-fasteners", "#pulls table"])
def test_no_cell_wraps_to_five_lines(opened: Open, selector: str) -> None:
    tab = opened(demo.BUILD)
    tab.evaluate("document.getElementById('pulls').open = true")
    lines = tab.locator(selector).evaluate(LINES_OF_CELLS)
    assert [text for text, count in lines if count >= 5] == []
    assert any(count >= 2 for _, count in lines)


def test_the_fullest_build_prints_on_eight_pages_with_its_first_screen_first(opened: Open, tmp_path: Path) -> None:
    pages = printed(opened(demo.BUILD), tmp_path / "page.pdf")
    assert len(pages) <= PRINTED_PAGES
    for wanted in ("Engine for the pilot launch Turnagain", "Peak power", "Bore × stroke", "Firing order"):
        assert wanted in pages[0]


def test_details_print_as_they_are_on_screen(opened: Open, tmp_path: Path) -> None:
    """Also once the theme's script is loaded, which opens all details for the printer."""
    tab = opened(demo.BUILD)
    tab.locator(".md-search__input").focus()
    wait_until(tab, "!!window.document$")
    tab.keyboard.press("Escape")
    tab.evaluate("document.getElementById('pulls').open = true")
    for number in range(2):
        text = " ".join(printed(tab, tmp_path / f"{number}.pdf"))
        assert "main jets 120 to 125 (since first pull)" in text
        assert "All readings" in text
        assert "81.507" not in text
    assert tab.locator("article details[open]").count() == 1


def test_the_table_of_parts_is_searched_and_sorted(opened: Open) -> None:
    tab = opened("parts.html")
    rows = tab.locator(".mb-parts tbody tr")
    total = rows.count()
    tab.locator(".mb-parts input").fill("quillfin PISTONS")
    shown = tab.locator(".mb-parts tbody tr:visible").all_inner_texts()
    assert 0 < len(shown) < total
    assert all("Quillfin" in text and "piston" in text.lower() for text in shown)
    assert tab.locator(".mb-parts output").inner_text() == f"{len(shown)} of {total} parts"
    tab.locator(".mb-parts input").fill("")
    for descending in (False, True):
        tab.locator(".mb-parts thead th button", has_text="Number").click()
        numbers = [text.strip() for text in tab.locator(".mb-parts td[data-label=Number]").all_inner_texts()]
        assert [numbers[0][0], numbers[-1][0]] == sorted([numbers[0][0], numbers[-1][0]], reverse=descending)
    assert tab.locator("th[aria-sort=descending]").count() == 1
