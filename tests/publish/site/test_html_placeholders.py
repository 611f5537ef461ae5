"""Parts that MkDocs does not read come back as they were, and the page is the one that MkDocs would write of all."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from builder.publish.pipeline import publish
from builder.publish.site import mkdocs_plugin
from builder.publish.site.html_placeholders import extract_raw_html, restore_raw_html
from tests.support import tiny_archive as tiny

TABLE = '<table class="a" data-search-exclude><tr><td>1</td></tr></table>'


def test_a_marked_part_is_extracted_and_restored() -> None:
    page = f"# Title\n\n<div>{TABLE}</div>\n\nwords\n"
    without, parts = extract_raw_html(page)
    assert parts == [TABLE]
    assert "<td>" not in without
    assert restore_raw_html(without, parts) == page


@pytest.mark.parametrize(
    "page",
    [
        "<table><tr><td>1</td></tr></table>",
        '<table class="data-search-exclude"></table>',
        "<p data-search-exclude>words</p>",
        "<table data-search-exclude><tr>",
    ],
)
def test_what_is_not_marked_or_not_closed_stays(page: str) -> None:
    assert extract_raw_html(page) == (page, [])


def test_an_element_of_its_own_kind_inside_belongs_to_it() -> None:
    page = f"<ul data-search-exclude><li><ul><li>a</li></ul></li></ul>{TABLE}"
    without, parts = extract_raw_html(page)
    assert len(parts) == 2
    assert parts[0].endswith("</ul></li></ul>")
    assert restore_raw_html(without, parts) == page


PIECES = [
    "<ul data-search-exclude>",
    "<ul>",
    "</ul>",
    TABLE,
    "<table>",
    "</table>",
    "<dl data-search-exclude>",
    "</dl>",
    "a",
    "\n\n",
]


@given(st.lists(st.sampled_from(PIECES)).map("".join))
def test_any_page_is_restored(page: str) -> None:
    without, parts = extract_raw_html(page)
    assert restore_raw_html(without, parts) == page


def test_the_site_is_the_same_without_placeholders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    sites = []
    for placeholders in (True, False):
        archive = tmp_path / f"{placeholders}"
        for number in range(2):
            tiny.write_build(archive, f"engine-{number}", number=number, torque=100.0 + number)
        with monkeypatch.context() as patch:
            if not placeholders:
                patch.setattr(mkdocs_plugin, "extract_raw_html", lambda page: (page, []))
            publish(archive, archive / "site")
        sites.append(archive / "site")
    assert tiny.differing_files(*sites) == []
