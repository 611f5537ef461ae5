"""Finding builds by ranges, choices and words."""

from __future__ import annotations

from dataclasses import replace

import pytest

from builder.archive.fields import BY_SLUG, weights_from
from builder.archive.search import find, read_range, similar
from builder.archive.similarity import plan_from_values
from builder.archive.summary import PartSummary, Summary, newest_first
from tests.support import archive_samples as samples

CUBIC_INCH = 0.0254**3


def test_ranges_choices_and_words_together() -> None:
    builds = samples.invented_archive(200, sparse=0.2)
    found = find(
        builds,
        {"displacement": [(300 * CUBIC_INCH, 400 * CUBIC_INCH)], "compression_ratio": [(9.0, None)]},
        {"fuel": ["GASOLINE", "e85"]},
        "small V8 torque-plate-not",
    )
    assert found == ()
    found = find(builds, {"displacement": [(300 * CUBIC_INCH, 400 * CUBIC_INCH)], "compression_ratio": [(9.0, None)]},
                 {"fuel": ["GASOLINE", "e85"]}, "small V8")  # fmt: skip
    assert found
    want = [s for s in builds if s.compression_ratio is not None and s.compression_ratio >= 8.9995
            and 300 <= s.displacement / CUBIC_INCH <= 400 and s.fuel in ("gasoline", "E85")
            and "small block" in s.title.lower()]  # fmt: skip
    assert list(found) == list(newest_first(want))


def test_parts_makers_and_numbers_are_found() -> None:
    build = Summary("a", "A", parts=(PartSummary("Orrin & Vale", "PI-104", "pistons"),), words="Knock at idle.")
    assert find([build], text="orrin pi-104 KNOCK") == (build,)
    assert find([build], text="stavely") == ()
    assert find([], text="x") == ()


def test_a_word_may_be_a_compression_ratio_or_name_the_fuel_or_a_part() -> None:
    forged = Summary("a", "A", compression_ratio=10.31, fuel="gasoline", fuel_family="pump gasoline",
                     cam="Orrin R230", parts=(PartSummary("Vale", "P1", "forged pistons"),))  # fmt: skip
    race = replace(forged, slug="b", compression_ratio=12.0, fuel="race gasoline", fuel_family="race gasoline")
    assert find([forged, race], text="forged piston 10.5 pump gas") == (forged,)
    assert find([forged, race], text="r230 12.1:1") == (race,)
    assert find([forged, race], text="10.0") == ()


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
def test_ranges_are_read_with_and_without_units(
    text: str, slug: str, system: str, least: float | None, most: float | None
) -> None:
    read = read_range(text, BY_SLUG[slug], system)  # type: ignore[arg-type]
    assert not isinstance(read, str)
    assert read.limits == pytest.approx((least, most))


@pytest.mark.parametrize("text", ["", "..", "big", "1e999..", "10 to 11", "10..11 bananas", "12..10", "9" * 400 + ".."])
def test_a_range_that_cannot_be_read_has_a_message(text: str) -> None:
    read = read_range(text, BY_SLUG["compression_ratio"], "inch")
    assert isinstance(read, str)
    assert read.startswith("compression_ratio: ")


@pytest.mark.parametrize(
    ("text", "slug", "value"),
    [  # 1 L = 0.001 m3, 1 cm = 0.01 m, 1 PS = 735.49875 W: NIST SP 811, appendix B
        ("5.7 L", "displacement", 5.7e-3),
        ("5700 cm3", "displacement", 5.7e-3),
        ("10.2 cm", "bore", 0.102),
        ("300 PS", "peak_power", 300 * 735.49875),
        ("9.8:1", "compression_ratio", 9.8),
    ],
)
def test_any_unit_of_the_trade_may_be_asked_in(text: str, slug: str, value: float) -> None:
    asked = read_range(text, BY_SLUG[slug], None)
    assert not isinstance(asked, str)
    assert asked.value == pytest.approx(value, rel=1e-6)
    assert isinstance(read_range("5 kg", BY_SLUG[slug], None), str)


def test_ranges_of_one_field_are_alternatives() -> None:
    builds = samples.invented_archive(200, sparse=0.2)
    low, high = (250 * CUBIC_INCH, 300 * CUBIC_INCH), (400 * CUBIC_INCH, None)
    both = set(find(builds, {"displacement": [low, high]}))
    assert both == {*find(builds, {"displacement": [low]}), *find(builds, {"displacement": [high]})}
    assert find(builds, {"displacement": [low]})
    assert find(builds, {"displacement": [high]})


@pytest.mark.parametrize(
    ("text", "slug", "shown"),
    [
        ("400 cu in", "displacement", "displacement 399.5 to 400.5 cu in"),
        ("5.7..6", "compression_ratio", "compression_ratio 5.7 to 6"),
        ("300 hp..", "peak_power", "peak_power from 300 hp"),
        ("..52.6 kW", "peak_power", "peak_power up to 52.6 kW"),
    ],
)
def test_a_range_says_what_is_searched(text: str, slug: str, shown: str) -> None:
    read = read_range(text, BY_SLUG[slug], None)
    assert not isinstance(read, str)
    assert read.text == shown


def test_a_bare_number_is_asked_for_its_unit_where_the_shop_shows_both() -> None:
    message = read_range("350", BY_SLUG["displacement"], None)
    assert message == "displacement: '350' in which unit? Write 350 cu in or 350 cc"
    assert not isinstance(read_range("350", BY_SLUG["displacement"], "inch"), str)
    assert not isinstance(read_range("10.5", BY_SLUG["compression_ratio"], None), str)


def test_similar_has_matches_and_an_estimate() -> None:
    weights, _ = weights_from(None)
    builds = samples.invented_archive(120)
    found = similar(
        builds, plan_from_values(displacement=0.0057, cylinders=8, induction="naturally aspirated"), weights, 6, "inch"
    )
    assert len(found.matches) == 6
    assert found.estimate.expected
    own = similar(builds, builds[0], weights)
    assert builds[0] not in [r.summary for r in own.matches]
