"""The seal of a pack: a SHA-256 for every file, and whether anything was altered, is missing or was added.

SEAL.txt is written as the usual SHA-256 tools read it: `sha256sum -c SEAL.txt`. Its own last line holds the digest
of the lines above it, so that a byte changed in the seal shows as well. A seal tells of accidents and careless
hands; whoever writes a new seal on purpose is found out by the digest that is printed in the binder.
"""

from __future__ import annotations

import hashlib
import re
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

NAME = "SEAL.txt"
DATA = "data/"
_HEAD = (
    "# The seal of this pack: SHA-256 of every file.\n"
    "# Check it with `millbook handover --verify FOLDER` or `sha256sum -c SEAL.txt`.\n"
)
_LINE = re.compile(r"([0-9a-f]{64})  (.+)")
_LAST = "# seal "
_LARGEST_SEAL = 5_000_000
FIRST_DAY = (1980, 1, 1, 0, 0, 0)
"""The first moment that ZIP archives know; every file in a pack bears it."""


@dataclass(frozen=True)
class Verified:
    """What looking at the seal came to."""

    altered: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    added: tuple[str, ...] = ()
    fault: str = ""
    """Why there is no seal to go by."""
    files: int = 0
    digest: str = ""
    """Digest of the data: to be held against the one that the binder prints."""

    @property
    def intact(self) -> bool:
        """Whether the pack is as it was sealed."""
        return not (self.altered or self.missing or self.added or self.fault)

    @property
    def lines(self) -> tuple[str, ...]:
        """The verdict in words."""
        if self.fault:
            return (self.fault,)
        said = [f"altered: {name}" for name in self.altered]
        said += [f"missing: {name}" for name in self.missing]
        said += [f"added: {name}" for name in self.added]
        if self.intact:
            said.append(f"{self.files} files, all as they were sealed")
            said.append(f"digest of the data: {self.digest}")
            said.append("Hold it against the one on the last page of the printed binder.")
        return tuple(said)


def add_checksums(files: Mapping[str, bytes]) -> dict[str, bytes]:
    """The files with their seal."""
    digests = {name: hashlib.sha256(content).hexdigest() for name, content in files.items()}
    return {**files, NAME: _written(digests)}


def data_digest(files: Mapping[str, bytes]) -> str:
    """One digest for all the data: SHA-256 over the sorted names and digests of the files below data/."""
    return _over({name: hashlib.sha256(content).hexdigest() for name, content in files.items()})


def _over(digests: Mapping[str, str]) -> str:
    lines = "".join(f"{digests[name]}  {name}\n" for name in sorted(digests) if name.startswith(DATA))
    return hashlib.sha256(lines.encode()).hexdigest()


def _written(digests: Mapping[str, str]) -> bytes:
    text = _HEAD + "".join(f"{digests[name]}  {name}\n" for name in sorted(digests))
    return f"{text}{_LAST}{hashlib.sha256(text.encode()).hexdigest()}\n".encode()


def verify(pack: Path) -> Verified:
    """Hold a pack, a folder or its ZIP, against its seal. Problems are told, never raised."""
    try:
        found = _in_zip(pack) if pack.is_file() else _in_folder(pack)
    except (OSError, zipfile.BadZipFile, RuntimeError, NotImplementedError, EOFError, ValueError) as error:
        return Verified(fault=f"{pack}: cannot be read: {getattr(error, 'strerror', None) or error}")
    if isinstance(found, str):
        return Verified(fault=f"{pack}: {found}")
    digests, seal = found
    if seal is None:
        return Verified(fault=f"{pack}: has no {NAME}: this is no pack, or its seal was taken away")
    recorded = _read(seal)
    altered = {name for name, digest in digests.items() if name in recorded and recorded[name] != digest}
    if _written(recorded) != seal:
        altered.add(NAME)
    return Verified(
        tuple(sorted(altered)),
        tuple(sorted(recorded.keys() - digests.keys())),
        tuple(sorted(digests.keys() - recorded.keys())),
        files=len(digests),
        digest=_over(digests),
    )


def _read(seal: bytes) -> dict[str, str]:
    lines = seal.decode("utf-8", "replace").split("\n")
    return {found[2]: found[1] for line in lines if (found := _LINE.fullmatch(line))}


_Found = tuple[dict[str, str], bytes | None]


def _in_folder(folder: Path) -> _Found | str:
    if not folder.is_dir():
        return "there is no such folder"
    digests: dict[str, str] = {}
    seal: bytes | None = None
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.is_symlink():
            digests[name] = "a link"
        elif path.is_dir():
            if not any(path.iterdir()):
                digests[f"{name}/"] = "an empty folder"
        elif name == NAME:
            seal = path.read_bytes() if path.stat().st_size <= _LARGEST_SEAL else b""
        else:
            with path.open("rb") as handle:
                digests[name] = hashlib.file_digest(handle, "sha256").hexdigest()
    return digests, seal


def _in_zip(path: Path) -> _Found | str:
    """The files of a ZIP; a ZIP that is not byte for byte as we write it was altered somewhere."""
    with zipfile.ZipFile(path) as archive:
        names = archive.namelist()
        folders = {name.partition("/")[0] for name in names}
        if len(folders) != 1 or len(set(names)) != len(names):
            return "is not a pack: it holds more than one folder, or a file twice"
        folder = folders.pop()
        files = {name.removeprefix(f"{folder}/"): archive.read(name) for name in names}
    if zip_bytes(files, folder) != path.read_bytes():
        return "was altered: it is not as Millbook wrote it"
    seal = files.pop(NAME, None)
    return {name: hashlib.sha256(content).hexdigest() for name, content in files.items()}, seal


def zip_bytes(files: Mapping[str, bytes], folder: str) -> bytes:
    """The files as one ZIP, below one folder: sorted, dated alike, and stored, which is the same everywhere."""
    import io

    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:
        for name in sorted(files):
            entry = zipfile.ZipInfo(f"{folder}/{name}", FIRST_DAY)
            entry.create_system = 3
            entry.external_attr = 0o100644 << 16
            archive.writestr(entry, files[name])
    return out.getvalue()
