"""Looking at the archive while writing records: the site on this machine only, published again on every change.

The site that is served is the last one that could be published; what keeps a newer one from being made is
printed, and the next change tries again.
"""

from __future__ import annotations

import contextlib
import os
import threading
from collections.abc import Callable, Iterable, Iterator
from functools import partial
from http import HTTPStatus
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from builder.publish.errors import PublishError
from builder.publish.incremental.config_dependencies import config_dependencies
from builder.publish.pages import templating

#: A file's time of change and size, by its path.
Snapshot = dict[str, tuple[int, int]]

_LOCAL_NAMES = {"127.0.0.1", "localhost"}


def preview(
    archive: Path,
    out: Path,
    republish: Callable[[], Iterable[str]],
    *,
    port: int = 8000,
    echo: Callable[[str], None] = print,
    stop: threading.Event | None = None,
    pause: float = 0.5,
) -> None:
    """Publish, serve `out`, and publish again whenever the records or templates change, until `stop` is set.

    `republish()` makes the site and returns the problems to show, one line each. `pause` [s] is the time
    between two looks at the files; a change is acted on when the files have been still for that long.
    Raises PublishError when the port cannot be had. Ctrl-C ends it quietly.
    """
    stop = stop or threading.Event()
    with serving(out, port=port) as address, contextlib.suppress(KeyboardInterrupt):
        seen = snapshot(archive)
        _publish(republish, echo)
        echo(f"preview at {address} (Ctrl-C ends it)")
        while not stop.wait(pause):
            now = snapshot(archive)
            if now == seen:
                continue
            while not stop.wait(pause) and (later := snapshot(archive)) != now:
                now = later
            echo(f"changed: {', '.join(changed(seen, now, archive))}")
            seen = now
            _publish(republish, echo)


def _publish(republish: Callable[[], Iterable[str]], echo: Callable[[str], None]) -> None:
    try:
        problems = list(republish())
    except PublishError as problem:
        echo(str(problem))
    except Exception as error:  # a shop's own template can fail in any way; the last good site stays up
        echo(f"not published: {type(error).__name__}: {error}")
    else:
        for problem_line in problems:
            echo(problem_line)
        echo("published; reload the page to see it")


# ------------------------------------------------------------------------------------ what has changed


def snapshot(archive: Path) -> Snapshot:
    """The state of every file that a published page may depend on: records, templates, configuration."""
    found: Snapshot = {}
    for folder in (archive / "builds", *templating.search_path(archive)):
        for base, inner, files in os.walk(folder):
            inner[:] = [name for name in inner if not name.startswith(".")]
            for name in files:
                if not name.startswith((".", "~")) and not name.endswith(("~", ".tmp", ".swp")):
                    _note(os.path.join(base, name), found)
    for path in config_dependencies(archive / "mkdocs.yml")[0]:
        _note(str(path), found)
    return found


def _note(path: str, found: Snapshot) -> None:
    with contextlib.suppress(OSError):  # gone again already, or not there at all
        state = os.stat(path)
        found[path] = (state.st_mtime_ns, state.st_size)


def changed(before: Snapshot, after: Snapshot, archive: Path, limit: int = 4) -> list[str]:
    """The names of what differs, for the terminal, relative to the archive where they lie in it."""
    paths = sorted(p for p in before.keys() | after.keys() if before.get(p) != after.get(p))
    root = str(archive) + os.sep
    names = [p.removeprefix(root).replace(os.sep, "/") for p in paths]
    return names if len(names) <= limit else [*names[:limit], f"and {len(names) - limit} more"]


# -------------------------------------------------------------------------------------------- serving


@contextlib.contextmanager
def serving(out: Path, *, port: int = 0) -> Iterator[str]:
    """Serve the folder `out` to this machine alone, as it is at each moment; yields its address."""
    try:
        server = ThreadingHTTPServer(("127.0.0.1", port), partial(_Pages, directory=str(out)))
    except (OSError, OverflowError) as error:
        raise PublishError(
            f"port {port} cannot be used ({getattr(error, 'strerror', None) or error}); choose another with --port"
        ) from error
    server.daemon_threads = True
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.1}, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}/"
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


class _Pages(SimpleHTTPRequestHandler):
    """Plain files, never kept by the browser, with the site's own page for an unknown address."""

    server_version = "preview"
    sys_version = ""

    def send_head(self) -> Any:
        # Another site's page could make a browser ask under a name of its own; records are not for it.
        host = (self.headers.get("Host") or "").rsplit(":", 1)[0]
        if host not in _LOCAL_NAMES:
            self.send_error(HTTPStatus.MISDIRECTED_REQUEST, "This preview answers to 127.0.0.1 only")
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
        """Say nothing: the terminal is for the shop's problems."""
