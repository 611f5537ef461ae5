"""Goals with a number: met, not met, or within the uncertainty of what was measured."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from builder.figures.evaluate import compute
from builder.figures.review.goals import Finding, GoalResult, outcome_of
from builder.record.load import read_build
from builder.record.models.goals import read_target
from builder.record.models.shop import Shop
from tests.support.dyno_samples import BOTTOM_END, ENGINE, log_of, one_pull, torque_curve


@pytest.mark.parametrize(
    ("wanted", "value", "half_width", "outcome"),
    [
        ("100 N.m", 103.0, 2.0, "met"),
        ("100 N.m", 101.0, 2.0, "within the uncertainty"),
        ("100 N.m", 99.0, 2.0, "within the uncertainty"),
        ("100 N.m", 97.0, 2.0, "not met"),
        ("at most 100 N.m", 97.0, 2.0, "met"),
        ("at most 100 N.m", 103.0, 2.0, "not met"),
        ("90..100 N.m", 95.0, 2.0, "met"),
        ("90..100 N.m", 99.0, 2.0, "within the uncertainty"),
        ("90..100 N.m", 110.0, 2.0, "not met"),
        ("100 N.m", 100.5, None, "met"),
    ],
)
def test_a_goal_is_met_where_the_whole_interval_is(
    wanted: str, value: float, half_width: float | None, outcome: str
) -> None:
    finding = Finding(value=value, lowest=value, highest=value, half_width=half_width, basis="measured")
    assert outcome_of(read_target("torque", wanted), finding) == outcome


def test_every_cylinder_has_to_meet_it() -> None:
    wanted = read_target("compression ratio", "9.5")
    finding = Finding(value=9.5, lowest=9.42, highest=9.53, half_width=None, basis="measured")
    assert outcome_of(wanted, finding) == "not in every cylinder"
    assert outcome_of(wanted, replace(finding, half_width=0.04)) == "within the uncertainty"
    assert outcome_of(wanted, replace(finding, lowest=9.46)) == "met"
    assert outcome_of(wanted, replace(finding, highest=9.44)) == "not met"


def _goals(tmp_path: Path, targets: str, session: str, *, with_log: bool = True) -> list[GoalResult]:
    folder = tmp_path / "builds" / "four"
    (folder / "dyno").mkdir(parents=True)
    engine = ENGINE.format(cycle="four-stroke", ignition="spark", induction="natural", fuel="petrol")
    (folder / "build.yaml").write_text(f"{engine}goals: {{{targets}}}\n", encoding="utf-8")
    (folder / "bottom_end.yaml").write_text(BOTTOM_END, encoding="utf-8")
    if with_log:
        (folder / "dyno.yaml").write_text(session, encoding="utf-8")
        (folder / "dyno" / "a.csv").write_text(log_of(), encoding="utf-8")
    build, _ = read_build(folder, tmp_path)
    assert build is not None
    return list(compute(build, Shop(correction="observed")).goals)


def test_goals_are_held_against_the_curves_as_delivered(tmp_path: Path) -> None:
    targets = "torque at 2500 rpm: 120 N.m, torque: 140 N.m, power at 9000 rpm: 1 kW, displacement: 1619 cc"
    at_speed, peak, beyond, displacement = _goals(tmp_path, targets, one_pull())
    assert at_speed.finding is not None
    assert at_speed.finding.value == pytest.approx(float(torque_curve(2500)), rel=2e-3)
    # At least the scatter between pulls, 0.5 % with Student's t of a few degrees of freedom.
    assert at_speed.finding.half_width is not None
    assert 0.01 < at_speed.finding.half_width / at_speed.finding.value < 0.02
    assert at_speed.outcome == "met"
    assert peak.outcome == "not met"
    assert (beyond.finding, beyond.outcome) == (None, "not measured")
    assert displacement.finding is not None
    # Four cylinders of 81.50 x 77.60 mm.
    assert displacement.finding.value == pytest.approx(4 * 3.14159265 / 4 * 0.0815**2 * 0.0776)
    assert displacement.outcome == "met"


def test_every_cylinder_has_to_have_the_quench_wanted(tmp_path: Path) -> None:
    _goals(tmp_path, "quench: 0.8..1.1 mm", "", with_log=False)
    folder = tmp_path / "builds" / "four"
    (folder / "top_end.yaml").write_text("gasket: {thickness: 1.00 mm}\n", encoding="utf-8")
    some = "not in every cylinder"
    for last_piston, outcome in (("0.05", "met"), ("0.40", some), ("-0.30", some)):
        deck = f"deck_clearance: {{unit: mm, measured: [0.05, 0.05, 0.05, {last_piston}]}}\n"
        (folder / "bottom_end.yaml").write_text(deck + BOTTOM_END, encoding="utf-8")
        build, problems = read_build(folder, tmp_path)
        assert build is not None, problems
        (goal,) = compute(build, Shop()).goals
        assert goal.finding is not None
        assert goal.finding.lowest == pytest.approx(1e-3 + min(0.05, float(last_piston)) * 1e-3)
        assert goal.outcome == outcome


def test_without_a_pull_nothing_was_measured(tmp_path: Path) -> None:
    (goal,) = _goals(tmp_path, "torque: 140 N.m", "", with_log=False)
    assert goal.outcome == "not measured"
