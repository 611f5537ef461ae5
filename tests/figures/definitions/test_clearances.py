"""Clearances from a complete record: by gauge or from the parts, bores that are straight and round."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support.figure_records import BORE_GAUGING, BOTTOM_END, RANGES, V8, figure_of

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
