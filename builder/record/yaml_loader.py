"""Read YAML into plain Python values and the line of each, without building objects or trusting the file.

PyYAML's parser yields events; composing the values from them gives three things that its loaders do not: every
value has its line, numbers have the digits they were written with, and no file can do harm by nesting, aliases or tags.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

from builder.record.files import MAX_FILE_BYTES
from builder.record.problem import Problem

MAX_DEPTH = 24
MAX_NODES = 30_000
MAX_TEXT_LENGTH = 60_000
MAX_NAME_LENGTH = 200

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
# Characters no record needs: control characters, halves of surrogate pairs, and marks that turn the reading direction
# around, so that what is shown is not what the file holds.
UNWANTED = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x84\x86-\x9f\ud800-\udfff\u202a-\u202e\u2066-\u2069\ufffe\uffff]"
)
_DIRECTIVE = re.compile(r"^%", re.MULTILINE)
_PLAIN_TAGS = {None, "!", "tag:yaml.org,2002:str", "tag:yaml.org,2002:map", "tag:yaml.org,2002:seq"}

_Loader: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


class LiteralInt(int):
    """A whole number with the text it was written as."""

    text: str


class LiteralFloat(float):
    """A decimal number with the text it was written as, trailing noughts included."""

    text: str


@dataclass(frozen=True, slots=True)
class Document:
    """One YAML file as plain values, with the line of each."""

    path: Path
    value: Any
    lines: dict[Location, int] = field(default_factory=dict)
    written: dict[Location, str] = field(default_factory=dict)
    """The name as it was written, where the record has another name for the field."""

    def written_location(self, location: Location) -> Location:
        """Return a location with every name as it was written."""
        return tuple(self.written.get(location[: index + 1], str(step)) if isinstance(step, str) else step
                     for index, step in enumerate(location))  # fmt: skip

    def line(self, location: Location) -> int:
        """Return the line of a location, or of the nearest value around it that the file holds.

        Steps that the file does not hold are ignored, since a shorthand (a list where the model has a mapping)
        leaves a step out.
        """
        nearest: Location = ()
        for step in location:
            if (*nearest, step) in self.lines:
                nearest = (*nearest, step)
        return self.lines.get(nearest, 1)


class _Rejected(Exception):
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
        if path.stat().st_size > MAX_FILE_BYTES:
            size = path.stat().st_size / 1e6
            return None, [
                Problem(
                    shown_as, 1, f"is {size:.0f} MB; a record of this kind is under {MAX_FILE_BYTES // 1_000_000} MB"
                )
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
        _reject_before_parsing(text)
        value, lines = _Composer(text).compose()
    except _Rejected as rejected:
        return None, [Problem(shown_as, rejected.line, str(rejected))]
    except (yaml.YAMLError, ValueError, OverflowError) as error:
        return None, [_syntax_problem(error, text, shown_as)]
    return Document(shown_as, value, lines), []


def _reject_before_parsing(text: str) -> None:
    """Reject what the parser would fail on, or pass on in another form."""
    if match := UNWANTED.search(text):
        line = text.count("\n", 0, match.start()) + 1
        raise _Rejected(
            line, f"holds a character that no record needs ({_code(match[0])}): delete it and type it again"
        )
    if match := _DIRECTIVE.search(text):
        line = text.count("\n", 0, match.start()) + 1
        raise _Rejected(line, "starts a line with %: put the text between quotes")


def _code(char: str) -> str:
    return f"U+{ord(char):04X}"


def _syntax_problem(error: Exception, text: str, shown_as: Path) -> Problem:
    """Return a parser's error as a problem, in the words of somebody who types records."""
    at, began = getattr(error, "problem_mark", None), getattr(error, "context_mark", None)
    problem, context = str(getattr(error, "problem", None) or ""), str(getattr(error, "context", None) or "")
    mark = at or began
    if mark is None:
        return Problem(shown_as, 1, "cannot be understood as YAML")
    line = mark.line + 1
    lines = text.splitlines()
    text_of_line = lines[line - 1] if 0 < line <= len(lines) else ""
    message = f"cannot be understood as YAML: {problem}"
    if "\t" in text_of_line[: len(text_of_line) - len(text_of_line.lstrip())]:
        message = "is indented with a tab: use spaces"
    elif "nesting depth" in problem:
        message = f"is nested more than {MAX_DEPTH} deep: that is not a build record"
    elif "mapping values are not allowed" in problem:
        message = _stray_colon(lines, line)
    elif "block sequence entries are not allowed" in problem:
        message = "starts a list behind a name: put each '- ' entry on a line of its own below it"
    elif "could not find expected ':'" in problem:
        line = began.line + 1 if began else line
        message = "has no colon after its name: write name: value"
    elif "quoted scalar" in context and began:
        line, message = began.line + 1, "opens a quote here that is not closed"
        if "escape" in problem:
            line, message = mark.line + 1, "has a backslash that means nothing here: use single quotes"
    elif "flow" in context and began:
        line, message = began.line + 1, "opens a bracket here that is not closed, or a comma is missing inside it"
        message += "; inside brackets put a text that holds a comma, a colon or a bracket between quotes"
    elif "unexpected ':'" in problem:
        message = "has a colon directly before a comma or bracket: write a value behind it, or leave the entry out"
    elif "scanning an alias" in context or "scanning an anchor" in context:
        message = f"has a text that starts with {'*' if 'alias' in context else '&'}: put it between quotes"
    elif "cannot start any token" in problem:
        sign = text_of_line[mark.column : mark.column + 1]
        message = f"has a text that starts with {sign}: put it between quotes"
    elif "did not find expected" in problem or "expected <" in problem:
        message = "does not line up with the lines above it: give entries of one list or block the same indent"
    # The parser notices an open end only after the last line.
    while line > 1 and (line > len(lines) or not lines[line - 1].strip()):
        line -= 1
    return Problem(shown_as, line, message)


