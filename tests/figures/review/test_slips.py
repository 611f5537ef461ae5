"""Slips of the pen in the demo builds: how many are reported with the right field, and that nothing else is."""

from __future__ import annotations

from pathlib import Path

import pytest

from builder.record.load import build_folders
from tests.support.slips import (
    ARCHIVE,
    alarms_from_noise,
    catalog,
    drawn_slips,
    report_on,
    reports_with,
    reports_with_drawn,
)

pytestmark = pytest.mark.slow
SHARE = 0.95
"""Share of the slips that must be reported with the field named."""
DRAWN_SHARE = 0.7
"""Share of slips drawn at random from every reading of the record: many readings have no second one to compare with."""


def test_the_catalog_is_as_wide_as_a_shop_s_work() -> None:
    slips = catalog()
    assert len(slips) >= 80
    assert len({slip.build for slip in slips}) >= 10
    assert {slip.kind for slip in slips} == {"transposed", "decimal", "unit", "order", "sign", "column", "sheet"}


@pytest.mark.parametrize("name", [folder.name for folder in build_folders(ARCHIVE)])
def test_no_alarm_on_the_demo_builds(name: str) -> None:
    report = report_on(ARCHIVE / "builds" / name, ARCHIVE)
    assert report.contradictions == ()
    assert report.fields == frozenset()


def test_slips_are_reported_with_the_field_named(tmp_path: Path) -> None:
    slips = list(catalog())
    missed = [slip for slip, report in reports_with(slips, tmp_path) if not report.names(slip.field)]
    share = 1 - len(missed) / len(slips)
    print(f"{len(slips) - len(missed)} of {len(slips)} slips reported ({share:.1%}); missed:")
    print("\n".join(slip.title for slip in missed))
    assert share >= SHARE, "\n".join(slip.title for slip in missed)


def test_slips_drawn_from_every_reading(tmp_path: Path) -> None:
    slips = drawn_slips(60, seed=2026)
    missed = [slip for slip, report in reports_with_drawn(slips, tmp_path) if not report.names(slip.field)]
    share = 1 - len(missed) / len(slips)
    print(f"{len(slips) - len(missed)} of {len(slips)} drawn slips reported ({share:.1%}); missed:")
    print("\n".join(slip.title for slip in missed))
    assert share >= DRAWN_SHARE, "\n".join(slip.title for slip in missed)


def test_ordinary_noise_raises_no_alarm() -> None:
    """Half a unit of the last digit is what a careful measurement scatters by."""
    alarms, copies = alarms_from_noise(runs=6, steps=0.5, seed=11)
    assert alarms <= 0.03 * copies
