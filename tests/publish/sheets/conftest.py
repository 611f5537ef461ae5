"""Sheets that many tests look at."""

from __future__ import annotations

import pytest

from tests.support.handover_samples import REPO, sheets_of


@pytest.fixture(scope="session")
def demo_sheets() -> dict[str, bytes]:
    """Return the sheets of every demo build by file name: `SLUG-dyno-sheet.pdf`, `SLUG-build-sheet.pdf`."""
    sheets: dict[str, bytes] = {}
    for folder in sorted((REPO / "builds").iterdir()):
        if folder.is_dir():
            sheets |= {f"{folder.name}-{name}": pdf for name, pdf in sheets_of(REPO, folder.name).items()}
    return sheets
