"""Settings and fixtures for every test."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from playwright.sync_api import Browser

    from builder.publish.report import PublishReport

WAIT_MS = 60_000
"""How long a browser test waits for what must come; only a guard against hanging."""

# One thread for each process, as the command line has it. NumPy reads this when it is first imported.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

# No limit of time for an example: a busy machine is slow now and then.
settings.register_profile("suite", deadline=None)
settings.load_profile("suite")


def pytest_xdist_auto_num_workers() -> int:
    """Return one worker more than there are cores: tests in the browser wait for it a good part of their time."""
    return (os.cpu_count() or 1) + 1


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the files with a slow test first, so that no worker is left alone with one at the end."""
    slow = {item.path for item in items if item.get_closest_marker("slow")}
    items.sort(key=lambda item: item.path not in slow)


@pytest.fixture(scope="session", autouse=True)
def _one_process() -> Iterator[None]:
    """Publish in the process of the test: the workers of the test run have the cores already.

    A process that is started for a publish imports for longer than it works. Tests of several processes set the
    number of cores themselves.
    """
    from builder.publish import workers

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(workers, "_available_cpus", lambda: 1)
        yield


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """Give one browser to all tests of a worker."""
    program = shutil.which("chromium")
    if program is None:
        pytest.skip("Chromium is not installed: apt-get install chromium")
    from playwright.sync_api import expect, sync_playwright

    expect.set_options(timeout=WAIT_MS)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def shared_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder that all workers of this run share."""
    folder = tmp_path_factory.getbasetemp()
    return folder.parent if "PYTEST_XDIST_WORKER" in os.environ else folder


@pytest.fixture(scope="session")
def whole_demo(shared_folder: Path) -> PublishReport:
    """Return the report of publishing the whole demo archive, which is the folder around the report's site."""
    from tests.support import demo_site

    return demo_site.whole_demo(shared_folder)


@pytest.fixture(scope="session")
def published(shared_folder: Path) -> Path:
    """Return the demo site, published by the worker that needs it first."""
    from tests.support import demo_site

    return demo_site.published(shared_folder)
