"""The index of the text search, as MkDocs writes it: split by pages, and merged again."""

from __future__ import annotations

import html
import json
from collections.abc import Collection, Sequence
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

Index = dict[str, Any]
INDEX, SCRIPT = "search/search_index.json", "search/search_index.js"


def without_pages(site: Path, pages: Collection[str]) -> Index | None:
    """Return the search index of a site without some of its pages; None where it has none."""
    index = index_of(site)
    return index and {**index, "docs": [entry for entry in index["docs"] if _page_of(entry) not in pages]}


def index_of(site: Path) -> Index | None:
    """Return the search index of a site; None where it has none."""
    path = site / INDEX
    return json.loads(path.read_bytes()) if path.is_file() else None


def _page_of(entry: dict[str, Any]) -> str:
    location = str(entry["location"]).partition("#")[0]
    return location or "index.html"


_GLOSSARY = "glossary.html"
_BUILDS_FIRST = 10_000
"""Weight of a build over other pages: more than that of a title over a text, which the theme sets to 1000."""


class _Terms(HTMLParser):
    """Collects the terms of a definition list, each with the id of the element around it and its definition."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, str, str]] = []
        self._anchor = ""
        self._texts: dict[str, list[str]] = {}
        self._open = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "div":
            self._anchor = dict(attrs).get("id") or ""
        elif tag in ("dt", "dd"):
            self._open = tag
            self._texts[tag] = []
        elif tag == "a":
            self._open = ""  # a link to another page is not part of the definition

    def handle_data(self, data: str) -> None:
        if self._open:
            self._texts[self._open].append(data)

    def handle_endtag(self, tag: str) -> None:
        if tag in ("dt", "dd"):
            self._open = ""
        if tag == "dd" and self._anchor and "dt" in self._texts:
            term, definition = (" ".join("".join(self._texts[part]).split()) for part in ("dt", "dd"))
            self.found.append((self._anchor, term, definition))


def _by_term(entry: dict[str, Any], site: Path) -> list[dict[str, Any]]:
    """Return the entry of the glossary as one for each of its terms; any other entry as it is."""
    if entry["location"] != _GLOSSARY or not entry["text"]:
        return [entry]
    terms = _Terms()
    terms.feed((site / _GLOSSARY).read_text(encoding="utf-8"))
    if not terms.found:
        return [entry]
    entries = [
        {
            "location": f"{_GLOSSARY}#{anchor}",
            "title": html.escape(term, quote=False),
            "text": f"<p>{html.escape(definition, quote=False)}</p>",
        }
        for anchor, term, definition in terms.found
    ]
    return [{**entry, "text": ""}, *entries]


def merge_and_write(site: Path, parts: Sequence[Index]) -> None:
    """Merge the parts of the search index and write it, in one order whatever part a page is in.

    A heading without text below it is left out; each term of the glossary is an entry; builds come first. The index is
    written as a script too: a page opened as a file may not read a JSON file.
    """
    if not parts:
        return
    entries = [
        {**entry, "boost": _BUILDS_FIRST} if _page_of(entry).startswith("builds/") else entry
        for part in parts
        for found in part["docs"]
        for entry in _by_term(found, site)
        if entry["text"] or "#" not in entry["location"]
    ]
    # In a page, the order stays that of the page.
    index = {**parts[-1], "docs": sorted(entries, key=_page_of)}
    text = json.dumps(index, sort_keys=True, separators=(",", ":")).encode()
    for name, content in ((INDEX, text), (SCRIPT, b"var __index = " + text)):
        (site / name).parent.mkdir(exist_ok=True)
        (site / name).unlink(missing_ok=True)  # the published site may share it
        (site / name).write_bytes(content)
