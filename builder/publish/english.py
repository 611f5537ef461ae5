"""US and UK English: every text of the program is written in US English, and translated here where a shop uses UK.

The terms are those of `english.yaml` among the templates; a shop adds to them, or changes them, with a file of that
name in its own site_templates/. Left alone are the shop's own words, code, links, attribute names and file names.
"""

from __future__ import annotations

import dataclasses
import re
import typing
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cached_property, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from builder.publish.errors import PublishError
from builder.publish.pages import templating

if TYPE_CHECKING:
    from pydantic.fields import FieldInfo

    from builder.archive.summary import Summary

TABLE = "english.yaml"
"""The file of terms, in the template folders."""

_SPECIAL = re.compile(r"[\\`*_\[\]{}|~^=$!&<>\"'\n\r]")
"""What the pages escape or act on: a text of the record is found between these, whatever became of them."""

_FILE_NAME = r"[\w./-]+\.(?:ya?ml|csv|tsv|txt|json|pdf|html?|svg|png|jpe?g|css|js|md|typ|j2)\b"
_UNTRANSLATED_IN_TEXT = re.compile(rf"{_FILE_NAME}|https?://\S+|`[^`\n]*`|(?<!\w)'[^'\n]{{1,80}}'(?!\w)")
_UNTRANSLATED_IN_MARKUP = re.compile(
    rf"\]\([^)\s]*\)|\{{\s?[#:.][^}}\n]*\}}|(?<!\w)&\#39;[^&\n]{{1,80}}&\#39;(?!\w)|`[^`\n]*`"
    rf"|https?://[^\s<\"]+|{_FILE_NAME}"
)
_TAG = re.compile(r"<(?:(?P<element>code|pre|script|style)\b[^>]*>.*?</(?P=element)>|!--.*?-->|[^>]*>)", re.DOTALL)
_SHOWN_ATTRIBUTE = re.compile(r"(?:alt|title|aria-label|placeholder|content)=\"[^\"]*\Z")
_STRING = re.compile(r'"(?:[^"\\\n]|\\.)*"|`(?:[^`\\]|\\.)*`')
_TYPST_TEXT = re.compile(r'"(?:[^"\\\n]|\\.)*"|\[[^\[\]#]*\]')


_REACH = 160
"""How many characters around a term decide whether it is quoted, or the shop's own."""


