"""Which builds have a part, and the verdicts on it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from builder.archive.part_usage import finding, index_parts
from builder.archive.summary import PartSummary, Summary


def test_a_part_has_its_builds_and_verdicts() -> None:
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
    assert (maker.checked, maker.verdicts) == (5, used.verdicts)


@pytest.mark.parametrize(
    ("verdicts", "sentence"),
    [
        ([], "not inspected"),
        ([None], "not inspected"),
        (["fits"], "inspected, OK"),
        (["not checked"], "not inspected"),
        (["as listed", "fits", "fits", "not checked"], "all three inspected, OK"),
        (["wrong part", "short", "short", "ok"], "two of four short; one of four wrong part"),
        (["short"] * 12, "all 12 short"),
        (["reworked"], "reworked"),
        (["fits", "fits"], "both inspected, OK"),
    ],
)
def test_verdicts_are_summed_up_in_a_sentence(verdicts: list[str | None], sentence: str) -> None:
    assert finding(verdicts) == sentence
