"""Parts of a page that are plain HTML and not for the text search, held out while the page is made.

A build's page is a few paragraphs and very many numbers. MkDocs reads every tag of it three times over
(Markdown, anchors, search index), which would take nearly all of a publish. What a template marks with
`data-search-exclude` on one of the elements named below is none of its business: it is lifted out, an empty
element of the same kind stands in its place, and it comes back into the finished page as it was.
"""

from __future__ import annotations

import re

_LIFTED = ("section", "table", "figure", "dl", "ul")
_OPENING = re.compile(rf"<(?P<tag>{'|'.join(_LIFTED)})\b[^<>]*\sdata-search-exclude(?=[\s>=])[^<>]*>")
_TAGS = {tag: re.compile(rf"<(/?){tag}\b[^<>]*>") for tag in _LIFTED}
_PLACEHOLDER = re.compile(rf'<({"|".join(_LIFTED)}) data-lifted="(\d+)"></\1>')


def extract_raw_html(page: str) -> tuple[str, list[str]]:
    """The page with a stand-in for every such part, and the parts."""
    kept, parts, at = [], list[str](), 0
    while (opening := _OPENING.search(page, at)) is not None:
        end = _end(page, opening["tag"], opening.end())
        if end is None:
            break  # not closed: leave the page as it is from here on
        kept += [page[at : opening.start()], f'<{opening["tag"]} data-lifted="{len(parts)}"></{opening["tag"]}>']
        parts.append(page[opening.start() : end])
        at = end
    return "".join([*kept, page[at:]]), parts


def restore_raw_html(page: str, parts: list[str]) -> str:
    """The page with every part where its stand-in is."""
    return _PLACEHOLDER.sub(lambda found: parts[int(found[2])], page)


def _end(page: str, tag: str, start: int) -> int | None:
    """Where an element ends whose content begins at `start`, with others of its kind in it."""
    depth = 1
    for found in _TAGS[tag].finditer(page, start):
        depth += -1 if found[1] else 1
        if not depth:
            return found.end()
    return None
