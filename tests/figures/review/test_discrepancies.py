"""Listed against measured: found where reading it cannot explain the difference, with what it would have cost."""

from __future__ import annotations

from pathlib import Path

import pytest

from builder.figures.core.types import Discrepancy, FigureSheet
from builder.figures.review.discrepancies import difference_text
from builder.record.quantities.readings import Reading, read_reading
from tests.support.figure_records import BOTTOM_END, TOP_END, V8, figure_of, line_of, sheet_of


def reading(**given: object) -> Reading:
    return read_reading(dict(given), "length")


@pytest.mark.parametrize(
    ("listed", "measured", "says"),
    [
        ("1.480 in", "1.395 in", "0.085 in less than listed"),
        ("1.480 in", "1.4804 in", None),  # 1.480 may have been anything from 1.4795 to 1.4805
        ("1.480 in", "1.4806 in", None),  # and the gauge is good to a tenth
        ("1.760 in", "1.7607 in", "0.0007 in more than listed"),
        ("38.10 mm", "38.10 mm", None),
        ("38.1 mm", "38.25 mm", "0.15 mm more than listed"),
    ],
)
def test_more_than_the_reading_can_explain(listed: str, measured: str, says: str | None) -> None:
    text = difference_text(reading(listed=listed, measured=measured), "cylinder")
    assert text == (
        says.replace(" in ", "\N{NO-BREAK SPACE}in ").replace(" mm", "\N{NO-BREAK SPACE}mm") if says else None
    )


def test_a_coarse_gauge_explains_more() -> None:
    assert difference_text(reading(listed="38.10 mm", measured="38.13 mm", resolution="0.05 mm"), "cylinder") is None
    assert difference_text(reading(listed="38.10 mm", measured="38.16 mm", resolution="0.05 mm"), "cylinder")


def test_one_part_of_a_set(tmp_path: Path) -> None:
    text = difference_text(
        reading(unit="in", listed="6.000", measured=["6.000", "6.001", "5.988", "6.000"]), "cylinder"
    )
    assert text is not None
    assert text.replace("\N{NO-BREAK SPACE}", " ") == "1 of 4 differ, most of all cylinder 3, 0.012 in less than listed"


def test_listed_alone_or_measured_alone_is_no_discrepancy() -> None:
    assert difference_text(reading(listed="1.760 in"), "cylinder") is None
    assert difference_text(reading(measured="1.760 in"), "cylinder") is None


def discrepancy_of(sheet: FigureSheet, path: str) -> Discrepancy:
    (discrepancy,) = [discrepancy for discrepancy in sheet.discrepancies if discrepancy.path == path]
    return discrepancy


SHORT = BOTTOM_END.replace(
    "compression_height: 1.560 in", "compression_height: {unit: in, listed: 1.660, measured: 1.560}"
)


def test_what_follows_from_a_short_piston(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, {**V8, "bottom_end": SHORT})
    discrepancy = discrepancy_of(sheet, "bottom_end.pistons.compression_height")
    assert discrepancy.labels == ("listed", "measured")
    as_listed = figure_of(
        tmp_path, "compression_ratio", {**V8, "bottom_end": BOTTOM_END.replace("1.560 in", "1.660 in")}
    )
    as_built = sheet.get("compression_ratio")
    assert as_built is not None
    assert discrepancy.consequence is not None
    assert as_listed.display in discrepancy.consequence
    assert as_built.display in discrepancy.consequence
    assert discrepancy.where is not None
    assert discrepancy.where[1] == line_of(tmp_path, "compression_height", "bottom_end")
    what_if = sheet.get("compression_if")
    assert what_if is not None
    assert what_if.value == pytest.approx(as_listed.value, rel=1e-12)


def test_a_dial_gauge_moves_with_the_part(tmp_path: Path) -> None:
    """With the clearance gauged 0.105 in, the listed piston would have left 0.005 in."""
    gauged = SHORT + "    deck_clearance: {unit: in, measured: 0.105}\n"
    what_if = figure_of(tmp_path, "compression_if", {**V8, "bottom_end": gauged})
    as_if = BOTTOM_END + "    deck_clearance: {unit: in, measured: 0.005}\n"
    expected = figure_of(tmp_path, "compression_ratio", {**V8, "bottom_end": as_if})
    assert what_if.value == pytest.approx(expected.value, rel=1e-12)


def test_the_part_that_matters_most_comes_first(tmp_path: Path) -> None:
    top = TOP_END.replace("thickness: 0.039 in", "thickness: {listed: 0.040 in, measured: 0.039 in}")
    what_if = figure_of(tmp_path, "compression_if", {**V8, "bottom_end": SHORT, "top_end": top})
    assert [p.label for p in what_if.positions] == ["compression height", "compressed gasket thickness"]


def test_nothing_listed_nothing_to_compare(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, V8)
    assert sheet.discrepancies == ()
    assert "compression_if" not in sheet


PARTS = """
    parts:
      - part: pistons, first set
        verdict: returned
        checked:
          - {what: compression height, reading: {unit: in, listed: 1.560, measured: [1.460, 1.461]}}
          - {what: pin bore, reading: {unit: in, listed: 0.927, measured: 0.930}}
      - part: pistons, second set
        verdict: fits
        checked:
          - {what: compression height, reading: {unit: in, listed: 1.560, measured: [1.565, 1.565]}}
"""


def test_a_rejected_part_was_never_fitted(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, {**V8, "parts": PARTS})
    wrong = discrepancy_of(sheet, "parts.parts.0.checked.0")
    would = figure_of(tmp_path, "compression_ratio", {**V8, "bottom_end": BOTTOM_END.replace("1.560 in", "1.4605 in")})
    actual = sheet.get("compression_ratio")
    assert actual is not None
    assert wrong.consequence is not None
    assert f"CR {would.display} instead of {actual.display}" in wrong.consequence
    assert "0.125 in below the deck" in wrong.consequence.replace("\N{NO-BREAK SPACE}", " ")
    assert discrepancy_of(sheet, "parts.parts.0.checked.1").consequence is None
    assert discrepancy_of(sheet, "parts.parts.1.checked.0").consequence is None


def test_a_check_that_the_engine_repeats_is_listed_once(tmp_path: Path) -> None:
    both = BOTTOM_END.replace(
        "compression_height: 1.560 in", "compression_height: {unit: in, listed: 1.560, measured: [1.565, 1.565]}"
    ).replace("[1.565, 1.565]", "[1.565, 1.565, 1.565, 1.565, 1.565, 1.565, 1.565, 1.565]")
    parts = PARTS.replace("[1.565, 1.565]", "[1.565, 1.565, 1.565, 1.565, 1.565, 1.565, 1.565, 1.565]")
    sheet = sheet_of(tmp_path, {**V8, "bottom_end": both, "parts": parts})
    paths = [discrepancy.path for discrepancy in sheet.discrepancies]
    assert "bottom_end.pistons.compression_height" in paths
    assert "parts.parts.1.checked.0" not in paths
