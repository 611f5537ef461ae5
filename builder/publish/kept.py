"""What was made last time, and from what: the one mechanism that decides what is made again.

Everything hangs on content digests. A build is made again when the digest of all it is made from differs
from the one it was last made from: its own folder, the shop's profile, the templates, the program and the
libraries it draws and computes with. What was made is trusted only while its own digest is the one recorded.

Reading every byte of a large archive each time would be slow, so a file that was read keeps its digest for as
long as the operating system says that it was not touched (size, times of change, number on the disk).

The ledger holds nothing of what the files say, and not even the names of a shop's own files: only digests.
"""

from __future__ import annotations

import hashlib
import json
import os
import time
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

FORM = "millbook ledger 1"
_YOUNG = 2_000_000_000
"""A file touched this little before it was read [ns] may be touched again without its times telling."""

Stamp = tuple[int, int, int, int]


def digest_of(*parts: str | bytes) -> str:
    """One digest of several texts, each set off from the next."""
    whole = hashlib.sha256()
    for part in parts:
        data = part.encode("utf-8", "surrogateescape") if isinstance(part, str) else part
        whole.update(len(data).to_bytes(8, "big"))
        whole.update(data)
    return whole.hexdigest()


def digest_bytes(content: bytes) -> str:
    """The digest of a file's content."""
    return hashlib.sha256(content).hexdigest()


@dataclass
class Ledger:
    """Digests by file, what each build was made from, and what was made of it."""

    stamps: dict[str, tuple[Stamp, str]] = field(default_factory=dict)
    """By a digest of the file's path: its stamp, and the digest of its content."""
    builds: dict[str, str] = field(default_factory=dict)
    """By slug: the digest of everything a published build was made from."""
    left_out: dict[str, tuple[str, str]] = field(default_factory=dict)
    """By slug: the same for a build that is not published, and why."""
    blocks: dict[str, str] = field(default_factory=dict)
    """By slug: the digest of what the part about its relatives was made from."""
    bodies: dict[str, str] = field(default_factory=dict)
    """By slug: the digest of the page without that part."""
    pages: dict[str, str] = field(default_factory=dict)
    """Every file of the pages folder, by its path in it."""
    site: dict[str, str] = field(default_factory=dict)
    """Every file of the site, by its path in it."""
    whole: str = ""
    """The digest of all that every page depends on: shop, templates, program, libraries."""
    index: str = ""
    """The digest of the archive's index."""
    _seen: dict[str, tuple[Stamp, str]] = field(default_factory=dict, repr=False)

    def forget(self, slug: str) -> None:
        """Know nothing of a build."""
        for known in (self.builds, self.left_out, self.blocks, self.bodies):
            known.pop(slug, None)

    def digest(self, path: Path, status: os.stat_result | None = None, *, ours: bool = False) -> str:
        """The digest of a file's content; empty for one that is not there or no ordinary file.

        A file of `ours` is one that only a publish writes, and shares with the site before it: that changes
        the time of its entry, not of its content.
        """
        key = digest_of(os.fspath(path))[:32]
        try:
            found = status or path.stat()
            stamp = (found.st_size, found.st_mtime_ns, 0 if ours else found.st_ctime_ns, found.st_ino)
            known = self.stamps.get(key)
            if known is not None and known[0] == stamp:
                self._seen[key] = known
                return known[1]
            if not path.is_file():
                return ""
            with path.open("rb") as file:
                digest = hashlib.file_digest(file, "sha256").hexdigest()
        except OSError:
            return ""
        if ours or time.time_ns() - max(stamp[1], stamp[2]) > _YOUNG:
            self._seen[key] = self.stamps[key] = (stamp, digest)
        return digest

    def tree(self, folder: Path, *, ours: bool = False) -> dict[str, str]:
        """Every file below a folder with the digest of its content, by its path in the folder."""
        return {name: self.digest(folder / name, status, ours=ours) for name, status in files_below(folder)}

    def save(self, path: Path) -> None:
        """Write the ledger in one step; stamps of files that were not looked at this time are dropped."""
        body = json.dumps(
            {
                "stamps": {key: [list(stamp), digest] for key, (stamp, digest) in sorted(self._seen.items())},
                "builds": self.builds,
                "left_out": self.left_out,
                "blocks": self.blocks,
                "bodies": self.bodies,
                "pages": self.pages,
                "site": self.site,
                "whole": self.whole,
                "index": self.index,
            },
            separators=(",", ":"),
        )
        path.parent.mkdir(parents=True, exist_ok=True)
        part = path.with_name(f"{path.name}.part")
        part.write_text(f"{FORM} {digest_of(body)}\n{body}", encoding="utf-8", newline="\n")
        os.replace(part, path)


def load(path: Path) -> Ledger:
    """The ledger as it was saved; an empty one where it is missing, damaged or of another form."""
    try:
        head, _, body = path.read_text(encoding="utf-8").partition("\n")
        if head != f"{FORM} {digest_of(body)}":
            return Ledger()
        kept: Mapping[str, Any] = json.loads(body)
        stamps = {key: (_stamp(stamp), digest) for key, (stamp, digest) in kept["stamps"].items()}
        left_out = {slug: (key, why) for slug, (key, why) in kept["left_out"].items()}
        plain = {name: kept[name] for name in ("builds", "blocks", "bodies", "pages", "site", "whole", "index")}
        return Ledger(stamps=stamps, left_out=left_out, **plain)
    except (OSError, ValueError, KeyError, TypeError):
        return Ledger()


def _stamp(numbers: list[int]) -> Stamp:
    size, modified, changed, number = numbers
    return size, modified, changed, number


def files_below(folder: Path, below: str = "") -> Iterator[tuple[str, os.stat_result]]:
    """Every file below a folder, links not followed, as its path in the folder and its status."""
    try:
        entries = sorted(os.scandir(folder / below), key=lambda entry: entry.name)
    except OSError:
        return
    for entry in entries:
        name = f"{below}/{entry.name}" if below else entry.name
        try:
            if entry.is_dir(follow_symlinks=False):
                yield from files_below(folder, name)
            else:
                yield name, entry.stat()
        except OSError:
            continue


def program_digest(ledger: Ledger, others: Iterable[Path] = ()) -> str:
    """The digest of the program itself, the libraries it draws, computes and writes with, and `others`."""
    from importlib import metadata

    home = Path(__file__).resolve().parents[1]
    own = [digest_of(name, digest) for name, digest in ledger.tree(home).items() if name.endswith(".py")]
    libraries = (
        "jinja2",
        "markupsafe",
        "matplotlib",
        "mkdocs",
        "mkdocs-material",
        "numpy",
        "pillow",
        "pint",
        "pydantic",
    )
    versions = [f"{name} {metadata.version(name)}" for name in libraries]
    return digest_of(*own, *versions, *(f"{path.name} {ledger.digest(path)}" for path in others))
