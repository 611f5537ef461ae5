"""Waiting for pages that allow no script but their own."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from playwright.sync_api import Page


def wait_until(page: Page, expression: str, seconds: float = 60.0) -> None:
    """Wait until a JavaScript expression is true.

    `Page.wait_for_function` evaluates it inside the page, which the page's content security policy forbids as soon
    as it is not true at once.
    """
    deadline = time.monotonic() + seconds
    while not page.evaluate(expression):
        assert time.monotonic() < deadline, f"{expression} did not become true within {seconds:g} s"
        page.wait_for_timeout(50)
