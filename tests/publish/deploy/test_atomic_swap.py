"""The published site is always a complete one, and nothing but a site is ever replaced."""

from __future__ import annotations

import contextlib
import errno
import os
import subprocess
import sys
import textwrap
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from builder.publish.deploy import atomic_swap
from builder.publish.deploy.atomic_swap import activate, exclusive_output, keep_staging, staging_dir
from builder.publish.deploy.working_folder import MARK, write_mark
from builder.publish.errors import PublishError


def publish(archive: Path, words: str, out: Path | None = None) -> Path:
    out = out or archive / "site"
    with replaced(archive, out) as fresh:
        for name in ("index.html", "last.html"):
            (fresh / name).write_text(words)
    return out


@contextlib.contextmanager
def replaced(archive: Path, out: Path) -> Iterator[Path]:
    """As a publish replaces the site, without making one."""
    with exclusive_output(out, archive=archive, wait=60) as site, staging_dir(site) as fresh:
        yield fresh
        activate(fresh, site)


def words_of(site: Path) -> set[str]:
    assert (site / MARK).is_file()
    return {(site / name).read_text() for name in ("index.html", "last.html")}


def leftovers(archive: Path) -> set[str]:
    return {path.name for path in archive.iterdir() if path.name.startswith(".site")} - {".site.lock"}


def test_first_and_second_publish(tmp_path: Path) -> None:
    assert words_of(publish(tmp_path, "old")) == {"old"}
    (tmp_path / "site" / "withdrawn.html").write_text("a build that goes away")
    assert words_of(publish(tmp_path, "new")) == {"new"}
    assert not (tmp_path / "site" / "withdrawn.html").exists()
    assert leftovers(tmp_path) == set()


def test_without_exchange_two_renames_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(atomic_swap, "rename_exchange", lambda one, other: False)
    publish(tmp_path, "old")
    assert words_of(publish(tmp_path, "new")) == {"new"}
    assert leftovers(tmp_path) == set()


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="the system call differs elsewhere")
def test_linux_exchanges_in_one_step(tmp_path: Path) -> None:
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        (tmp_path / name / name).touch()
    if not atomic_swap.rename_exchange(tmp_path / "a", tmp_path / "b"):
        pytest.skip("this drive cannot exchange two folders")
    assert (tmp_path / "a" / "b").exists()
    assert (tmp_path / "b" / "a").exists()


def test_failing_block_leaves_the_old_site(tmp_path: Path) -> None:
    publish(tmp_path, "old")
    with pytest.raises(TypeError), replaced(tmp_path, tmp_path / "site") as fresh:
        (fresh / "index.html").write_text(b"half")  # type: ignore[arg-type]
    assert words_of(tmp_path / "site") == {"old"}
    assert leftovers(tmp_path) == set()


@pytest.mark.parametrize(
    ("code", "words"),
    [(errno.ENOSPC, "disk is full"), (errno.EROFS, "read-only"), (errno.EACCES, "not allowed")],
)
def test_refusals_of_the_system_in_plain_words(tmp_path: Path, code: int, words: str) -> None:
    publish(tmp_path, "old")
    with pytest.raises(PublishError, match=words), replaced(tmp_path, tmp_path / "site"):
        raise OSError(code, os.strerror(code), "some/file.html")
    assert words_of(tmp_path / "site") == {"old"}


def test_second_rename_refused_old_site_put_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    publish(tmp_path, "old")
    monkeypatch.setattr(atomic_swap, "rename_exchange", lambda one, other: False)
    rename, count = os.rename, [0]

    def second_refused(a: Path, b: Path) -> None:
        count[0] += 1
        if count[0] == 2:
            raise OSError(errno.ENOSPC, "No space left on device")
        rename(a, b)

    monkeypatch.setattr(os, "rename", second_refused)
    with pytest.raises(PublishError, match="disk is full"):
        publish(tmp_path, "new")
    assert words_of(tmp_path / "site") == {"old"}


def test_killed_between_two_renames_is_recovered(tmp_path: Path) -> None:
    site = publish(tmp_path, "old")
    publish(tmp_path, "new", tmp_path / "other")
    os.rename(site, tmp_path / ".site.last")
    os.rename(tmp_path / "other", tmp_path / ".site.next")
    atomic_swap.recover(site)
    assert words_of(site) == {"old"}
    assert leftovers(tmp_path) == set()


