"""What might it make: scaling, honesty of the interval, and when there is no estimate."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from builder.archive import estimate as module
from builder.archive.estimate import estimate
from builder.archive.fields import weights_from
from builder.archive.similarity import plan_from_values
from builder.archive.summary import NOTED_RESULT, Summary
from tests.support import archive_samples as samples

WEIGHTS, _ = weights_from(None)


def scaled_family(bmep: float = 1.2e6, piston_speed: float = 18.0) -> list[Summary]:
    """Engines of one bmep and one mean piston speed, in sizes from 1 to 2: scaling them is exact."""
    out = []
    for i in range(12):
        stroke = 0.080 * 2 ** (i / 33)
        bore = stroke * 1.1
        volume = 8 * math.pi / 4 * bore**2 * stroke
        speed = piston_speed / (2 * stroke)
        out.append(
            Summary(f"s{i:02}", "s", cycle="four-stroke", cylinders=8, displacement=volume, bore=bore,
                    stroke=stroke, induction="naturally aspirated", fuel="gasoline", compression_ratio=10.0,
                    peak_torque=bmep * volume / (4 * math.pi), peak_torque_speed=0.7 * speed,
                    peak_power=bmep * 0.9 * volume * speed / 2, peak_power_speed=speed)
        )  # fmt: skip
    return out


def test_results_are_scaled_by_bmep_and_piston_speed() -> None:
    builds = scaled_family()
    truth = builds[5]
    rest = [s for s in builds if s is not truth]
    found = {e.field.slug: e for e in estimate(rest, truth, WEIGHTS).expected}
    assert set(found) == set(module.TARGETS)
    for slug, e in found.items():
        # The record is kept in whole steps, so exact means to about a part in ten thousand.
        assert e.value == pytest.approx(getattr(truth, slug), rel=3e-4)
        assert e.minimum <= e.value <= e.maximum


def test_a_two_stroke_makes_twice_the_torque_of_the_same_bmep() -> None:
    builds = [replace(s, cycle=None) for s in scaled_family()]
    plan = replace(builds[4], slug="plan", cycle="two-stroke")
    same = estimate(builds, replace(plan, cycle="four-stroke"), {**WEIGHTS, "cycle": 0.0})
    double = estimate(builds, plan, {**WEIGHTS, "cycle": 0.0})
    assert double.expected[0].value == pytest.approx(2 * same.expected[0].value)


def test_without_a_stroke_speed_goes_by_the_cube_root_of_a_cylinder() -> None:
    builds = [replace(s, stroke=None, bore=None) for s in scaled_family()]
    found = {e.field.slug: e for e in estimate(builds[:5] + builds[6:], builds[5], WEIGHTS).expected}
    assert found["peak_power_speed"].value == pytest.approx(builds[5].peak_power_speed, rel=1e-3)


def test_the_interval_holds_what_it_says_for_engines_it_has_not_seen() -> None:
    builds = samples.invented_archive(320, seed=3)
    known, unseen = builds[:220], [s for s in builds[220:] if s.peak_power]
    held = tried = 0
    for plan in unseen:
        for e in estimate(known, plan, WEIGHTS).expected:
            if e.field.slug in ("peak_torque", "peak_power"):
                tried += 1
                held += e.minimum <= getattr(plan, e.field.slug) <= e.maximum
                assert 0.86 <= e.covered / e.evaluated <= 0.94
    assert tried > 100
    assert 0.84 <= held / tried <= 0.97  # 90 % give or take three standard errors of so few


def test_whole_families_are_left_out_where_the_plan_is_of_a_new_one() -> None:
    """Engines of eight families; for each, the estimate of its engines from the other seven holds what it says."""
    builds = [s for s in samples.invented_archive(260, seed=5) if s.peak_power]
    held = tried = 0
    for family in sorted({s.family or "" for s in builds}):
        others = [s for s in builds if s.family != family]
        for plan in [s for s in builds if s.family == family][:6]:
            for e in estimate(others, plan, WEIGHTS).expected:
                assert e.left_out == "families"
                tried += 1
                held += e.minimum <= getattr(plan, e.field.slug) <= e.maximum
    assert tried >= 40
    assert held / tried >= 0.8
    known = estimate(builds, builds[0], WEIGHTS).expected[0]
    unknown = estimate(builds, replace(builds[0], family=None, slug=""), WEIGHTS).expected[0]
    assert (known.left_out, unknown.left_out) == ("builds", "families")
    alone = [replace(s, family=s.slug) for s in builds]
    assert estimate(alone, replace(builds[0], slug="plan"), WEIGHTS).expected[0].left_out == "builds"


def test_results_in_the_plan_are_not_used() -> None:
    builds = samples.invented_archive(150)
    plan = plan_from_values(displacement=0.0057, cylinders=8, compression_ratio=10.2, induction="naturally aspirated")
    lying = replace(plan, peak_power=9e5, bmep=9e6)
    weights = {**WEIGHTS, "peak_power": 5.0, "bmep": 5.0}
    assert estimate(builds, lying, weights) == estimate(builds, plan, weights)


def test_the_build_itself_is_left_out() -> None:
    builds = scaled_family()
    odd = replace(builds[3], peak_power=builds[3].peak_power * 3)
    found = {e.field.slug: e for e in estimate([*builds[:3], odd, *builds[4:]], odd, WEIGHTS).expected}
    assert found["peak_power"].value == pytest.approx(builds[3].peak_power, rel=1e-3)


def test_another_induction_cycle_or_ignition_is_no_use() -> None:
    builds = scaled_family()
    turbo = [replace(s, slug="t" + s.slug, induction="turbocharged", peak_torque=s.peak_torque * 2) for s in builds]
    plan = replace(builds[4], slug="plan")
    found = estimate(builds + turbo, plan, WEIGHTS).expected[0]
    assert {s.induction for s in found.matches} == {"naturally aspirated"}
    diesel = [replace(s, fuel="diesel") for s in builds]
    assert estimate(diesel + turbo, replace(plan, fuel="gasoline"), WEIGHTS).expected == ()


@pytest.mark.parametrize(
    ("plan", "says"),
    [
        (plan_from_values(fuel="gasoline"), "enter the planned displacement"),
        (plan_from_values(displacement=-1.0), "enter the planned displacement"),
        (plan_from_values(displacement=0.05), "Displacement 50000 cc lies outside what the archive covers"),
        (plan_from_values(displacement=0.0055, induction="turbine"), "no build in the archive has induction turbine"),
        (plan_from_values(displacement=0.005, stroke=0.5, valve_lift=0.1, compression_ratio=90.0), "most of the plan"),
    ],
)
def test_no_estimate_beyond_the_archive(plan: Summary, says: str) -> None:
    found = estimate(samples.invented_archive(80), plan, WEIGHTS)
    assert found.expected == ()
    assert any(says in reason for reason in found.reasons)


@pytest.mark.parametrize(
    ("outside", "note"),
    [
        ({"compression_ratio": 25.0}, "Compression ratio 25.00 lies outside"),
        ({"fuel": "hydrogen"}, "no build in the archive has fuel hydrogen: left out of the match"),
        ({"stroke": 0.5}, "Stroke 500.00 mm lies outside"),
    ],
)
def test_a_field_outside_the_archive_is_left_out_of_the_match(outside: dict[str, Any], note: str) -> None:
    builds = samples.invented_archive(80)
    stated = plan_from_values(displacement=0.0055, cylinders=8, cycle="four-stroke")
    found, without = estimate(builds, replace(stated, **outside), WEIGHTS), estimate(builds, stated, WEIGHTS)
    assert found.expected == without.expected != ()
    assert note in found.notes[0]
    assert found.reasons == without.notes == ()


def test_a_displacement_a_little_outside_is_scaled_to() -> None:
    builds = scaled_family()
    largest = max(builds, key=lambda build: build.displacement or 0.0)
    plan = replace(largest, slug="plan", displacement=1.8 * largest.displacement, bore=None, stroke=None)
    found = estimate(builds, plan, WEIGHTS)
    torque = next(item for item in found.expected if item.field.slug == "peak_torque")
    # At the same BMEP torque goes with displacement; the builds of the family have one BMEP.
    assert torque.value == pytest.approx(1.8 * largest.peak_torque, rel=0.02)
    assert "scaled beyond it" in found.notes[0]


def test_fewer_than_five_relatives_give_none() -> None:
    builds = scaled_family()
    plan = replace(builds[2], slug="plan")
    for count in (0, 1, 4):
        found = estimate(builds[:count], plan, WEIGHTS)
        assert found.expected == ()
        assert found.reasons[0] == f"not enough similar builds ({count}; 5 needed)"
    assert estimate([Summary(f"n{i}", "nothing known") for i in range(9)], plan, WEIGHTS).expected == ()


def test_a_small_archive_states_a_smaller_level() -> None:
    # Seven builds cannot tell nine in ten: the largest of seven errors holds 7 of 8.
    builds = scaled_family()[:7]
    found = estimate(builds, replace(builds[3], slug="plan"), WEIGHTS)
    assert found.expected[0].level == pytest.approx(7 / 8)
    assert found.expected[0].evaluated == 7


def test_it_reads_as_a_sentence() -> None:
    builds = scaled_family()
    text = estimate(builds, replace(builds[4], slug="plan"), WEIGHTS).expected[0].text("inch")
    assert text.startswith("Peak torque ")
    assert "lbf ft" in text
    assert "held" in text
    assert "builds left out in turn" in text


def tuned_family() -> list[Summary]:
    """The scaled family with compression ratios from 8.5 to 11.25, each whole point worth 5 % of torque."""
    builds = scaled_family()
    ratios = [8.5 + 0.25 * (7 * i % 12) for i in range(len(builds))]  # in no order of size
    return [
        replace(s, compression_ratio=r, peak_torque=(s.peak_torque or 0.0) * 1.05 ** (r - 10.0))
        for s, r in zip(builds, ratios, strict=True)
    ]


def torque_of(builds: list[Summary], plan: Summary) -> module.ExpectedResult:
    return next(e for e in estimate(builds, plan, WEIGHTS).expected if e.field.slug == "peak_torque")


def test_the_strongest_is_not_pulled_to_the_middle() -> None:
    builds = tuned_family()
    strongest = max(builds, key=lambda s: s.compression_ratio or 0.0)
    # The archive covers its ratio by an engine that is no match for it.
    boosted = replace(builds[0], slug="boosted", induction="turbocharged", compression_ratio=12.0)
    torque = torque_of([*(s for s in builds if s is not strongest), boosted], strongest)
    mean_error = abs(torque.average / strongest.peak_torque - 1.0)
    assert mean_error > 0.05
    assert abs(torque.value / strongest.peak_torque - 1.0) < 0.3 * mean_error
    assert torque.maximum - torque.minimum < 0.25 * torque.value
    (largest, *_) = torque.adjustments
    assert (largest.field.slug, largest.is_beyond) == ("compression_ratio", True)
    assert largest.share > 0.0


def test_the_working_leads_from_the_average_to_the_value() -> None:
    builds = samples.invented_archive(150)
    plan = plan_from_values(displacement=0.0057, cylinders=8, compression_ratio=11.0, intake_duration_050=240.0)
    for e in estimate(builds, plan, WEIGHTS).expected:
        product = math.prod(1.0 + adjustment.share for adjustment in e.adjustments)
        assert e.average * product * (1.0 + e.other_adjustments) == pytest.approx(e.value)
        sizes = [abs(math.log1p(adjustment.share)) for adjustment in e.adjustments]
        assert sizes == sorted(sizes, reverse=True)
        assert len(sizes) <= module.MAX_SHOWN_ADJUSTMENTS
        assert all(size >= module.MIN_SHOWN_ADJUSTMENT for size in sizes)


def test_the_working_says_how_many_results_were_only_noted() -> None:
    builds = tuned_family()
    noted = [replace(s, result_source=NOTED_RESULT) if i < 3 else s for i, s in enumerate(builds)]
    plan = replace(builds[4], slug="plan", compression_ratio=11.0)
    torque = torque_of(noted, plan)
    assert torque.noted == 3
    text = torque.working("metric")
    assert text.startswith("the 12 closest builds (3 with a noted result, no log) at this size: ")
    assert "adjusted for compression ratio +" in text
    assert "noted" not in torque_of(builds, plan).working()
    alike = scaled_family()
    assert torque_of(alike, replace(alike[4], slug="plan")).working().endswith("no adjustment")


def test_an_absurd_level_is_refused() -> None:
    with pytest.raises(ValueError, match="level"):
        estimate([], plan_from_values(displacement=0.005), WEIGHTS, level=1.0)
