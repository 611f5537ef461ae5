"""The seal: whatever is altered, missing or added is found, and the usual tools read it too."""

from __future__ import annotations

import hashlib
import shutil
import subprocess
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from builder.handover.checksums import CHECKSUM_FILE, add_checksums, data_digest, verify, zip_bytes

FILES = {
    "binder.pdf": b"%PDF-1.7 " + bytes(range(256)),
    "data/figures.json": b"{}\n",
    "data/record/build.yaml": "title: Motor für Ostsee\n".encode(),
    "record/index.html": b"<!doctype html>",
    "record/ein Bild.svg": b"<svg/>",
}


def _laid(folder: Path, files: dict[str, bytes]) -> Path:
    for name, content in files.items():
        target = folder / name
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content)
    return folder


def test_an_unchanged_pack_is_intact(tmp_path: Path) -> None:
    seen = verify(_laid(tmp_path, add_checksums(FILES)))
    assert seen.intact
    assert seen.files == len(FILES)
    assert seen.digest == data_digest(FILES)
    assert any(data_digest(FILES) in line for line in seen.lines)


def test_the_usual_tool_reads_it(tmp_path: Path) -> None:
    if shutil.which("sha256sum") is None:
        pytest.skip("no sha256sum here (GNU coreutils)")
    _laid(tmp_path, add_checksums(FILES))
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
    seen = verify(_laid(tmp_path_factory.mktemp("pack"), files | {name: bytes(content)}))
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
    _laid(tmp_path, add_checksums(FILES))
    (tmp_path / name).unlink()
    seen = verify(tmp_path)
    assert seen.missing == (name,)
    assert not seen.intact


@pytest.mark.parametrize("name", ["new.txt", "data/new.csv", "record/.hidden", "Binder.pdf"])
def test_an_added_file_is_named(tmp_path: Path, name: str) -> None:
    _laid(tmp_path, add_checksums(FILES) | {name: b""})
    assert name in verify(tmp_path).added


def test_links_and_empty_folders_are_reported(tmp_path: Path) -> None:
    _laid(tmp_path, add_checksums(FILES))
    (tmp_path / "empty").mkdir()
    (tmp_path / "link").symlink_to("/etc/hostname")
    assert verify(tmp_path).added == ("empty/", "link")
    (tmp_path / "binder.pdf").unlink()
    (tmp_path / "binder.pdf").symlink_to(tmp_path / "data/figures.json")
    assert "binder.pdf" in verify(tmp_path).altered


def test_two_files_that_changed_places_are_both_named(tmp_path: Path) -> None:
    files = add_checksums(FILES)
    swapped = files | {"binder.pdf": files["data/figures.json"], "data/figures.json": files["binder.pdf"]}
    assert verify(_laid(tmp_path, swapped)).altered == ("binder.pdf", "data/figures.json")


def test_without_a_seal_there_is_nothing_to_go_by(tmp_path: Path) -> None:
    _laid(tmp_path, FILES)
    assert not verify(tmp_path).intact
    assert "SEAL.txt" in verify(tmp_path).lines[0]
    assert not verify(tmp_path / "nowhere").intact
    (tmp_path / "no.zip").write_bytes(b"PK no zip at all")
    assert not verify(tmp_path / "no.zip").intact


def test_a_new_seal_over_altered_data_gives_another_digest(tmp_path: Path) -> None:
    """Whoever seals anew passes the seal, but not the digest that the binder prints."""
    altered = FILES | {"data/figures.json": b"{ }\n"}
    seen = verify(_laid(tmp_path, add_checksums(altered)))
    assert seen.intact
    assert seen.digest != data_digest(FILES)


def test_the_digest_is_what_the_binder_says_it_is() -> None:
    names = sorted(name for name in FILES if name.startswith("data/"))
    lines = "".join(f"{hashlib.sha256(FILES[name]).hexdigest()}  {name}\n" for name in names)
    assert data_digest(FILES) == hashlib.sha256(lines.encode()).hexdigest()
