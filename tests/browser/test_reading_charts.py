"""Values read off the charts of a build's page by mouse, touch and keys are those of its data files."""

from __future__ import annotations

import csv
import json
import math
from collections.abc import Iterator
from pathlib import Path
from statistics import fmean

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from builder.commands.preview_server import serving
from tests.support import demo_site as demo

pytestmark = pytest.mark.browser
CURVES = ".mb-curves"
N_M_PER_LBF_FT = 1.355818
"""NIST SP 811 (2008), B.8: pound-force foot."""
KW_PER_HP = 0.7456999
"""NIST SP 811 (2008), B.8: horsepower (550 ft lbf/s)."""
HALF_A_DIGIT = 0.05 + 1e-3  # the data files hold six figures


@pytest.fixture(scope="module")
def curves(published: Path) -> dict[str, dict[float, tuple[float, float]]]:
    """Torque and power by pull and speed, as the data files of the build have them."""
    folder = (published / demo.BUILD).parent / "data"
    pulls = json.loads((folder / "result.json").read_text("utf-8"))["pulls"]
    read = {}
    for pull in pulls:
        rows = list(csv.reader((folder / pull["curve"]).read_text("utf-8").splitlines()))
        assert rows[0][:3] == ["engine_speed_rpm", "torque_n_m", "power_kw"]
        read[pull["name"]] = {float(row[0]): (float(row[1]), float(row[2])) for row in rows[1:]}
    return read


@pytest.fixture
def page(chromium: Browser, published: Path) -> Iterator[Page]:
    """The build's page opened from its folder, under its own security policy; a message in the console fails."""
    context = chromium.new_context(viewport={"width": 1440, "height": 1000}, has_touch=True)
    tab = context.new_page()
    messages: list[str] = []
    tab.on("console", lambda message: messages.append(message.text))
    tab.on("pageerror", lambda error: messages.append(str(error)))
    tab.goto(f"{published.as_uri()}/{demo.BUILD}")
    tab.locator(CURVES).scroll_into_view_if_needed()
    tab.wait_for_selector(f"{CURVES}[data-ready]")
    yield tab
    context.close()
    assert messages == []


def speed_shown(figure: Locator) -> float:
    return float(figure.locator(".mb-read-speed").inner_text().replace(",", ""))


def numbers(text: str) -> list[float]:
    """Return the number in each unit of a cell such as `116.8` over `86.1 lbf ft`."""
    return [float(line.split()[0].replace("−", "-").replace(",", "")) for line in text.split("\n") if line.strip()]


def expected(curves: dict[str, dict[float, tuple[float, float]]], name: str, speed: float) -> tuple[float, float]:
    """Return torque and power of a row of the legend: of one pull, or the mean of those with nothing changed."""
    if ", mean of " not in name:
        return curves[name][speed]
    first = name.partition(", mean of ")[0]
    alike = [first, f"{first} again"]
    return fmean(curves[pull][speed][0] for pull in alike), fmean(curves[pull][speed][1] for pull in alike)


def check_rows(figure: Locator, curves: dict[str, dict[float, tuple[float, float]]]) -> int:
    """Compare every shown row with the data files; return how many there are."""
    speed, count = speed_shown(figure), 0
    for row in figure.locator("tbody tr:not(.mb-off)").all():
        name = row.locator("label span").first.evaluate(
            "span => (span.querySelector('strong') ?? span).firstChild.data"
        )
        torque, power = expected(curves, name.strip(), speed)
        cells = row.locator("td").all_inner_texts()
        for text, value, factor in zip(cells, (torque, power), (N_M_PER_LBF_FT, KW_PER_HP), strict=True):
            shown, other = numbers(text)
            assert abs(shown - value) <= HALF_A_DIGIT, (name, speed, text, value)
            assert abs(other - value / factor) <= HALF_A_DIGIT, (name, speed, text, value)
        count += 1
    return count


def test_the_mouse_reads_what_the_data_files_hold(
    page: Page, curves: dict[str, dict[float, tuple[float, float]]]
) -> None:
    figure = page.locator(CURVES)
    assert check_rows(figure, curves) == 2  # as delivered and the first; the best was no better than the scatter
    box = figure.locator(".mb-slider").bounding_box()
    assert box
    speeds = set()
    for share in (0.15, 0.3, 0.5, 0.62, 0.9):
        page.mouse.move(box["x"] + box["width"] * share, box["y"] + box["height"] * 0.4)
        assert check_rows(figure, curves) == 2
        speeds.add(speed_shown(figure))
    assert len(speeds) == 5
    # The numbers next to the line are those of the table, torque and power in the drawing's units.
    beside = figure.locator(".mb-cursor-value").all_text_contents()
    cells = figure.locator("tbody tr:not(.mb-off) td").all_inner_texts()
    assert sorted(beside) == sorted(cell.split("\n")[0] for cell in cells)


def test_touch_reads_the_same(page: Page, curves: dict[str, dict[float, tuple[float, float]]]) -> None:
    figure = page.locator(CURVES)
    box = figure.locator(".mb-slider").bounding_box()
    assert box
    before = speed_shown(figure)
    page.touchscreen.tap(box["x"] + box["width"] * 0.25, box["y"] + box["height"] * 0.5)
    assert speed_shown(figure) < before
    assert check_rows(figure, curves) == 2