@dataclasses.dataclass(frozen=True)
class English:
    """The English of an archive: how a text of the program reads in it."""

    terms: Mapping[str, str] = dataclasses.field(default_factory=dict)
    """US term to the term in force, in small letters; none for US English."""
    own_words: frozenset[str] = frozenset()
    """Terms in the shop's own texts with the words around them, in small letters."""

    def keeping(self, record: Any) -> English:
        """Return the same English for texts that hold what a record says: those words stay as the shop wrote them.

        A term is known as the shop's own by the words before and after it, which a page that cuts a text leaves.
        """
        if not self.terms:
            return self
        pieces = (" ".join(piece.lower().split()) for text in _texts(record) for piece in _SPECIAL.split(text))
        own_words = frozenset(match[0] for piece in pieces for match in self._context_pattern.finditer(piece))
        return dataclasses.replace(self, own_words=self.own_words | own_words)

    def words_in(self, text: str) -> list[str]:
        """Return the terms that a text has, as written."""
        return [match[0] for match in self._terms_in(text)]

    def text(self, text: str) -> str:
        """Return a plain text; what is quoted, an address or the name of a file stays."""
        return self._translate(text, _UNTRANSLATED_IN_TEXT)

    def markup(self, page: str) -> str:
        """Return a page of Markdown or HTML, or an SVG, with the texts between tags and in shown attributes."""
        return self._translate(page, _UNTRANSLATED_IN_MARKUP)

    def script(self, source: str) -> str:
        """Return a script with the strings that are shown: those with a blank or a capital."""

        def shown(string: re.Match[str]) -> str:
            content = string[0][1:-1]
            is_shown = " " in content or content[:1].isupper()
            return f"{string[0][0]}{self.text(content)}{string[0][-1]}" if is_shown else string[0]

        return _STRING.sub(shown, source) if self.terms else source

    def typst(self, source: str) -> str:
        """Return a typst template with its strings and its text in square brackets."""
        return _TYPST_TEXT.sub(lambda text: self.text(text[0]), source) if self.terms else source

    def _translate(self, text: str, untranslated: re.Pattern[str]) -> str:
        tags: Sequence[re.Match[str]] | None = None
        pieces: list[str] = []
        end = 0
        for match in self._terms_in(text):
            if tags is None and untranslated is _UNTRANSLATED_IN_MARKUP:
                tags = list(_TAG.finditer(text))  # found only where a page has a term
            if self._is_untranslated(match, text, untranslated, tags or ()):
                continue
            written = text[match.start() : match.end()]
            pieces += (text[end : match.start()], _in_case_of(written, self.terms[" ".join(match[0].split())]))
            end = match.end()
        return "".join([*pieces, text[end:]])

    def _terms_in(self, text: str) -> Iterator[re.Match[str]]:
        """Yield the terms in a text, matched in its small letters."""
        if not self.terms:
            return
        small = text.lower()
        if len(small) != len(text):  # a letter whose small form is two
            small = "".join(letter.lower() if len(letter.lower()) == 1 else letter for letter in text)
        for match in self._pattern.finditer(small):
            before = small[match.start() - 1 : match.start()]
            if not (before.isalnum() or (before in ("_", ".") and before)):
                yield match

    def _is_untranslated(
        self, match: re.Match[str], text: str, untranslated: re.Pattern[str], tags: Sequence[re.Match[str]]
    ) -> bool:
        """Return whether a term stays as it is: in code, in a tag, quoted, or in the shop's own words."""
        start = match.start()
        tag = _span_at(tags, start)
        if tag and not _in_shown_attribute(tag, match, text):
            return True
        line_start = text.rfind("\n", 0, start) + 1
        line_end = text.find("\n", match.end())
        first, last = max(line_start, start - _REACH), match.end() + _REACH
        last = last if line_end < 0 else min(line_end, last)
        if not tag and any(span.start() <= start < span.end() for span in untranslated.finditer(text, first, last)):
            return True
        around = text[max(0, start - _REACH) : match.end() + _REACH]
        at = min(start, _REACH)
        return bool(self.own_words) and any(
            span.start() <= at < span.end() for span in self._own_pattern.finditer(around)
        )

    @cached_property
    def _pattern(self) -> re.Pattern[str]:
        return re.compile(rf"{_choices(self.terms)}(?!\w|\.\w)")

    @cached_property
    def _context_pattern(self) -> re.Pattern[str]:
        return re.compile(rf"(?:\S+ )?(?<![\w.]){self._pattern.pattern}(?: \S+)?")

    @cached_property
    def _own_pattern(self) -> re.Pattern[str]:
        return re.compile(rf"(?<!\w){_choices(self.own_words)}(?!\w)", re.IGNORECASE)


US = English()

_UK_IN_PROFILE = re.compile(rb"^english\s*:\s*[\"']?uk\b", re.MULTILINE | re.IGNORECASE)
_VALUE = re.compile(r"(?:^|[:,\[{-]\s)\s*([^:,\[\]{}\n]+)", re.MULTILINE)
"""A value in a YAML file, near enough to find the shop's words again in a message."""


def _span_at(spans: Sequence[re.Match[str]], position: int) -> re.Match[str] | None:
    """Return the one of some spans, in order, that holds a position."""
    index = bisect_right(spans, position, key=re.Match.start) - 1
    return spans[index] if index >= 0 and position < spans[index].end() else None


def _in_shown_attribute(span: re.Match[str], match: re.Match[str], text: str) -> bool:
    """Return whether a match is in an attribute whose value readers meet, such as the text for a picture."""
    is_tag = span[0].startswith("<") and ">" not in span[0][:-1]
    return is_tag and _SHOWN_ATTRIBUTE.search(text, span.start(), match.start()) is not None


def _choices(words: Iterable[str]) -> str:
    """Return an expression for these words, the longest first at each place; blanks in them may be line ends.

    Words that begin alike share their beginning, so that a page is searched in one pass.
    """
    tree: dict[str, Any] = {}
    for word in words:
        node = tree
        for letter in word:
            node = node.setdefault(letter, {})
        node[""] = {}

    def expression(node: dict[str, Any]) -> str:
        branches = [
            (r"\s+" if letter == " " else re.escape(letter)) + expression(inner)
            for letter, inner in sorted(node.items())
            if letter
        ]
        if not branches:
            return ""
        return f"(?:{'|'.join(branches)}){'?' if '' in node else ''}"

    return expression(tree)


