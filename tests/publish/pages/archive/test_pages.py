"""The pages about the archive as a whole."""

from __future__ import annotations

from pathlib import Path

import pytest

from builder.archive.summary import Summary
from builder.draw.chart_cache import ChartCache
from builder.publish.pages.archive.overview import draw_overviews, overview_charts
from builder.publish.pages.archive.pages import archive_pages, display_units
from builder.publish.pages.templating import page_environment
from builder.record.load import read_shop
from builder.record.models.dyno import UnitChoice
from builder.record.models.shop import FirstUnits, Shop


def pages(count: int, archive: Path) -> dict[str, str]:
    (archive / "builds").mkdir(parents=True)
    builds = [Summary(f"build-{n}", f"Build {n}", date=f"20{n % 100:02}-01-01") for n in range(count)]
    shop, _ = read_shop(archive)
    files = archive_pages(builds, shop, page_environment(archive), lambda: [])
    return {name: content.decode() for name, content in files.items()}


@pytest.mark.parametrize(("count", "cards"), [(0, 0), (1, 1), (24, 24), (25, 24), (80, 24)])
def test_the_home_page_shows_the_newest_and_leads_to_the_rest(count: int, cards: int, tmp_path: Path) -> None:
    files = pages(count, tmp_path)
    home = files["index.md"]
    assert home.count('class="mb-card"') == cards
    assert f"<dt>Finished engines</dt><dd>{count}</dd>" in home
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
