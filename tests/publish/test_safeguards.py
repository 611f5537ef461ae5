"""An archive that suddenly looks empty, and files that are somebody else's, stop a publish before any change."""

from __future__ import annotations

import errno
import os
import re
import shutil
import time
from pathlib import Path
from typing import Any

import pytest

from builder.publish.deploy.working_folder import MARK
from builder.publish.edition import Edition
from builder.publish.errors import PublishError, PublishRefused
from builder.publish.incremental import manifest
from builder.publish.own_code import own_code_in_force
from builder.publish.pages.templating import builtin_config
from builder.publish.pipeline import publish
from builder.publish.safeguards import SITE_ENTRIES
from tests.support import tiny_archive as tiny
from tests.support.command_line import run


@pytest.fixture(scope="module")
def published(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An archive of three builds, published."""
    archive = tmp_path_factory.mktemp("safeguards") / "shop"
    tiny.use_short_pages(archive)
    for number, slug in enumerate(("ash", "birch", "cedar")):
        tiny.write_build(archive, slug, number=number)
    publish(archive, archive / "site")
    return archive


@pytest.fixture
def archive(published: Path, tmp_path: Path) -> Path:
    """A copy of that archive, published at its own place."""
    archive = shutil.copytree(published, tmp_path / "shop", symlinks=True)
    publish(archive, archive / "site")
    return archive


@pytest.mark.parametrize("loss", ["missing", "a file", "empty"])
@pytest.mark.parametrize("state", ["state", "no state"])
def test_an_unmounted_share_does_not_empty_the_site(archive: Path, loss: str, state: str) -> None:
    (archive / "builds").rename(archive / "away")
    if loss == "a file":
        (archive / "builds").write_text("")
    elif loss == "empty":
        (archive / "builds").mkdir()
    if state == "no state":
        shutil.rmtree(archive / ".millbook")
    before = tiny.read_tree(archive / "site")
    result = run("publish", archive=archive)
    assert result.exit_code == 2
    assert "--allow-removals" in result.output if loss == "empty" else str(archive / "builds") in result.output
    assert tiny.read_tree(archive / "site") == before
    if loss == "empty":
        assert run("publish", "--allow-removals", archive=archive).exit_code == 0
        assert not (archive / "site" / "builds").exists()


@pytest.mark.parametrize("state", ["state", "no state"])
def test_losing_more_than_half_names_the_builds_and_why(archive: Path, state: str) -> None:
    shutil.rmtree(archive / "builds" / "ash")
    tiny.write_sheet(archive / "builds" / "birch", title="Birch", status="withdrawn")
    if state == "no state":
        shutil.rmtree(archive / ".millbook")
    before = tiny.read_tree(archive / "site")
    for _ in range(2):
        with pytest.raises(PublishRefused, match=r"2 of 3 .*ash \(its folder is gone\), birch \(withdr"):
            publish(archive, archive / "site")
        assert tiny.read_tree(archive / "site") == before
    assert publish(archive, archive / "site", allow_removals=True).published == ("cedar",)
    tiny.write_sheet(archive / "builds" / "birch", title="Birch")
    assert publish(archive, archive / "site").published == ("birch", "cedar")


def test_records_that_can_no_longer_be_read_count_as_lost(archive: Path) -> None:
    for slug in ("ash", "birch"):
        (archive / "builds" / slug / "build.yaml").write_text("title: [\n")
    with pytest.raises(PublishRefused, match=r"ash \(1 error\)"):
        publish(archive, archive / "site", full=True)


def test_half_may_go_and_the_shop_s_own_edition_may_lose_all(archive: Path) -> None:
    shutil.rmtree(archive / "builds" / "ash")
    assert publish(archive, archive / "site").published == ("birch", "cedar")
    shop = archive / ".millbook" / "shop" / "site"
    assert len(publish(archive, shop, edition=Edition.SHOP).published) == 2
    for slug in ("birch", "cedar"):
        shutil.rmtree(archive / "builds" / slug)
    assert publish(archive, shop, edition=Edition.SHOP).published == ()


def test_another_site_of_the_archive_does_not_hide_what_is_lost(archive: Path, tmp_path: Path) -> None:
    """The state is that of the site published last: for another one its folders count."""
    for slug in ("ash", "birch"):
        shutil.rmtree(archive / "builds" / slug)
    assert publish(archive, tmp_path / "elsewhere").published == ("cedar",)
    with pytest.raises(PublishRefused, match="2 of 3"):
        publish(archive, archive / "site")


WORKING_NAMES = (
    ".site.next", ".site.last", ".site.mirror", ".millbook", ".millbook/pages", ".millbook/pages/builds",
    ".millbook/bodies", ".millbook/charts", ".millbook/templates",
)  # fmt: skip


def foreign_folder(home: Path) -> Path:
    """Write a folder of somebody else."""
    folder = home / "somebody"
    (folder / "inner").mkdir(parents=True)
    (folder / "keep.txt").write_text("not ours")
    (folder / "inner" / "index.html").write_text("not ours either")
    return folder


def everything_in(folder: Path) -> dict[str, bytes | str | None]:
    """Return what is in a folder, links as their targets, without the locks."""
    return {
        str(path): os.readlink(path) if path.is_symlink() else path.read_bytes() if path.is_file() else None
        for path in folder.rglob("*")
        if path.suffix != ".lock"
    }


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
@pytest.mark.parametrize("name", WORKING_NAMES)
def test_what_only_has_the_name_of_a_working_folder_is_left_alone(archive: Path, tmp_path: Path, name: str) -> None:
    outside, place = foreign_folder(tmp_path), archive / name
    tiny.write_sheet(archive / "builds" / "ash", title="Changed")
    shutil.rmtree(place, ignore_errors=True)
    plants = {
        "link": lambda: place.symlink_to(outside),
        "link to nothing": lambda: place.symlink_to(tmp_path / "nowhere"),
        "folder": lambda: shutil.copytree(outside, place),
        "file": lambda: place.write_text("not ours"),
    }
    for number, plant in enumerate(plants.values()):
        plant()
        before = everything_in(tmp_path)
        with pytest.raises(PublishRefused, match=f"{re.escape(str(place))} .*remove or rename it"):
            publish(archive, archive / "site")
        assert everything_in(tmp_path) == before
        place.rename(tmp_path / f"renamed-{number}")
    assert publish(archive, archive / "site").published == ("ash", "birch", "cedar")


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
@pytest.mark.parametrize("name", ["pages/builds/ash", "pages/assets", "bodies/ash.md", "state.json", "index.json",
                                  "state.json.part"])  # fmt: skip
@pytest.mark.parametrize("state", ["state", "no state"])
def test_a_link_inside_a_working_folder_is_removed_and_not_followed(
    archive: Path, tmp_path: Path, name: str, state: str
) -> None:
    outside, place = foreign_folder(tmp_path), archive / ".millbook" / name
    shutil.rmtree(place) if place.is_dir() else place.unlink(missing_ok=True)
    if state == "no state":
        (archive / ".millbook" / "state.json").unlink(missing_ok=True)
    place.symlink_to(outside / "keep.txt" if "." in name else outside)
    tiny.write_sheet(archive / "builds" / "ash", title="Changed")
    before = tiny.read_tree(outside)
    publish(archive, archive / "site")
    assert tiny.read_tree(outside) == before
    assert not place.is_symlink()
    assert b"Changed" in (archive / "site" / "builds" / "ash" / "index.html").read_bytes()


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
def test_a_lock_that_is_a_link_is_not_followed(archive: Path, tmp_path: Path) -> None:
    for place in (archive / ".site.lock", archive / ".millbook" / "lock"):
        place.unlink(missing_ok=True)
        place.symlink_to(tmp_path / "outside")
        with pytest.raises(PublishRefused, match="is a link"):
            publish(archive, archive / "site")
        place.unlink()
        assert not (tmp_path / "outside").exists()


def test_the_working_folder_of_a_version_without_marks_is_taken_over(archive: Path) -> None:
    for mark in (archive / ".millbook").rglob(MARK):
        mark.unlink()
    before = tiny.read_tree(archive / "site")
    assert publish(archive, archive / "site").changed == 0
    assert tiny.read_tree(archive / "site") == before
    assert len(list((archive / ".millbook").rglob(MARK))) == len(WORKING_NAMES) - 3


STATIC_FILES = {"CNAME": "engines.example\n", ".htaccess": "Deny from none\n", ".well-known/contact.txt": "the shop\n"}


def write_static(archive: Path, files: dict[str, str] = STATIC_FILES) -> Path:
    folder = archive / "site_templates" / "static"
    for name, text in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text)
    return folder


def test_static_files_are_copied_and_stay(archive: Path) -> None:
    static, site = write_static(archive), archive / "site"
    (static / ".DS_Store").write_text("")
    publish(archive, site)
    for title in ("Changed", "Changed again"):
        tiny.write_sheet(archive / "builds" / "ash", title=title)
        publish(archive, site)
        assert {name: (site / name).read_text() for name in STATIC_FILES} == STATIC_FILES
    assert not (site / ".DS_Store").exists()
    (static / "CNAME").write_text("motors.example\n")
    (static / ".htaccess").unlink()
    publish(archive, site)
    assert (site / "CNAME").read_text() == "motors.example\n"
    assert not (site / ".htaccess").exists()
    shutil.rmtree(archive / ".millbook")
    publish(archive, site)
    assert (site / "CNAME").read_text() == "motors.example\n"


@pytest.mark.parametrize(
    "name", ["index.html", "builds/ash/note.html", "assets", "search/search_index.js", "404.html/x", MARK]
)
def test_static_files_replace_none_of_ours(archive: Path, name: str) -> None:
    before = tiny.read_tree(archive / "site")
    write_static(archive, {name: "mine"})
    with pytest.raises(PublishError, match=f"would replace {re.escape(name)} of the site itself"):
        publish(archive, archive / "site")
    assert tiny.read_tree(archive / "site") == before


def test_a_link_among_the_static_files_is_not_followed(archive: Path, tmp_path: Path) -> None:
    (tmp_path / "private.txt").write_text("private")
    static = write_static(archive)
    (static / "public.txt").symlink_to(tmp_path / "private.txt")
    with pytest.raises(PublishError, match="is a link"):
        publish(archive, archive / "site")


@pytest.mark.parametrize("state", ["state", "no state"])
@pytest.mark.parametrize(
    "name", ["CNAME", ".git/config", "about/index.html", "builds/ash/mine.txt", "builds/mine/x.html"]
)
def test_what_others_put_into_the_site_is_not_deleted(archive: Path, name: str, state: str) -> None:
    site = archive / "site"
    (site / name).parent.mkdir(exist_ok=True)
    (site / name).write_text("mine")
    (site / ".DS_Store").write_text("")
    tiny.write_sheet(archive / "builds" / "ash", title="Changed")
    if state == "no state":
        if name.startswith("builds/"):
            pytest.skip("only the state knows every file")
        shutil.rmtree(archive / ".millbook")
    before = tiny.read_tree(site)
    shown = name if name.startswith("builds/") else name.partition("/")[0]
    for arguments in ((), ("--full",)):
        result = run("publish", *arguments, archive=archive)
        assert result.exit_code == 2
        assert f"did not write: {shown}." in result.output
        assert "site_templates/static/" in result.output
        assert ("--out" in result.output) == (name == ".git/config")
        assert tiny.read_tree(site) == before
    (site / name).unlink()
    assert run("publish", archive=archive).exit_code == 0
    assert not (site / ".DS_Store").exists()


def test_the_names_at_the_top_of_a_site_are_known(archive: Path) -> None:
    """They count where the state of the last publish is lost. This archive has no engine that returned."""
    assert {path.name for path in (archive / "site").iterdir()} == {*SITE_ENTRIES, MARK} - {"sitemap.xml", "engines"}


def test_a_second_site_with_other_builds_is_published_again(archive: Path, tmp_path: Path) -> None:
    """The state is that of the first site, which has no page of the withdrawn build any more."""
    publish(archive, tmp_path / "second")
    tiny.write_sheet(archive / "builds" / "cedar", title="Cedar", status="withdrawn")
    publish(archive, archive / "site")
    publish(archive, tmp_path / "second")
    assert tiny.differing_files(archive / "site", tmp_path / "second") == []


def hashed_files(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Return a list to which the names of the outputs that are read again are added from now on."""
    names: list[str] = []
    usual = manifest.hash_file

    def noting(path: Path | str) -> str:
        names.append(Path(path).name)
        return usual(path)

    monkeypatch.setattr(manifest, "hash_file", noting)
    return names


@pytest.mark.skipif(os.name == "nt", reason="ctime is the time of creation there")
@pytest.mark.parametrize("name", ["site/builds/ash/index.html", ".millbook/pages/builds/ash/index.md",
                                  ".millbook/bodies/ash.md"])  # fmt: skip
def test_a_file_altered_with_its_size_and_time_kept_is_written_again(
    archive: Path, tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    publish(archive, archive / "site", full=True)
    with monkeypatch.context() as patch:
        names = hashed_files(patch)
        publish(archive, archive / "site")
        assert not names, "what nobody touched is not read again"
    path = archive / name
    content, status = path.read_bytes(), path.stat()
    path.write_bytes(content.replace(b"ash", b"elm"))
    os.utime(path, ns=(status.st_atime_ns, status.st_mtime_ns))
    tiny.write_sheet(archive / "builds" / "cedar", title="Changed too")
    publish(archive, archive / "site")
    publish(archive, tmp_path / "full", full=True)
    assert tiny.differing_files(archive / "site", tmp_path / "full") == []


def test_files_whose_inode_changed_are_read_once(archive: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A backup that links every file changes them so."""
    publish(archive, archive / "site", full=True)
    for path in (archive / "site").rglob("*.html"):
        path.chmod(0o600)
    time.sleep(0.1)  # the clock of a file system ticks every few milliseconds
    names = hashed_files(monkeypatch)
    assert publish(archive, archive / "site").changed == 0
    assert names
    names.clear()
    assert publish(archive, archive / "site").changed == 0
    assert not names


@pytest.mark.parametrize("name", ["index.md", "state.json", "index.json", "search_index.js"])
def test_a_full_disk_names_the_file_and_the_site(archive: Path, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Writing to a full disk raises an error that names no file."""
    tiny.write_sheet(archive / "builds" / "ash", title="Changed")
    before = tiny.read_tree(archive / "site")

    def full(usual: Any) -> Any:
        def write(self: Path, *content: Any, **options: Any) -> int:
            if self.name.startswith(name):
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            return usual(self, *content, **options)

        return write

    for method in ("write_bytes", "write_text"):
        monkeypatch.setattr(Path, method, full(getattr(Path, method)))
    with pytest.raises(PublishError, match="the disk is full") as error:
        publish(archive, archive / "site")
    place = ".site.next" if name == "search_index.js" else name
    assert f"{archive / 'site'}: " in str(error.value)
    assert re.search(rf"\({re.escape(str(archive))}.*{re.escape(place)}\)", str(error.value)), error.value
    assert tiny.read_tree(archive / "site") == before


def test_what_runs_as_code_is_named(archive: Path) -> None:
    config = re.sub(r" *custom_dir: .*", "", builtin_config().read_text(encoding="utf-8"))
    (archive / "mkdocs.yml").write_text(f"{config}\nhooks: [hooks/prices.py]\n", encoding="utf-8")
    (archive / "hooks").mkdir()
    (archive / "hooks" / "prices.py").write_text("")
    write_static(archive)
    line = "uses the archive's own mkdocs.yml (hooks: hooks/prices.py) and templates: "
    line += ", ".join(f"pages/{name}.md.j2" for name in sorted(tiny.SHORT))
    for _ in range(2):
        assert line in run("publish", archive=archive).output.splitlines()
    (archive / "mkdocs.yml").unlink()
    shutil.rmtree(archive / "site_templates" / "pages")
    assert "archive's own" not in run("publish", archive=archive).output


def test_a_file_that_equals_the_built_in_one_is_not_named(archive: Path) -> None:
    builtin = builtin_config()
    (archive / "mkdocs.yml").write_bytes(builtin.read_bytes())
    name = "assets/millbook.css"
    (archive / "site_templates" / "assets").mkdir(exist_ok=True)
    copy = archive / "site_templates" / name
    copy.write_bytes((builtin.parent / "site_templates" / name).read_bytes())
    assert "mkdocs.yml" not in own_code_in_force(archive)
    assert name not in own_code_in_force(archive)
    copy.write_text("body {}", encoding="utf-8")
    assert name in own_code_in_force(archive)
