"""The demo archive from end to end: published, every link followed, nothing asked of another host."""

from __future__ import annotations

import filecmp
import re
import shutil
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote, urlsplit

import pytest

from builder.publish.pipeline import publish
from builder.publish.report import PublishReport
from tests.support.demo_builds import copy_builds

pytestmark = pytest.mark.slow
TWICE = ("breakdown-truck-v8", "fire-pump-flat-four", "hydroplane-two-stroke", "workboat-diesel-four")
"""A complete and a sparse build, a two-stroke and a diesel."""


@pytest.fixture(scope="module")
def report(whole_demo: PublishReport) -> PublishReport:
    return whole_demo


class Page(HTMLParser):
    """Ids, links and loads of one page."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.ids: set[str] = set()
        self.links: list[str] = []
        self.loads: list[str] = []
        self.feed(path.read_text(encoding="utf-8"))

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if "id" in given:
            self.ids.add(given["id"])
        if tag == "a" and "href" in given:
            self.links.append(given["href"])
        for name in ("src", "data", "poster"):
            if name in given:
                self.loads.append(given[name])
        if tag == "link" and given.get("rel") not in ("canonical", "prev", "next", "alternate"):
            self.loads.append(given["href"])
        if "srcset" in given:
            self.loads += [part.split()[0] for part in given["srcset"].split(",")]


@pytest.fixture(scope="module")
def pages(report: PublishReport) -> dict[Path, Page]:
    return {path: Page(path) for path in sorted(report.out.rglob("*.html"))}


def test_every_finished_demo_build_is_published(report: PublishReport) -> None:
    assert report.ok, [str(problem) for problem in report.problems]
    assert len(report.published) >= 3
    assert not report.warnings
    assert dict(report.left_out).keys() == {"autocross-v8", "post-van-four"}
    for slug, why in report.left_out:
        assert ("planned" if slug == "autocross-v8" else "in progress") in why, (slug, why)


def test_every_link_and_image_leads_somewhere(report: PublishReport, pages: dict[Path, Page]) -> None:
    assert len(pages) > len(report.published)
    wrong = []
    for path, page in pages.items():
        if path.name == "404.html":
            continue  # its links start at the site's own address
        for link in {*page.links, *page.loads}:
            parts = urlsplit(link)
            if parts.scheme in ("mailto", "data"):
                continue
            if parts.scheme or parts.netloc:
                continue  # a link may lead out; what a page loads may not, see below
            target = (path.parent / unquote(parts.path)).resolve() if parts.path else path
            if not target.is_file():
                wrong.append((path, link, "is not there"))
            elif parts.fragment and target in pages and unquote(parts.fragment) not in pages[target].ids:
                wrong.append((path, link, "has no such place"))
    assert not wrong, wrong[:10]


def test_nothing_is_loaded_from_another_host(pages: dict[Path, Page], report: PublishReport) -> None:
    for path, page in pages.items():
        for load in page.loads:
            assert not urlsplit(load).netloc, (path, load)
    for sheet in report.out.rglob("*.css"):
        assert not re.search(r"url\(\s*['\"]?(https?:)?//", sheet.read_text(encoding="utf-8")), sheet


def test_build_page_shows_what_it_is_and_every_figure_links_to_its_method(
    report: PublishReport, pages: dict[Path, Page]
) -> None:
    methods = pages[report.out / "methods.html"].ids
    for slug in report.published:
        text = (report.out / "builds" / slug / "index.html").read_text(encoding="utf-8")
        linked = set(re.findall(r'href="\.\./\.\./methods\.html#([a-z_0-9]+)"', text))
        assert linked <= methods
        assert "<h1" in text


def test_build_pages_stay_out_of_the_navigation(report: PublishReport, pages: dict[Path, Page]) -> None:
    home = (report.out / "index.html").read_text(encoding="utf-8")
    nav = "".join(re.findall(r"<nav.*?</nav>", home, re.DOTALL))
    assert nav
    assert not any(f"builds/{slug}" in nav for slug in report.published)


def test_the_whole_archive_is_published_in_uk_english(report: PublishReport, tmp_path: Path) -> None:
    """From the archive as it is in US English, whose photos need not be scaled again."""
    archive = shutil.copytree(report.out.parent, tmp_path / "uk", symlinks=True)
    shop = archive / "builds" / "shop.yaml"
    shop.write_text(shop.read_text("utf-8").replace("english: us", "english: uk"), "utf-8")
    uk = publish(archive, archive / "site")
    assert uk.ok, [str(problem) for problem in uk.problems]
    assert (uk.published, uk.warnings, uk.changed) == (report.published, (), len(report.published))
    for site, fuel in ((report.out, "gasoline"), (uk.out, "petrol")):
        finder = (site / "assets" / "finder-data.js").read_text("utf-8").partition('"words"')[0]
        assert fuel in finder


def differences(one: filecmp.dircmp) -> list[str]:
    found = [*one.left_only, *one.right_only]
    _, different, odd = filecmp.cmpfiles(one.left, one.right, one.common_files, shallow=False)
    found += different + odd
    for inner in one.subdirs.values():
        found += differences(inner)
    return found


def test_same_input_same_bytes(tmp_path: Path) -> None:
    here, there = copy_builds(tmp_path / "here", *TWICE), copy_builds(tmp_path / "there", *TWICE)
    once, again = publish(here, here / "site"), publish(there, there / "site", full=True)
    assert once.published == again.published == TWICE
    assert differences(filecmp.dircmp(once.out, again.out)) == []


def test_one_broken_build_does_not_stop_the_others(report: PublishReport, tmp_path: Path) -> None:
    other = tmp_path / "broken"
    broken, *sound = report.published[:3]
    copy_builds(other, broken, *sound)
    (other / "builds" / broken / "bottom_end.yaml").write_text("block: {bores: [4.03]}\n")
    again = publish(other, other / "site")
    assert not again.ok
    assert broken in dict(again.left_out)
    assert set(again.published) == set(sound)
    assert any(problem.path.name == "bottom_end.yaml" and problem.line == 1 for problem in again.problems)


@pytest.mark.parametrize("builds", [0, 1])
def test_small_archives(builds: int, report: PublishReport, tmp_path: Path) -> None:
    (tmp_path / "builds").mkdir()
    if builds:
        copy_builds(tmp_path, *report.published[:builds])
    small = publish(tmp_path, tmp_path / "site")
    assert len(small.published) == builds
    assert (tmp_path / "site" / "index.html").is_file()
