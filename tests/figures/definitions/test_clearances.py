"""Clearances from a complete record: by gauge or from the parts, bores that are straight and round."""

from __future__ import annotations

from pathlib import Path

import pytest

from builder.figures.core.types import FigureSheet
from builder.figures.export import figures_as_lines
from builder.record.models.shop import Instrument, Shop
from tests.support.figure_records import BORE_GAUGING, BOTTOM_END, RANGES, V8, figure_of, sheet_of

INCH = 0.0254


def test_oil_clearance_by_gauge_or_else_from_the_parts(tmp_path: Path) -> None:
    figure = figure_of(tmp_path, "main_oil_clearance", V8)
    by_hand = [2.6410 - 0.1900 - 2.4483, 2.6411 - 0.1900 - 2.4484]
    assert [p.value / INCH for p in figure.positions[:2]] == pytest.approx(by_hand)
    assert figure.axis == "main"
    gauged = "fits: {main_oil_clearance: {unit: in, measured: [0.0026, 0.0025, 0.0026, 0.0027, 0.0026]}}"
    measured = figure_of(tmp_path, "main_oil_clearance", {**V8, "assembly": gauged})
    assert [p.value / INCH for p in measured.positions] == pytest.approx([0.0026, 0.0025, 0.0026, 0.0027, 0.0026])
    assert measured.provenance == "measured"


def test_crankpins_of_a_v_engine_are_averaged_over_its_rods(tmp_path: Path) -> None:
    bottom = BOTTOM_END.replace(
        "rods: {length: 5.700 in}",
        "rods: {length: 5.700 in, big_end_bores: {unit: in, measured: [2.2250, 2.2252, 2.2250, 2.2250, 2.2250,"
        " 2.2250, 2.2250, 2.2250]}}",
    ).replace(
        "main_journals:", "rod_journals: {unit: in, measured: [2.0990, 2.0992, 2.0990, 2.0992]}\n      main_journals:"
    ).replace("main_shell: 0.0950 in", "main_shell: 0.0950 in, rod_shell: 0.0618 in")  # fmt: skip
    figure = figure_of(tmp_path, "rod_oil_clearance", {**V8, "bottom_end": bottom})
    assert len(figure.positions) == 8
    assert figure.positions[1].value / INCH == pytest.approx(2.2252 - 0.1236 - 2.0991)


def test_taper_and_out_of_round(tmp_path: Path) -> None:
    taper = figure_of(tmp_path, "bore_taper", {**V8, "work": BORE_GAUGING})
    assert [p.value for p in taper.positions] == pytest.approx([4e-6, 7e-6], rel=1e-6)
    assert taper.value == pytest.approx(7e-6, rel=1e-6)
    assert taper.working.replace("\N{NO-BREAK SPACE}", " ").startswith("cylinder 2: 81.509 mm − 81.502 mm = 0.")
    assert taper.uncertainty is not None
    out_of_round = figure_of(tmp_path, "bore_out_of_round", {**V8, "work": BORE_GAUGING})
    assert [p.value for p in out_of_round.positions] == pytest.approx([3e-6, 4e-6], rel=1e-6)


def test_where_fits_lie_in_their_ranges(tmp_path: Path) -> None:
    position = figure_of(tmp_path, "fit_position", {**V8, "assembly": RANGES})
    values = {p.label: p.value for p in position.positions}
    assert values == pytest.approx({"Piston clearance": 0.625, "Crank end play": 1.25})


def test_an_oil_clearance_with_a_resolution_shows_its_uncertainty(tmp_path: Path) -> None:
    gauged = "{unit: mm, allowed: 0.040..0.070, measured: [0.058, 0.060, 0.054, 0.059, 0.059], resolution: 0.001 mm}"
    figure = figure_of(tmp_path, "main_oil_clearance", {**V8, "assembly": f"fits: {{main_oil_clearance: {gauged}}}"})
    # JCGM 100: a resolution is a rectangular distribution, the mean of five readings is sqrt(5) more certain, k = 2.
    assert figure.uncertainty == pytest.approx(2 * 0.001e-3 / 12**0.5 / 5**0.5)
    assert " ± " in figure.display


def _shop_with_gauge(**values: str) -> Shop:
    return Shop(units="metric", instruments=(Instrument.model_validate({"id": "G1", "kind": "bore gauge", **values}),))


def _bores(tmp_path: Path, shop: Shop) -> FigureSheet:
    card = BORE_GAUGING.replace("resolution: 0.001 mm", "with: G1")
    return sheet_of(tmp_path, {**V8, "work": card}, shop)


def test_the_setting_of_the_gauge_cancels_in_taper_and_out_of_round(tmp_path: Path) -> None:
    shop = _shop_with_gauge(resolution="0.001 mm", expanded_uncertainty="0.006 mm", repeatability="0.0005 mm")
    sheet = _bores(tmp_path, shop)
    # JCGM 100, 5.2.2: both readings have the error of the setting; what differs is repeatability and last digit.
    own = (0.0005**2 + 0.001**2 / 12) ** 0.5 * 1e-3
    for slug in ("bore_taper", "bore_out_of_round"):
        assert sheet[slug].uncertainty == pytest.approx(2 * 2**0.5 * own)
        assert " ± 0.002" in sheet[slug].display


def test_without_a_repeatability_the_whole_certificate_counts(tmp_path: Path) -> None:
    sheet = _bores(tmp_path, _shop_with_gauge(resolution="0.001 mm", expanded_uncertainty="0.006 mm"))
    assert sheet["bore_taper"].uncertainty == pytest.approx(2 * 2**0.5 * (3e-6**2 + 1e-12 / 12) ** 0.5)
    assert sheet["bore_taper"].note == "Not resolved in 2 of 2 bores: no more than the gauge may show of a true bore."
    checks = {check.title: check for check in sheet.clearances if check.kind == "bore"}
    assert checks["Bore taper"].note == "not resolved by the gauge in any bore"
    assert f"      {sheet['bore_taper'].note}" in figures_as_lines(sheet)


def test_a_taper_is_not_resolved_where_the_gauge_may_show_it_of_a_true_bore(tmp_path: Path) -> None:
    # Three depths on two axes are six pairs: 2.638 times the root of two (Bonferroni, 95 %) is 3.73.
    sheet = _bores(tmp_path, _shop_with_gauge(resolution="0.001 mm", repeatability="0.0012 mm"))
    checks = {check.title: check for check in sheet.clearances if check.kind == "bore"}
    # 0.004 mm in bore 1 and 0.007 mm in bore 2, against 0.001 mm + 3.73 x 0.0012 mm = 0.0055 mm.
    assert checks["Bore taper"].note == "not resolved by the gauge: bore 1"
    assert sheet["bore_taper"].note == "Not resolved in 1 of 2 bores: no more than the gauge may show of a true bore."
    # The finer gauge resolves all of it, and no note is made.
    fine = _bores(tmp_path, _shop_with_gauge(resolution="0.001 mm", repeatability="0.0003 mm"))
    assert fine["bore_taper"].note is None
    assert not any(check.note for check in fine.clearances if check.kind == "bore")
