"""Builds compared: only what differs."""

from __future__ import annotations

from dataclasses import replace

import pytest

from builder.archive.compare import ComparedRecord, compare, compare_records
from builder.archive.recorded_fields import RecordedField
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
    assert found.identical == ("Displacement 347.8 cu in", "Compression ratio 10.50")  # 10.5004 reads as 10.50
    with pytest.raises(ValueError, match="two builds"):
        compare([a])


def _field(title: str, inch: str, metric: str = "", positions: tuple[str, ...] = ()) -> RecordedField:
    return RecordedField("bottom_end", "Crankshaft", title, inch, metric or inch, inch, positions, "in")


def test_records_are_compared_file_by_file_and_by_position_within_one_engine() -> None:
    journals = [_field("Main journals", "2.4480 to 2.4482 in, 3 read", "", ("2.4480", "2.4482", third))
                for third in ("2.4480", "2.4481")]  # fmt: skip
    stroke = [_field("Stroke", text, "88.39 mm") for text in ("3.480 in", "3.4799 in")]
    for engine, different in (
        (None, ["Crankshaft: stroke"]),
        ("E-1", ["Crankshaft: main journals", "Crankshaft: stroke"]),
    ):
        records = [ComparedRecord(engine, pair) for pair in zip(journals, stroke, strict=True)]
        file = compare_records(records, "inch")[0]
        assert file.title == "Bottom end"
        assert [row.title for row in file.rows] == different
    assert file.rows[0].values[1] == "2.4480, 2.4482, 2.4481\N{NO-BREAK SPACE}in"
    # Engines of two numbers are two engines, and one value in both units is one value.
    other = [ComparedRecord("E-1", (stroke[0],)), ComparedRecord("E-2", (stroke[1],))]
    assert compare_records(other, "metric")[0].identical == ("Crankshaft: stroke",)
    only_one = [ComparedRecord(None, (stroke[0],)), ComparedRecord(None, ())]
    assert compare_records(only_one, "inch")[0].rows[0].values == ("3.480 in", "not recorded")
