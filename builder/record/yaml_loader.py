"""YAML text -> plain Python values and the line of each, without building objects or trusting the file.

Composing from the parser's events, on a stack of our own, keeps three promises that a ready-made loader
does not: every value keeps its line, numbers keep the digits they were written with, and no file, however
hostile, can nest, repeat or tag its way into trouble.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

from builder.record.problem import Problem

LARGEST_FILE = 2_000_000
DEEPEST = 24
MOST_NODES = 30_000
LONGEST_TEXT = 60_000
LONGEST_NAME = 200

Location = tuple[str | int, ...]

_INTEGER = re.compile(r"[+-]?(0|[1-9][0-9]{0,17})")
_DECIMAL = re.compile(r"[+-]?([0-9]{1,17}\.[0-9]*|\.[0-9]+|[0-9]{1,17}(?:\.[0-9]*)?[eE][+-]?[0-9]{1,3})")
_WORDS = {
    "true": True,
    "True": True,
    "yes": True,
    "Yes": True,
    "false": False,
    "False": False,
    "no": False,
    "No": False,
    "null": None,
    "~": None,
    "": None,
    "Null": None,
}
# Characters no record needs: control characters, halves of characters, and marks that turn the reading direction
# around, so that what is shown is not what is there.
_UNWANTED = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x84\x86-\x9f\ud800-\udfff\u202a-\u202e\u2066-\u2069\ufffe\uffff]"
)
_DIRECTIVE = re.compile(r"^%", re.MULTILINE)
_PLAIN_TAGS = {None, "!", "tag:yaml.org,2002:str", "tag:yaml.org,2002:map", "tag:yaml.org,2002:seq"}

_Loader: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


class LiteralInt(int):
    """A whole number that remembers how it was written."""

    text: str


class WrittenFloat(float):
    """A decimal number that remembers how it was written, trailing noughts included."""

    text: str


@dataclass(frozen=True, slots=True)
class Document:
    """One YAML file as plain values, with the line on which each stands."""

    path: Path
    value: Any
    lines: dict[Location, int] = field(default_factory=dict)

    def line(self, location: Location) -> int:
        """The line of a location, or of the nearest thing around it that the file does hold.

        Steps that the file does not hold are passed over, since a shorthand (a list where the model has a
        mapping) leaves a step out.
        """
        here: Location = ()
        for step in location:
            if (*here, step) in self.lines:
                here = (*here, step)
        return self.lines.get(here, 1)


class _Refused(Exception):
    def __init__(self, line: int, message: str) -> None:
        super().__init__(message)
        self.line = line


def read_yaml(path: Path, shown_as: Path) -> tuple[Document | None, list[Problem]]:
    """Read one YAML file.

    Returns the document, or None with the problems that keep it from being read. ``shown_as`` is the path
    that problems name.
    """
    try:
        if not path.is_file():
            return None, [Problem(shown_as, 1, "is not an ordinary file: put a text file here")]
        if path.stat().st_size > LARGEST_FILE:
            size = path.stat().st_size / 1e6
            return None, [
                Problem(shown_as, 1, f"is {size:.0f} MB; a record of this kind is under {LARGEST_FILE // 1_000_000} MB")
            ]
        raw = path.read_bytes()
    except OSError as error:
        return None, [Problem(shown_as, 1, f"cannot be read: {error.strerror or error}")]
    return parse_yaml(raw, shown_as)


def parse_yaml(raw: bytes, shown_as: Path) -> tuple[Document | None, list[Problem]]:
    """Parse YAML bytes; see read_yaml."""
    try:
        text = raw.decode("utf-8-sig") if not raw.startswith((b"\xff\xfe", b"\xfe\xff")) else raw.decode("utf-16")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        return None, [Problem(shown_as, line, "is not UTF-8 text: save the file as UTF-8")]
    try:
        _refuse_at_sight(text)
        value, lines = _compose(text)
    except _Refused as refused:
        return None, [Problem(shown_as, refused.line, str(refused))]
    except (yaml.YAMLError, ValueError, OverflowError) as error:
        return None, [_syntax_problem(error, text, shown_as)]
    return Document(shown_as, value, lines), []


def _refuse_at_sight(text: str) -> None:
    """Refuse what would be a burden to the parser, or come out of it in disguise."""
    if found := _UNWANTED.search(text):
        line = text.count("\n", 0, found.start()) + 1
        raise _Refused(line, f"holds a character that no record needs ({_code(found[0])}): delete it and type it anew")
    if found := _DIRECTIVE.search(text):
        line = text.count("\n", 0, found.start()) + 1
        raise _Refused(line, "starts a line with %: put the text between quotes")


def _code(char: str) -> str:
    return f"U+{ord(char):04X}"


def _syntax_problem(error: Exception, text: str, shown_as: Path) -> Problem:
    """Say where and what, in the words of somebody who types records, not parsers."""
    at, began = getattr(error, "problem_mark", None), getattr(error, "context_mark", None)
    said, context = str(getattr(error, "problem", None) or ""), str(getattr(error, "context", None) or "")
    mark = at or began
    if mark is None:
        return Problem(shown_as, 1, "cannot be understood as YAML")
    line = mark.line + 1
    lines = text.splitlines()
    here = lines[line - 1] if 0 < line <= len(lines) else ""
    what = f"cannot be understood as YAML: {said}"
    if "\t" in here[: len(here) - len(here.lstrip())]:
        what = "is indented with a tab: use spaces"
    elif "nesting depth" in said:
        what = f"is nested more than {DEEPEST} deep: that is not a build record"
    elif "mapping values are not allowed" in said:
        what = _stray_colon(lines, line)
    elif "block sequence entries are not allowed" in said:
        what = "starts a list behind a name: put each '- ' entry on a line of its own below it"
    elif "could not find expected ':'" in said:
        line = began.line + 1 if began else line
        what = "has no colon after its name: write name: value"
    elif "quoted scalar" in context and began:
        line, what = began.line + 1, "opens a quote here that is not closed"
        if "escape" in said:
            line, what = mark.line + 1, "has a backslash that means nothing here: use single quotes"
    elif "flow" in context and began:
        line, what = began.line + 1, "opens a bracket here that is not closed, or a comma is missing inside it"
        what += "; inside brackets put a text that holds a comma, a colon or a bracket between quotes"
    elif "unexpected ':'" in said:
        what = "has a colon directly before a comma or bracket: write a value behind it, or leave the entry out"
    elif "scanning an alias" in context or "scanning an anchor" in context:
        what = f"has a text that starts with {'*' if 'alias' in context else '&'}: put it between quotes"
    elif "cannot start any token" in said:
        sign = here[mark.column : mark.column + 1]
        what = f"has a text that starts with {sign}: put it between quotes"
    elif "did not find expected" in said or "expected <" in said:
        what = "does not line up with the lines above it: give entries of one list or block the same indent"
    # The parser notices an open end only behind the last line.
    while line > 1 and (line > len(lines) or not lines[line - 1].strip()):
        line -= 1
    return Problem(shown_as, line, what)


def _stray_colon(lines: list[str], line: int) -> str:
    here = lines[line - 1] if 0 < line <= len(lines) else ""
    above = next((text for text in reversed(lines[: line - 1]) if text.strip()), "")
    if len(re.findall(r":(?:\s|$)", here)) > 1:
        return "has a second colon: put the text between quotes"
    if not re.search(r":(?:\s|$)", above):
        return "stands below a line that has no colon: write name: value there"
    return "is indented further than the line above, which already has its value: line the names up"


@dataclass(slots=True)
class _Open:
    """A list or mapping being filled."""

    value: Any
    location: Location
    anchor: str | None
    key: str | None = None
    key_line: int = 0
    key_end: int = 0
    braces: bool = False
    """Whether it is a mapping written between braces, where every comma begins an entry."""


def _compose(text: str) -> tuple[Any, dict[Location, int]]:
    lines: dict[Location, int] = {}
    stack: list[_Open] = []
    root: Any = None
    count = 0
    documents = 0

    def place(value: Any, line: int) -> Location:
        """Put a value where the innermost open list or mapping wants it, and say where that is."""
        nonlocal root
        if not stack:
            root = value
            lines[()] = line
            return ()
        holder = stack[-1]
        if isinstance(holder.value, list):
            where = (*holder.location, len(holder.value))
            holder.value.append(value)
            lines[where] = line
        else:
            assert holder.key is not None
            where = (*holder.location, holder.key)
            holder.value[holder.key] = value
            lines[where] = holder.key_line
            holder.key = None
        return where

    events: Iterator[Any] = yaml.parse(text, Loader=_Loader)
    for event in events:
        line = event.start_mark.line + 1
        starts, ends = event.start_mark.index, event.end_mark.index
        if isinstance(event, yaml.DocumentStartEvent):
            documents += 1
            if documents > 1:
                raise _Refused(line, "holds a second document (---): one file is one document")
            continue
        if isinstance(event, yaml.AliasEvent):
            raise _Refused(line, f"uses an alias (*{event.anchor}): write the values out")
        if isinstance(event, (yaml.ScalarEvent, yaml.CollectionStartEvent)):
            count += 1
            if count > MOST_NODES:
                raise _Refused(line, f"holds more than {MOST_NODES} values: that is not a build record")
            if event.tag not in _PLAIN_TAGS:
                raise _Refused(
                    line, f"uses a YAML tag ({str(event.tag)[:60]}): tags are not read here, write a plain value"
                )
        expects_key = bool(stack) and isinstance(stack[-1].value, dict) and stack[-1].key is None
        if isinstance(event, yaml.ScalarEvent):
            if found := _UNWANTED.search(event.value):
                raise _Refused(line, f"holds a character that no record needs ({_code(found[0])}): leave it out")
            if len(event.value) > LONGEST_TEXT:
                raise _Refused(line, f"holds a text of {len(event.value)} characters; at most {LONGEST_TEXT} are read")
            if expects_key:
                holder = stack[-1]
                key = event.value
                if len(key) > LONGEST_NAME or "\n" in key:
                    raise _Refused(line, f"has a name of {len(key)} characters or several lines: write name: value")
                if key == "<<" and not event.style:
                    raise _Refused(line, "uses a merge key (<<): write the values out")
                if key in holder.value:
                    first = lines.get((*holder.location, key), 1)
                    raise _Refused(line, f"{key!r} stands twice, first on line {first}: keep one of them")
                holder.key, holder.key_line, holder.key_end = key, line, ends
            else:
                if stack and stack[-1].braces and ":" not in text[stack[-1].key_end : starts]:
                    raise _Refused(
                        stack[-1].key_line,
                        f"{str(stack[-1].key)[:60]!r} stands between braces without a colon, since a comma there "
                        "begins a new entry: put a text that holds a comma between quotes",
                    )
                place(_scalar(event, line), line)
        elif isinstance(event, yaml.CollectionStartEvent):
            if expects_key:
                raise _Refused(
                    line,
                    "a list or mapping cannot be a name: write name: value, and put a text that starts with a bracket "
                    "between quotes",
                )
            if len(stack) >= DEEPEST:
                raise _Refused(line, f"is nested more than {DEEPEST} deep: that is not a build record")
            value: Any = [] if isinstance(event, yaml.SequenceStartEvent) else {}
            braces = isinstance(event, yaml.MappingStartEvent) and bool(event.flow_style)
            stack.append(_Open(value, place(value, line), event.anchor, braces=braces))
        elif isinstance(event, yaml.CollectionEndEvent):
            stack.pop()
    return root, lines


def _scalar(event: Any, line: int) -> Any:
    text: str = event.value
    if event.style or event.tag == "tag:yaml.org,2002:str":
        return text
    if text in _WORDS:
        return _WORDS[text]
    if _INTEGER.fullmatch(text):
        whole = LiteralInt(text)
        whole.text = text
        return whole
    if _DECIMAL.fullmatch(text):
        decimal = WrittenFloat(text)
        if decimal in (float("inf"), float("-inf")):
            raise _Refused(line, f"{text} is too large to be a reading")
        decimal.text = text
        return decimal
    return text
