"""Packs as files: when a build has none, where packs may be, drafts, many at once, and the same bytes every time."""

from __future__ import annotations

import os
import shutil
import time
import zipfile
from pathlib import Path
from typing import Any

import pytest

from builder.handover import packs
from builder.handover.packs import handover, verify_pack
from builder.publish.deploy.working_folder import MARK
from builder.publish.errors import PublishError
from tests.support.handover_samples import (
    FULL,
    REPO,
    SMALL,
    archive_with,
    bare_archive,
    load_yaml,
    read_files,
    text_of,
    write_yaml,
)


@pytest.fixture
def archive(small_pack: Path) -> Path:
    """Return the archive of the small pack."""
    return small_pack.parents[1]


def test_a_pack_and_its_zip_are_intact_and_have_the_same_files(small_pack: Path) -> None:
    zip_file = small_pack.with_name(f"{SMALL}.zip")
    with zipfile.ZipFile(zip_file) as bundle:
        files = {name.removeprefix(f"{SMALL}/"): bundle.read(name) for name in bundle.namelist()}
        assert bundle.namelist() == sorted(bundle.namelist())
    assert files == read_files(small_pack)
    for path in (small_pack, zip_file):
        report = verify_pack(path)
        assert report.ok
        assert report.lines[0].endswith("files, complete and unaltered")


def test_what_changed_in_a_pack_is_listed(small_pack: Path, tmp_path: Path) -> None:
    pack = tmp_path / SMALL
    shutil.copytree(small_pack, pack)
    (pack / "binder.pdf").write_bytes(b"other")
    (pack / "data" / "figures.json").unlink()
    (pack / "new.txt").write_text("x")
    report = verify_pack(pack)
    assert not report.ok
    assert report.lines == ("altered: binder.pdf", "missing: data/figures.json", "added: new.txt")