def test_keys_move_the_line_and_a_screen_reader_hears_the_values(
    page: Page, curves: dict[str, dict[float, tuple[float, float]]]
) -> None:
    figure, slider = page.locator(CURVES), page.locator(CURVES).get_by_role("slider")
    slider.focus()
    first = int(slider.get_attribute("aria-valuenow") or "")
    page.keyboard.press("ArrowRight")
    assert int(slider.get_attribute("aria-valuenow") or "") == first + 1
    page.keyboard.press("PageDown")
    page.keyboard.press("ArrowLeft")
    assert int(slider.get_attribute("aria-valuenow") or "") == first - 10
    assert check_rows(figure, curves) == 2
    text = slider.get_attribute("aria-valuetext") or ""
    speed = speed_shown(figure)
    torque, _ = curves["as delivered"][speed]
    assert text.startswith(f"{speed:,.0f}\xa0rpm. ")
    assert f"as delivered: Torque {torque:.1f}\xa0N\xa0m ({torque / N_M_PER_LBF_FT:.1f}\xa0lbf\xa0ft), Power " in text
    page.keyboard.press("Home")
    assert slider.get_attribute("aria-valuenow") == "0"
    page.keyboard.press("End")
    assert slider.get_attribute("aria-valuenow") == slider.get_attribute("aria-valuemax")


def test_pulls_are_switched_on_and_off_in_the_legend(page: Page) -> None:
    figure = page.locator(CURVES)
    row = figure.locator("tbody tr.mb-off").first
    box = row.get_by_role("checkbox")
    series = row.get_attribute("data-series")
    parts = figure.locator(f".mb-plot > svg:first-child [data-series='{series}']")
    assert parts.count() > 0
    assert all(parts.evaluate_all("all => all.map(one => one.classList.contains('mb-off'))"))
    expect(row.locator("td span").first).to_be_hidden()
    name = row.locator("label span").first.inner_text()
    same = figure.locator(f"tr[data-series='{series}']")
    box.check()
    expect(same.locator("td span").first).to_be_visible()
    assert not any(parts.evaluate_all("all => all.map(one => one.classList.contains('mb-off'))"))
    assert name in (figure.get_by_role("slider").get_attribute("aria-valuetext") or "")
    same.get_by_role("checkbox").uncheck()
    assert name not in (figure.get_by_role("slider").get_attribute("aria-valuetext") or "")


def test_a_gain_reads_off_with_its_band(page: Page, published: Path) -> None:
    result = json.loads(((published / demo.BUILD).parent / "data" / "result.json").read_text("utf-8"))
    index, change = next((i, c) for i, c in enumerate(result["changes"], 1) if c.get("difference"))
    page.evaluate("document.querySelectorAll('article .mb-fold').forEach(fold => fold.open = true)")
    figure = page.locator(".mb-drawing", has=page.locator(f"img[src='gain_{index}.svg']"))
    figure.scroll_into_view_if_needed()
    page.wait_for_selector(f".mb-drawing[data-ready] img[src='gain_{index}.svg']")
    figure.get_by_role("slider").focus()
    page.keyboard.press("PageUp")
    words = figure.locator(".mb-read-line").inner_text().replace("\xa0", " ").replace("−", "-")
    speed = float(words.split()[1].replace(",", ""))
    at = min(range(len(change["engine_speed"])), key=lambda i: abs(60 * change["engine_speed"][i] - speed))
    difference, band = change["difference"][at], change["band"][at]
    shown, _, half = words.split(": ")[1].partition(" N m")[0].partition(" ± ")
    assert math.isclose(float(shown), difference, abs_tol=HALF_A_DIGIT)
    assert math.isclose(float(half), band, abs_tol=HALF_A_DIGIT)


def test_the_units_chosen_in_the_finder_come_first(chromium: Browser, published: Path) -> None:
    context = chromium.new_context(viewport={"width": 1440, "height": 1000})
    tab = context.new_page()
    with serving(published) as address:
        tab.goto(f"{address}finder.html")
        tab.wait_for_selector("[data-ready]")
        tab.get_by_role("radio", name="Metric").check()
        tab.get_by_role("radio", name="US/imperial").check()
        tab.goto(f"{address}{demo.BUILD}")
        tab.locator(CURVES).scroll_into_view_if_needed()
        tab.wait_for_selector(f"{CURVES}[data-ready]")
        assert tab.locator(f"{CURVES} thead small").all_inner_texts() == ["lbf ft", "hp"]
        assert "N m" in tab.locator(f"{CURVES} tbody tr:not(.mb-off) td").first.inner_text().replace("\xa0", " ")
        tab.goto(f"{address}compare.html?with=pilot-launch-four,breakdown-truck-v8")
        tab.wait_for_selector("[data-ready]")
        expect(tab.locator(".mb-finder-pair figcaption").first).to_contain_text("lbf ft")
    context.close()


def test_without_script_the_chart_stands_with_every_pull_in_its_table(chromium: Browser, published: Path) -> None:
    context = chromium.new_context(java_script_enabled=False, viewport={"width": 1440, "height": 1000})
    tab = context.new_page()
    tab.goto(f"{published.as_uri()}/{demo.BUILD}")
    figure = tab.locator(CURVES)
    expect(figure.locator(".mb-plot > svg").first).to_be_visible()
    rows = figure.locator("tbody tr")
    assert rows.count() > 5
    for row in rows.all():
        expect(row.locator("td span").first).to_be_visible()
        expect(row.locator("input")).to_be_hidden()
    assert figure.get_by_role("slider").count() == 0
    context.close()
