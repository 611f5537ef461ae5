"""The finder and the compare page in a real browser, opened from a folder under a strict policy."""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Browser, Page, expect
from pypdf import PdfReader

from builder.archive.engine_build import EngineBuild
from builder.archive.summary import CoarseCurve, PartSummary, Summary
from builder.engine.constants import CUBIC_INCH
from tests.support import archive_samples as samples
from tests.support import finder_site

pytestmark = pytest.mark.browser
HOSTILE = "<img src=x onerror=alert(1)></script><script>alert(2)</script>'\"`${1}` =1+1 \u2028 {{7*7}} </noscript>"
Open = Callable[..., Page]


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return finder_site.write_site(tmp_path_factory.mktemp("finder"), samples.invented_archive(150, sparse=0.15))


@pytest.fixture
def opened(chromium: Browser) -> Iterator[Open]:
    """Open a page of a site; a message in the console or a dialog fails the test."""
    messages: list[str] = []
    contexts = []

    def go(site: Path, page: str = "finder.html", width: int = 1440, script: bool = True, policy: bool = True) -> Page:
        context = chromium.new_context(
            viewport={"width": width, "height": 1000}, java_script_enabled=script, bypass_csp=not policy
        )
        contexts.append(context)
        tab = context.new_page()
        tab.on("console", lambda m: messages.append(m.text))
        tab.on("pageerror", lambda e: messages.append(str(e)))
        tab.on("dialog", lambda d: (messages.append(f"dialog {d.message}"), d.dismiss()))
        tab.on("request", lambda r: None if r.url.startswith(("file:", "blob:", "data:")) else messages.append(r.url))
        tab.goto(site.as_uri() + "/" + page)
        if script:
            tab.wait_for_selector("[data-ready]")
        return tab

    yield go
    for context in contexts:
        context.close()
    assert messages == []


def count(page: Page) -> int:
    return int(page.inner_text(".mb-finder-count strong"))


def titles(page: Page) -> list[str]:
    return page.locator(".mb-finder-table tbody th a").all_inner_texts()


def column(page: Page, heading: str) -> list[str]:
    heads = page.locator(".mb-finder-table thead th").all_inner_texts()
    at = next(i for i, text in enumerate(heads) if text.startswith(heading))
    return page.locator(f".mb-finder-table tbody tr > :nth-child({at + 1})").all_inner_texts()


def unfold(page: Page, section: str) -> None:
    page.wait_for_selector(".mb-finder-plan", state="attached")
    page.evaluate(
        "(text) => { for (const fold of document.querySelectorAll('.mb-finder-section'))"
        " if (fold.textContent.includes(text))"
        " for (const d of [fold, ...fold.querySelectorAll('details')]) d.open = true; }",
        section,
    )


def test_ranges_choices_and_words_narrow_the_list(opened: Open, site: Path) -> None:
    page = opened(site)
    assert count(page) == 150
    unfold(page, "Filters")
    page.get_by_label("Displacement, cu in, at least").fill("300")
    page.get_by_label("Displacement, cu in, at most").fill("400")
    some = count(page)
    assert 0 < some < 150
    page.locator(".mb-finder-choice label", has_text="gasoline").locator("input").check()
    fewer = count(page)
    assert 0 < fewer < some
    page.get_by_label("Search builds").fill("small block")
    assert 0 < count(page) <= fewer
    assert all("small block" in t for t in titles(page))
    assert all(300 <= float(v) <= 400 for v in column(page, "Displacement"))
    expect(page.locator("[role=status]")).to_have_text(re.compile("of 150 builds$"))
    page.wait_for_url(re.compile(r"words=.*displacement=300\.\.400.*fuel=gasoline"))
    # The address alone brings the search back.
    again = opened(site, "finder.html#" + page.url.split("#")[1])
    assert titles(again) == titles(page)
    page.get_by_role("button", name="Reset").click()
    assert count(page) == 150