def test_a_pack_has_the_same_bytes_on_one_core_and_on_two(
    full_pack: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for cores in (1, 2):
        monkeypatch.setattr("builder.publish.workers._available_cpus", lambda cores=cores: cores)
        assert handover(full_pack.parents[1], (FULL,), out=tmp_path / str(cores)).ok
    zips = [tmp_path / str(cores) / f"{FULL}.zip" for cores in (1, 2)]
    assert zips[0].read_bytes() == zips[1].read_bytes()


def test_the_same_record_gives_the_same_bytes_anywhere(
    archive: Path, small_pack: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    elsewhere = tmp_path / "moved" / "archive"
    shutil.copytree(archive / "builds", elsewhere / "builds")
    for variable, value in (("TZ", "Pacific/Auckland"), ("LANG", "tr_TR.UTF-8"), ("SOURCE_DATE_EPOCH", "1700000000")):
        monkeypatch.setenv(variable, value)
    time.tzset()
    assert handover(elsewhere, (SMALL,), out=tmp_path, previous=small_pack).ok  # the issue keeps its date
    monkeypatch.undo()
    time.tzset()
    one, two = read_files(small_pack), read_files(tmp_path / SMALL)
    assert [name for name in sorted(one.keys() | two.keys()) if one.get(name) != two.get(name)] == []
    assert small_pack.with_name(f"{SMALL}.zip").read_bytes() == (tmp_path / f"{SMALL}.zip").read_bytes()


@pytest.fixture
def incomplete(tmp_path: Path) -> Path:
    return archive_with(
        tmp_path, SMALL, shop={"delivery_requires": ["delivery.settings.total_timing", "assembly.fits"]}
    )


def test_a_build_that_lacks_something_has_no_pack_but_a_reason(incomplete: Path) -> None:
    report = handover(incomplete, (SMALL,))
    assert not report.ok
    assert "not handed over" in report.lines[0]
    assert any("assembly.yaml" in line for line in report.lines)
    assert not (incomplete / "handover" / SMALL).exists()


def test_a_draft_may_lack_something(incomplete: Path) -> None:
    report = handover(incomplete, (SMALL,), draft=True)
    assert report.ok
    assert "DRAFT" in (incomplete / "handover" / SMALL / "READ-FIRST.txt").read_text(encoding="utf-8")


def test_an_unfinished_build_has_only_a_draft(tmp_path: Path) -> None:
    archive = bare_archive(tmp_path, status="in progress")
    report = handover(archive, ("bare",))
    assert not report.ok
    assert "in progress" in report.lines[0]
    assert handover(archive, ("bare",), draft=True).ok


def test_an_unknown_build_is_reported(archive: Path) -> None:
    report = handover(archive, ("nobody",))
    assert not report.ok
    assert "nobody: there is no such build" in report.lines


def test_a_broken_build_stops_no_other(archive: Path, tmp_path: Path) -> None:
    shutil.copytree(archive / "builds", tmp_path / "builds")
    (tmp_path / "builds" / "broken").mkdir()
    write_yaml(tmp_path / "builds" / "broken" / "build.yaml", {"title": 3, "nonsense": "x"})
    report = handover(tmp_path, everything=True)
    assert not report.ok
    assert any("build.yaml" in str(problem) for problem in report.problems)
    assert (tmp_path / "handover" / SMALL / "SEAL.txt").is_file()


def test_all_finished_builds_have_packs_and_the_others_are_skipped(tmp_path: Path) -> None:
    archive = archive_with(tmp_path, SMALL)
    for index in range(5):
        shutil.copytree(archive / "builds" / SMALL, archive / "builds" / f"copy-{index}")
    sheet = load_yaml(archive, SMALL, "build")
    write_yaml(archive / "builds" / "copy-4" / "build.yaml", sheet | {"status": "in progress"})
    report = handover(archive, everything=True)
    assert report.ok
    packs = {path.name for path in (archive / "handover").iterdir() if path.is_dir()}
    assert packs == {SMALL, *(f"copy-{index}" for index in range(4))}
    assert handover(archive, ("copy-3",), out=archive / "alone").ok
    assert read_files(archive / "alone" / "copy-3") == read_files(archive / "handover" / "copy-3")


@pytest.mark.parametrize(
    "where", ["site", "site/packs", "builds", "builds/packs", ".millbook/pages", "", "public/deep/er"]
)
def test_packs_are_never_written_into_a_site_or_the_records(archive: Path, tmp_path: Path, where: str) -> None:
    shutil.copytree(archive / "builds", tmp_path / "builds")
    (tmp_path / "public").mkdir()
    (tmp_path / "public" / MARK).write_text("a site")
    with pytest.raises(PublishError):
        handover(tmp_path, (SMALL,), out=tmp_path / where)
    assert not list(tmp_path.rglob("SEAL.txt"))


def test_a_link_into_the_site_is_followed(archive: Path, tmp_path: Path) -> None:
    (tmp_path / "public").mkdir()
    (tmp_path / "public" / MARK).write_text("a site")
    (tmp_path / "packs").symlink_to(tmp_path / "public")
    with pytest.raises(PublishError):
        handover(archive, (SMALL,), out=tmp_path / "packs")


def test_a_folder_that_is_not_a_pack_is_kept(archive: Path, tmp_path: Path) -> None:
    (tmp_path / SMALL).mkdir()
    (tmp_path / SMALL / "letters.txt").write_text("keep me")
    report = handover(archive, (SMALL,), out=tmp_path)
    assert not report.ok
    assert (tmp_path / SMALL / "letters.txt").read_text() == "keep me"
    assert sorted(path.name for path in tmp_path.iterdir()) == [SMALL]


def test_an_old_pack_is_replaced_with_all_its_files(archive: Path, tmp_path: Path) -> None:
    assert handover(archive, (SMALL,), out=tmp_path).ok
    (tmp_path / SMALL / "stray.txt").write_text("x")
    assert handover(archive, (SMALL,), out=tmp_path).ok
    assert verify_pack(tmp_path / SMALL).ok
    assert sorted(path.name for path in tmp_path.iterdir()) == [SMALL, f"{SMALL}.zip"]


def test_a_template_of_the_shop_replaces_the_built_in_one(archive: Path, tmp_path: Path) -> None:

    shutil.copytree(archive / "builds", tmp_path / "builds")
    own = tmp_path / "site_templates" / "handover"
    own.mkdir(parents=True)
    words = (REPO / "site_templates" / "handover" / "procedures.yaml").read_text(encoding="utf-8")
    (own / "procedures.yaml").write_text(
        words.replace("Never open a hot cooling system.", "Mind the goose."), encoding="utf-8"
    )
    binder = (REPO / "site_templates" / "handover" / "binder.typ").read_text(encoding="utf-8")
    (own / "binder.typ").write_text(binder.replace('"In this binder"', '"Inside"'), encoding="utf-8")
    assert handover(tmp_path, (SMALL,)).ok
    text = text_of((tmp_path / "handover" / SMALL / "binder.pdf").read_bytes())
    assert "Mind the goose" in text
    assert "Inside" in text


@pytest.mark.parametrize(
    ("name", "content"), [("binder.typ", "#nonsense("), ("procedures.yaml", "cautions: 3"), ("procedures.yaml", "- x")]
)
def test_an_error_in_a_template_is_reported_in_a_sentence(
    archive: Path, tmp_path: Path, name: str, content: str
) -> None:
    shutil.copytree(archive / "builds", tmp_path / "builds")
    (tmp_path / "site_templates" / "handover").mkdir(parents=True)
    (tmp_path / "site_templates" / "handover" / name).write_text(content)
    report = handover(tmp_path, (SMALL,))
    assert not report.ok
    assert name in report.lines[0]
    assert "\n" not in report.lines[0]


def test_the_data_is_a_data_package(full_pack: Path) -> None:
    import frictionless

    data = full_pack / "data"
    package: Any = frictionless.Package(str(data / "datapackage.json"))
    assert not frictionless.Package.validate_descriptor(package.to_descriptor()).errors
    report = package.validate()
    assert report.valid, report.flatten(["message"])
    assert {resource.path for resource in package.resources} == read_files(data).keys() - {"datapackage.json"}


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
def test_a_pack_is_not_written_through_a_link(tmp_path: Path) -> None:
    outside, folder = tmp_path / "outside", tmp_path / "packs"
    outside.mkdir()
    folder.mkdir()
    (outside / "keep.txt").write_text("not ours")
    (folder / ".one.next").symlink_to(outside)
    packs._write({"keep.txt": b"ours"}, folder / "one")
    assert (outside / "keep.txt").read_text() == "not ours"
    assert (folder / "one" / "keep.txt").read_bytes() == b"ours"
