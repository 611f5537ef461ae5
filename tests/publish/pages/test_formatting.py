"""Small text formats of the pages."""

from __future__ import annotations

import datetime

import pytest

from builder.publish.pages.formatting import anchor, format_date, group_thousands, sentence


@pytest.mark.parametrize(
    ("text", "grouped"),
    [
        ("4920 rpm", "4,920 rpm"),
        ("16027 m/s²", "16,027 m/s²"),
        ("1619 cc", "1,619 cc"),
        ("999 cc", "999 cc"),
        ("0.12345 in", "0.12345 in"),
        ("12.3456", "12.3456"),
        ("1234.5 N", "1,234.5 N"),
        ("12,345 N", "12,345 N"),
        ("", ""),
    ],
)
def test_thousands_are_grouped_and_decimals_are_not(text: str, grouped: str) -> None:
    assert group_thousands(text) == grouped


def test_a_date_is_written_with_the_month_as_a_word() -> None:
    assert format_date(datetime.date(2024, 5, 7)) == "7 May 2024"


@pytest.mark.parametrize(
    ("text", "end", "result"),
    [("gap is small", ".", "Gap is small."), ("done!", ".", "Done!"), ("pistons", "", "Pistons"), ("", "", "")],
)
def test_a_sentence_has_a_capital_and_an_end(text: str, end: str, result: str) -> None:
    assert sentence(text, end) == result


def test_an_anchor_has_only_letters_digits_and_hyphens() -> None:
    assert [anchor(title) for title in ("Corran V8, 5.7", "petrol/LPG", "é")] == ["corran-v8-5-7", "petrol-lpg", "part"]
