"""Two processes never hold the same lock, and one that waits says so."""

from __future__ import annotations

import multiprocessing
from multiprocessing.synchronize import Event
from pathlib import Path

import pytest

from builder.publish.deploy.lock import lock
from builder.publish.errors import PublishError


def _hold(path: Path, held: Event, release: Event) -> None:
    with lock(path):
        held.set()
        assert release.wait(60)


def test_second_publish_waits_and_says_so(tmp_path: Path) -> None:
    context = multiprocessing.get_context("spawn")
    held, release = context.Event(), context.Event()
    holder = context.Process(target=_hold, args=(tmp_path / ".site.lock", held, release))
    holder.start()
    assert held.wait(60)
    messages: list[str] = []

    def note_and_release(message: str) -> None:
        messages.append(message)
        release.set()

    with pytest.raises(PublishError, match="still at work"), lock(tmp_path / ".site.lock", wait=0.1):
        pass
    with lock(tmp_path / ".site.lock", wait=60, notify=note_and_release):
        pass
    holder.join()
    assert messages == ["another publish is at work here; waiting for it to finish"]