def _stray_colon(lines: list[str], line: int) -> str:
    current = lines[line - 1] if 0 < line <= len(lines) else ""
    above = next((text for text in reversed(lines[: line - 1]) if text.strip()), "")
    if len(re.findall(r":(?:\s|$)", current)) > 1:
        return "has a second colon: put the text between quotes"
    if not re.search(r":(?:\s|$)", above):
        return "is below a line that has no colon: write name: value there"
    return "is indented further than the line above, which already has its value: line the names up"


@dataclass(slots=True)
class _Container:
    """A list or mapping being filled."""

    value: Any
    location: Location
    braces: bool = False
    """Whether it is a mapping written between braces, where every comma begins an entry."""
    key: str | None = None
    key_line: int = 0
    key_end: int = 0


class _Composer:
    """Composes values and their lines from the parser's events. Raises _Rejected."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.root: Any = None
        self.lines: dict[Location, int] = {}
        self.open: list[_Container] = []

    def compose(self) -> tuple[Any, dict[Location, int]]:
        """Return the file's value, and the line of every location."""
        documents = nodes = 0
        events: Iterator[Any] = yaml.parse(self.text, Loader=_Loader)
        for event in events:
            line = event.start_mark.line + 1
            if isinstance(event, yaml.DocumentStartEvent):
                documents += 1
                if documents > 1:
                    raise _Rejected(line, "holds a second document (---): one file is one document")
            elif isinstance(event, yaml.AliasEvent):
                raise _Rejected(line, f"uses an alias (*{event.anchor}): write the values out")
            elif isinstance(event, yaml.CollectionEndEvent):
                self.open.pop()
            elif isinstance(event, (yaml.ScalarEvent, yaml.CollectionStartEvent)):
                nodes += 1
                if nodes > MAX_NODES:
                    raise _Rejected(line, f"holds more than {MAX_NODES} values: that is not a build record")
                if event.tag not in _PLAIN_TAGS:
                    tag = str(event.tag)[:60]
                    raise _Rejected(line, f"uses a YAML tag ({tag}): tags are not read here, write a plain value")
                if isinstance(event, yaml.ScalarEvent):
                    self._scalar(event, line)
                else:
                    self._start_container(event, line)
        return self.root, self.lines

    def _expects_key(self) -> bool:
        return bool(self.open) and isinstance(self.open[-1].value, dict) and self.open[-1].key is None

    def _scalar(self, event: Any, line: int) -> None:
        if match := UNWANTED.search(event.value):
            raise _Rejected(line, f"holds a character that no record needs ({_code(match[0])}): leave it out")
        if len(event.value) > MAX_TEXT_LENGTH:
            raise _Rejected(line, f"holds a text of {len(event.value)} characters; at most {MAX_TEXT_LENGTH} are read")
        if self._expects_key():
            self._key(event, line)
            return
        if self.open and self.open[-1].braces:
            holder = self.open[-1]
            if ":" not in self.text[holder.key_end : event.start_mark.index]:
                raise _Rejected(
                    holder.key_line,
                    f"{str(holder.key)[:60]!r} is between braces without a colon, since a comma there "
                    "begins a new entry: put a text that holds a comma between quotes",
                )
        self._add(_scalar_value(event, line), line)

    def _key(self, event: Any, line: int) -> None:
        key, holder = event.value, self.open[-1]
        if len(key) > MAX_NAME_LENGTH or "\n" in key:
            raise _Rejected(line, f"has a name of {len(key)} characters or several lines: write name: value")
        if key == "<<" and not event.style:
            raise _Rejected(line, "uses a merge key (<<): write the values out")
        if key in holder.value:
            first = self.lines.get((*holder.location, key), 1)
            raise _Rejected(line, f"{key!r} is there twice, first on line {first}: keep one of them")
        holder.key, holder.key_line, holder.key_end = key, line, event.end_mark.index

    def _start_container(self, event: Any, line: int) -> None:
        if self._expects_key():
            raise _Rejected(
                line,
                "a list or mapping cannot be a name: write name: value, and put a text that starts with a bracket "
                "between quotes",
            )
        if len(self.open) >= MAX_DEPTH:
            raise _Rejected(line, f"is nested more than {MAX_DEPTH} deep: that is not a build record")
        is_mapping = isinstance(event, yaml.MappingStartEvent)
        value: Any = {} if is_mapping else []
        self.open.append(_Container(value, self._add(value, line), braces=is_mapping and bool(event.flow_style)))

    def _add(self, value: Any, line: int) -> Location:
        """Add a value to the innermost open list or mapping, and return its location."""
        if not self.open:
            self.root = value
            self.lines[()] = line
            return ()
        holder = self.open[-1]
        if isinstance(holder.value, list):
            location = (*holder.location, len(holder.value))
            holder.value.append(value)
            self.lines[location] = line
        else:
            assert holder.key is not None
            location = (*holder.location, holder.key)
            holder.value[holder.key] = value
            self.lines[location] = holder.key_line
            holder.key = None
        return location


def _scalar_value(event: Any, line: int) -> Any:
    text: str = event.value
    if event.style or event.tag == "tag:yaml.org,2002:str":
        return text
    if text in _WORDS:
        return _WORDS[text]
    if _INTEGER.fullmatch(text):
        integer = LiteralInt(text)
        integer.text = text
        return integer
    if _DECIMAL.fullmatch(text):
        decimal = LiteralFloat(text)
        if decimal in (float("inf"), float("-inf")):
            raise _Rejected(line, f"{text} is too large to be a reading")
        decimal.text = text
        return decimal
    return text
