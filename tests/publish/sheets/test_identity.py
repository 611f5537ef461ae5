"""What every PDF of a build says at its top."""

from __future__ import annotations

from pathlib import Path

import pytest

from builder.publish.sheets.identity import page_url
from builder.record.models.shop import Shop
from tests.support.handover_samples import (
    bare_archive,
    write_build,
)


@pytest.mark.parametrize(
    ("address", "status", "expected"),
    [
        ("https://a.example/", "finished", "https://a.example/builds/bare/index.html"),
        ("https://a.example", "in progress", ""),
        ("javascript:alert(1)", "finished", ""),
        (None, "finished", ""),
    ],
)
def test_the_page_url_is_of_a_published_page(tmp_path: Path, address: str | None, status: str, expected: str) -> None:
    build = write_build(bare_archive(tmp_path, status=status))
    assert page_url(build, Shop(site_address=address)) == expected