def _in_case_of(written: str, term: str) -> str:
    """Return a term with capitals as in the word it replaces."""
    if len(written) > 1 and written.isupper():
        return term.upper()
    return term[:1].upper() + term[1:] if written[:1].isupper() else term


def shown_texts(summaries: Iterable[Summary]) -> Iterator[tuple[object, ...]]:
    """Yield of each build what lists show of the shop's own words."""
    for summary in summaries:
        yield summary.title, summary.number, summary.family, summary.purpose, summary.parts, summary.cam, summary.heads
        yield (summary.carburetor,)
        if summary.shop is not None:
            for lesson in summary.shop.lessons:
                yield lesson.text, lesson.part
            yield tuple(item.what for item in summary.shop.waits if item.kind == "part")


def _is_choice(info: FieldInfo) -> bool:
    """Return whether a field holds one of the program's own words, not the shop's."""
    annotations = (info.annotation, *typing.get_args(info.annotation))
    return any(typing.get_origin(annotation) is Literal for annotation in annotations)


def _texts(value: Any) -> Iterator[str]:
    """Yield every text of a record or of what was made of one."""
    if isinstance(value, str):
        written = getattr(value, "text", value)  # a choice: its normal form is the program's word
        if written is value or written != str(value):
            yield written
    elif isinstance(value, Mapping):
        for inner in value.values():
            yield from _texts(inner)
    elif isinstance(value, (list, tuple, set, frozenset)):
        for inner in value:
            yield from _texts(inner)
    elif dataclasses.is_dataclass(value):
        for field in dataclasses.fields(value):
            yield from _texts(getattr(value, field.name))
    elif fields := getattr(type(value), "model_fields", None):
        for name, info in fields.items():
            if not _is_choice(info):
                yield from _texts(getattr(value, name))


def english_of_messages(archive: Path, slugs: Iterable[str]) -> English:
    """Return the English of what a command prints of an archive and of some of its builds.

    The shop's profile is not validated for it: loading the record's models would take longer than most answers.
    """
    from builder.archive.index import INDEX_PATH, read_index
    from builder.record.files import content_of
    from builder.record.load import SHOP_FILE

    if not _UK_IN_PROFILE.search(content_of(archive / SHOP_FILE)):
        return US
    records = [path for slug in slugs for path in (archive / "builds" / slug).glob("*.yaml")]
    values = [_VALUE.findall(content_of(path).decode("utf-8", "replace")) for path in records]
    return english_of("uk", archive).keeping([*values, *shown_texts(read_index(archive / INDEX_PATH) or ())])


def english_of(language: Literal["us", "uk"], archive: Path | None) -> English:
    """Return the English a shop chose, with the terms of the program and its own.

    Raises PublishError where a file of terms cannot be used.
    """
    if language == "us":
        return US
    files = [path for folder in reversed(templating.search_path(archive)) if (path := folder / TABLE).is_file()]
    return _english(tuple((path, path.stat().st_mtime_ns) for path in files))


@lru_cache(maxsize=2)
def _english(files: tuple[tuple[Path, int], ...]) -> English:
    terms: dict[str, str] = {}
    for path, _ in files:
        terms |= _read_terms(path)
    return English({us: uk for us, uk in terms.items() if us != uk})


def _read_terms(path: Path) -> dict[str, str]:
    """Return the terms of one file: a mapping of US term to UK term."""
    import yaml

    try:
        content = yaml.safe_load(path.read_text(encoding="utf-8")) or {}
    except (yaml.YAMLError, UnicodeDecodeError) as error:
        raise PublishError(f"{path}: cannot be read: {' '.join(str(error).split())}") from error
    if not isinstance(content, dict) or not all(isinstance(text, str) for pair in content.items() for text in pair):
        raise PublishError(f"{path}: write one line for each term, `US term: UK term`")
    terms = {" ".join(us.lower().split()): " ".join(uk.split()) for us, uk in content.items()}
    if "" in terms or "" in terms.values():
        raise PublishError(f"{path}: an entry is empty: write `US term: UK term`")
    return terms
