"""How heavy a page of a build is, and that it keeps its place while it loads, from a local server.

How soon it is shown is measured by `python -m tests.bench --only browser`.
"""

from __future__ import annotations

import gzip
import json
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser

from builder.commands.preview_server import serving
from tests.support import demo_site as demo
from tests.support.browser import wait_until

pytestmark = pytest.mark.browser
BUILDS = [f"builds/{slug}/index.html" for slug in demo.BUILDS if slug != "post-van-four"]
TRIES = 6
WATCH = (
    "window.shift = 0;"
    "new PerformanceObserver(l => { for (const e of l.getEntries()) if (!e.hadRecentInput) window.shift += e.value })"
    ".observe({type: 'layout-shift', buffered: true});"
)


def weight(path: Path) -> int:
    return len(gzip.compress(path.read_bytes(), 9, mtime=0))


@pytest.mark.parametrize("page", BUILDS)
def test_a_build_is_under_60_kb_of_html_and_250_kb_in_all(chromium: Browser, published: Path, page: str) -> None:
    assert weight(published / page) < 60_000
    loaded: set[str] = set()
    with serving(published) as address:
        tab = chromium.new_page()
        tab.on("request", lambda r: loaded.add(urlsplit(r.url).path.lstrip("/")))
        tab.goto(f"{address}{page}")
        demo.load_every_image(tab)
        tab.close()
    drawings = [name for name in loaded if name.endswith(".svg")]
    assert drawings or "fire-pump" in page
    counted = [published / name for name in loaded if "/photos/" not in name and (published / name).is_file()]
    total = sum(weight(path) for path in counted)
    print(f"{page}: {weight(published / page)} bytes of HTML, {total} bytes in all, gzip")
    assert total < 250_000


@pytest.mark.parametrize("page", demo.KINDS)
def test_nothing_moves_while_a_page_loads(chromium: Browser, published: Path, page: str) -> None:
    """The least of a few tries: a busy machine gets the files of a page in any order."""
    shift = float("inf")
    with serving(published) as address:
        for _ in range(TRIES):
            tab = chromium.new_page(viewport={"width": 1440, "height": 900})
            tab.add_init_script(WATCH)
            tab.goto(f"{address}{page}", wait_until="networkidle")
            shift = min(shift, tab.evaluate("window.shift"))
            tab.close()
            if shift < 0.02:
                break
    assert shift < 0.02


def test_the_script_of_the_text_search_waits_for_a_reader_who_searches(chromium: Browser, published: Path) -> None:
    requests: list[str] = []
    with serving(published) as address:
        tab = chromium.new_page()
        tab.on("request", lambda r: requests.append(urlsplit(r.url).path))
        tab.goto(f"{address}{demo.BUILD}")
        tab.wait_for_timeout(500)
        assert not [path for path in requests if "/javascripts/" in path]
        tab.locator(".md-search__input").focus()
        wait_until(tab, "!!window.document$")
        assert [path for path in requests if "/javascripts/bundle" in path]
        tab.close()


def test_a_build_adds_no_more_than_3_kb_to_the_search(published: Path) -> None:
    entries = json.loads((published / "search" / "search_index.json").read_text("utf-8"))["docs"]
    for page in BUILDS:
        entries_of_build = [entry for entry in entries if entry["location"].split("#")[0] == page]
        assert entries_of_build, page
        assert len(json.dumps(entries_of_build, ensure_ascii=False).encode()) <= 3072, page
    text = json.dumps(entries)
    for wanted in ("Quillfin", "Turnagain", "works the bar in all weathers", "raw-water pump"):
        assert wanted.lower() in text.lower()


@pytest.mark.parametrize("page", BUILDS)
def test_a_link_to_a_build_has_its_picture(published: Path, page: str) -> None:
    from PIL import Image

    card = published / page.replace("index.html", "card.png")
    with Image.open(card) as picture:
        assert picture.size == (1200, 630)
    assert card.stat().st_size < 120_000
    head = (published / page).read_text("utf-8").partition("</head>")[0]
    assert (
        f'property="og:image" content="https://archive.wrackline.example/{page.replace("index.html", "card.png")}"'
        in head
    )
    for name in ("og:title", "og:description", "og:image:alt"):
        assert f'property="{name}"' in head
