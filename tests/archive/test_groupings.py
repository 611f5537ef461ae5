"""Comparison, where a part was used, and lists."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from builder.archive.compare import compare
from builder.archive.groupings import group_builds, overview_points
from builder.archive.part_usage import finding, index_parts
from builder.archive.summary import PartSummary, Summary, coarse_curve
from tests.support import archive_samples as samples


def test_only_what_differs_is_compared() -> None:
    a = Summary("a", "A", displacement=5.7e-3, compression_ratio=10.5, fuel="petrol", cylinders=8,
                parts=(PartSummary("Orrin", "P1", "pistons"),))  # fmt: skip
    b = replace(a, slug="b", compression_ratio=10.5004, fuel="E85", cylinders=None,
                parts=(PartSummary("Orrin", "P2", "pistons"), PartSummary("Vale", "C1", "camshaft")))  # fmt: skip
    found = compare([a, b], "inch")
    assert {r.slug: r.values for r in found.rows} == {
        "cylinders": ("8", "not recorded"),
        "fuel": ("petrol", "E85"),
        "part:pistons": ("Orrin P1", "Orrin P2"),
        "part:camshaft": ("not recorded", "Vale C1"),
    }
    assert found.identical == ("Displacement", "Compression ratio")  # 10.5004 reads as 10.50
    with pytest.raises(ValueError, match="two builds"):
        compare([a])


def test_where_a_part_was_used_and_what_receiving_found() -> None:
    part = PartSummary("Orrin & Vale", "PI-104", "pistons")
    verdicts = ["measured short", "as listed", "measured short", None, "measured short", "as listed"]
    builds = [Summary(f"b{i}", "b", date=f"20{i:02}-01-01", parts=(replace(part, verdict=v),))
              for i, v in enumerate(verdicts)]  # fmt: skip
    builds.append(
        Summary("c", "c", parts=(PartSummary("orrin &  vale", "pi-104 ", "pistons"), PartSummary("", "X", "rods")))
    )
    (maker,) = index_parts(builds)
    assert (maker.maker, maker.builds) == ("Orrin & Vale", 7)
    (used,) = maker.parts
    assert used.number == "PI-104"
    assert [u.summary.slug for u in used.uses] == ["b5", "b4", "b3", "b2", "b1", "b0", "c"]
    assert (used.checked, used.finding) == (5, "three of five measured short")
    assert used.verdicts == (("measured short", 3), ("as listed", 2))
    assert maker.finding == used.finding


@pytest.mark.parametrize(
    ("verdicts", "says"),
    [
        ([], "not checked on receipt"),
        ([None], "not checked on receipt"),
        (["fits"], "checked once and good"),
        (["not checked"], "not checked on receipt"),
        (["as listed", "fits", "fits", "not checked"], "all three good"),
        (["wrong part", "short", "short", "ok"], "two of four short; one of four wrong part"),
        (["short"] * 12, "12 of 12 short"),
    ],
)
def test_findings_read_as_the_shop_talks(verdicts: list[str | None], says: str) -> None:
    assert finding(verdicts) == says


def test_lists_hold_every_build_once() -> None:
    builds = samples.invented_archive(60, sparse=0.4)
    for slug in ("family", "year", "fuel", "purpose"):
        groups = group_builds(builds, slug)
        assert sorted(s.slug for g in groups for s in g.summaries) == sorted(s.slug for s in builds)
        assert len({g.title for g in groups}) == len(groups)
    years = [g.title for g in group_builds(builds, "year")]
    assert years == sorted(years, reverse=True)
    assert group_builds(builds, "purpose")[-1].title == "Not recorded"
    assert group_builds([], "fuel") == ()


def test_overviews_have_a_point_for_every_build_that_knows_both() -> None:
    builds = samples.invented_archive(40, sparse=0.3)
    for o in overview_points(builds):
        both = [s for s in builds if None not in (getattr(s, o.x.slug), getattr(s, o.y.slug))]
        assert {p.summary.slug for p in o.points} == {s.slug for s in both}
        p = o.points[0]
        assert p.y == pytest.approx(getattr(p.summary, o.y.slug), rel=1e-3)
    assert overview_points([Summary("a", "a")]) == ()


def test_a_thin_curve_invents_no_power_at_its_ends() -> None:
    # Torque falls so that power is level: a mean of the last readings, held out to the last speed, would add to it.
    speed = np.arange(1800.0, 5401.0, 25.0) / 60
    power = 2 * np.pi * speed * (200 * 90 / speed)
    curve = coarse_curve(speed, power / (2 * np.pi * speed))
    assert curve is not None
    thinned = 2 * np.pi * np.array(curve.speeds) * np.array(curve.torque)
    assert thinned == pytest.approx(np.full(len(curve.torque), power[0]), rel=2e-3)


def test_a_thin_curve_keeps_the_shape_and_not_the_noise() -> None:
    speed = [s / 60 for s in range(2000, 6500, 10)]
    torque = [400 - 1e-5 * (s * 60 - 4300) ** 2 + (5 if i % 2 else -5) for i, s in enumerate(speed)]
    curve = coarse_curve(speed, torque)
    assert curve is not None
    assert len(curve.torque) <= 21
    for n, t in zip(curve.speeds[1:-1], curve.torque[1:-1], strict=True):
        assert t == pytest.approx(400 - 1e-5 * (n * 60 - 4300) ** 2, abs=1.0)
    assert (curve.step * 60) % 25 == pytest.approx(0)
    assert coarse_curve([1.0, 1.0], [5.0, 6.0]) is None
    assert coarse_curve([], []) is None
    assert coarse_curve([float("nan"), 50.0, 100.0], [1.0, 2.0, 4.0]).torque[0] == pytest.approx(2.0)  # type: ignore[union-attr]
    with pytest.raises(ValueError, match="one length"):
        coarse_curve([1.0], [1.0, 2.0])
