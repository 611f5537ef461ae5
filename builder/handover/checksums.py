"""The checksums of a pack: a SHA-256 for every file, and which files were altered, are missing or were added.

SEAL.txt is in the format of the usual SHA-256 tools: `sha256sum -c SEAL.txt`. Its last line is the hash of the
lines above it, so that a change of SEAL.txt is detected too. Checksums detect accidents; a new SEAL.txt written
on purpose is detected by the digest that is printed in the binder.
"""

from __future__ import annotations

import hashlib
import io
import re
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

CHECKSUM_FILE = "SEAL.txt"
DATA = "data/"
_HEAD = (
    "# The seal of this pack: SHA-256 of every file.\n"
    "# Check it with `millbook handover --verify FOLDER` or `sha256sum -c SEAL.txt`.\n"
)
_LINE = re.compile(r"([0-9a-f]{64})  (.+)")
_LAST_LINE = "# seal "
_MAX_SIZE = 5_000_000
ZIP_DATE = (1980, 1, 1, 0, 0, 0)
"""The earliest date of the ZIP format; the date of every file in a pack."""


@dataclass(frozen=True)
class VerifyResult:
    """What differs between a pack and its checksums."""

    altered: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    added: tuple[str, ...] = ()
    error: str = ""
    """Why the pack could not be compared."""
    files: int = 0
    digest: str = ""
    """Digest of the data, to be compared with the one printed in the binder."""

    @property
    def intact(self) -> bool:
        """Whether every file matches its checksum."""
        return not (self.altered or self.missing or self.added or self.error)

    @property
    def lines(self) -> tuple[str, ...]:
        """The result as lines to print."""
        if self.error:
            return (self.error,)
        if self.intact:
            return (
                f"{self.files} files, all as they were sealed",
                f"digest of the data: {self.digest}",
                "Hold it against the one on the last page of the printed binder.",
            )
        return (
            *(f"altered: {name}" for name in self.altered),
            *(f"missing: {name}" for name in self.missing),
            *(f"added: {name}" for name in self.added),
        )


def add_checksums(files: Mapping[str, bytes]) -> dict[str, bytes]:
    """Return the files with SEAL.txt among them."""
    return {**files, CHECKSUM_FILE: _format(_hash_all(files))}


def data_digest(files: Mapping[str, bytes]) -> str:
    """Return one digest of the data: SHA-256 of the sorted names and hashes of the files below data/."""
    return _data_digest(_hash_all(files))


def _hash_all(files: Mapping[str, bytes]) -> dict[str, str]:
    return {name: hashlib.sha256(content).hexdigest() for name, content in files.items()}


def _data_digest(digests: Mapping[str, str]) -> str:
    lines = "".join(f"{digests[name]}  {name}\n" for name in sorted(digests) if name.startswith(DATA))
    return hashlib.sha256(lines.encode()).hexdigest()


def _format(digests: Mapping[str, str]) -> bytes:
    text = _HEAD + "".join(f"{digests[name]}  {name}\n" for name in sorted(digests))
    return f"{text}{_LAST_LINE}{hashlib.sha256(text.encode()).hexdigest()}\n".encode()


def verify(pack: Path) -> VerifyResult:
    """Compare a pack, a folder or its ZIP, with its checksums; errors are part of the result, never raised."""
    try:
        digests, checksums = _hash_zip(pack) if pack.is_file() else _hash_folder(pack)
    except _NotAPackError as error:
        return VerifyResult(error=f"{pack}: {error}")
    except (OSError, zipfile.BadZipFile, RuntimeError, NotImplementedError, EOFError, ValueError) as error:
        return VerifyResult(error=f"{pack}: cannot be read: {getattr(error, 'strerror', None) or error}")
    if checksums is None:
        return VerifyResult(error=f"{pack}: has no {CHECKSUM_FILE}: this is no pack, or its seal was taken away")
    recorded = _parse(checksums)
    altered = {name for name, digest in digests.items() if name in recorded and recorded[name] != digest}
    if _format(recorded) != checksums:
        altered.add(CHECKSUM_FILE)
    return VerifyResult(
        tuple(sorted(altered)),
        tuple(sorted(recorded.keys() - digests.keys())),
        tuple(sorted(digests.keys() - recorded.keys())),
        files=len(digests),
        digest=_data_digest(digests),
    )


def _parse(checksums: bytes) -> dict[str, str]:
    lines = checksums.decode("utf-8", "replace").split("\n")
    return {match[2]: match[1] for line in lines if (match := _LINE.fullmatch(line))}


class _NotAPackError(Exception):
    pass


def _hash_folder(folder: Path) -> tuple[dict[str, str], bytes | None]:
    """Return the hash of every file of a pack, and its SEAL.txt if it has one."""
    if not folder.is_dir():
        raise _NotAPackError("there is no such folder")
    digests: dict[str, str] = {}
    checksums: bytes | None = None
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.is_symlink():
            digests[name] = "a link"
        elif path.is_dir():
            if not any(path.iterdir()):
                digests[f"{name}/"] = "an empty folder"
        elif name == CHECKSUM_FILE:
            checksums = path.read_bytes() if path.stat().st_size <= _MAX_SIZE else b""
        else:
            with path.open("rb") as handle:
                digests[name] = hashlib.file_digest(handle, "sha256").hexdigest()
    return digests, checksums


def _hash_zip(path: Path) -> tuple[dict[str, str], bytes | None]:
    """Return the same for a ZIP; one that is not byte for byte as Millbook writes it was altered."""
    with zipfile.ZipFile(path) as archive:
        names = archive.namelist()
        folders = {name.partition("/")[0] for name in names}
        if len(folders) != 1 or len(set(names)) != len(names):
            raise _NotAPackError("is not a pack: it holds more than one folder, or a file twice")
        folder = folders.pop()
        files = {name.removeprefix(f"{folder}/"): archive.read(name) for name in names}
    if zip_bytes(files, folder) != path.read_bytes():
        raise _NotAPackError("was altered: it is not as Millbook wrote it")
    checksums = files.pop(CHECKSUM_FILE, None)
    return _hash_all(files), checksums


def zip_bytes(files: Mapping[str, bytes], folder: str) -> bytes:
    """Return the files as one ZIP, below one folder: sorted, with one date, not compressed; the same everywhere."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:
        for name in sorted(files):
            entry = zipfile.ZipInfo(f"{folder}/{name}", ZIP_DATE)
            entry.create_system = 3
            entry.external_attr = 0o100644 << 16
            archive.writestr(entry, files[name])
    return out.getvalue()
