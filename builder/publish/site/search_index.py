"""The index of the text search, as MkDocs writes it: split by pages, and merged again."""

from __future__ import annotations

import json
from collections.abc import Collection, Sequence
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


def merge_and_write(site: Path, parts: Sequence[Index]) -> None:
    """Merge the parts of the search index and write it, in one order whatever part a page is in.

    A heading without text below it is left out. The index is written as a script too: a page opened as a file may not
    read a JSON file.
    """
    if not parts:
        return
    entries = [entry for part in parts for entry in part["docs"] if entry["text"] or "#" not in entry["location"]]
    # In a page, the order stays that of the page.
    index = {**parts[-1], "docs": sorted(entries, key=_page_of)}
    text = json.dumps(index, sort_keys=True, separators=(",", ":")).encode()
    for name, content in ((INDEX, text), (SCRIPT, b"var __index = " + text)):
        (site / name).parent.mkdir(exist_ok=True)
        (site / name).unlink(missing_ok=True)  # the published site may share it
        (site / name).write_bytes(content)
