"""From a record and its figures to the archive's short form."""

from __future__ import annotations

from pathlib import Path

import pytest

from builder.archive.build_summary import summarize_build, summary_of_record
from builder.archive.summary import Summary
from builder.figures.core.types import FigureSheet
from builder.figures.evaluate import compute
from builder.record.load import read_build
from builder.record.models.shop import Shop
from builder.record.redaction import without_private

ROOT = Path(__file__).resolve().parents[2]


def summary_of(slug: str) -> Summary:
    build, problems = read_build(ROOT / "builds" / slug, ROOT)
    assert build is not None, problems
    public = without_private(build)
    return summarize_build(public, compute(public, Shop()), Shop())


def read_figures(slug: str) -> FigureSheet:
    build, _ = read_build(ROOT / "builds" / slug, ROOT)
    assert build is not None
    return compute(without_private(build), Shop())


def test_a_full_record_has_every_field_of_a_summary() -> None:
    found = summary_of("pilot-launch-four")
    assert found.cylinders == 4
    assert found.displacement == pytest.approx(1619e-6, rel=1e-3)
    assert found.peak_power_speed is not None
    assert found.curve is not None
    assert found.year == int((found.date or "")[:4])
    assert found.purpose == "marine"


def test_a_wrong_part_says_which_way_it_was_wrong() -> None:
    verdicts = {part.verdict for part in summary_of("pilot-launch-four").parts if part.kind.startswith("piston")}
    assert "measured short and returned" in verdicts


def test_what_decides_a_combination_is_in_the_short_form() -> None:
    truck, sprint = summary_of("breakdown-truck-v8"), summary_of("sprint-e85-four")
    assert (truck.manifold, truck.ignition_system, truck.primary_diameter) == (
        "dual plane",
        "electronic distributor",
        None,
    )
    assert truck.rated_flow == pytest.approx(650 * 0.3048**3 / 60)
    assert (sprint.manifold, sprint.ignition_system, sprint.rated_flow) == ("individual runners", "coil on plug", None)
    assert sprint.primary_diameter == pytest.approx(0.042)


def test_a_rating_is_converted_to_the_depression_that_ratings_are_compared_at(tmp_path: Path) -> None:
    """Flow goes with the square root of the depression (Bernoulli): 500 cfm at 3.0 inHg are 353.6 at 1.5."""
    carburetor = "carburetor: {count: 2, rated_flow: 250 cfm}"
    found = build_of(tmp_path, f"induction: {{{carburetor}, rated_depression: 3.0 inHg}}\n")
    assert found.rated_flow == pytest.approx(353.553 * 0.3048**3 / 60, rel=1e-5)
    assert build_of(tmp_path / "unknown", f"induction: {{{carburetor}}}\n").rated_flow is None


def test_a_sparse_record_has_a_short_form_too() -> None:
    found = summary_of("fire-pump-flat-four")
    assert found.peak_power is None
    assert found.curve is None


def build_of(tmp_path: Path, top_end: str) -> Summary:
    folder = tmp_path / "builds" / "one"
    folder.mkdir(parents=True)
    (folder / "build.yaml").write_text("title: One\nengine: {cylinders: 4}\n")
    (folder / "top_end.yaml").write_text(top_end)
    build, problems = read_build(folder, tmp_path)
    assert build is not None, problems
    return summarize_build(build, compute(build, Shop()), Shop())


def test_head_flow_is_compared_at_one_depression(tmp_path: Path) -> None:
    """Flow goes with the root of the depression: common practice, no source (Bernoulli)."""
    card = "heads: {flow_bench: {depression: 10 inH2O, intake: [{lift: 0.3 in, flow: 100 cfm}]}}"
    flow = build_of(tmp_path, card).head_flow
    assert flow == pytest.approx(100 * 0.3048**3 / 60 * (28 / 10) ** 0.5, rel=1e-9)


def test_the_effective_ratio_is_compared_with_seat_timing_alone() -> None:
    """Timing at 1 mm or 0.050 in gives a higher ratio of the same engine, so it is not put beside seat timing."""
    truck = read_figures("breakdown-truck-v8")["effective_compression_ratio"]
    by_lift = {position.label: position.value for position in truck.positions}
    assert summary_of("breakdown-truck-v8").effective_compression_ratio == by_lift["0.006 in"] < by_lift["0.050 in"]
    launch = read_figures("pilot-launch-four")["effective_compression_ratio"]
    by_lift = {position.label: position.value for position in launch.positions}
    assert summary_of("pilot-launch-four").effective_compression_ratio == by_lift["seat"]
    assert "effective_compression_ratio" in read_figures("offshore-v8")
    assert summary_of("offshore-v8").effective_compression_ratio is None


def test_the_quick_summary_of_a_record_is_that_of_all_its_figures() -> None:
    shop = Shop()
    for slug in ("pilot-launch-four", "hydroplane-two-stroke"):
        build, _ = read_build(ROOT / "builds" / slug, ROOT)
        assert build is not None
        public = without_private(build)
        assert summary_of_record(build, shop) == summarize_build(public, compute(public, shop), shop)


def test_noted_results_and_ratio_stand_in_where_nothing_was_logged(tmp_path: Path) -> None:
    folder = tmp_path / "builds" / "one"
    folder.mkdir(parents=True)
    engine = "{cylinders: 8, displacement: 350 cu in, compression_noted: 9.6}"
    (folder / "build.yaml").write_text(f"title: One\nengine: {engine}\n")
    (folder / "dyno.yaml").write_text("noted_result: {power: 342 hp, power_at: 5400 rpm, torque: 371 lb-ft}\n")
    build, problems = read_build(folder, tmp_path)
    assert build is not None, problems
    summary = summarize_build(build, compute(build, Shop()), Shop())
    assert (summary.result_source, summary.compression_source) == ("noted, no log", "noted")
    assert summary.peak_power == pytest.approx(342 * 745.699872)
    assert summary.peak_power_speed == pytest.approx(90)
    # 150.8 x torque [lb-ft] / displacement [cu in], in psi, four-stroke: common practice, no source
    assert summary.bmep == pytest.approx(150.8 * 371 / 350 * 6894.757, rel=1e-4)
    assert summary.compression_ratio == 9.6
    assert summary.curve is None


def test_a_log_comes_before_what_was_noted() -> None:
    found = summary_of("pilot-launch-four")
    assert (found.result_source, found.compression_source) == ("dyno log", "calculated")
