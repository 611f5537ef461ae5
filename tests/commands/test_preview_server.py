"""The preview serves this machine only, follows changes, and keeps the last good site through trouble."""

from __future__ import annotations

import contextlib
import os
import socket
import threading
import time
import urllib.request
from collections.abc import Callable, Iterator
from http.client import HTTPConnection
from pathlib import Path

import pytest

from builder.commands import preview_server
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


UNUSUAL_PATHS = ("/.%00./x", "/%00", "/x%ff%fe", "/%ed%a0%80", "/" + "a" * 5000, "/..\\..\\secret.txt", "/[",
                 "/index.html/", "/pipe", "x", "http://[/x", "/a;b?c#d")  # fmt: skip


@pytest.mark.parametrize("path", UNUSUAL_PATHS)
def test_a_path_that_no_page_has_is_not_found(
    site: str, tmp_path: Path, path: str, capfd: pytest.CaptureFixture[str]
) -> None:
    if path == "/pipe":
        os.mkfifo(tmp_path / "site" / "pipe")
    host = site.removeprefix("http://").rstrip("/")
    reply = exchange(site, f"GET {path} HTTP/1.0\r\nHost: {host}\r\n\r\n".encode("latin-1"))
    assert b" 404 " in reply.partition(b"\r\n")[0]
    assert reply.endswith(b"nothing here")
    assert "Traceback" not in capfd.readouterr().err


def exchange(site: str, request: bytes) -> bytes:
    """Send a request as it is, and return everything that comes back until the connection is closed."""
    host, _, port = site.removeprefix("http://").rstrip("/").partition(":")
    with socket.create_connection((host, int(port)), timeout=30) as connection:
        connection.sendall(request)
        reply = b""
        while block := connection.recv(65536):
            reply += block
    return reply


@pytest.mark.parametrize("sent", [b"", b"GET / HT", b"GET / HTTP/1.0\r\nHost:"])
def test_a_silent_client_is_disconnected(site: str, monkeypatch: pytest.MonkeyPatch, sent: bytes) -> None:
    monkeypatch.setattr(preview_server._PageHandler, "timeout", 0.2)
    assert exchange(site, sent) == b""


def test_a_slow_client_is_disconnected(
    site: str, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(preview_server, "_DURATION", 0.5)
    host, _, port = site.removeprefix("http://").rstrip("/").partition(":")
    end = time.monotonic() + 30
    with socket.create_connection((host, int(port)), timeout=30) as connection, contextlib.suppress(ConnectionError):
        while time.monotonic() < end:
            connection.sendall(b"x")
            time.sleep(0.05)
    assert time.monotonic() < end
    assert "Traceback" not in capfd.readouterr().err


@pytest.mark.parametrize("host", ["localhost:{port}", "127.0.0.1:{port}", "[::1]:{port}"])
def test_names_of_this_machine_are_answered(site: str, host: str) -> None:
    port = site.rstrip("/").rsplit(":", 1)[1]
    assert exchange(site, f"GET / HTTP/1.0\r\nHost: {host.format(port=port)}\r\n\r\n".encode()).endswith(b"home")


@pytest.mark.parametrize(
    "headers",
    ["", "Host: shop.example\r\n", "Host: shop.example:{port}\r\n", "Host: localhost\r\n", "Host: localhost:1\r\n",
     "Host: localhost:{port}.shop.example\r\n", "Host: localhost:x:{port}\r\n",
     "Host: 127.0.0.1.shop.example:{port}\r\n", "Host: localhost:{port}\r\nHost: shop.example\r\n"],
)  # fmt: skip
def test_other_host_names_are_refused(site: str, headers: str) -> None:
    port = site.rstrip("/").rsplit(":", 1)[1]
    reply = exchange(site, f"GET / HTTP/1.0\r\n{headers.format(port=port)}\r\n".encode())
    assert b" 421 " in reply.partition(b"\r\n")[0]
    assert b"home" not in reply


def test_the_browser_caches_nothing(site: str) -> None:
    with urllib.request.urlopen(site, timeout=60) as answer:
        assert answer.headers["Cache-Control"] == "no-store"


def test_port_in_use(site: str, tmp_path: Path) -> None:
    port = int(site.rstrip("/").rsplit(":", 1)[1])
    with pytest.raises(PublishError, match="--port"), serving(tmp_path, port=port):
        pass
    with pytest.raises(PublishError, match="--port"), serving(tmp_path, port=99999):
        pass
