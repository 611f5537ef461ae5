"""The charts page: axes, color, filter, pointing and keys, the way to the finder, and the page without script."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from builder.archive.groupings import overview_points
from tests.support import archive_samples as samples
from tests.support import finder_site

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return finder_site.write_site(tmp_path_factory.mktemp("charts"), samples.invented_archive(150, sparse=0.1))


@pytest.fixture
def page(chromium: Browser, site: Path) -> Iterator[Page]:
    context = chromium.new_context(viewport={"width": 1280, "height": 1000})
    tab = context.new_page()
    messages: list[str] = []
    tab.on("console", lambda message: messages.append(message.text))
    tab.on("pageerror", lambda error: messages.append(str(error)))
    tab.goto(f"{site.as_uri()}/overview.html")
    tab.wait_for_selector("[data-ready]")
    yield tab
    context.close()
    assert messages == []


def count(page: Page) -> int:
    """Return how many builds the chart shows."""
    return int(page.get_by_role("status").inner_text().split()[0])


def marks(page: Page) -> int:
    """Return how many marks are drawn for the builds that match."""
    paths = page.locator(".mb-finder-scatter :is(.mb-group, .mb-finder-dots)")
    return sum((text or "").count("M") for text in paths.evaluate_all("all => all.map(one => one.getAttribute('d'))"))


def test_axes_and_units_are_chosen_and_stay_in_the_address(page: Page, site: Path) -> None:
    page.get_by_label("Y axis").select_option("peak_torque")
    page.get_by_label("X axis").select_option("displacement")
    page.get_by_label("Units").select_option("metric")
    label = page.locator(".mb-finder-scatter").get_attribute("aria-label") or ""
    assert label.startswith("Peak torque, N m against Displacement, cc: ")
    address = page.url
    page.goto("about:blank")
    page.goto(address)
    page.wait_for_selector("[data-ready]")
    assert page.get_by_label("Y axis").input_value() == "peak_torque"
    assert page.locator(".mb-finder-scatter").get_attribute("aria-label") == label


def test_a_pair_of_axes_is_one_click_away(page: Page) -> None:
    button = page.get_by_role("button", name="Specific power vs. year")
    expect(button).to_have_attribute("aria-pressed", "false")
    button.click()
    expect(button).to_have_attribute("aria-pressed", "true")
    assert (page.get_by_label("Y axis").input_value(), page.get_by_label("X axis").input_value()) == (
        "specific_power",
        "year",
    )


def test_colors_have_a_legend_and_shapes_and_cover_every_build(page: Page) -> None:
    before = marks(page)
    page.get_by_label("Color by").select_option("fuel")
    legend = page.locator(".mb-chart-legend li")
    assert legend.count() > 1
    shapes = legend.locator("path").evaluate_all(
        "all => all.map(one => one.getAttribute('d') + one.getAttribute('class'))"
    )
    assert len(set(shapes)) == len(shapes)  # told apart without their colors
    # Marks of one group that cover each other are drawn once, those of two groups twice.
    assert marks(page) >= before > 0


def test_the_filter_narrows_chart_and_table_and_opens_the_same_in_the_finder(page: Page) -> None:
    every = count(page)
    fuel = page.get_by_role("group", name="Filters").get_by_label("Fuel")
    fuel.select_option(index=1)
    some = count(page)
    assert 0 < some < every
    page.locator("summary", has_text="Table").click()
    expect(page.locator(".mb-finder-compared tbody tr")).to_have_count(some)
    link = page.get_by_role("link", name=re.compile("in the finder"))
    listed = int(re.findall(r"\d+", link.inner_text())[0])
    link.click()
    page.wait_for_selector("[data-mb-finder][data-ready]")
    assert page.inner_text(".mb-finder-count strong") == str(listed)


def test_a_filter_of_the_finder_is_named_and_reset(page: Page, site: Path) -> None:
    page.goto("about:blank")
    page.goto(f"{site.as_uri()}/overview.html#displacement=300..400&words=four&u=inch")
    page.wait_for_selector("[data-ready]")
    text = page.get_by_role("status").inner_text()
    assert "Displacement 300 to 400 cu in" in text
    assert "four" in text
    some = count(page)
    page.get_by_role("button", name="Reset").click()
    assert count(page) > some


def test_pointing_and_keys_name_a_build_and_enter_opens_it(page: Page) -> None:
    slider = page.get_by_role("slider")
    box = slider.bounding_box()
    assert box
    path = page.locator(".mb-finder-dots").get_attribute("d") or ""
    x, y = (float(number) for number in re.findall(r"M(\S+) (\S+?)h0", path)[0])
    page.mouse.move(box["x"] + x + 1, box["y"] + y + 1)
    named = page.locator(".mb-finder-point a")
    expect(named).to_have_count(1)
    slider.focus()
    page.keyboard.press("Home")
    page.keyboard.press("ArrowRight")
    title = named.inner_text()
    assert (slider.get_attribute("aria-valuetext") or "").startswith(f"{title}. ")
    href = named.get_attribute("href") or ""
    with page.expect_request(lambda request: request.url.endswith(href)):
        page.keyboard.press("Enter")


@pytest.mark.parametrize("width", [1280, 360])
def test_without_script_charts_and_table_remain(chromium: Browser, site: Path, width: int) -> None:
    context = chromium.new_context(java_script_enabled=False, viewport={"width": width, "height": 1000})
    tab = context.new_page()
    tab.goto(f"{site.as_uri()}/overview.html")
    assert tab.locator("noscript svg a").count() > 0
    rows = tab.locator("noscript tbody tr")
    points = overview_points(samples.invented_archive(150, sparse=0.1))
    assert rows.count() == len({point.summary.slug for chart in points for point in chart.points}) > 100
    assert tab.locator("noscript tbody tr a").first.get_attribute("href")
    context.close()
