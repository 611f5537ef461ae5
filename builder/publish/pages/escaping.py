"""Escaping of record text for Markdown pages.

What comes from a record is text, never markup. Each plain string that goes into a page is escaped twice: the
special characters of HTML and those that Markdown acts on, all as character references. These read the same in a
Markdown paragraph, a raw HTML block and an attribute, but not in a Markdown code span: write `<code>` instead.
"""

from __future__ import annotations

import json
import re
from functools import lru_cache
from typing import Any

from markupsafe import Markup, escape

# Characters that Markdown acts on at any position of a line...
_SPECIAL = {ord(c): f"&#{ord(c)};" for c in "\\`*_[]{}|~^=$!&<>\"'"}
# ...and those it acts on at the start of a line, as it does on "1.".
_SPECIAL_AT_START = "#+-:."
_LIST_NUMBER = re.compile(r"^(\d+)([.)])")
# Control characters, surrogates and marks that change the direction of writing.
_CONTROL = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x84\x86-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufffe\uffff]"
)
_MAX_CACHED_LENGTH = 80
_SPACES = re.compile(r"[^\S\N{NO-BREAK SPACE}]+")
# A number and its unit, a unit of two words, a value and its ±: each stays on one line.
_JOINED = re.compile(
    r"(?<=\blbf) (?=ft\b|in\b)|(?<=\bN) (?=m\b)|(?<=\bcu) (?=in\b)|(?<=\bUS) (?=qt\b)|(?<=\bin) (?=H₂O)"
    r"|(?<=\d) (?=(?:in|mm|cm|µm|µin|cc|L|lbf|N|kN|psi|bar|kPa|hp|kW|rpm|cfm|US|cu|°C|°F|%|±)(?![\w/-]))|(?<=±) (?=\d)"
)


def one_line(value: Any) -> str:
    """Return a value as text on one line, without control characters; None as an empty string."""
    return _SPACES.sub(" ", _CONTROL.sub("", str(value if value is not None else ""))).strip()


def without_breaks(text: str) -> str:
    """Return a text with no-break spaces where a line must not end: between a number and its unit."""
    return _JOINED.sub("\N{NO-BREAK SPACE}", text)


def escape_text(value: Any) -> Any:
    """Return a value as it goes into a page: markup and numbers unchanged, the rest as escaped text on one line."""
    if type(value) is str:
        return _escape_cached(value) if len(value) < _MAX_CACHED_LENGTH else _escape(value)
    if value is None:
        return ""
    if hasattr(value, "__html__") or isinstance(value, bool | int | float):
        return value
    return _escape(str(value))


@lru_cache(maxsize=1 << 13)
def _escape_cached(text: str) -> Markup:
    """Return escaped text from the cache: names and dates recur in many lists."""
    return _escape(text)


def _escape(text: str) -> Markup:
    return Markup(_escape_line(without_breaks(one_line(text))))


def _escape_line(line: str) -> str:
    escaped = line.translate(_SPECIAL)
    if number := _LIST_NUMBER.match(line):
        return f"{number[1]}&#{ord(number[2])};{escaped[number.end() :]}"
    if line and line[0] in _SPECIAL_AT_START:
        return f"&#{ord(line[0])};{escaped[1:]}"
    return escaped


_INLINE = re.compile(
    r"`(?P<code>[^`]+)`"
    r"|\*\*(?P<strong>[^*]+)\*\*"
    r"|(?<![*\w])\*(?P<em>[^*\s](?:[^*]*[^*\s])?)\*(?![*\w])"
    r"|\[(?P<label>[^\[\]]+)\]\((?P<target>(?:https?://|mailto:)[^\s()<>\"']+)\)"
)


def inline(value: Any) -> Markup:
    """Return a text field as HTML: *emphasis*, **strong**, `code` and [links](https://...); all else is escaped."""
    source = without_breaks(one_line(value or ""))
    pieces: list[str] = []
    end = 0
    for match in _INLINE.finditer(source):
        pieces += (_plain_text(source, end, match.start()), _inline_element(match))
        end = match.end()
    pieces.append(_plain_text(source, end, len(source)))
    return Markup("".join(pieces))


def _plain_text(source: str, start: int, end: int) -> str:
    text = source[start:end]
    return text.translate(_SPECIAL) if start else _escape_line(text)


def _inline_element(match: re.Match[str]) -> str:
    for name in ("code", "strong", "em"):
        if match[name] is not None:
            return f"<{name}>{match[name].translate(_SPECIAL)}</{name}>"
    return f'<a href="{escape(match["target"])}" rel="noopener">{match["label"].translate(_SPECIAL)}</a>'


def prose(value: Any) -> Markup:
    """Return a longer text field as HTML: blank lines separate paragraphs, lines that begin with `- ` are a list."""
    blocks: list[str] = []
    for block in re.split(r"\n[ \t]*\n", str(value or "").replace("\r\n", "\n").strip()):
        lines = [line.strip() for line in block.split("\n") if line.strip()]
        if lines and all(line.startswith("- ") for line in lines):
            items = "".join(f"<li>{inline(line[2:])}</li>" for line in lines)
            blocks.append(f"<ul>{items}</ul>")
        elif lines:
            blocks.append(f"<p>{inline(' '.join(lines))}</p>")
    return Markup("\n".join(blocks))


def yaml_scalar(value: Any) -> Markup:
    """Return a value for a page's YAML front matter, quoted so that YAML reads a string."""
    return Markup(json.dumps(one_line(value), ensure_ascii=False))
