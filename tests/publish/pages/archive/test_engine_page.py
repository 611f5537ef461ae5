"""The page of an engine: builds, wear, curves and services, links both ways, and nothing of a former owner."""

from __future__ import annotations

import html
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
import yaml

from builder.publish.edition import Edition
from builder.publish.pipeline import publish
from tests.support.handover_samples import read_files, write_yaml
from tests.support.returning_engine import CANARY, KEY, NUMBER, SLUGS, returning_engine


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return an archive of one engine with three builds, published."""
    folder = returning_engine(tmp_path_factory.mktemp("engine"))
    publish(folder, folder / "site")
    return folder


@pytest.fixture(scope="module")
def page(archive: Path) -> str:
    """Return the page of the engine."""
    return html.unescape((archive / "site" / "engines" / KEY / "index.html").read_text(encoding="utf-8"))


@pytest.fixture
def copy(archive: Path, tmp_path: Path) -> Path:
    """Return a copy of the archive with its site and its working folder."""
    shutil.copytree(archive, tmp_path / "archive")
    return tmp_path / "archive"


def test_builds_services_and_events_are_in_order(page: str) -> None:
    days = re.findall(r'<li data-kind="(\w+)"><span class="mb-close">([\d-]+)', page)
    assert [day for _, day in days] == sorted(day for _, day in days)
    kinds = [kind for kind, _ in days]
    assert kinds == (["build", "service", "service", "event", "service", "returned"] * 3)[:-1]
    assert "Came back for wear" in page
    assert "after 510 h" in page


def test_links_lead_both_ways(archive: Path, page: str) -> None:
    for index, slug in enumerate(SLUGS):
        assert f'href="../../builds/{slug}/index.html"' in page
        build = (archive / "site" / "builds" / slug / "index.html").read_text(encoding="utf-8")
        assert f"Build {index + 1} of 3 of" in build
        assert f'href="../../engines/{KEY}/index.html"' in build
        assert (f'href="../{SLUGS[index - 1]}/index.html"' in build) or index == 0
    lists = (archive / "site" / "lists.html").read_text(encoding="utf-8")
    assert f'href="engines/{KEY}/index.html">{NUMBER}</a>' in lists


def test_wear_is_drawn_and_listed_by_position(page: str) -> None:
    assert 'src="wear_bottom_end_block_bores.svg"' in page
    bores = page[page.index("Bores") :]
    assert "0.021" in bores  # cylinder 4: 81.526 returned, 81.505 built
    assert "to the limit" in page
    assert "no measurable wear" in page


def test_services_are_drawn_with_the_limits_of_the_shop(archive: Path, page: str) -> None:
    for name in ("leak_down", "oil_iron", "oil_lead"):
        assert f'src="{name}.svg"' in page
    iron = (archive / "site" / "engines" / KEY / "oil_iron.svg").read_text(encoding="utf-8")
    assert "max. 40 ppm" in iron


def test_every_session_is_compared(page: str) -> None:
    assert page.count("as returned</th>") >= 2
    assert re.search(r"W-0241, as delivered</th>.*?W-0281, as delivered", page, re.DOTALL)


def test_nothing_of_a_former_owner_is_in_the_site(archive: Path) -> None:
    for name, content in read_files(archive / "site").items():
        assert CANARY.encode() not in content, name
        assert b"owed by" not in content, name


def edits(archive: Path) -> Iterator[None]:
    """Edit the archive, a step at a time."""
    builds = archive / "builds"
    service = builds / SLUGS[0] / "service.yaml"
    record = yaml.safe_load(service.read_text(encoding="utf-8"))
    record["entries"][0]["what"] = "plugs changed"
    write_yaml(service, record)
    yield
    shutil.rmtree(builds / SLUGS[1])
    yield
    for slug in (SLUGS[0], SLUGS[2]):
        sheet = builds / slug / "build.yaml"
        text = sheet.read_text(encoding="utf-8")
        sheet.write_text(text.replace(f"engine_number: {NUMBER}", f"engine_number: E-{slug[-2:]}"), encoding="utf-8")
    yield
    (builds / SLUGS[0] / "service.yaml").unlink()
    yield


def test_incremental_publishes_give_the_bytes_of_a_full_one(copy: Path) -> None:
    for number, _ in enumerate(edits(copy)):
        publish(copy, copy / "site", allow_removals=True)
        one = read_files(copy / "site")
        publish(copy, copy / "site", full=True)
        two = read_files(copy / "site")
        assert [name for name in sorted(one.keys() | two.keys()) if one.get(name) != two.get(name)] == [], number
    assert not (copy / "site" / "engines" / KEY).exists()
    assert (copy / "site" / "engines" / "e-26" / "index.html").is_file()  # it has a service log
    assert not (copy / "site" / "engines" / "e-24").exists()  # one build, no log: no page


def test_the_shop_edition_has_the_page_too(copy: Path) -> None:
    publish(copy, copy / "shop-site", edition=Edition.SHOP)
    assert (copy / "shop-site" / "engines" / KEY / "index.html").is_file()


def test_hostile_text_is_text_on_the_page(copy: Path) -> None:
    hostile = "<script>alert(1)</script>{{ 7*7 }} *a* [x](javascript:alert(1)) </ol>"
    for slug in SLUGS:
        sheet = yaml.safe_load((copy / "builds" / slug / "build.yaml").read_text(encoding="utf-8"))
        write_yaml(copy / "builds" / slug / "build.yaml", sheet | {"engine_number": f"{hostile} {'9' * 300}"})
    path = copy / "builds" / SLUGS[0] / "service.yaml"
    service = yaml.safe_load(path.read_text(encoding="utf-8"))
    service["entries"][0] |= {"what": hostile, "note": hostile}
    service["events"][0]["what"] = hostile
    write_yaml(path, service)
    report = publish(copy, copy / "site", allow_removals=True)
    assert len(report.published) == 3
    (page,) = (copy / "site" / "engines").glob("*/index.html")
    text = page.read_text(encoding="utf-8")
    assert "<script>alert(1)" not in text
    assert not re.search(r"(?:href|src)=[\"']?javascript", text)
    assert "{{ 7*7 }}" in html.unescape(text)
    assert text.count("</ol>") == text.count("<ol")
