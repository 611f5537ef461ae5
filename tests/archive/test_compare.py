"""Builds compared: only what differs."""

from __future__ import annotations

from dataclasses import replace

import pytest

from builder.archive.compare import compare
from builder.archive.summary import PartSummary, Summary


def test_only_what_differs_is_compared() -> None:
    a = Summary("a", "A", displacement=5.7e-3, compression_ratio=10.5, fuel="gasoline", cylinders=8,
                parts=(PartSummary("Orrin", "P1", "pistons"),))  # fmt: skip
    b = replace(a, slug="b", compression_ratio=10.5004, fuel="E85", cylinders=None,
                parts=(PartSummary("Orrin", "P2", "pistons"), PartSummary("Vale", "C1", "camshaft")))  # fmt: skip
    found = compare([a, b], "inch")
    assert {r.slug: r.values for r in found.rows} == {
        "cylinders": ("8", "not recorded"),
        "fuel": ("gasoline", "E85"),
        "part:pistons": ("Orrin P1", "Orrin P2"),
        "part:camshaft": ("not recorded", "Vale C1"),
    }
    assert found.identical == ("Displacement", "Compression ratio")  # 10.5004 reads as 10.50
    with pytest.raises(ValueError, match="two builds"):
        compare([a])
