"""Builds grouped by a field, and the points of the overview charts."""

from __future__ import annotations

import pytest

from builder.archive.groupings import group_builds, overview_points
from builder.archive.summary import Summary
from tests.support import archive_samples as samples


def test_groups_have_every_build_once() -> None:
    builds = samples.invented_archive(60, sparse=0.4)
    for slug in ("family", "year", "fuel", "purpose"):
        groups = group_builds(builds, slug)
        assert sorted(s.slug for g in groups for s in g.summaries) == sorted(s.slug for s in builds)
        assert len({g.title for g in groups}) == len(groups)
    years = [g.title for g in group_builds(builds, "year")]
    assert years == sorted(years, reverse=True)
    assert group_builds(builds, "purpose")[-1].title == "Not recorded"
    assert group_builds([], "fuel") == ()


def test_overviews_have_a_point_for_every_build_with_both_fields() -> None:
    builds = samples.invented_archive(40, sparse=0.3)
    for o in overview_points(builds):
        both = [s for s in builds if None not in (getattr(s, o.x.slug), getattr(s, o.y.slug))]
        assert {p.summary.slug for p in o.points} == {s.slug for s in both}
        p = o.points[0]
        assert p.y == pytest.approx(getattr(p.summary, o.y.slug), rel=1e-3)
    assert overview_points([Summary("a", "a")]) == ()
