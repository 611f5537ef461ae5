"""Which builds have a part, and the verdicts on it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from builder.archive.part_usage import finding, index_parts
from builder.archive.summary import PartSummary, Summary


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
