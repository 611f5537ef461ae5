"""Total timing from idle timing and the distributor's curve, and a curve that contradicts the record."""

from __future__ import annotations

from pathlib import Path

import pytest

from builder.figures.core.types import FigureSheet
from tests.support.figure_records import V8, sheet_of

CURVE = """\
distributor:
  counted_in: {counted}
  curve: [{{speed: 500 rpm, advance: 0 deg}}, {{speed: 900 rpm, advance: 6 deg}}, {{speed: 1400 rpm, advance: 11 deg}}]
  limit: 11 deg
  vacuum: {{starts_at: 6 inHg, full_at: 13 inHg, most: 7 deg}}
"""
SETTINGS = "settings: {idle_timing: 12 deg, idle_speed: 800 rpm, total_timing: 34 deg}\n"


def sheet_of_curve(archive: Path, counted: str, settings: str = SETTINGS) -> FigureSheet:
    return sheet_of(archive, {**V8, "top_end": CURVE.format(counted=counted), "delivery": settings})


def test_distributor_degrees_and_speeds_count_double(tmp_path: Path) -> None:
    sheet = sheet_of_curve(tmp_path, "distributor")
    assert sheet["timing_by_curve"].value == pytest.approx(12 + 22)  # idle lies below the curve's first point
    assert sheet["full_advance_speed"].value == pytest.approx(2800 / 60)
    assert sheet["light_load_timing"].value == pytest.approx(34 + 14)
    assert not [found for found in sheet.contradictions if found.check == "advance_curve"]


def test_advance_that_is_in_at_idle_counts_once(tmp_path: Path) -> None:
    sheet = sheet_of_curve(tmp_path, "crankshaft", SETTINGS.replace("34", "25"))
    assert sheet["timing_by_curve"].value == pytest.approx(12 - 6 * 300 / 400 + 11)
    found = next(found for found in sheet.contradictions if found.check == "advance_curve")
    assert "delivery.settings.total_timing" in {value.path for value in found.values}


def test_a_curve_past_its_limit_and_one_that_turns_back_are_reported(tmp_path: Path) -> None:
    text = CURVE.format(counted="crankshaft").replace("limit: 11", "limit: 8").replace("1400 rpm", "700 rpm")
    sheet = sheet_of(tmp_path, {**V8, "top_end": text, "delivery": SETTINGS})
    sentences = [found.sentence for found in sheet.contradictions if found.check == "advance_curve"]
    assert any("limit" in sentence for sentence in sentences)
    assert any("should increase" in sentence for sentence in sentences)
    assert "full_advance_speed" not in sheet
