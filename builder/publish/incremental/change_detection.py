"""What a publish has to build again: everything that depends on something which is not as it was.

`detect_changes` is the only function that decides this.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from builder.publish.incremental.config_dependencies import config_dependencies
from builder.publish.incremental.hashing import SourceEntry, SourceHasher, code_hash, hash_file, hash_parts
from builder.publish.incremental.manifest import Manifest, changed_paths, scan
from builder.publish.incremental.state import BuildState, load_state
from builder.publish.pages import templating
from builder.publish.workers import Task, WorkerPool
from builder.publish.workspace import Workspace
from builder.record.files import build_folders

_PARALLEL_CHECK_FROM = 300
"""With more builds than that, a second process checks the files of the last publish: it takes 0.3 s for 1,000."""


@dataclass(frozen=True)
class ChangeSet:
    """What is not as it was when the archive was last published."""

    global_hash: str
    """The hash of all that every page depends on."""
    global_changed: bool
    """Whether that is another one than last time: everything is built again."""
    code_hash: str
    """The hash of the program and its libraries."""
    shop_hash: str
    """The hash of shop.yaml."""
    shop_page_hash: str
    """The hash of what pages show of shop.yaml."""
    folders: tuple[Path, ...]
    """Every build folder."""
    source_hashes: Mapping[str, str]
    """By slug: the hash of everything a build is built from."""
    modified: frozenset[str]
    """Builds whose hash is another one than last time, or that are read again each time."""
    deleted: tuple[str, ...]
    """Builds whose folder is no longer there."""
    corrupted: frozenset[str]
    """What the last publish wrote and somebody changed: slugs of builds, and names of other pages."""
    site_files: Manifest
    """The files of the site as they are now."""
    site_intact: bool
    """Whether the site is there as it was published."""
    sources: Mapping[str, SourceEntry]
    """The source files and folders as they are now, for the next publish."""

    @property
    def stale_folders(self) -> tuple[Path, ...]:
        """Return the folders of the builds to build again."""
        return tuple(folder for folder in self.folders if folder.name in self.modified | self.corrupted)

    @property
    def output_valid(self) -> bool:
        """Return whether what the last publish wrote is what this program would write from the same records."""
        return not self.global_changed and not self.corrupted

    @property
    def site_reusable(self) -> bool:
        """Return whether pages that did not change can be taken over from the published site."""
        return not self.global_changed and self.site_intact

    @property
    def any(self) -> bool:
        """Return whether there is anything to build."""
        return bool(self.modified or self.deleted or self.corrupted or self.global_changed or not self.site_intact)


def begin_page_check(workspace: Workspace, workers: WorkerPool, *, full: bool) -> Task[frozenset[str]]:
    """Begin to look for pages that somebody changed since the last publish, of many builds in another process.

    The result is slugs of builds, and names of other pages.
    """
    few = len(build_folders(workspace.archive)) <= _PARALLEL_CHECK_FROM
    return workers.submit(partial(_corrupted_pages, workspace, full=full), inline=few or full)


def _corrupted_pages(workspace: Workspace, *, full: bool) -> frozenset[str]:
    # The state is read again here: sending it to another process would take longer.
    previous = BuildState() if full else load_state(workspace.state_file)
    if not previous.index_hash:
        return frozenset()  # there was no last publish
    verified = workspace.read_verified()
    names = {name.removesuffix(".md") for name in _changed_since(workspace.bodies, previous.bodies, verified)}
    for name in _changed_since(workspace.pages, previous.pages, verified):
        folder, _, rest = name.partition("/")
        names.add(rest.partition("/")[0] if folder == "builds" else name)
    if hash_file(workspace.index_file) != previous.index_hash:
        names.update(previous.builds)
    return frozenset(names)


def _changed_since(folder: Path, known: Manifest, verified: int) -> set[str]:
    return changed_paths(known, scan(folder, known, verified))


def detect_changes(
    workspace: Workspace,
    previous: BuildState,
    site: Path,
    page_check: Task[frozenset[str]],
    load: Callable[[], None],
) -> ChangeSet:
    """Compare the archive, the working folder and the site with the state of the last publish.

    Where some builds changed, `load` is called, which loads what they are built with.
    """
    hasher = SourceHasher(previous.sources)
    shop_hash, shop_page_hash = _shop_hashes(workspace.archive, previous, hasher)
    program = code_hash(hasher)
    global_hash = hash_parts(program, *_templates(workspace.archive, hasher), shop_page_hash)
    folders = tuple(build_folders(workspace.archive))
    hashes = {
        folder.name: hash_parts(global_hash, workspace.edition.value, hasher.folder(folder)) for folder in folders
    }
    known = {slug: build.source_hash for slug, build in previous.builds.items()}
    known |= {slug: build.source_hash for slug, build in previous.skipped.items()}
    modified = frozenset(slug for slug, value in hashes.items() if known.get(slug) != value)
    deleted = tuple(slug for slug in known if slug not in hashes)
    if modified and previous.global_hash == global_hash:
        load()
    site_files = scan(site, previous.site, workspace.read_verified())
    return ChangeSet(
        global_hash,
        previous.global_hash != global_hash,
        program,
        shop_hash,
        shop_page_hash,
        folders,
        hashes,
        modified,
        deleted,
        site_files=site_files,
        site_intact=bool(previous.site) and not changed_paths(previous.site, site_files),
        corrupted=page_check.result(),
        sources=hasher.entries,
    )


def _shop_hashes(archive: Path, previous: BuildState, hasher: SourceHasher) -> tuple[str, str]:
    """Return the hash of shop.yaml, and that of what pages show of it; the file is read only where it changed."""
    path = archive / "builds" / "shop.yaml"
    file_hash = hash_parts(hasher.file(path), str(path.resolve()))
    if file_hash == previous.shop_hash:
        return file_hash, previous.shop_page_hash
    from builder.archive.shop_profile import read_shop_profile
    from builder.record.models.shop import page_relevant

    shop, _ = read_shop_profile(archive)
    return file_hash, hash_parts(page_relevant(shop))


def _templates(archive: Path, hasher: SourceHasher) -> list[str]:
    """Return the name and hash of every template and of all that the configuration of MkDocs depends on."""
    own = archive / "mkdocs.yml"
    config, values = config_dependencies(own) if own.is_file() else ([templating.builtin_config()], [])
    templates = templating.resolve_all(archive)
    return [
        *(f"{name} {hasher.file(path)}" for name, path in templates.items()),
        *(f"static {name} {hasher.file(path)}" for name, path in templating.static_files(archive).items()),
        *(f"{path} {hasher.file(path)}" for path in config),
        *values,
    ]