def test_columns_sort_by_mouse_and_keyboard_and_say_so(opened: Open, site: Path) -> None:
    page = opened(site)
    power = page.locator(".mb-finder-table thead th", has_text="Peak power")
    power.get_by_role("button").click()
    assert power.get_attribute("aria-sort") == "descending"
    values = [float(v.split()[0]) for v in column(page, "Peak power")]
    assert values == sorted(values, reverse=True)
    power.get_by_role("button").press("Enter")
    assert power.get_attribute("aria-sort") == "ascending"
    values = [float(v.split()[0]) for v in column(page, "Peak power") if v != "–"]
    assert values == sorted(values)
    assert page.locator("[aria-sort=ascending], [aria-sort=descending]").count() == 1


def test_more_rows_come_when_asked_for(opened: Open, site: Path) -> None:
    page = opened(site)
    assert len(titles(page)) == 20
    page.get_by_role("button", name="Show 100 more of 130").click()
    assert len(titles(page)) == 120
    page.get_by_role("button", name="Show 30 more").click()
    assert len(titles(page)) == 150
    assert len(set(page.eval_on_selector_all(".mb-finder-table tbody a", "x => x.map(a => a.href)"))) == 150


def test_units_switch_and_what_was_typed_goes_along(opened: Open, site: Path) -> None:
    page = opened(site)
    unfold(page, "Filters")
    page.get_by_label("Displacement, cu in, at least").fill("300")
    before = titles(page)
    page.get_by_label("Metric").check()
    assert page.get_by_label("Displacement, cc, at least").input_value() == "4916.1"
    assert titles(page) == before
    assert "kW" in page.inner_text(".mb-finder-table thead")


def test_a_plan_ranks_explains_and_estimates(opened: Open, site: Path) -> None:
    page = opened(site)
    unfold(page, "Planned combination")
    plan = page.locator(".mb-finder-section", has_text="Planned combination")
    plan.get_by_label("Displacement, cu in").fill("355")
    plan.get_by_label("Compression ratio").fill("10.5")
    plan.get_by_label("Induction").select_option("naturally aspirated")
    plan.get_by_label("Cylinders").fill("8")
    page.wait_for_selector(".mb-finder-expected[aria-busy=false] dl")
    likeness = [int(v.split()[0]) for v in column(page, "Match")]
    assert likeness == sorted(likeness, reverse=True)
    assert likeness[0] >= 95
    assert all(column(page, "Main differences"))
    words = page.inner_text(".mb-finder-expected")
    assert "Peak torque" in words
    assert "range was right for" in words
    assert " to " in words
    page.wait_for_url(re.compile(r"plan\.cylinders=8"))
    again = opened(site, "finder.html#" + page.url.split("#")[1])
    assert titles(again) == titles(page)
    plan.get_by_label("Displacement, cu in").fill("99999")
    page.locator(".mb-finder-expected", has_text="No estimate").wait_for()
    assert "lies outside what the archive covers" in page.inner_text(".mb-finder-expected")
    plan.get_by_label("Displacement, cu in").fill("355")
    plan.get_by_label("Compression ratio").fill("40")
    page.locator(".mb-finder-expected", has_text="left out of the match").wait_for()
    assert page.locator(".mb-finder-expected dl").count() == 1
    plan.get_by_label("Displacement, cu in").fill("big")
    assert plan.get_by_label("Displacement, cu in").get_attribute("aria-invalid") == "true"


