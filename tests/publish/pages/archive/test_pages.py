"""The pages about the archive as a whole."""

from __future__ import annotations

from html import unescape
from pathlib import Path

import pytest

from builder.archive.summary import PartSummary, Summary
from builder.draw.chart_cache import ChartCache
from builder.publish.pages.archive.overview import draw_overviews, overview_charts
from builder.publish.pages.archive.pages import archive_pages, display_units
from builder.publish.pages.templating import page_environment
from builder.publish.photos import PhotoSize
from builder.record.load import read_shop
from builder.record.models.dyno import UnitChoice
from builder.record.models.shop import FirstUnits, Shop


def pages(count: int, archive: Path) -> dict[str, str]:
    (archive / "builds").mkdir(parents=True)
    builds = [Summary(f"build-{n}", f"Build {n}", date=f"20{n % 100:02}-01-01") for n in range(count)]
    shop, _ = read_shop(archive)
    files = archive_pages(builds, shop, page_environment(archive), lambda: [])
    return {name: content.decode() for name, content in files.items()}


@pytest.mark.parametrize(("count", "cards"), [(0, 0), (1, 1), (9, 9), (10, 9), (80, 9)])
def test_the_home_page_shows_the_newest_and_leads_to_the_rest(count: int, cards: int, tmp_path: Path) -> None:
    files = pages(count, tmp_path)
    home = files["index.md"]
    assert home.count('class="mb-card"') == cards
    assert f"<dt>Finished builds</dt><dd>{count}</dd>" in home
    assert (f"All {count} builds" in home) == (count > cards)
    assert files["builds.md"].count('<th scope="row">') == count
    if count > cards:
        assert f"Build {count - 1}<" in home
        assert ">Build 0<" not in home


def test_overviews_come_from_the_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    builds = [
        Summary(f"build-{n}", f"Build {n}", year=1990 + n, compression_ratio=9 + n / 50, bmep=1e6 + 3e3 * n)
        for n in range(50)
    ]
    drawn = draw_overviews(overview_charts(builds, "metric"), ChartCache(tmp_path))
    assert [str(svg).count("<svg ") for _, svg in drawn] == [1]
    monkeypatch.setattr("builder.draw.canvas.Canvas.to_drawing", lambda *_: pytest.fail("it was drawn again"))
    assert draw_overviews(overview_charts(builds, "metric"), ChartCache(tmp_path)) == drawn


@pytest.mark.parametrize(
    ("units", "first", "shown"),
    [("both", "metric", "metric"), ("both", "inch", "inch"), ("inch", "metric", "inch"), ("metric", "inch", "metric")],
)
def test_lists_lead_with_the_shops_first_choice(units: UnitChoice, first: FirstUnits, shown: str) -> None:
    assert display_units(Shop(units=units, first_units=first)) == shown


def test_a_card_has_its_photo_and_the_units_of_its_build(tmp_path: Path) -> None:
    (tmp_path / "builds").mkdir()
    shop, _ = read_shop(tmp_path)
    builds = [
        Summary("inch", "Inch", date="2024-01-01", displacement=0.0057, system="inch"),
        Summary("metric", "Metric", date="2023-01-01", displacement=0.0016, system="metric"),
    ]
    photos = {"inch": PhotoSize("cover.jpg", 640, 480)}
    home = archive_pages(builds, shop, page_environment(tmp_path), lambda: [], photos=photos)["index.md"].decode()
    first, second = home.split('class="mb-card"')[1:]
    assert 'src="builds/inch/photos/cover.jpg"' in first
    assert "347.8\N{NO-BREAK SPACE}cu\N{NO-BREAK SPACE}in" in unescape(
        first
    )  # 5.7 L over 16.387 064 cc to the cubic inch
    assert "<img" not in second
    assert "1600\N{NO-BREAK SPACE}cc" in unescape(second)


def home_of(builds: list[Summary], archive: Path, photos: dict[str, PhotoSize] | None = None) -> str:
    (archive / "builds").mkdir(parents=True)
    files = archive_pages(builds, read_shop(archive)[0], page_environment(archive), lambda: [], photos=photos or {})
    return unescape(files["index.md"].decode())


def test_the_home_page_asks_for_a_plan_with_what_the_archive_has(tmp_path: Path) -> None:
    builds = [
        Summary("a", "A", cylinders=8, displacement=0.0057, induction="naturally aspirated", fuel="E85"),
        Summary("b", "B", cylinders=12, displacement=0.002, induction="turbocharged"),
    ]
    form = home_of(builds, tmp_path).split("<form")[1].split("</form>")[0]
    assert 'action="finder.html"' in form
    assert '<select name="plan.cylinders"><option value="">any</option><option>8</option><option>12</option>' in form
    assert "<option>turbocharged</option><option>naturally aspirated</option>" in form
    assert '<input type="text" name="plan.displacement"' in form
    assert 'name="u" value="metric"' in form
    assert "Displacement, cc" in form


def test_the_home_page_asks_for_nothing_that_no_build_has(tmp_path: Path) -> None:
    assert "<form" not in home_of([Summary("a", "A")], tmp_path)


def test_the_home_page_shows_the_largest_family(tmp_path: Path) -> None:
    v8s = [Summary(f"v8-{n}", f"V8 {n}", family="Petrel & Co V8", date=f"{2010 + n}-05-01") for n in range(7)]
    fours = [Summary(f"four-{n}", f"Four {n}", family="Kestrel", date="2024-01-01") for n in range(3)]
    home = home_of([*v8s, *fours], tmp_path)
    family = home.split("## Petrel & Co V8")[1]
    assert "7 builds, 2010 to 2016" in family
    assert 'href="finder.html?family=Petrel%20%26%20Co%20V8"' in family
    assert family.count('class="mb-card"') == 6
    assert ">V8 0<" not in family


def test_two_builds_are_no_family(tmp_path: Path) -> None:
    home = home_of([Summary(f"v8-{n}", f"V8 {n}", family="Petrel V8") for n in range(2)], tmp_path)
    assert "## Petrel V8" not in home


def test_the_home_page_opens_with_pictures_of_the_newest(tmp_path: Path) -> None:
    builds = [Summary(f"b-{n}", f"B {n}", date=f"20{10 + n}-01-01") for n in range(8)]
    photos = {f"b-{n}": PhotoSize("cover.jpg", 640, 480) for n in range(7)}
    pictures = home_of(builds, tmp_path, photos).split('class="mb-pictures"')[1].split("</ul>")[0]
    assert [f"builds/b-{n}/photos/cover.jpg" in pictures for n in range(8)] == [False] * 3 + [True] * 4 + [False]


def test_all_parts_are_in_one_table_with_the_results_of_each_manufacturer(tmp_path: Path) -> None:
    (tmp_path / "builds").mkdir()
    shop, _ = read_shop(tmp_path)
    parts = (PartSummary("Orrin", "P-1", "pistons", "fits"), PartSummary("Vale", "R-2", "rods", "reworked"))
    files = archive_pages([Summary("a", "A", parts=parts)], shop, page_environment(tmp_path), lambda: [])
    page = files["parts.md"].decode()
    assert page.count("<table") == 2
    assert page.count('data-label="Number"') == 2
    assert '<td data-label="Results">1 reworked</td>' in page