def test_killed_after_the_exchange_is_recovered(tmp_path: Path) -> None:
    site = publish(tmp_path, "new")
    (tmp_path / ".site.next").mkdir()
    write_mark(tmp_path / ".site.next")
    (tmp_path / ".site.next" / "index.html").write_text("old")
    assert words_of(publish(tmp_path, "newest")) == {"newest"}
    assert leftovers(tmp_path) == set()
    assert words_of(site) == {"newest"}


def test_the_mirror_is_the_next_staging_directory(tmp_path: Path) -> None:
    site = publish(tmp_path, "old")
    with exclusive_output(site, archive=tmp_path) as real, staging_dir(real) as fresh:
        assert [path.name for path in fresh.iterdir()] == [MARK]
        (fresh / "kept.html").write_text("kept")
        keep_staging(fresh, real)
    assert leftovers(tmp_path) == {".site.mirror"}
    with exclusive_output(site, archive=tmp_path) as real, staging_dir(real) as fresh:
        assert (fresh / "kept.html").is_file()
        assert leftovers(tmp_path) == {".site.next"}
    assert leftovers(tmp_path) == set()


@pytest.mark.parametrize("where", [".", "..", "builds", "builds/one", "site_templates", ".millbook/site"])
def test_the_records_are_never_replaced(tmp_path: Path, where: str) -> None:
    archive = tmp_path / "shop"
    (archive / "builds" / "one").mkdir(parents=True)
    with pytest.raises(PublishError, match="choose another folder"):
        publish(archive, "x", archive / where)
    assert (archive / "builds" / "one").is_dir()


@pytest.mark.parametrize("where", ["handover", "handover/new"])
def test_a_site_is_never_written_among_the_delivery_packs(tmp_path: Path, where: str) -> None:
    with pytest.raises(PublishError, match="lies in handover/, which is not for the site"):
        publish(tmp_path, "x", tmp_path / where)
    assert not (tmp_path / "handover").exists()


def test_a_folder_of_something_else_is_left_alone(tmp_path: Path) -> None:
    photos = tmp_path / "photos"
    photos.mkdir()
    (photos / "wedding.jpg").touch()
    with pytest.raises(PublishError, match="something other than a published site"):
        publish(tmp_path, "x", photos)
    assert (photos / "wedding.jpg").exists()
    (tmp_path / "file").touch()
    with pytest.raises(PublishError, match="is a file"):
        publish(tmp_path, "x", tmp_path / "file")


def test_an_empty_folder_and_a_link_to_a_folder_will_do(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    assert words_of(publish(tmp_path, "x", tmp_path / "empty")) == {"x"}
    (tmp_path / "linked").symlink_to(tmp_path / "empty")
    publish(tmp_path, "y", tmp_path / "linked")
    assert (tmp_path / "linked").is_symlink()
    assert words_of(tmp_path / "empty") == {"y"}


@pytest.mark.skipif(os.name == "nt", reason="kill -9 is a POSIX signal")
def test_killed_at_any_moment_the_site_is_whole(tmp_path: Path) -> None:
    """A publisher that does nothing but replace the site is killed again and again, often in mid-swap."""
    program = textwrap.dedent(
        """
        import sys
        from pathlib import Path
        from builder.publish.deploy.atomic_swap import activate, exclusive_output, staging_dir
        archive = Path(sys.argv[1])
        for round in range(100000):
            with exclusive_output(archive / "site", archive=archive) as site, staging_dir(site) as fresh:
                for name in ("index.html", "last.html"):
                    (fresh / name).write_text(sys.argv[2] + str(round))
                activate(fresh, site)
            print(round, flush=True)
        """
    )
    for attempt in range(6):
        child = subprocess.Popen(
            [sys.executable, "-c", program, str(tmp_path), f"{attempt}:"], stdout=subprocess.PIPE, text=True
        )
        assert child.stdout is not None
        child.stdout.readline()
        time.sleep(0.013 * attempt)
        child.kill()
        child.wait()
        child.stdout.close()
        assert len(words_of(tmp_path / "site")) == 1
    assert words_of(publish(tmp_path, "healed")) == {"healed"}
    assert leftovers(tmp_path) == set()