def test_what_is_asked_at_the_counter_takes_three_clicks_and_prints_on_one_page(opened: Open, tmp_path: Path) -> None:
    sizes = (97, 98, 100, 120, 122, 170, 172, 289, 302, 306, 350, 355, 383, 383, 402, 406, 427, 482, 502, 540)
    ratios = (8.0, 8.2, 8.5, 9.5, 9.6, 9.8, 10.0, 10.2, 11.5, 12.0)
    fuels = {"gasoline": "pump gasoline", "premium gasoline": "pump gasoline", "methanol": "alcohol"}
    parts = {"cam": "Heron HC 230", "heads": "Wrenfield WF 5102", "carburetor": "four-barrel", "octane": "98 RON"}
    results = {"peak_power": 2e5, "peak_torque": 400.0, "bmep": 1e6}
    builds = [
        Summary(
            f"b{number}",
            f"Engine {number}",
            displacement=size * CUBIC_INCH,
            compression_ratio=ratio,
            fuel=fuel,
            fuel_family=fuels[fuel],
            **parts,
            **results,
        )
        for number, (size, ratio, fuel) in enumerate(itertools.product(sizes, ratios, fuels))
    ]
    page = opened(finder_site.write_site(tmp_path / "site", builds))
    for name in ("350–430", "9.5–10.2", "pump gasoline"):
        page.get_by_role("button", name=name, exact=True).click()
    assert count(page) == 7 * 5 * 2
    pressed = page.locator(".mb-finder-ready [aria-pressed=true]")
    assert pressed.all_inner_texts() == ["350–430", "9.5–10.2", "pump gasoline"]
    for heading in ("Cam", "Heads", "Carburetor or injection", "Octane"):
        assert all(column(page, heading))
    page.pdf(path=tmp_path / "answer.pdf", prefer_css_page_size=True)
    printed = PdfReader(tmp_path / "answer.pdf")
    assert len(printed.pages) == 1
    text = " ".join(printed.pages[0].extract_text().split())
    assert "displacement 350 to 430 cu in" in text
    assert "8 of 70 builds" in text
    page.get_by_role("button", name="pump gasoline", exact=True).click()
    assert count(page) == 7 * 5 * 3
    page.get_by_role("button", name="285–310", exact=True).click()
    assert count(page) == 10 * 5 * 3
    page.get_by_role("button", name="96–100", exact=True).click()
    assert count(page) == 3 * 5 * 3
    page.get_by_role("button", name="96–100", exact=True).click()
    assert count(page) == 20 * 5 * 3


def test_curves_of_two_to_four_are_drawn_and_compared(opened: Open, site: Path) -> None:
    page = opened(site, "finder.html#sort=-peak_power")
    boxes = page.locator(".mb-finder-table tbody input")
    for k in range(4):
        boxes.nth(k).check()
    assert page.locator(".mb-finder-curves").count() == 2
    dashes = page.eval_on_selector_all(
        ".mb-finder-curves:first-of-type path.mb-finder-line", "x => x.map(p => getComputedStyle(p).strokeDasharray)"
    )
    assert len(set(dashes[:4])) == 4  # distinguishable without their colours
    boxes.nth(4).click()
    assert not boxes.nth(4).is_checked()
    expect(page.locator("[role=status]")).to_contain_text("Four builds")
    first = page.locator(".mb-finder-curves").first.get_attribute("aria-label")
    page.get_by_role("checkbox", name="per liter").check()
    assert page.locator(".mb-finder-curves").first.get_attribute("aria-label") != first
    chosen = page.locator(".mb-finder-picks a").all_inner_texts()
    page.get_by_role("link", name="Compare side by side").click()
    page.wait_for_selector("[data-ready]")
    assert "?with=" in page.url
    assert page.locator(".mb-finder-picks a").all_inner_texts() == chosen
    rows = page.locator(".mb-finder-compared tbody tr").all()
    assert rows
    for row in rows:
        assert len(set(row.locator("td").all_inner_texts())) > 1


def test_builds_or_engines_are_listed(opened: Open, tmp_path: Path) -> None:
    builds = samples.invented_archive(6)
    again = replace(builds[0], slug="again", title="Built again", date="2099-01-01", engine=EngineBuild("E-1"))
    builds = [replace(builds[0], engine=EngineBuild("E-1")), *builds[1:], again]
    page = opened(finder_site.write_site(tmp_path, builds))
    assert count(page) == 7
    page.locator(".mb-finder-tools").get_by_label("Show").select_option("engines")
    assert count(page) == 6
    expect(page.locator(".mb-finder-count")).to_contain_text("of 6 engines")
    assert titles(page)[0] == "Built again"
    assert builds[0].title not in titles(page)
    expect(page).to_have_url(re.compile("show=engines"))
    other = opened(finder_site.write_site(tmp_path / "single", builds[1:-1]))
    assert other.locator(".mb-finder-tools").get_by_label("Show").count() == 0  # every engine has one build


