"""Pushrods from a record: the length needed, the length ordered, and the caution where they differ."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support.figure_records import TOP_END, V8, sheet_of

INCH = 0.0254

PUSHRODS = (
    TOP_END
    + """
    pushrods: {checking_length: 7.775 in, exhaust_checking_length: 7.725 in, preload: 0.030 in,
               ordered_length: 7.800 in}
"""
)


def test_length_needed_and_ordered(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, {**V8, "top_end": PUSHRODS})
    needed, difference = sheet["pushrod_length"], sheet["pushrod_difference"]
    assert [p.value / INCH for p in needed.positions] == pytest.approx([7.805, 7.755])
    assert [p.value / INCH for p in difference.positions] == pytest.approx([-0.005, 0.045])
    cautions = [caution.text for caution in sheet.cautions if caution.name == "pushrod_length"]
    assert len(cautions) == 1
    assert "exhaust" in cautions[0]
    assert "longer" in cautions[0]


def test_solid_lifters_have_no_preload_to_add(tmp_path: Path) -> None:
    solid = PUSHRODS.replace(" preload: 0.030 in,", "")
    needed = sheet_of(tmp_path, {**V8, "top_end": solid})["pushrod_length"]
    assert [p.value / INCH for p in needed.positions] == pytest.approx([7.775, 7.725])
