"""Figures of forced induction and of a restrictor, from a log with boost and one without."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from builder.engine import breathing
from builder.engine.air import air_density
from builder.engine.boost import corrected_compressor_flow
from builder.engine.correction import SAE_J1349
from builder.figures.core.types import FigureSheet
from builder.figures.evaluate import compute
from tests.support.dyno_figures import AIR, METRIC, figure, sheet_of
from tests.support.dyno_samples import RPM, log_of, one_pull, write_build

DISPLACEMENT = math.pi * 0.0815**2 * 0.0776
BOOST, CHARGE = 80e3, 273.15 + 45
INDUCTION = "induction: {boost: 60 kPa, charge_temperature: 45 degC, restrictor_diameter: 34 mm}\n"


def boosted_sheet(archive: Path, top_end: str = INDUCTION, induction: str = "turbo", **more: np.ndarray) -> FigureSheet:
    log = log_of(**{"Air flow (kg/h)": 0.09 * RPM}, **more)
    write_build(archive, one_pull(), {"a.csv": log}, induction=induction)
    (archive / "builds" / "test-four" / "top_end.yaml").write_text(top_end)
    build, _ = write_build(archive, one_pull(), {"a.csv": log}, induction=induction)
    return compute(build, METRIC)


def test_logged_boost_comes_first(tmp_path: Path) -> None:
    sheet = boosted_sheet(tmp_path, **{"Boost (kPa)": np.full(RPM.shape, BOOST / 1e3)})
    ratio = 1 + BOOST / AIR.pressure
    assert figure(sheet, "pressure_ratio").value == pytest.approx(ratio)
    density = air_density(AIR.pressure + BOOST, CHARGE, AIR.vapor * ratio)
    assert figure(sheet, "charge_density").value == pytest.approx(density)
    assert figure(sheet, "density_ratio").value == pytest.approx(density / AIR.density)
    speed = figure(sheet, "peak_power_speed").value
    air = 0.09 * speed * 60 / 3600
    filling = air / (density * DISPLACEMENT * speed / 2)
    assert figure(sheet, "volumetric_efficiency_manifold").value == pytest.approx(filling, rel=2e-3)
    demand = DISPLACEMENT * speed / 2 * density / AIR.density
    assert figure(sheet, "boosted_air_demand").value == pytest.approx(demand, rel=2e-3)
    corrected = corrected_compressor_flow(air, AIR.pressure, AIR.temperature)
    assert figure(sheet, "corrected_compressor_flow").value == pytest.approx(corrected, rel=2e-3)
    per_bar = figure(sheet, "peak_power").value / DISPLACEMENT / (AIR.pressure + BOOST)
    assert figure(sheet, "specific_power_per_pressure").value == pytest.approx(per_bar)


def test_manifold_pressure_is_absolute(tmp_path: Path) -> None:
    sheet = boosted_sheet(tmp_path, **{"Manifold pressure (kPa)": np.full(RPM.shape, 190.0)})
    assert figure(sheet, "pressure_ratio").value == pytest.approx(190e3 / AIR.pressure)


def test_recorded_boost_where_none_is_logged(tmp_path: Path) -> None:
    sheet = boosted_sheet(tmp_path)
    assert figure(sheet, "pressure_ratio").value == pytest.approx(1 + 60e3 / AIR.pressure)


def test_restrictor_of_any_engine(tmp_path: Path) -> None:
    sheet = boosted_sheet(tmp_path, "induction: {restrictor_diameter: 20 mm, restrictor_coefficient: 0.95}\n", "na")
    most = 0.95 * float(breathing.choked_air_flow(math.pi / 4 * 0.02**2, AIR.pressure, AIR.temperature))
    assert figure(sheet, "restrictor_choked_flow").value == pytest.approx(most)
    use = figure(sheet, "restrictor_use").value
    assert use == pytest.approx(0.09 * figure(sheet, "peak_power_speed").value * 60 / 3600 / most, rel=2e-3)
    assert use > 1.03
    assert "Restrictor" in {contradiction.title for contradiction in sheet.contradictions}
    assert "pressure_ratio" not in sheet


def test_a_restrictor_without_a_coefficient_counts_no_loss(tmp_path: Path) -> None:
    flow = figure(boosted_sheet(tmp_path, "induction: {restrictor_diameter: 34 mm}\n", "na"), "restrictor_choked_flow")
    most = breathing.choked_air_flow(math.pi / 4 * 0.034**2, AIR.pressure, AIR.temperature)
    assert flow.value == pytest.approx(most)
    assert "no loss counted" in flow.working
    assert "none recorded" not in flow.working


def test_an_engine_without_boost_or_restrictor_has_none_of_them(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, one_pull(), {"a.csv": log_of()})
    names = {"pressure_ratio", "charge_density", "restrictor_choked_flow", "corrected_compressor_flow"}
    assert not names & {item.slug for item in sheet.figures}
    assert not names & {need.slug for need in sheet.needs}


def test_logged_charge_temperature_comes_first(tmp_path: Path) -> None:
    sheet = boosted_sheet(tmp_path, **{"Charge temperature (degC)": np.full(RPM.shape, 30.0)})
    ratio = 1 + 60e3 / AIR.pressure
    density = air_density(AIR.pressure + 60e3, 273.15 + 30, AIR.vapor * ratio)
    assert figure(sheet, "charge_density").value == pytest.approx(density)


def test_rules_of_thumb_for_natural_engines_are_not_applied_to_boosted_ones(tmp_path: Path) -> None:
    carburetor = "induction: {rated_flow: 700 cfm, rated_depression: 1.5 inHg}\n"
    natural = boosted_sheet(tmp_path / "natural", carburetor, "na")
    boosted = boosted_sheet(tmp_path / "boosted", carburetor, "turbo")
    assert "induction_headroom" in natural
    assert "induction_headroom" not in boosted
    assert "induction_headroom" not in {need.slug for need in boosted.needs}


@pytest.mark.parametrize("control", ["absolute", "gauge", "none"])
def test_absolute_boost_control_is_not_corrected_but_says_the_factor(tmp_path: Path, control: str) -> None:
    session = boosted_sheet(tmp_path, f"induction: {{boost: 60 kPa, boost_control: {control}}}\n").session
    assert session is not None
    notes = [note for note in session.pulls[0].notes if note.startswith("not corrected")]
    if control == "absolute":
        assert session.standard.slug == "observed"
        assert notes == [
            "not corrected, since the boost is held to an absolute pressure; by SAE J1349 "
            f"times {SAE_J1349.factor(AIR):.4f}"
        ]
        assert any("absolute" in remark for remark in session.remarks)
    else:
        assert session.standard.slug == "sae-j1349"
        assert notes == []


@pytest.mark.parametrize(
    ("control", "word"),
    [("gauge", "corrects too much"), ("none", "check the standard"), (None, "how the boost is controlled")],
)
def test_a_corrected_boosted_engine_says_what_the_standard_says_of_it(
    tmp_path: Path, control: str | None, word: str
) -> None:
    more = "" if control is None else f", boost_control: {control}"
    session = boosted_sheet(tmp_path, f"induction: {{boost: 60 kPa{more}}}\n").session
    assert session is not None
    (sentence,) = (text for text in session.pulls[0].outside if "boost" in text)
    assert "from memory" in sentence
    assert word in sentence


def test_air_demand_without_boost_is_not_shown_of_a_boosted_engine(tmp_path: Path) -> None:
    sheet = boosted_sheet(tmp_path)
    assert "air_demand" not in sheet
    assert "boosted_air_demand" in sheet
    assert "air_demand" in boosted_sheet(tmp_path / "na", "induction: {}\n", "na")


def test_more_than_a_restrictor_can_pass_is_a_caution(tmp_path: Path) -> None:
    tight = boosted_sheet(tmp_path, "induction: {restrictor_diameter: 17 mm}\n", "na")
    subjects = {caution.subject for caution in tight.cautions if caution.name == "restrictor"}
    assert subjects == {"restrictor_use", "restrictor_efficiency"}
    wide = boosted_sheet(tmp_path / "wide", "induction: {restrictor_diameter: 40 mm}\n", "na")
    assert not [caution for caution in wide.cautions if caution.name == "restrictor"]


def test_power_over_the_heat_of_the_restrictors_air(tmp_path: Path) -> None:
    sheet = boosted_sheet(tmp_path, "induction: {restrictor_diameter: 34 mm}\n", "na")
    most = float(breathing.choked_air_flow(math.pi / 4 * 0.034**2, AIR.pressure, AIR.temperature))
    observed = figure(sheet, "peak_power").value / SAE_J1349.factor(AIR)
    share = observed / (most / 14.6 * 43.2e6)
    assert figure(sheet, "restrictor_efficiency").value == pytest.approx(share, rel=2e-3)


def test_a_figure_from_a_log_shows_no_uncertainty_that_leaves_the_log_out(tmp_path: Path) -> None:
    stated = "block: {bores: {unit: mm, measured: [81.50, 81.50, 81.50, 81.50], resolution: 0.001 mm}}\n"
    stated += "crankshaft: {stroke: 77.60 mm}\n"
    log = log_of(**{"Air flow (kg/h)": 0.09 * RPM, "Boost (kPa)": np.full(RPM.shape, 80.0)})
    build, _ = write_build(tmp_path, one_pull(), {"a.csv": log}, induction="turbo", bottom_end=stated)
    sheet = compute(build, METRIC)
    assert figure(sheet, "displacement").uncertainty is not None
    assert figure(sheet, "volumetric_efficiency").uncertainty is None
    assert figure(sheet, "specific_power_per_pressure").uncertainty is None
    assert figure(sheet, "specific_power").uncertainty is not None
