"""Placeholders for parts of a page that are plain HTML and not for the text search.

A build's page is a few paragraphs and very many numbers. MkDocs reads every tag of it three times (Markdown, anchors,
search index), which would take nearly all of a publish. A part that a template marks with `data-search-exclude`, on
one of the elements named below, is replaced by an empty element of the same kind, and put back into the finished page.
"""

from __future__ import annotations

import re

_ELEMENTS = ("section", "table", "figure", "dl", "ul")
_OPENING = re.compile(rf"<(?P<tag>{'|'.join(_ELEMENTS)})\b[^<>]*\sdata-search-exclude(?=[\s>=])[^<>]*>")
_TAGS = {tag: re.compile(rf"<(/?){tag}\b[^<>]*>") for tag in _ELEMENTS}
_PLACEHOLDER = re.compile(rf'<({"|".join(_ELEMENTS)}) data-placeholder="(\d+)"></\1>')


def extract_raw_html(page: str) -> tuple[str, list[str]]:
    """Return the page with a placeholder for every such part, and the parts."""
    pieces, parts, position = [], list[str](), 0
    while (opening := _OPENING.search(page, position)) is not None:
        tag = opening["tag"]
        end = _end(page, tag, opening.end())
        if end is None:
            break  # not closed: leave the page as it is from here on
        pieces += [page[position : opening.start()], f'<{tag} data-placeholder="{len(parts)}"></{tag}>']
        parts.append(page[opening.start() : end])
        position = end
    return "".join([*pieces, page[position:]]), parts


def restore_raw_html(page: str, parts: list[str]) -> str:
    """Return the page with every part in the place of its placeholder."""
    return _PLACEHOLDER.sub(lambda placeholder: parts[int(placeholder[2])], page)


def _end(page: str, tag: str, start: int) -> int | None:
    """Return where an element ends whose content begins at `start`, other elements of its kind inside it included."""
    depth = 1
    for match in _TAGS[tag].finditer(page, start):
        depth += -1 if match[1] else 1
        if not depth:
            return match.end()
    return None
