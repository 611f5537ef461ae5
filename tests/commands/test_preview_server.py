"""The preview serves this machine only, follows changes, and keeps the last good site through trouble."""

from __future__ import annotations

import contextlib
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from http.client import HTTPConnection
from pathlib import Path

import pytest

from builder.commands.preview_server import changed_paths, serve_and_watch, serving, take_snapshot
from builder.publish.errors import PublishError


def fetch(address: str) -> str:
    with urllib.request.urlopen(address, timeout=60) as answer:
        return str(answer.read().decode())


def wait_until(true: Callable[[], bool]) -> None:
    deadline = time.monotonic() + 60
    while not true():
        assert time.monotonic() < deadline, "the condition did not become true in time"
        time.sleep(0.02)


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    (tmp_path / "builds" / "one").mkdir(parents=True)
    (tmp_path / "builds" / "one" / "build.yaml").write_text("title: old\n")
    return tmp_path


@contextlib.contextmanager
def previewing(archive: Path, republish: Callable[[], list[str]]) -> Iterator[list[str]]:
    lines: list[str] = []
    stop = threading.Event()
    arguments = {"port": 0, "echo": lines.append, "stop": stop, "pause": 0.03}
    thread = threading.Thread(target=serve_and_watch, args=(archive, archive / "site", republish), kwargs=arguments)
    thread.start()
    try:
        wait_until(lambda: any("preview at" in line for line in lines))
        yield lines
    finally:
        stop.set()
        thread.join(60)
    assert not thread.is_alive()


def test_follows_changes_and_keeps_the_last_good_site(archive: Path) -> None:
    record, site = archive / "builds" / "one" / "build.yaml", archive / "site"

    def republish() -> list[str]:
        words = record.read_text()
        if "bad" in words:
            raise PublishError("builds/one/build.yaml:1: error: bad")
        if "worse" in words:
            raise KeyError("a template's mistake")
        site.mkdir(exist_ok=True)
        (site / "index.html").write_text(words)
        return ["builds/one/build.yaml:1: warning: said once"]

    with previewing(archive, republish) as lines:
        address = next(line for line in lines if "preview at" in line).split()[2]
        assert fetch(address) == "title: old\n"
        assert "builds/one/build.yaml:1: warning: said once" in lines

        for text, message in (("title: bad\n", "error: bad"), ("title: worse one\n", "a template's mistake")):
            record.write_text(text)
            wait_until(lambda message=message: any(message in line for line in lines))  # type: ignore[misc]
            assert fetch(address) == "title: old\n"

        record.write_text("title: newer\n")
        wait_until(lambda: fetch(address) == "title: newer\n")
        assert "changed: builds/one/build.yaml" in lines


def test_a_template_of_the_shop_is_watched(archive: Path) -> None:
    before = take_snapshot(archive)
    own = archive / "site_templates" / "pages" / "home.md.j2"
    own.parent.mkdir(parents=True)
    own.write_text("x")
    (archive / "mkdocs.yml").write_text("site_name: x")
    (archive / "builds" / "one" / ".build.yaml.swp").write_text("an editor's own")
    assert changed_paths(before, take_snapshot(archive), archive) == ["mkdocs.yml", "site_templates/pages/home.md.j2"]


def test_files_that_the_configuration_includes_are_watched(archive: Path) -> None:
    (archive / "mkdocs.yml").write_text("INHERIT: base.yml\nhooks: [remark.py]\n")
    before = take_snapshot(archive)
    (archive / "base.yml").write_text("site_name: x")
    (archive / "remark.py").write_text("")
    (archive / "notes.py").write_text("")
    assert changed_paths(before, take_snapshot(archive), archive) == ["base.yml", "remark.py"]


def test_many_changes_are_counted(archive: Path) -> None:
    before = take_snapshot(archive)
    for number in range(9):
        (archive / "builds" / f"{number}.yaml").touch()
    assert changed_paths(before, take_snapshot(archive), archive)[-1] == "and 5 more"


@pytest.fixture
def site(tmp_path: Path) -> Iterator[str]:
    out = tmp_path / "site"
    (out / "builds").mkdir(parents=True)
    (out / "index.html").write_text("home")
    (out / "404.html").write_text("nothing here")
    (tmp_path / "secret.txt").write_text("private")
    with serving(out) as address:
        yield address


@pytest.mark.parametrize("path", ["missing.html", "builds/", "../secret.txt", "%2e%2e/secret.txt"])
def test_an_unknown_address_has_the_page_of_the_site(site: str, path: str) -> None:
    host = site.removeprefix("http://").rstrip("/")
    connection = HTTPConnection(host, timeout=60)
    connection.request("GET", f"/{path}")
    answer = connection.getresponse()
    assert (answer.status, answer.read()) == (404, b"nothing here")
    connection.close()


def test_other_host_names_are_refused(site: str) -> None:
    request = urllib.request.Request(site, headers={"Host": "shop.example"})
    with pytest.raises(urllib.error.HTTPError) as refused:
        urllib.request.urlopen(request, timeout=60)
    assert refused.value.code == 421
    assert b"home" not in refused.value.read()
    refused.value.close()


def test_the_browser_caches_nothing(site: str) -> None:
    with urllib.request.urlopen(site, timeout=60) as answer:
        assert answer.headers["Cache-Control"] == "no-store"


def test_port_in_use(site: str, tmp_path: Path) -> None:
    port = int(site.rstrip("/").rsplit(":", 1)[1])
    with pytest.raises(PublishError, match="--port"), serving(tmp_path, port=port):
        pass
    with pytest.raises(PublishError, match="--port"), serving(tmp_path, port=99999):
        pass
