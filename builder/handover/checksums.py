"""The checksums of a pack: a SHA-256 for every file, and which files were altered, are missing or were added.

SEAL.txt is in the format of the usual SHA-256 tools: `sha256sum -c SEAL.txt`. Its last line is the hash of the
lines above it, so that a change of SEAL.txt is detected too. Checksums detect accidents; a new SEAL.txt written
on purpose is detected by the digest that is printed in the binder.

A pack that is verified may come from anywhere: only regular files are opened, and of a ZIP nothing is unpacked
before its directory has been checked.
"""

from __future__ import annotations

import hashlib
import io
import os
import re
import stat
import zipfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from builder.record.wording import printable

CHECKSUM_FILE, BINDER, README = "SEAL.txt", "binder.pdf", "READ-FIRST.txt"
UNCOVERED = (BINDER, README, CHECKSUM_FILE)
"""The files that hold the digest, or come after it: it cannot cover them."""
_HEAD = f"""\
# The seal of this pack: SHA-256 of every file.
# Check it with `millbook handover --verify FOLDER` or `sha256sum -c SEAL.txt`.
# Whoever alters a file on purpose can write a new seal, so a digest of the files is printed on the last page of
# the binder. It covers every file except {BINDER}, {README} and {CHECKSUM_FILE}. For the binder itself the
# printed copy counts.
"""
_LINE = re.compile(r"([0-9a-f]{64})  (.+)")
_LAST_LINE = "# seal "
_MAX_SEAL = 5_000_000
_MAX_FILE = 500_000_000
_MAX_ZIP = 1_000_000_000
"""Sizes [bytes] above which nothing is read: no pack comes near them, and a file can claim any size."""
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
    """Digest of the files, to be compared with the one printed in the binder."""

    @property
    def intact(self) -> bool:
        """Whether every file matches its checksum."""
        return not (self.altered or self.missing or self.added or self.error)

    @property
    def lines(self) -> tuple[str, ...]:
        """The result as lines to print."""
        if self.error:
            return (printable(self.error),)
        if self.intact:
            return (
                f"{self.files} files, complete and unaltered",
                f"digest of the files: {self.digest}",
                "Compare it with the one on the last page of the printed binder.",
                f"It does not cover {BINDER} and {README} themselves.",
            )
        return (
            *(f"altered: {printable(name)}" for name in self.altered),
            *(f"missing: {printable(name)}" for name in self.missing),
            *(f"added: {printable(name)}" for name in self.added),
        )


def add_checksums(files: Mapping[str, bytes]) -> dict[str, bytes]:
    """Return the files with SEAL.txt among them."""
    return {**files, CHECKSUM_FILE: _format(_hash_all(files))}


def pack_digest(files: Mapping[str, bytes]) -> str:
    """Return one digest of the files: SHA-256 of the sorted names and hashes of all except UNCOVERED."""
    return _pack_digest(_hash_all(files))


def _hash_all(files: Mapping[str, bytes]) -> dict[str, str]:
    return {name: hashlib.sha256(content).hexdigest() for name, content in files.items()}


def _pack_digest(hashes: Mapping[str, str]) -> str:
    lines = "".join(f"{hashes[name]}  {name}\n" for name in sorted(hashes) if name not in UNCOVERED)
    return hashlib.sha256(lines.encode()).hexdigest()


def _format(hashes: Mapping[str, str]) -> bytes:
    text = _HEAD + "".join(f"{hashes[name]}  {name}\n" for name in sorted(hashes))
    return f"{text}{_LAST_LINE}{hashlib.sha256(text.encode()).hexdigest()}\n".encode()


def verify(pack: Path) -> VerifyResult:
    """Compare a pack, a folder or its ZIP, with its checksums; errors are part of the result, never raised."""
    try:
        return _verify_zip(pack) if pack.is_file() else _verify_folder(pack)
    except _NotAPackError as error:
        return VerifyResult(error=f"{pack}: {error}")
    except (OSError, zipfile.BadZipFile, RuntimeError, NotImplementedError, EOFError, ValueError) as error:
        return VerifyResult(error=f"{pack}: cannot be read: {getattr(error, 'strerror', None) or error}")


class _NotAPackError(Exception):
    pass


def _verify_folder(folder: Path) -> VerifyResult:
    if not folder.is_dir():
        raise _NotAPackError("there is no such folder")
    entries = dict(_entries(folder))
    if CHECKSUM_FILE not in entries:
        raise _NotAPackError(f"has no {CHECKSUM_FILE}: this is no pack, or its seal was taken away")
    checksums = _read_seal(folder / CHECKSUM_FILE)
    recorded = _parse(checksums)
    hashes = {
        name: _hash_file(folder / name, mode, size) if name in recorded else ""  # an added file need not be read
        for name, (mode, size) in entries.items()
        if name != CHECKSUM_FILE
    }
    return _compare(hashes, checksums)


