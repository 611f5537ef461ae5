"""The command: when it refuses, where packs may lie, drafts, all at once, and the same bytes every time."""

from __future__ import annotations

import shutil
import time
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from builder.cli import main
from builder.handover.packs import handover, verify_pack
from builder.publish.deploy.atomic_swap import MARK
from builder.publish.errors import PublishError
from tests.support.handover_samples import FULL, REPO, archive_with, bare_archive, load_yaml, write_yaml

SMALL = "irrigation-single"


def _files(pack: Path) -> dict[str, bytes]:
    return {path.relative_to(pack).as_posix(): path.read_bytes() for path in pack.rglob("*") if path.is_file()}


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return archive_with(tmp_path_factory.mktemp("archive"), SMALL)


def test_the_pack_and_its_zip_are_whole_and_alike(archive: Path) -> None:
    import zipfile

    run = CliRunner().invoke(main, ["handover", SMALL, "--archive", str(archive)])
    assert run.exit_code == 0, run.output
    pack = archive / "handover" / SMALL
    with zipfile.ZipFile(archive / "handover" / f"{SMALL}.zip") as bundle:
        inside = {name.removeprefix(f"{SMALL}/"): bundle.read(name) for name in bundle.namelist()}
        assert bundle.namelist() == sorted(bundle.namelist())
    assert inside == _files(pack)
    for where in (pack, archive / "handover" / f"{SMALL}.zip"):
        seen = CliRunner().invoke(main, ["handover", "--verify", str(where)])
        assert seen.exit_code == 0, seen.output
        assert "all as they were sealed" in seen.output


def test_a_changed_pack_is_told_and_exits_with_one(archive: Path, tmp_path: Path) -> None:
    assert handover(archive, (SMALL,), out=tmp_path).ok
    (tmp_path / SMALL / "binder.pdf").write_bytes(b"other")
    (tmp_path / SMALL / "data" / "figures.json").unlink()
    (tmp_path / SMALL / "new.txt").write_text("x")
    seen = CliRunner().invoke(main, ["handover", "--verify", str(tmp_path / SMALL)])
    assert seen.exit_code == 1
    assert seen.output.splitlines() == ["altered: binder.pdf", "missing: data/figures.json", "added: new.txt"]


