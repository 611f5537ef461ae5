"""The warranty: its text, its first and last day, and whom to call."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest

from builder.archive.service_due import months_later
from builder.handover.warranty import warranty_of
from builder.record.models.shop import Shop
from tests.support.handover_samples import bare_archive, write_build


def test_it_runs_from_the_delivery_for_the_months_of_the_shop(tmp_path: Path) -> None:
    build = write_build(bare_archive(tmp_path), delivery={"delivered": datetime.date(2024, 5, 21)})
    warranty = warranty_of(build, Shop(name="S", contact="desk@s.example", warranty="the shop's", warranty_months=12))
    assert (warranty.starts, warranty.ends) == ("21 May 2024", "21 May 2025")
    assert warranty.text[0].runs[0].text == "the shop's"
    assert warranty.contact == "S, desk@s.example"


def test_the_delivery_sheet_comes_before_the_shop(tmp_path: Path) -> None:
    delivery = {"delivered": "2024-05-21", "warranty": "mine", "warranty_ends": "2024-12-31"}
    warranty = warranty_of(
        write_build(bare_archive(tmp_path), delivery=delivery), Shop(warranty="the shop's", warranty_months=12)
    )
    assert warranty.ends == "31 December 2024"
    assert warranty.text[0].runs[0].text == "mine"


def test_a_date_that_is_not_known_is_left_to_be_filled_in(tmp_path: Path) -> None:
    build = write_build(bare_archive(tmp_path))
    assert (warranty_of(build, Shop(warranty_months=12)).starts, warranty_of(build, Shop()).ends) == ("", "")


@pytest.mark.parametrize(
    ("date", "months", "expected"),
    [("2024-01-31", 1, "2024-02-29"), ("2023-12-15", 1, "2024-01-15"), ("2024-05-21", 24, "2026-05-21")],
)
def test_months_later(date: str, months: int, expected: str) -> None:
    day = datetime.date.fromisoformat(date)
    assert months_later(day, months) == datetime.date.fromisoformat(expected)
