"""Chromium and the published demo archive, for every test of this folder that asks for them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright

from tests.support import demo_site as demo


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    if not demo.CHROMIUM.exists():
        pytest.skip("Chromium is not installed: apt-get install chromium")
    with sync_playwright() as p:
        browser = p.chromium.launch(executable_path=str(demo.CHROMIUM), args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def published() -> Path:
    return demo.demo_site()