def test_the_curves_are_read_off_together(opened: Open, site: Path) -> None:
    builds = [build for build in samples.invented_archive(150, sparse=0.15) if build.curve and build.displacement][:2]
    page = opened(site, f"finder.html#pick={','.join(build.slug for build in builds)}&u=metric")
    sliders = page.locator(".mb-finder-pair").get_by_role("slider")
    expect(sliders).to_have_count(2)
    sliders.first.focus()
    page.keyboard.press("Home")
    for _ in range(12):
        page.keyboard.press("ArrowRight")
    words = page.locator(".mb-read-line").inner_text().replace("\xa0", " ")
    speed = int(re.findall(r"At ([\d,]+) rpm", words)[0].replace(",", ""))
    assert sliders.first.get_attribute("aria-valuenow") == sliders.last.get_attribute("aria-valuenow") == "12"
    checked = 0
    for letter, build in zip("AB", builds, strict=True):
        assert build.curve
        speeds = [60 * value for value in build.curve.speeds]
        if not speeds[0] <= speed <= speeds[-1]:
            continue
        torque = float(np.interp(speed, speeds, build.curve.torque))
        shown = re.findall(rf"{letter}: (\d+) N m, ([\d.]+) kW", words)[0]
        assert abs(float(shown[0]) - torque) <= 0.5 + 0.1  # the data hold torque to 0.1 N m
        between = zip(speeds, build.curve.torque, strict=True)
        powers = [2e-3 * np.pi * n / 60 * t for n, t in between]
        assert abs(float(shown[1]) - float(np.interp(speed, speeds, powers))) <= 0.05 + 0.05
        checked += 1
    assert checked


def test_the_points_follow_and_lead_to_builds(opened: Open, site: Path) -> None:
    page = opened(site)
    points = page.locator(".mb-finder-points")
    points.get_by_label("X axis").select_option("compression_ratio")
    assert "Compression ratio" in (page.locator(".mb-finder-scatter").get_attribute("aria-label") or "")
    page.get_by_label("Search builds").fill("marine")
    label = page.locator(".mb-finder-scatter").get_attribute("aria-label") or ""
    assert int(label.split(": ")[1].split()[0]) <= count(page)
    points.get_by_role("slider").focus()
    page.keyboard.press("ArrowRight")
    assert page.locator(".mb-finder-point a").count() == 1
    page.keyboard.press("ArrowRight")
    assert page.locator(".mb-finder-ring").get_attribute("visibility") == "visible"


def test_the_csv_is_what_is_shown(opened: Open, site: Path) -> None:
    page = opened(site, "finder.html#fuel=methanol&sort=title")
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Export CSV").click()
    text = Path(waiting.value.path()).read_bytes().decode("utf-8-sig")
    lines = text.split("\r\n")
    assert lines[0].startswith("Build id,Build,")
    assert len(lines) - 2 == count(page)


def test_a_narrow_screen_holds_it(opened: Open, site: Path) -> None:
    page = opened(site, "finder.html#plan.displacement=355&pick=kelda-00000&u=inch", width=360)
    page.wait_for_selector(".mb-finder-expected[aria-busy=false]")
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    head = page.locator(".mb-finder-table tbody th").first
    left = head.bounding_box()
    page.locator(".mb-finder-scroll").evaluate("x => { x.scrollLeft = 400; }")
    assert head.bounding_box() == left  # the name stays while the numbers pass


def test_the_keyboard_goes_all_the_way(opened: Open, site: Path) -> None:
    page = opened(site)
    page.get_by_label("Search builds").focus()
    seen = set()
    for _ in range(200):
        page.keyboard.press("Tab")
        seen.add(page.evaluate("(document.activeElement.closest('[class]') || document.body).getAttribute('class')"))
    assert page.evaluate("document.activeElement !== document.body")
    assert {"mb-finder-button", "mb-finder-scroll", "mb-slider"} <= seen


