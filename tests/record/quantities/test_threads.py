"""Thread sizes as they are written on bolts and sheets."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from builder.record.quantities.threads import parse_thread


@pytest.mark.parametrize(
    ("text", "diameter_mm", "pitch_mm"),
    [
        ("7/16-20", 11.1125, 1.27),
        ("3/8-24 UNF", 9.525, 25.4 / 24),
        ("1/2-13 x 4.5 in", 12.7, 25.4 / 13),
        ("1 1/8-12", 28.575, 25.4 / 12),
        ("0.4375-20", 11.1125, 1.27),
        ('7/16" - 20', 11.1125, 1.27),
        ("#10-32", 4.826, 25.4 / 32),
        ("No. 10-24", 4.826, 25.4 / 24),
        ("M10x1.25", 10.0, 1.25),
        ("m8 × 1", 8.0, 1.0),
        ("M12x1.25 x 90", 12.0, 1.25),
        ("M10", 10.0, 1.5),
        ("M6 10.9", 6.0, 1.0),
    ],
)
def test_a_thread(text: str, diameter_mm: float, pitch_mm: float) -> None:
    thread = parse_thread(text)
    assert thread is not None
    assert thread.diameter * 1e3 == pytest.approx(diameter_mm)
    assert thread.pitch * 1e3 == pytest.approx(pitch_mm)


@pytest.mark.parametrize(
    "text",
    ["", "7/16", "10.9", "M", "M10x125", "M11.3", "1/8 NPT", "1/0-20", "3/8-2400", "3/8-0", "bolt", "M500x2", "M8x6"],
)
def test_no_thread(text: str) -> None:
    assert parse_thread(text) is None


@given(st.one_of(st.text(max_size=100), st.from_regex(r"[M#]?[0-9/ .]{0,8}[-x×][0-9.]{0,8}", fullmatch=True)))
def test_any_text_is_a_sensible_thread_or_none(text: str) -> None:
    thread = parse_thread(text)
    assert thread is None or 0 < thread.pitch < thread.diameter <= 0.08
