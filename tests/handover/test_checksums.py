"""The seal: whatever is altered, missing or added is found, and the usual tools read it too."""

from __future__ import annotations

import hashlib
import os
import shutil
import socket
import subprocess
import zipfile
from collections.abc import Iterable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from builder.handover.checksums import CHECKSUM_FILE, add_checksums, pack_digest, verify, zip_bytes

posix = pytest.mark.skipif(os.name == "nt", reason="pipes, sockets and sparse files as POSIX has them")

FILES = {
    "binder.pdf": b"%PDF-1.7 " + bytes(range(256)),
    "data/figures.json": b"{}\n",
    "data/record/build.yaml": "title: Motor für Ostsee\n".encode(),
    "record/index.html": b"<!doctype html>",
    "record/ein Bild.svg": b"<svg/>",
}


def _write_files(folder: Path, files: dict[str, bytes]) -> Path:
    for name, content in files.items():
        target = folder / name
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content)
    return folder


def test_an_unchanged_pack_is_intact(tmp_path: Path) -> None:
    seen = verify(_write_files(tmp_path, add_checksums(FILES)))
    assert seen.intact
    assert seen.files == len(FILES)
    assert seen.digest == pack_digest(FILES)
    assert any(pack_digest(FILES) in line for line in seen.lines)


