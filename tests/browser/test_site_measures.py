"""How heavy a page of a build is and how soon it stands, from a local server. Measured anew on a noisy machine."""

from __future__ import annotations

import gzip
import json
from collections.abc import Callable
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser

from builder.commands.preview_server import serving
from tests.support import demo_site as demo

pytestmark = pytest.mark.browser
BUILDS = [f"builds/{slug}/index.html" for slug in demo.BUILDS if slug != "post-van-four"]
TRIES = 6
WATCH = (
    "window.shift = 0; window.tasks = [];"
    "new PerformanceObserver(l => { for (const e of l.getEntries()) if (!e.hadRecentInput) window.shift += e.value })"
    ".observe({type: 'layout-shift', buffered: true});"
    "new PerformanceObserver(l => { for (const e of l.getEntries()) window.tasks.push(e.duration) })"
    ".observe({type: 'longtask', buffered: true});"
)


def best_of(measure: Callable[[], float], limit: float) -> float:
    """The least of a few measurements; no more of them than it takes to be below the limit."""
    least = float("inf")
    for _ in range(TRIES):
        least = min(least, measure())
        if least < limit:
            break
    return least


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


def test_the_page_stands_within_800_ms_on_a_machine_four_times_slower(chromium: Browser, published: Path) -> None:
    def first_paint() -> float:
        context = chromium.new_context(viewport={"width": 1440, "height": 900})
        tab = context.new_page()
        context.new_cdp_session(tab).send("Emulation.setCPUThrottlingRate", {"rate": 4})
        tab.goto(f"{address}{demo.BUILD}")
        tab.wait_for_timeout(600)
        painted = tab.evaluate("performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? Infinity")
        context.close()
        return float(painted)

    with serving(published) as address:
        least = best_of(first_paint, 800)
    print(f"first contentful paint {least:.0f} ms")
    assert least < 800


@pytest.mark.parametrize("page", demo.KINDS)
def test_nothing_moves_and_nothing_takes_long_on_a_machine_four_times_slower(
    chromium: Browser, published: Path, page: str
) -> None:
    moved: list[float] = []

    def longest() -> float:
        context = chromium.new_context(viewport={"width": 1440, "height": 900})
        tab = context.new_page()
        context.new_cdp_session(tab).send("Emulation.setCPUThrottlingRate", {"rate": 4})
        tab.add_init_script(WATCH)
        tab.goto(f"{address}{page}")
        tab.wait_for_timeout(1500)
        moved.append(tab.evaluate("window.shift"))
        tasks = tab.evaluate("window.tasks")
        context.close()
        return float(max(tasks, default=0))

    with serving(published) as address:
        least = best_of(longest, 100)
    print(f"{page}: layout shift {min(moved):.4f}, longest task {least:.0f} ms")
    # Where the machine is busy with other things, a page is laid out in the order in which its files happen to come.
    assert min(moved) < 0.02
    assert least < 100


def test_the_script_of_the_text_search_waits_for_a_reader_who_searches(chromium: Browser, published: Path) -> None:
    asked: list[str] = []
    with serving(published) as address:
        tab = chromium.new_page()
        tab.on("request", lambda r: asked.append(urlsplit(r.url).path))
        tab.goto(f"{address}{demo.BUILD}")
        tab.wait_for_timeout(500)
        assert not [path for path in asked if "/javascripts/" in path]
        tab.locator(".md-search__input").focus()
        tab.wait_for_function("window.document$")
        assert [path for path in asked if "/javascripts/bundle" in path]
        tab.close()


def test_a_build_adds_no_more_than_3_kb_to_the_search(published: Path) -> None:
    entries = json.loads((published / "search" / "search_index.json").read_text("utf-8"))["docs"]
    for page in BUILDS:
        mine = [entry for entry in entries if entry["location"].split("#")[0] == page]
        assert mine, page
        assert len(json.dumps(mine, ensure_ascii=False).encode()) <= 3072, page
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
