"""The state that one publish leaves for the next: what everything was built from, and what was written.

A build is built again when the hash of all it depends on is another one: its own folder, the shop's profile, the
templates, the program and its libraries. Files that were written are reused only while their own hashes are the
ones recorded. The state holds no content of a record, and no names of its files.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import msgspec

from builder.publish.incremental.hashing import SourceEntry, hash_bytes
from builder.publish.incremental.manifest import Manifest

FORMAT = "millbook state 3"


@dataclass(frozen=True)
class PublishedBuild:
    """A build on the site."""

    source_hash: str
    """The hash of everything it was built from."""
    photos: Mapping[str, Any] = field(default_factory=dict)
    """By the hash of a photo's file: name, width and height of each size in which it is published."""
    charts: Sequence[str] = ()
    """The keys of its charts in the chart cache."""
    errors: int = 0
    warnings: int = 0
    similar_hash: str = ""
    """The hash of what the section on similar builds was built from."""
    similar_chart: str = ""
    """The key of the chart in that section, if there is one."""


@dataclass(frozen=True)
class PublishedEngine:
    """An engine with a page on the site: the hash of what it was written from, and the keys of its charts."""

    hash: str
    charts: Sequence[str] = ()


@dataclass(frozen=True)
class SkippedBuild:
    """A build that is not on the site, or not as its record is now."""

    source_hash: str
    """As for a published build; empty for one that is read again each time."""
    reason: str


@dataclass(frozen=True)
class BuildState:
    """What a publish knows of the one before it; all empty before the first."""

    global_hash: str = ""
    """The hash of all that every page depends on: shop, templates, program, libraries."""
    shop_hash: str = ""
    """The hash of shop.yaml."""
    shop_page_hash: str = ""
    """The hash of what pages show of shop.yaml."""
    shop_problems: int = 0
    """How many problems there are in shop.yaml."""
    engine_problems: tuple[int, int] = (0, 0)
    """How many errors and warnings there are between the builds of one engine."""
    site_path: str = ""
    """The real path of the published site: an archive may have several."""
    index_hash: str = ""
    """The hash of the archive's index."""
    sources: Mapping[str, SourceEntry] = field(default_factory=dict)
    """By path: the source files and folders."""
    builds: Mapping[str, PublishedBuild] = field(default_factory=dict)
    """By slug: the builds on the site."""
    skipped: Mapping[str, SkippedBuild] = field(default_factory=dict)
    """By slug: the builds that were left out."""
    engines: Mapping[str, PublishedEngine] = field(default_factory=dict)
    """By the engine's key: the engines that have a page."""
    static_pages: tuple[str, ...] = ()
    """Files of the pages folder that depend on no build."""
    overview_charts: tuple[str, ...] = ()
    """The keys of the charts on the page of overviews."""
    bodies: Manifest = field(default_factory=dict)
    """The pages of builds without their section on similar builds."""
    pages: Manifest = field(default_factory=dict)
    """The Markdown pages and everything they show."""
    templates: Manifest = field(default_factory=dict)
    """The compiled templates."""
    site: Manifest = field(default_factory=dict)
    """The published site."""
    replaced: tuple[str, ...] = ()
    """Files of the site before it that this one has not: they are there if the publish was killed before the swap."""


_BY_FILE_NAME = ("sources", "skipped", "bodies", "pages", "templates", "site")


def save_state(state: BuildState, path: Path) -> None:
    """Write the state as JSON in one step: a reader sees the old file or the new one, never a part."""
    try:
        body = msgspec.json.encode(state)
    except UnicodeEncodeError:
        body = msgspec.json.encode(_rename_files(state, _to_text))
    part = path.with_name(f"{path.name}.part")
    path.parent.mkdir(parents=True, exist_ok=True)
    part.write_bytes(_header(body) + body)
    os.replace(part, path)


def load_state(path: Path) -> BuildState:
    """Return the state as it was saved; an empty one where it is missing, damaged or of another format."""
    try:
        header, _, body = path.read_bytes().partition(b"\n")
        if header + b"\n" != _header(body):
            return BuildState()
        state = msgspec.json.decode(body, type=BuildState)
    except (OSError, msgspec.DecodeError):
        return BuildState()
    return _rename_files(state, _from_text) if b'"\\u0000' in body else state


def _header(body: bytes) -> bytes:
    return f"{FORMAT} {hash_bytes(body)}\n".encode()


def _rename_files(state: BuildState, rename: Callable[[str], str]) -> BuildState:
    mappings: dict[str, Any] = {
        name: {rename(file): entry for file, entry in getattr(state, name).items()} for name in _BY_FILE_NAME
    }
    return replace(state, **mappings)


def _to_text(name: str) -> str:
    """Return a file name as text that UTF-8 can hold: one of other bytes is marked by a NUL, which no file name has."""
    try:
        name.encode()
    except UnicodeEncodeError:
        return "\0" + os.fsencode(name).decode("latin-1")
    return name


def _from_text(text: str) -> str:
    return os.fsdecode(text[1:].encode("latin-1")) if text.startswith("\0") else text