def test_the_usual_tool_reads_it(tmp_path: Path) -> None:
    if shutil.which("sha256sum") is None:
        pytest.skip("no sha256sum here (GNU coreutils)")
    _write_files(tmp_path, add_checksums(FILES))
    done = subprocess.run(
        ["sha256sum", "--strict", "-c", CHECKSUM_FILE], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert not done.stderr


def test_the_digests_are_those_of_the_standard() -> None:
    # FIPS 180-4, and NIST's example for the message "abc".
    made = add_checksums({"abc": b"abc"})[CHECKSUM_FILE].decode()
    assert "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad  abc\n" in made


@settings(max_examples=120)
@given(st.data())
def test_a_byte_changed_anywhere_is_found(tmp_path_factory: pytest.TempPathFactory, data: st.DataObject) -> None:
    files = add_checksums(FILES)
    name = data.draw(st.sampled_from(sorted(files)))
    at = data.draw(st.integers(0, len(files[name]) - 1))
    bit = data.draw(st.integers(1, 255))
    content = bytearray(files[name])
    content[at] ^= bit
    seen = verify(_write_files(tmp_path_factory.mktemp("pack"), files | {name: bytes(content)}))
    assert not seen.intact
    if name != CHECKSUM_FILE:
        assert seen.altered == (name,)


@settings(max_examples=120)
@given(st.data())
def test_a_byte_changed_anywhere_in_the_zip_is_found(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    content = bytearray(zip_bytes(add_checksums(FILES), "engine"))
    content[data.draw(st.integers(0, len(content) - 1))] ^= data.draw(st.integers(1, 255))
    path = tmp_path_factory.mktemp("zip") / "engine.zip"
    path.write_bytes(bytes(content))
    assert not verify(path).intact


def test_an_unchanged_zip_is_intact(tmp_path: Path) -> None:
    path = tmp_path / "engine.zip"
    path.write_bytes(zip_bytes(add_checksums(FILES), "engine"))
    assert verify(path).intact


def test_a_byte_behind_the_zip_or_cut_off_it_is_found(tmp_path: Path) -> None:
    content = zip_bytes(add_checksums(FILES), "engine")
    for changed in (content + b"x", content[:-1], b"x" + content):
        (tmp_path / "engine.zip").write_bytes(changed)
        assert not verify(tmp_path / "engine.zip").intact


@pytest.mark.parametrize("name", sorted(FILES))
def test_a_missing_file_is_named(tmp_path: Path, name: str) -> None:
    _write_files(tmp_path, add_checksums(FILES))
    (tmp_path / name).unlink()
    seen = verify(tmp_path)
    assert seen.missing == (name,)
    assert not seen.intact


@pytest.mark.parametrize("name", ["new.txt", "data/new.csv", "record/.hidden", "Binder.pdf"])
def test_an_added_file_is_named(tmp_path: Path, name: str) -> None:
    _write_files(tmp_path, add_checksums(FILES) | {name: b""})
    assert name in verify(tmp_path).added


def test_links_and_empty_folders_are_reported(tmp_path: Path) -> None:
    _write_files(tmp_path, add_checksums(FILES))
    (tmp_path / "empty").mkdir()
    (tmp_path / "link").symlink_to("/etc/hostname")
    assert verify(tmp_path).added == ("empty/", "link")
    (tmp_path / "binder.pdf").unlink()
    (tmp_path / "binder.pdf").symlink_to(tmp_path / "data/figures.json")
    assert "binder.pdf" in verify(tmp_path).altered


def test_two_files_that_changed_places_are_both_named(tmp_path: Path) -> None:
    files = add_checksums(FILES)
    swapped = files | {"binder.pdf": files["data/figures.json"], "data/figures.json": files["binder.pdf"]}
    assert verify(_write_files(tmp_path, swapped)).altered == ("binder.pdf", "data/figures.json")


def test_without_a_seal_there_is_nothing_to_go_by(tmp_path: Path) -> None:
    _write_files(tmp_path, FILES)
    assert not verify(tmp_path).intact
    assert "SEAL.txt" in verify(tmp_path).lines[0]
    assert not verify(tmp_path / "nowhere").intact
    (tmp_path / "no.zip").write_bytes(b"PK no zip at all")
    assert not verify(tmp_path / "no.zip").intact


def test_a_new_seal_over_altered_data_gives_another_digest(tmp_path: Path) -> None:
    """Whoever seals anew passes the seal, but not the digest that the binder prints."""
    altered = FILES | {"data/figures.json": b"{ }\n"}
    seen = verify(_write_files(tmp_path, add_checksums(altered)))
    assert seen.intact
    assert seen.digest != pack_digest(FILES)


def test_the_digest_is_what_the_binder_says_it_is() -> None:
    names = sorted(FILES.keys() - {"binder.pdf", "READ-FIRST.txt", "SEAL.txt"})
    lines = "".join(f"{hashlib.sha256(FILES[name]).hexdigest()}  {name}\n" for name in names)
    assert pack_digest(FILES) == hashlib.sha256(lines.encode()).hexdigest()


@pytest.mark.parametrize("name", sorted(FILES.keys() - {"binder.pdf"}))
def test_the_digest_covers_data_and_offline_pages(name: str) -> None:
    assert pack_digest(FILES | {name: b"altered"}) != pack_digest(FILES)


def test_the_checksum_file_says_what_the_digest_does_not_cover() -> None:
    head = add_checksums(FILES)[CHECKSUM_FILE].decode()
    assert "covers every file except binder.pdf, READ-FIRST.txt and SEAL.txt" in head


@posix
@pytest.mark.parametrize("kind", ["pipe", "socket", "link to a device"])
def test_what_is_no_ordinary_file_is_never_opened(tmp_path: Path, kind: str) -> None:
    _write_files(tmp_path, add_checksums(FILES))
    (tmp_path / "binder.pdf").unlink()
    for name in ("new", "binder.pdf"):
        _plant(tmp_path / name, kind)
    result = verify(tmp_path)
    assert (result.added, result.altered, result.missing) == (("new",), ("binder.pdf",), ())


@posix
@pytest.mark.parametrize("kind", ["pipe", "socket", "link to a device"])
def test_a_checksum_file_that_is_no_ordinary_file_is_never_opened(tmp_path: Path, kind: str) -> None:
    _write_files(tmp_path, FILES)
    _plant(tmp_path / CHECKSUM_FILE, kind)
    assert "not an ordinary file" in verify(tmp_path).error


def _plant(path: Path, kind: str) -> None:
    if kind == "pipe":
        os.mkfifo(path)
    elif kind == "socket":
        with socket.socket(socket.AF_UNIX) as server:
            folder = os.getcwd()
            os.chdir(path.parent)  # the address of a socket has at most about 100 characters
            server.bind(path.name)
            os.chdir(folder)
    else:
        path.symlink_to("/dev/zero")


@posix
def test_a_file_that_claims_to_be_huge_is_not_read(tmp_path: Path) -> None:
    _write_files(tmp_path, add_checksums(FILES))
    for name in ("new", "binder.pdf"):
        with (tmp_path / name).open("wb") as file:
            file.truncate(2_000_000_000_000)
    result = verify(tmp_path)
    assert (result.added, result.altered) == (("new",), ("binder.pdf",))


def test_names_are_printed_without_control_characters(tmp_path: Path) -> None:
    _write_files(tmp_path, add_checksums(FILES) | {"\x1b[2Kgone\n60 files": b""})
    assert verify(tmp_path).lines == ("added: \\x1b[2Kgone\\n60 files",)


def _zip(path: Path, members: Iterable[tuple[str, bytes]], compression: int = zipfile.ZIP_STORED) -> Path:
    with zipfile.ZipFile(path, "w", compression) as archive:
        for name, content in members:
            archive.writestr(zipfile.ZipInfo(name), content, compression)
    return path


def _members() -> list[tuple[str, bytes]]:
    return [(f"engine/{name}", content) for name, content in add_checksums(FILES).items()]


def _forbid_unpacking(monkeypatch: pytest.MonkeyPatch) -> None:
    def read(*_: object) -> bytes:
        raise AssertionError("something was unpacked")

    monkeypatch.setattr(zipfile.ZipFile, "read", read)
    monkeypatch.setattr(zipfile.ZipFile, "open", read)


def test_a_compressed_zip_is_refused_before_anything_is_unpacked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = _zip(tmp_path / "bomb.zip", [*_members(), ("engine/zeros", bytes(3_000_000))], zipfile.ZIP_DEFLATED)
    _forbid_unpacking(monkeypatch)
    assert "compressed" in verify(path).error


@pytest.mark.parametrize(
    "name",
    ["../outside", "/outside", "engine/../../outside", "engine/./x", "engine//x", "engine", "engine/", "other/x",
     "engine/a\\b", "engine/C:x"],
)  # fmt: skip
def test_a_member_with_another_kind_of_name_is_refused_before_anything_is_unpacked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    path = _zip(tmp_path / "names.zip", [*_members(), (name, b"x")])
    _forbid_unpacking(monkeypatch)
    assert "is not a pack" in verify(path).error


def test_sizes_above_that_of_the_zip_are_refused_before_anything_is_unpacked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = _zip(tmp_path / "sizes.zip", _members())
    content = bytearray(path.read_bytes())
    entry = content.rindex(b"PK\x01\x02")  # the last entry of the directory: both its sizes
    content[entry + 20 : entry + 28] = (1_000_000).to_bytes(4, "little") * 2
    path.write_bytes(content)
    _forbid_unpacking(monkeypatch)
    assert "larger than it is" in verify(path).error


@posix
def test_a_zip_that_claims_to_be_huge_is_not_read(tmp_path: Path) -> None:
    with (tmp_path / "huge.zip").open("wb") as file:
        file.truncate(2_000_000_000_000)
    assert "unpack it" in verify(tmp_path / "huge.zip").error
