"""Finding from the command line, and the index on disk."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from builder.archive.fields import BY_SLUG, weights_from
from builder.archive.index import dump_index, read_index, write_index
from builder.archive.search import find, parse_range, similar
from builder.archive.similarity import plan_from_values
from builder.archive.summary import CoarseCurve, PartSummary, Summary, newest_first
from tests.support import archive_samples as samples

CUBIC_INCH = 0.0254**3


def test_ranges_choices_and_words_together() -> None:
    builds = samples.invented_archive(200, sparse=0.2)
    found = find(
        builds,
        {"displacement": (300 * CUBIC_INCH, 400 * CUBIC_INCH), "compression_ratio": (9.0, None)},
        {"fuel": ["PETROL", "e85"]},
        "small V8 torque-plate-not",
    )
    assert found == ()
    found = find(builds, {"displacement": (300 * CUBIC_INCH, 400 * CUBIC_INCH), "compression_ratio": (9.0, None)},
                 {"fuel": ["PETROL", "e85"]}, "small V8")  # fmt: skip
    assert found
    want = [s for s in builds if s.compression_ratio is not None and s.compression_ratio >= 8.9995
            and 300 <= s.displacement / CUBIC_INCH <= 400 and s.fuel in ("petrol", "E85")
            and "small block" in s.title.lower()]  # fmt: skip
    assert list(found) == list(newest_first(want))


def test_parts_makers_and_numbers_are_found() -> None:
    build = Summary("a", "A", parts=(PartSummary("Orrin & Vale", "PI-104", "pistons"),), words="Knock at idle.")
    assert find([build], text="orrin pi-104 KNOCK") == (build,)
    assert find([build], text="stavely") == ()
    assert find([], text="x") == ()


@pytest.mark.parametrize(
    ("text", "slug", "system", "least", "most"),
    [
        ("340..360", "displacement", "inch", 340 * CUBIC_INCH, 360 * CUBIC_INCH),
        ("5.2 .. 5.8 ", "compression_ratio", "inch", 5.2, 5.8),
        ("..7000 rpm", "peak_power_speed", "metric", None, 7000 / 60),
        ("10.5..", "compression_ratio", "metric", 10.5, None),
        ("350 cu in", "displacement", "metric", 349.5 * CUBIC_INCH, 350.5 * CUBIC_INCH),
        ("10.5", "compression_ratio", "inch", 10.45, 10.55),
        ("-4..0", "cam_advance", "inch", -4.0, 0.0),
        ("300..400 N·m", "peak_torque", "inch", 300.0, 400.0),
    ],
)
def test_ranges_are_read_as_people_write_them(
    text: str, slug: str, system: str, least: float | None, most: float | None
) -> None:
    read = parse_range(text, BY_SLUG[slug], system)  # type: ignore[arg-type]
    assert not isinstance(read, str)
    assert read == pytest.approx((least, most))


@pytest.mark.parametrize("text", ["", "..", "big", "1e999..", "10 to 11", "10..11 bananas", "12..10", "9" * 400 + ".."])
def test_ranges_that_cannot_be_read_are_said(text: str) -> None:
    read = parse_range(text, BY_SLUG["compression_ratio"], "inch")
    assert isinstance(read, str)
    assert read.startswith("compression_ratio: ")


def test_similar_gives_relatives_and_an_estimate() -> None:
    weights, _ = weights_from(None)
    builds = samples.invented_archive(120)
    found = similar(builds, plan_from_values(displacement=0.0057, cylinders=8, induction="natural"), weights, 6, "inch")
    assert len(found.matches) == 6
    assert found.estimate.expected
    own = similar(builds, builds[0], weights)
    assert builds[0] not in [r.summary for r in own.matches]


def test_the_index_gives_back_what_was_put_in(tmp_path: Path) -> None:
    builds = samples.invented_archive(50, sparse=0.4)
    path = tmp_path / "cache" / "index"
    write_index(path, dump_index(builds))
    assert read_index(path) == newest_first(builds)
    assert [p.name for p in path.parent.iterdir()] == ["index"]
    assert dump_index(builds) == dump_index(tuple(reversed(builds)))


def test_a_damaged_index_is_noticed(tmp_path: Path) -> None:
    path = tmp_path / "index"
    assert read_index(path) is None
    good = dump_index(samples.invented_archive(5))
    for bad in (b"", b"[]\n", good[:-10], good.replace(b"petrol", b"diesel", 1), b"\xff\x00" + good, b"{}\n{}"):
        path.write_bytes(bad)
        assert read_index(path) is None
    assert read_index(tmp_path) is None


def test_values_that_are_no_numbers_are_not_kept(tmp_path: Path) -> None:
    odd = Summary("odd", "odd \ud800 </script>", bore=math.nan, stroke=math.inf, displacement=0.001,
                  curve=CoarseCurve(10.0, 5.0, (1.0, math.nan)))  # fmt: skip
    write_index(tmp_path / "i", dump_index([odd]))
    assert read_index(tmp_path / "i") == (replace(odd, bore=None, stroke=None, curve=None),)


@given(st.text(), st.text(), st.floats(allow_nan=False, allow_infinity=False))
def test_any_text_and_number_comes_back(title: str, words: str, value: float) -> None:
    import json

    build = Summary("a", title or "t", words=words, head_flow=value)
    lines = dump_index([build]).splitlines()
    assert json.loads(lines[1]).get("head_flow") == value
    assert len(lines) == 2
