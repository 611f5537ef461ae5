"""Parts held out while MkDocs works: they come back as they were, and the page is what it is without the trick."""

from __future__ import annotations

from pathlib import Path

import pytest
import tiny_archive as tiny
from hypothesis import given
from hypothesis import strategies as st

from builder.publish import hands, site
from builder.publish.lifted import lifted, put_back
from builder.publish.publish import publish

TABLE = '<table class="a" data-search-exclude><tr><td>1</td></tr></table>'


def test_a_marked_part_is_lifted_and_comes_back() -> None:
    page = f"# Title\n\n<div>{TABLE}</div>\n\nwords\n"
    without, parts = lifted(page)
    assert parts == [TABLE]
    assert "<td>" not in without
    assert put_back(without, parts) == page


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
    assert lifted(page) == (page, [])


def test_one_of_its_own_kind_inside_goes_with_it() -> None:
    page = f"<ul data-search-exclude><li><ul><li>a</li></ul></li></ul>{TABLE}"
    without, parts = lifted(page)
    assert len(parts) == 2
    assert parts[0].endswith("</ul></li></ul>")
    assert put_back(without, parts) == page


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
def test_whatever_the_page_it_comes_back_whole(page: str) -> None:
    without, parts = lifted(page)
    assert put_back(without, parts) == page


def test_the_site_is_the_same_without_lifting(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(hands, "_cores", lambda: 1)
    sites = []
    for trick in (True, False):
        archive = tmp_path / f"{trick}"
        for number in range(2):
            tiny.write_build(archive, f"engine-{number}", number=number, torque=100.0 + number)
        with monkeypatch.context() as patch:
            if not trick:
                patch.setattr(site, "lifted", lambda page: (page, []))
            publish(archive, archive / "site")
        sites.append(archive / "site")
    assert tiny.unlike(*sites) == []
