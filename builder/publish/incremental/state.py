"""The state that one publish leaves for the next: what everything was built from, and what was written.

A build is built again when the hash of all it depends on is another one: its own folder, the shop's profile, the
templates, the program and its libraries. Files that were written are reused only while their own hashes are the
ones recorded. The state holds no content of a record, and no names of its files.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from json.encoder import encode_basestring_ascii as quote
from pathlib import Path
from typing import Any

from builder.publish.incremental.hashing import SourceEntry, hash_parts
from builder.publish.incremental.manifest import FileEntry, Manifest

FORMAT = "millbook state 2"


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


_VALUES = ("global_hash", "shop_hash", "shop_page_hash", "shop_problems", "site_path", "index_hash")
_LISTS = ("static_pages", "overview_charts", "replaced")
_MANIFESTS = ("bodies", "pages", "templates", "site")


def save_state(state: BuildState, path: Path) -> None:
    """Write the state as JSON in one step: a reader sees the old file or the new one, never a part."""
    sections = [f"{quote(name)}: {json.dumps(getattr(state, name))}" for name in (*_VALUES, *_LISTS)]
    sections += [
        _section("sources", ((name, json.dumps(entry)) for name, entry in state.sources.items())),
        _section("builds", ((slug, json.dumps(asdict(build))) for slug, build in state.builds.items())),
        _section("skipped", ((slug, json.dumps(asdict(build))) for slug, build in state.skipped.items())),
    ]
    for name in _MANIFESTS:
        files: Manifest = getattr(state, name)
        # json.dumps takes ten times as long for so many entries.
        rows = ((file, f'[{e.size}, {e.mtime_ns}, {e.inode}, "{e.sha256}"]') for file, e in files.items())
        sections.append(_section(name, rows))
    part = path.with_name(f"{path.name}.part")
    path.parent.mkdir(parents=True, exist_ok=True)
    part.write_text(_document(",\n".join(sections)), encoding="ascii", newline="\n")
    os.replace(part, path)


def _section(name: str, rows: Iterable[tuple[str, str]]) -> str:
    """Return one object of the file, with an entry a line."""
    lines = ",\n".join(f"  {quote(key)}: {value}" for key, value in rows)
    return f"{quote(name)}: {{\n{lines}\n}}"


def _document(body: str) -> str:
    return f'{{"format": "{FORMAT}", "sha256": "{hash_parts(body)}", "state": {{\n{body}\n}}}}\n'


def load_state(path: Path) -> BuildState:
    """Return the state as it was saved; an empty one where it is missing, damaged or of another format."""
    try:
        text = path.read_text(encoding="ascii")
        if text != _document(text.partition("\n")[2].removesuffix("\n}}\n")):
            return BuildState()
        content: dict[str, Any] = json.loads(text)["state"]
        manifests: dict[str, Any] = {
            name: {file: FileEntry(*entry) for file, entry in content[name].items()} for name in _MANIFESTS
        }
        values: dict[str, Any] = {name: content[name] for name in _VALUES}
        values |= {name: tuple(content[name]) for name in _LISTS}
        return BuildState(
            **values,
            sources={name: SourceEntry(*entry) for name, entry in content["sources"].items()},
            builds={slug: PublishedBuild(**build) for slug, build in content["builds"].items()},
            skipped={slug: SkippedBuild(**build) for slug, build in content["skipped"].items()},
            **manifests,
        )
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return BuildState()
