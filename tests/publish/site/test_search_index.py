"""The text search: builds first, one entry for each term of the glossary, a sentence for each result."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from builder.publish.site.search_index import INDEX, SCRIPT, merge_and_write

GLOSSARY = """<h1>Glossary</h1><dl class="mb-glossary">
<div id="bore"><dt>Bore</dt><dd>The diameter of a cylinder &amp; the cylinder itself.
 <a href="methods.html#bore">How we calculate this</a></dd></div>
<div id="end-play"><dt>End play</dt><dd>How far a shaft moves  lengthwise, &lt; 1 mm.</dd></div></dl>"""


def _entries(site: Path, *docs: dict[str, Any]) -> list[dict[str, Any]]:
    merge_and_write(site, [{"config": {}, "docs": list(docs)}])
    text = (site / INDEX).read_text(encoding="utf-8")
    assert (site / SCRIPT).read_text(encoding="utf-8") == f"var __index = {text}"
    found: list[dict[str, Any]] = json.loads(text)["docs"]
    return found


def _entry(location: str, text: str = "<p>words</p>") -> dict[str, Any]:
    return {"location": location, "title": location, "text": text}


def test_each_term_of_the_glossary_is_an_entry_with_its_sentence(tmp_path: Path) -> None:
    (tmp_path / "glossary.html").write_text(GLOSSARY, encoding="utf-8")
    page, *terms = _entries(tmp_path, _entry("glossary.html", "BoreThe diameter ..."))
    assert (page["location"], page["text"]) == ("glossary.html", "")
    assert [(term["location"], term["title"], term["text"]) for term in terms] == [
        ("glossary.html#bore", "Bore", "<p>The diameter of a cylinder &amp; the cylinder itself.</p>"),
        ("glossary.html#end-play", "End play", "<p>How far a shaft moves lengthwise, &lt; 1 mm.</p>"),
    ]
    again = _entries(tmp_path, page, *terms)
    assert again == [page, *terms]


def test_a_glossary_of_another_form_stays_one_entry(tmp_path: Path) -> None:
    (tmp_path / "glossary.html").write_text("<h1>Glossary</h1><p>Ours.</p>", encoding="utf-8")
    (page,) = _entries(tmp_path, _entry("glossary.html", "<p>Ours.</p>"))
    assert page["text"] == "<p>Ours.</p>"


def test_builds_weigh_more_than_the_titles_of_other_pages(tmp_path: Path) -> None:
    entries = _entries(tmp_path, _entry("methods.html#bore"), _entry("builds/a/index.html"), _entry("builds.html"))
    weights = {entry["location"]: entry.get("boost", 1) for entry in entries}
    assert weights["builds/a/index.html"] > 1000  # what the theme gives a title over a text
    assert weights["methods.html#bore"] == weights["builds.html"] == 1