def _compare(hashes: Mapping[str, str], checksums: bytes) -> VerifyResult:
    """Return what differs between the hashes of the files and the content of SEAL.txt."""
    recorded = _parse(checksums)
    altered = {name for name, digest in hashes.items() if name in recorded and recorded[name] != digest}
    if _format(recorded) != checksums:
        altered.add(CHECKSUM_FILE)
    return VerifyResult(
        tuple(sorted(altered)),
        tuple(sorted(recorded.keys() - hashes.keys())),
        tuple(sorted(hashes.keys() - recorded.keys())),
        files=len(hashes),
        digest=_pack_digest(recorded),
    )


def _parse(checksums: bytes) -> dict[str, str]:
    lines = checksums.decode("utf-8", "replace").split("\n")
    return {match[2]: match[1] for line in lines if (match := _LINE.fullmatch(line))}


def _entries(folder: Path) -> Iterator[tuple[str, tuple[int, int]]]:
    """Yield name, mode and size [bytes] of everything in a folder that is no folder, and of folders that are empty."""
    pending = [""]
    while pending:
        prefix = pending.pop()
        with os.scandir(folder / prefix) as entries:
            children = list(entries)
        if not children and prefix:
            yield prefix, (stat.S_IFDIR, 0)
        for entry in children:
            status = entry.stat(follow_symlinks=False)
            if stat.S_ISDIR(status.st_mode):
                pending.append(f"{prefix}{entry.name}/")
            else:
                yield f"{prefix}{entry.name}", (status.st_mode, status.st_size)


def _hash_file(path: Path, mode: int, size: int) -> str:
    """Return the hash of a regular file; anything else, and what is too large for a pack, is not opened."""
    if not stat.S_ISREG(mode) or size > _MAX_FILE:
        return ""
    with _open_regular(path) as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _read_seal(path: Path) -> bytes:
    if not stat.S_ISREG(path.lstat().st_mode):
        raise _NotAPackError(f"its {CHECKSUM_FILE} is not an ordinary file: its seal was taken away")
    with _open_regular(path) as file:
        content = file.read(_MAX_SEAL + 1)
    if len(content) > _MAX_SEAL:
        raise _NotAPackError(f"its {CHECKSUM_FILE} is far too long for a list of its files")
    return content


def _open_regular(path: Path) -> io.BufferedReader:
    """Open a file that was regular a moment ago; raise _NotAPackError if it is something else by now."""
    flags = os.O_RDONLY
    for name in ("O_NOFOLLOW", "O_NONBLOCK", "O_BINARY"):
        flags |= getattr(os, name, 0)
    file = os.fdopen(os.open(path, flags), "rb")
    if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
        file.close()
        raise _NotAPackError(f"{path.name} is not an ordinary file any more")
    return file


def _verify_zip(path: Path) -> VerifyResult:
    """Verify a ZIP; one that is not byte for byte as Millbook writes it was altered."""
    with _open_regular(path.resolve()) as file:
        size = os.fstat(file.fileno()).st_size
        if size > _MAX_ZIP:
            raise _NotAPackError(f"has {size / 1e6:,.0f} MB: unpack it and verify the folder")
        with zipfile.ZipFile(file) as archive:
            members = archive.infolist()
            folder = _check_directory(members, size)
            files = {member.filename.removeprefix(f"{folder}/"): archive.read(member) for member in members}
        if CHECKSUM_FILE not in files:
            raise _NotAPackError(f"has no {CHECKSUM_FILE}: this is no pack, or its seal was taken away")
        file.seek(0)
        if zip_bytes(files, folder) != file.read():
            raise _NotAPackError("was altered: it is not as Millbook wrote it")
    checksums = files.pop(CHECKSUM_FILE)
    return _compare(_hash_all(files), checksums)


def _check_directory(members: list[zipfile.ZipInfo], size: int) -> str:
    """Return the folder in a ZIP of `size` [bytes]. Raises _NotAPackError where unpacking could do harm."""
    names = [member.filename for member in members]
    folders = {name.partition("/")[0] for name in names}
    if len(folders) != 1 or len(set(names)) != len(names):
        raise _NotAPackError("is not a pack: it holds more than one folder, or a file twice")
    for member in members:
        steps = member.filename.split("/")
        if len(steps) < 2 or {"", ".", ".."} & set(steps) or "\\" in member.filename or ":" in member.filename:
            raise _NotAPackError(f"is not a pack: {member.filename!r} is no name of a file in it")
        if member.compress_type != zipfile.ZIP_STORED or member.compress_size != member.file_size:
            raise _NotAPackError("was altered: its files are compressed, which those of a pack never are")
    if sum(member.file_size for member in members) > size:
        raise _NotAPackError("was altered: its files claim to be larger than it is")
    return folders.pop()


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
