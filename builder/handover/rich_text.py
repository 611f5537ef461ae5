"""Longer texts of the record as blocks of runs: what the page shows as HTML, the binder sets in type."""

from __future__ import annotations

from dataclasses import dataclass
from html.parser import HTMLParser

from builder.handover.glyphs import has_italic


@dataclass(frozen=True)
class Run:
    """A piece of text in one look: plain, em, strong or code; with where it leads, for a link."""

    text: str
    style: str = ""
    leads: str = ""


@dataclass(frozen=True)
class Block:
    """A paragraph, or one entry of a list."""

    runs: tuple[Run, ...]
    is_list_item: bool = False


def parse_blocks(value: str | None) -> tuple[Block, ...]:
    """A text field with its light Markdown, read exactly as the page reads it."""
    if not value:
        return ()
    from builder.publish.pages.escaping import prose

    reader = _Reader()
    reader.feed(str(prose(value)))
    reader.close()
    return tuple(reader.found)


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.found: list[Block] = []
        self.runs: list[Run] = []
        self.looks: list[str] = []
        self.leads = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in ("em", "strong", "code"):
            self.looks.append(tag)
        elif tag == "a":
            self.leads = dict(attrs).get("href") or ""

    def handle_endtag(self, tag: str) -> None:
        if tag in ("em", "strong", "code"):
            self.looks.pop()
        elif tag == "a":
            self.leads = ""
        elif tag in ("p", "li"):
            self.found.append(Block(tuple(self.runs), tag == "li"))
            self.runs = []

    def handle_data(self, data: str) -> None:
        if self.runs or data.strip():
            look = self.looks[-1] if self.looks else ""
            self.runs.append(Run(data, "" if look == "em" and not has_italic(data) else look, self.leads))
