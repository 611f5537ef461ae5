"""WCAG 2.2 AA by axe-core on every kind of page, light and dark, wide and narrow; and the keyboard all the way."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser

from builder.commands.preview_server import serving
from tests.support import demo_site as demo

pytestmark = [pytest.mark.browser, pytest.mark.slow]
RULES = {
    "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    "resultTypes": ["violations"],  # what passed is not described element by element: half the time
}


@pytest.fixture(scope="module")
def address(published: Path) -> Iterator[str]:
    with serving(published) as url:
        yield url


@pytest.mark.parametrize(("width", "scheme"), [(1440, "light"), (360, "dark")])
def test_axe_finds_nothing_on_any_kind_of_page(chromium: Browser, address: str, scheme: str, width: int) -> None:
    context = chromium.new_context(
        viewport={"width": width, "height": 900},
        color_scheme=scheme,
        bypass_csp=True,  # type: ignore[arg-type]
    )
    violations = []
    tab = context.new_page()
    for page in (*demo.KINDS, "404.html"):
        tab.goto(f"{address}{page}")
        if page.startswith(("finder", "compare", "overview")):
            tab.wait_for_selector("[data-ready]")
        tab.evaluate("document.querySelectorAll('article .mb-fold').forEach(fold => fold.open = true)")
        tab.evaluate("[...document.querySelectorAll('article .mb-figure')].slice(0, 6).forEach(f => f.open = true)")
        result = Axe().run(tab, options=RULES)
        violations += [f"{page}: {one['id']}: {one['nodes'][0]['html'][:200]}" for one in result.response["violations"]]
    context.close()
    assert violations == []


def test_every_drawing_has_its_numbers_in_words(chromium: Browser, published: Path) -> None:
    tab = chromium.new_page()
    tab.goto(f"{published.as_uri()}/{demo.BUILD}")
    texts = tab.locator(".mb-drawing img").evaluate_all("all => all.map(one => one.alt)")
    assert len(texts) > 20
    assert all(any(letter.isdigit() for letter in text) and len(text) > 30 for text in texts)
    tab.close()


def test_the_keyboard_reaches_everything_and_shows_where_it_is(chromium: Browser, published: Path) -> None:
    context = chromium.new_context(viewport={"width": 1440, "height": 900})
    tab = context.new_page()
    tab.goto(f"{published.as_uri()}/builds/fire-pump-flat-four/index.html")
    tab.wait_for_timeout(300)
    wanted = tab.evaluate(
        "[...document.querySelectorAll('article :is(a[href], summary)')].filter(one => one.checkVisibility()).length"
    )
    seen, unmarked = 0, []
    for _ in range(wanted + 60):
        tab.keyboard.press("Tab")
        at = tab.evaluate(
            "(() => { const e = document.activeElement; if (!e || e === document.body) return null;"
            " const s = getComputedStyle(e); const r = e.getBoundingClientRect();"
            " return { here: !!e.closest('article') && e.matches('a[href], summary'), html: e.outerHTML.slice(0, 80),"
            " marked: s.outlineStyle !== 'none' || s.boxShadow !== 'none' || !r.width } })()"
        )
        if at is None:
            break
        seen += at["here"]
        if not at["marked"]:
            unmarked.append(at["html"])
    assert unmarked == []
    assert seen == wanted >= 15
    context.close()


def test_tables_keep_their_heads_on_a_phone(chromium: Browser, published: Path) -> None:
    """Tables of readings show them; rows that became cards keep them for a screen reader, and name each value."""
    context = chromium.new_context(viewport={"width": 360, "height": 780})
    tab = context.new_page()
    tab.goto(f"{published.as_uri()}/{demo.BUILD}")
    heads = tab.evaluate(
        "[...document.querySelectorAll('table.mb-record')].filter(table => table.checkVisibility()).map(table => ["
        "getComputedStyle(table.tHead).display, getComputedStyle(table.tHead).position, "
        "[...table.tBodies[0].querySelectorAll('td')].every(cell => cell.dataset.label)])"
    )
    as_cards = [named for display, position, named in heads if position == "absolute"]
    assert {display for display, position, _ in heads if position != "absolute"} == {"table-header-group"}
    assert all(display != "none" for display, _, _ in heads)
    assert as_cards
    assert all(as_cards)
    context.close()