def test_the_same_record_gives_the_same_bytes_anywhere(
    archive: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert handover(archive, (SMALL,), out=tmp_path / "one").ok
    elsewhere = tmp_path / "moved" / "archive"
    shutil.copytree(archive / "builds", elsewhere / "builds")
    for variable, value in (("TZ", "Pacific/Auckland"), ("LANG", "tr_TR.UTF-8"), ("SOURCE_DATE_EPOCH", "1700000000")):
        monkeypatch.setenv(variable, value)
    time.tzset()
    assert handover(elsewhere, (SMALL,), out=tmp_path / "two").ok
    monkeypatch.undo()
    time.tzset()
    one, two = _files(tmp_path / "one" / SMALL), _files(tmp_path / "two" / SMALL)
    assert [name for name in sorted(one.keys() | two.keys()) if one.get(name) != two.get(name)] == []
    assert (tmp_path / "one" / f"{SMALL}.zip").read_bytes() == (tmp_path / "two" / f"{SMALL}.zip").read_bytes()


@pytest.fixture
def lacking(tmp_path: Path) -> Path:
    return archive_with(
        tmp_path, SMALL, shop={"delivery_requires": ["delivery.settings.total_timing", "assembly.fits"]}
    )


def test_it_refuses_while_something_is_missing_and_says_what(lacking: Path) -> None:
    run = CliRunner().invoke(main, ["handover", SMALL, "--archive", str(lacking)])
    assert run.exit_code == 1
    assert "not handed over" in run.output
    assert "assembly.yaml" in run.output
    assert not (lacking / "handover" / SMALL).exists()


def test_a_draft_is_made_all_the_same(lacking: Path) -> None:
    outcome = handover(lacking, (SMALL,), draft=True)
    assert outcome.ok
    assert "DRAFT" in (lacking / "handover" / SMALL / "READ-FIRST.txt").read_text(encoding="utf-8")


def test_an_unfinished_build_only_makes_a_draft(tmp_path: Path) -> None:
    archive = bare_archive(tmp_path, status="in progress")
    outcome = handover(archive, ("bare",))
    assert not outcome.ok
    assert "in progress" in outcome.lines[0]
    assert handover(archive, ("bare",), draft=True).ok


def test_an_unknown_build_is_told(archive: Path) -> None:
    outcome = handover(archive, ("nobody",))
    assert not outcome.ok
    assert "nobody: there is no such build" in outcome.lines


def test_a_broken_build_stops_no_other(archive: Path, tmp_path: Path) -> None:
    shutil.copytree(archive / "builds", tmp_path / "builds")
    (tmp_path / "builds" / "broken").mkdir()
    write_yaml(tmp_path / "builds" / "broken" / "build.yaml", {"title": 3, "nonsense": "x"})
    outcome = handover(tmp_path, everything=True)
    assert not outcome.ok
    assert any("build.yaml" in str(problem) for problem in outcome.problems)
    assert (tmp_path / "handover" / SMALL / "SEAL.txt").is_file()


def test_all_makes_every_finished_build_and_passes_over_the_others(tmp_path: Path) -> None:
    archive = archive_with(tmp_path, SMALL)
    for index in range(7):
        shutil.copytree(archive / "builds" / SMALL, archive / "builds" / f"copy-{index}")
    sheet = load_yaml(archive, SMALL, "build")
    write_yaml(archive / "builds" / "copy-6" / "build.yaml", sheet | {"status": "in progress"})
    outcome = handover(archive, everything=True)
    assert outcome.ok
    made = {path.name for path in (archive / "handover").iterdir() if path.is_dir()}
    assert made == {SMALL, *(f"copy-{index}" for index in range(6))}
    alone = handover(archive, ("copy-3",), out=archive / "alone")
    assert alone.ok
    assert _files(archive / "alone" / "copy-3") == _files(archive / "handover" / "copy-3")


@pytest.mark.parametrize(
    "where", ["site", "site/packs", "builds", "builds/packs", ".millbook/pages", "", "public/deep/er"]
)
def test_packs_never_lie_where_they_could_be_read_or_taken_for_records(
    archive: Path, tmp_path: Path, where: str
) -> None:
    shutil.copytree(archive / "builds", tmp_path / "builds")
    (tmp_path / "public").mkdir()
    (tmp_path / "public" / MARK).write_text("a site stands here")
    with pytest.raises(PublishError):
        handover(tmp_path, (SMALL,), out=tmp_path / where)
    assert not list(tmp_path.rglob("SEAL.txt"))


def test_a_link_into_the_site_is_seen_through(archive: Path, tmp_path: Path) -> None:
    (tmp_path / "public").mkdir()
    (tmp_path / "public" / MARK).write_text("a site stands here")
    (tmp_path / "packs").symlink_to(tmp_path / "public")
    with pytest.raises(PublishError):
        handover(archive, (SMALL,), out=tmp_path / "packs")


def test_what_is_no_pack_is_left_alone(archive: Path, tmp_path: Path) -> None:
    (tmp_path / SMALL).mkdir()
    (tmp_path / SMALL / "letters.txt").write_text("keep me")
    outcome = handover(archive, (SMALL,), out=tmp_path)
    assert not outcome.ok
    assert (tmp_path / SMALL / "letters.txt").read_text() == "keep me"
    assert sorted(path.name for path in tmp_path.iterdir()) == [SMALL]


def test_an_old_pack_is_replaced_as_a_whole(archive: Path, tmp_path: Path) -> None:
    assert handover(archive, (SMALL,), out=tmp_path).ok
    (tmp_path / SMALL / "stray.txt").write_text("x")
    assert handover(archive, (SMALL,), out=tmp_path).ok
    assert verify_pack(tmp_path / SMALL).ok
    assert sorted(path.name for path in tmp_path.iterdir()) == [SMALL, f"{SMALL}.zip"]


def test_the_shops_own_template_takes_the_place_of_ours(archive: Path, tmp_path: Path) -> None:
    from tests.support.handover_samples import text_of

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
def test_a_template_at_fault_is_told_in_a_sentence(archive: Path, tmp_path: Path, name: str, content: str) -> None:
    shutil.copytree(archive / "builds", tmp_path / "builds")
    (tmp_path / "site_templates" / "handover").mkdir(parents=True)
    (tmp_path / "site_templates" / "handover" / name).write_text(content)
    outcome = handover(tmp_path, (SMALL,))
    assert not outcome.ok
    assert name in outcome.lines[0]
    assert "\n" not in outcome.lines[0]


def test_the_data_is_a_data_package(tmp_path: Path) -> None:
    import frictionless

    archive = archive_with(tmp_path, FULL)
    assert handover(archive, (FULL,)).ok
    data = archive / "handover" / FULL / "data"
    package: Any = frictionless.Package(str(data / "datapackage.json"))
    assert not frictionless.Package.validate_descriptor(package.to_descriptor()).errors
    report = package.validate()
    assert report.valid, report.flatten(["message"])
    listed = {resource.path for resource in package.resources}
    there = {path.relative_to(data).as_posix() for path in data.rglob("*") if path.is_file()}
    assert there - listed == {"datapackage.json"}
    assert listed <= there
