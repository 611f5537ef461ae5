"""Longer texts of the record as paragraphs of styled runs: what the page shows as HTML, for the binder."""

from __future__ import annotations

from dataclasses import dataclass
from html.parser import HTMLParser

from builder.publish.sheets.glyphs import has_italic


@dataclass(frozen=True)
class TextRun:
    """A piece of text in one style (plain, em, strong or code), with the URL of a link."""

    text: str
    style: str = ""
    url: str = ""


@dataclass(frozen=True)
class TextBlock:
    """A paragraph, or an entry of a list."""

    runs: tuple[TextRun, ...]
    is_list_item: bool = False


def parse_blocks(value: str | None) -> tuple[TextBlock, ...]:
    """Return a text field with its light Markdown, parsed exactly as for the page."""
    if not value:
        return ()
    from builder.publish.pages.escaping import prose

    parser = _BlockParser()
    parser.feed(str(prose(value)))
    parser.close()
    return tuple(parser.blocks)


def plain_text(value: str | None) -> str:
    """Return a text field on one line, without its Markdown."""
    return " ".join("".join(run.text for run in block.runs) for block in parse_blocks(value))


class _BlockParser(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.blocks: list[TextBlock] = []
        self.runs: list[TextRun] = []
        self.styles: list[str] = []
        self.url = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in ("em", "strong", "code"):
            self.styles.append(tag)
        elif tag == "a":
            self.url = dict(attrs).get("href") or ""

    def handle_endtag(self, tag: str) -> None:
        if tag in ("em", "strong", "code"):
            self.styles.pop()
        elif tag == "a":
            self.url = ""
        elif tag in ("p", "li"):
            self.blocks.append(TextBlock(tuple(self.runs), tag == "li"))
            self.runs = []

    def handle_data(self, data: str) -> None:
        if self.runs or data.strip():
            style = self.styles[-1] if self.styles else ""
            self.runs.append(TextRun(data, "" if style == "em" and not has_italic(data) else style, self.url))
