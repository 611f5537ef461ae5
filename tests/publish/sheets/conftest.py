"""Sheets that many tests look at."""

from __future__ import annotations

import pytest

from tests.support.demo_builds import ROOT, SAMPLE
from tests.support.handover_samples import sheets_of


@pytest.fixture(scope="session")
def demo_sheets() -> dict[str, bytes]:
    """Return the sheets of the sample of demo builds by file name: `SLUG-dyno-sheet.pdf`, `SLUG-build-sheet.pdf`."""
    sheets: dict[str, bytes] = {}
    for slug in (slug for slug in SAMPLE if (ROOT / "builds" / slug).is_dir()):
        sheets |= {f"{slug}-{name}": pdf for name, pdf in sheets_of(ROOT, slug).items()}
    return sheets