def test_an_address_edited_by_hand_leaves_a_usable_page(opened: Open, site: Path) -> None:
    for address in (
        "#displacement=abc..1e999&fuel=<b>x</b>&sort=__proto__&x=constructor&pick=nobody,__proto__",
        "#%E0%A4%A&words=%&plan.fuel=<script>alert(1)</script>&plan.displacement=1e400",
        "?with=a,b&fuel=gasoline",
    ):
        page = opened(site, "finder.html" + address)
        page.get_by_label("Search builds").fill("")
        assert count(page) >= 0
    page.evaluate("location.hash = '#words=four'")
    expect(page.get_by_label("Search builds")).to_have_value("four")
    assert all("four" in t.lower() for t in titles(page))


def test_compare_page_without_enough_builds(opened: Open, site: Path) -> None:
    for address in ("", "?with=", "?with=nobody", "?with=kelda-00000", "#with=<b>,%%"):
        page = opened(site, "compare.html" + address)
        assert "two to four builds" in page.inner_text(".mb-finder")


def test_nothing_written_in_a_record_runs(opened: Open, tmp_path: Path) -> None:
    texts = (
        "title",
        "number",
        "date",
        "family",
        "purpose",
        "cycle",
        "induction",
        "fuel_system",
        "fuel",
        "ignition",
        "words",
    )
    base = samples.invented_archive(8, sparse=0.0)
    hostile = [
        replace(
            s, slug=f"h{i}", **dict.fromkeys(texts, HOSTILE), parts=(PartSummary(HOSTILE, HOSTILE, HOSTILE, HOSTILE),)
        )
        for i, s in enumerate(base)
    ]
    site = finder_site.write_site(tmp_path / "site", hostile)
    page = opened(
        site, "finder.html#pick=h0,h1&plan.displacement=300&plan.fuel=" + "%3Cimg%20src%3Dx%20onerror%3Dalert(9)%3E"
    )
    page.wait_for_selector(".mb-finder-expected[aria-busy=false]")
    assert titles(page)[0].startswith("<img src=x")
    assert page.locator("main img").count() == 0
    other = opened(site, "compare.html?with=h0,h1")
    assert other.locator("main img").count() == 0
    plain = opened(site, script=False)
    assert plain.locator("main img").count() == 0
    assert plain.locator("tbody tr").count() == 8


@pytest.mark.parametrize(
    "builds",
    [
        (),
        samples.invented_archive(1),
        (Summary("a", "A"), Summary("b", "B", curve=CoarseCurve(10.0, 5.0, (1.0, 2.0)))),
    ],
    ids=["empty", "one", "bare"],
)
def test_small_and_bare_archives(opened: Open, tmp_path: Path, builds: tuple[Summary, ...]) -> None:
    page = opened(finder_site.write_site(tmp_path / "site", builds))
    assert count(page) == len(builds)
    page.get_by_label("Search builds").fill("zzz")
    assert "No builds match" in page.inner_text(".mb-finder-none")
    page.get_by_label("Metric").check()
    with page.expect_download():
        page.get_by_role("button", name="Export CSV").click()


def test_without_script_the_page_says_so_and_shows_every_build(opened: Open, site: Path) -> None:
    page = opened(site, script=False)
    assert "JavaScript" in page.inner_text("noscript")
    assert page.locator("noscript a", has_text="list of all builds").get_attribute("href") == "builds.html"
    assert page.locator("noscript tbody tr").count() == 150
    other = opened(site, "compare.html", script=False)
    assert "JavaScript" in other.inner_text("noscript")


def test_axe_finds_nothing(opened: Open, site: Path) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    for width in (1440, 360):
        page = opened(
            site, "finder.html#plan.displacement=355&pick=kelda-00000,fellside-00001&u=inch", width=width, policy=False
        )
        page.wait_for_selector(".mb-finder-expected[aria-busy=false]")
        unfold(page, "e")
        result = axe.run(page, options={"preload": False, "runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]})
        assert result.violations_count == 0, result.generate_report()
        other = opened(site, "compare.html?with=kelda-00000,fellside-00001", width=width, policy=False)
        result = axe.run(other, options={"preload": False, "runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]})
        assert result.violations_count == 0, result.generate_report()
