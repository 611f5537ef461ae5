"""The server of `millbook preview`: the private site on this machine, published again on every change.

It serves the last site that could be published; an error that keeps a newer one from being published is
printed, and the next change tries again.
"""

from __future__ import annotations

import contextlib
import os
import socket
import sys
import threading
from collections.abc import Callable, Iterable, Iterator
from functools import partial
from http import HTTPStatus
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from builder.publish.deploy.atomic_swap import SHOP_SITE
from builder.publish.edition import Edition
from builder.publish.errors import PublishError
from builder.publish.incremental.config_dependencies import config_dependencies
from builder.publish.pages import templating
from builder.publish.pipeline import publish
from builder.record.files import build_folders

#: Time of change [ns] and size [bytes] of each file, by its path.
Snapshot = dict[str, tuple[int, int]]

_LOCAL_NAMES = ("localhost", "127.0.0.1", "[::1]")
_SILENCE, _DURATION = 10.0, 60.0
"""A connection is closed after so long without a byte, and in any case after so long [s]: no client can hold it."""


def preview(archive: Path, *, port: int, echo: Callable[[str], None] = print) -> None:
    """Serve the private site of an archive, unfinished builds included, until Ctrl-C.

    Raises PublishError when the port cannot be had, ArchiveError where the folder of the builds is missing.
    """
    build_folders(archive)
    out = archive / SHOP_SITE

    def republish() -> Iterable[str]:
        report = publish(archive, out, edition=Edition.SHOP)
        return [*map(str, report.problems), *report.lines]

    serve_and_watch(archive, out, republish, port=port, echo=echo)


def serve_and_watch(
    archive: Path,
    out: Path,
    republish: Callable[[], Iterable[str]],
    *,
    port: int,
    echo: Callable[[str], None] = print,
    stop: threading.Event | None = None,
    pause: float = 0.5,
) -> None:
    """Publish, serve `out`, and publish again whenever the records or templates change, until `stop` is set.

    `republish()` publishes the site and returns the problems to print, one line each. The files are compared
    every `pause` [s]; a change is acted on when they have been still for that long.
    Raises PublishError when the port cannot be had. Ctrl-C ends it quietly.
    """
    stop = stop or threading.Event()
    with serving(out, port=port) as address, contextlib.suppress(KeyboardInterrupt):
        published = take_snapshot(archive)
        _publish(republish, echo)
        echo(f"preview at {address} (Ctrl-C ends it)")
        while not stop.wait(pause):
            current = take_snapshot(archive)
            if current == published:
                continue
            while not stop.wait(pause) and (later := take_snapshot(archive)) != current:
                current = later
            echo(f"changed: {', '.join(changed_paths(published, current, archive))}")
            published = current
            _publish(republish, echo)


def _publish(republish: Callable[[], Iterable[str]], echo: Callable[[str], None]) -> None:
    try:
        lines = list(republish())
    except PublishError as error:
        echo(str(error))
    except Exception as error:  # a shop's own template can fail in any way; the last good site stays up
        echo(f"not published: {type(error).__name__}: {error}")
    else:
        for line in lines:
            echo(line)
        echo("published; reload the page to see it")


def take_snapshot(archive: Path) -> Snapshot:
    """Return the state of every file that a published page may depend on: records, templates, configuration."""
    snapshot: Snapshot = {}
    for root in (archive / "builds", *templating.search_path(archive)):
        for folder, subfolders, files in os.walk(root):
            subfolders[:] = [name for name in subfolders if not name.startswith(".")]
            for name in files:
                if not name.startswith((".", "~")) and not name.endswith(("~", ".tmp", ".swp")):
                    _add(os.path.join(folder, name), snapshot)
    for path in config_dependencies(archive / "mkdocs.yml")[0]:
        _add(str(path), snapshot)
    return snapshot


def _add(path: str, snapshot: Snapshot) -> None:
    with contextlib.suppress(OSError):  # the file does not exist, or was deleted meanwhile
        state = os.stat(path)
        snapshot[path] = (state.st_mtime_ns, state.st_size)


def changed_paths(before: Snapshot, after: Snapshot, archive: Path, limit: int = 4) -> list[str]:
    """Return the paths of the files that differ, relative to the archive where they are in it, for printing."""
    paths = sorted(p for p in before.keys() | after.keys() if before.get(p) != after.get(p))
    root = str(archive) + os.sep
    names = [p.removeprefix(root).replace(os.sep, "/") for p in paths]
    return names if len(names) <= limit else [*names[:limit], f"and {len(names) - limit} more"]


@contextlib.contextmanager
def serving(out: Path, *, port: int = 0) -> Iterator[str]:
    """Serve the folder `out` to this machine alone while the block runs, and yield its address."""
    try:
        server = _PageServer(("127.0.0.1", port), partial(_PageHandler, directory=str(out)))
    except (OSError, OverflowError) as error:
        raise PublishError(
            f"port {port} cannot be used ({getattr(error, 'strerror', None) or error}); choose another with --port"
        ) from error
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.1}, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}/"
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


class _PageServer(ThreadingHTTPServer):
    daemon_threads = True

    def handle_error(self, request: Any, client_address: Any) -> None:
        """Print a traceback, except for a client that went away or was too slow."""
        if not isinstance(sys.exception(), OSError):
            super().handle_error(request, client_address)


def _local_hosts(port: int) -> list[list[str]]:
    """Return the Host headers that a browser on this machine sends; it leaves out port 80."""
    hosts = [[f"{name}:{port}"] for name in _LOCAL_NAMES]
    return [*hosts, *([name] for name in _LOCAL_NAMES)] if port == 80 else hosts


class _PageHandler(SimpleHTTPRequestHandler):
    """Serves plain files that the browser does not cache, and the site's own page for an unknown address."""

    server_version = "preview"
    sys_version = ""
    timeout = _SILENCE

    def setup(self) -> None:
        super().setup()
        self.deadline = threading.Timer(_DURATION, self._disconnect)
        self.deadline.daemon = True
        self.deadline.start()

    def finish(self) -> None:
        self.deadline.cancel()
        super().finish()

    def _disconnect(self) -> None:
        with contextlib.suppress(OSError):
            self.connection.shutdown(socket.SHUT_RDWR)

    def send_head(self) -> Any:
        # A page of another site could make a browser send its own host name here (DNS rebinding).
        assert isinstance(self.server, _PageServer)
        if self.headers.get_all("Host") not in _local_hosts(self.server.server_port):
            self.send_error(HTTPStatus.MISDIRECTED_REQUEST, "This preview answers to 127.0.0.1 only")
            return None
        path = self.translate_path(self.path)
        if not os.path.isfile(path) and not os.path.isdir(path):  # False as well for what no file can be called
            self.send_error(HTTPStatus.NOT_FOUND)
            return None
        return super().send_head()

    def list_directory(self, path: Any) -> None:
        self.send_error(HTTPStatus.NOT_FOUND)

    def end_headers(self) -> None:
        self.send_header("Cache-Control", "no-store")
        super().end_headers()

    def send_error(self, code: int, message: str | None = None, explain: str | None = None) -> None:
        page = Path(self.directory) / "404.html"
        if code != HTTPStatus.NOT_FOUND or not page.is_file():
            super().send_error(code, message, explain)
            return
        body = page.read_bytes()
        self.send_response(code)
        self.send_header("Content-Type", "text/html; charset=utf-8")
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        if self.command != "HEAD":
            self.wfile.write(body)

    def log_message(self, format: str, *args: Any) -> None:
        """Print nothing: the terminal is for the problems in the records."""
