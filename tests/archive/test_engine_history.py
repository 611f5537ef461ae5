"""The history of an engine: its builds in order, and its wear by hand values."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import msgspec
import pytest

from builder.archive.build_summary import summary_of_record
from builder.archive.engine_build import EngineBuild, EngineReading
from builder.archive.engine_history import EngineHistory, engine_histories, in_order, reading_title, wear_direction
from builder.archive.estimate import estimate
from builder.archive.fields import weights_from
from builder.archive.index import dump_index, parse_lines
from builder.archive.search import similar
from builder.archive.summary import Summary
from builder.record.load import read_build
from builder.record.models.shop import Instrument, Shop
from builder.record.quantities.units import parse_quantity

HEAD = "title: T\nengine: {cylinders: 2}\nengine_number: E-041\n"
FIRST = {
    "build": f"{HEAD}started: 2022-01-10\nfinished: 2022-03-01\n",
    "bottom_end": "block: {bores: {unit: mm, measured: [81.503, 81.505], resolution: 0.001 mm}}\n"
    "crankshaft: {main_journals: {unit: mm, measured: [54.000, 53.999], resolution: 0.001 mm}}\n",
    "assembly": "fits: {main_oil_clearance: {unit: mm, allowed: 0.04..0.07, measured: [0.050, 0.050], resolution: 0.001 mm}}\n",  # noqa: E501
    "service": "entries: [{when: 2022-06-01, hours: 40, what: oil, by: CANARY, private_note: CANARY,"
    " leak_down: 6 %, oil_analysis: {elements: {iron: 22}, report: CANARY}}]\n"
    "events: [{when: 2022-07-01, kind: overheated, private_note: CANARY}]\n"
    "claims: [{when: 2022-07-02, what: CANARY}]\n",
}
SECOND = {
    "build": f"{HEAD}started: 2024-01-10\nfinished: 2024-03-01\nsince_last: {{hours: 100, distance: 3000 mi}}\n"
    "returned_for: wear\ncustomer: {name: CANARY}\nengine_serial: CANARY\n",
    "bottom_end": "block: {bores: {unit: mm, returned: [81.523, 81.505], measured: [81.753, 81.755], resolution: 0.001 mm}}\n"  # noqa: E501
    "crankshaft: {main_journals: {unit: mm, returned: [53.990, 53.999], measured: [53.750, 53.750], resolution: 0.001 mm}}\n",  # noqa: E501
    "assembly": "fits: {main_oil_clearance: {unit: mm, allowed: 0.04..0.07, returned: [0.060, 0.058],"
    " measured: [0.050, 0.049], resolution: 0.001 mm}}\n",
    "returned": "condition: [{part: main bearings, at: 2, grade: worn, outcome: replaced, private_note: CANARY}]\n",
}


def _summary(archive: Path, slug: str, files: dict[str, str], shop: Shop | None = None) -> Summary:
    folder = archive / "builds" / slug
    folder.mkdir(parents=True)
    for name, text in files.items():
        (folder / f"{name}.yaml").write_text(text, encoding="utf-8")
    build, problems = read_build(folder, archive)
    assert [str(problem) for problem in problems] == []
    assert build is not None
    return summary_of_record(build, shop or Shop())


@pytest.fixture
def history(tmp_path: Path) -> EngineHistory:
    summaries = [_summary(tmp_path, "b-second", SECOND), _summary(tmp_path, "a-first", FIRST)]
    (history,) = engine_histories(summaries).values()
    return history


def test_the_builds_of_an_engine_are_in_the_order_of_their_days(history: EngineHistory) -> None:
    assert (history.key, history.number) == ("e-041", "E-041")
    assert [summary.slug for summary in history.builds] == ["a-first", "b-second"]
    previous = history.previous("b-second")
    assert previous is not None
    assert previous.slug == "a-first"
    assert history.previous("a-first") is None


def test_wear_by_hand(history: EngineHistory) -> None:
    """81.523 - 81.503 = 0.020 mm in 100 h; to 0.001 mm: 2 * 0.001/sqrt(12) * sqrt(2) = 0.0008, less than a digit."""
    bores, journals, clearance = history.readings
    (interval,) = bores.intervals
    assert interval.worn == pytest.approx([20e-6, 0.0], abs=1e-12)
    assert 2 * interval.uncertainty == pytest.approx(0.8165e-6, rel=1e-3)
    assert interval.is_measurable == (True, False)
    assert bores.rate is not None
    assert bores.rate.value == pytest.approx([0.2e-6, 0.0], abs=1e-12)  # [m] per hour
    assert (
        bores.working(interval, 0)
        == "81.523 − 81.503 = 0.020\N{NO-BREAK SPACE}mm, ±0.0010\N{NO-BREAK SPACE}mm (one last digit)"
    )
    assert bores.working(interval, 1).endswith(": no measurable wear")
    assert bores.rate_text(0) == "0.20 (0.19 to 0.21) µm per hour"
    assert bores.rate_text(1) == ""
    assert journals.intervals[0].worn == pytest.approx([10e-6, 0.0], abs=1e-12)
    assert clearance.limit == pytest.approx(70e-6)
    # 0.020 mm left of 0.070 mm, 0.010 mm in 100 h: 200 h. The range: 0.020 -+ 0.0006 over 0.108 and 0.092 um/h.
    assert clearance.outlook[0].value == pytest.approx(200.0)
    assert clearance.outlook[0].least == pytest.approx((20 - 0.577) / 0.10821, rel=2e-3)
    assert clearance.outlook[0].most == pytest.approx((20 + 0.577) / 0.09179, rel=2e-3)
    assert clearance.outlook_text(0) == "about 200 h to the limit (180 to 220 h), at the rate seen; an estimate"
    assert bores.outlook_text(0) == "no limit recorded"


def test_each_reading_as_built_as_returned_and_as_rebuilt(history: EngineHistory) -> None:
    bores = history.readings[0]
    assert [(state.build, state.state, state.hours) for state in bores.states] == [
        ("a-first", "built", 0.0),
        ("b-second", "returned", 100.0),
        ("b-second", "built", 100.0),
    ]
    assert bores.intervals[0].rebuilt == pytest.approx([0.081753, 0.081755])


def test_the_gauge_named_with_a_reading_counts(tmp_path: Path) -> None:
    """U = 0.004 mm (k = 2) by certificate, 0.001 mm resolution: hypot(0.002, 0.000289) = 0.00202 mm, twice: 0.00286."""
    gauge = Instrument(
        id="B2",
        kind="bore gauge",
        resolution=parse_quantity("0.001 mm", None),
        expanded_uncertainty=parse_quantity("0.004 mm", None),
    )
    files = [{**files, "bottom_end": files["bottom_end"].replace("resolution: 0.001 mm", "with: B2")}
             for files in (FIRST, SECOND)]  # fmt: skip
    shop = Shop(instruments=(gauge,))
    (history,) = engine_histories(
        [_summary(tmp_path, slug, each, shop) for slug, each in zip(("a", "b"), files, strict=True)]
    ).values()
    assert history.readings[0].intervals[0].uncertainty == pytest.approx(2.857e-6, rel=1e-3)


def test_without_a_gauge_or_resolution_one_interval_gives_no_outlook(tmp_path: Path) -> None:
    files = [{name: text.replace(", resolution: 0.001 mm", "") for name, text in each.items()}
             for each in (FIRST, SECOND)]  # fmt: skip
    (history,) = engine_histories(
        [_summary(tmp_path, slug, each) for slug, each in zip(("a", "b"), files, strict=True)]
    ).values()
    clearance = history.readings[2]
    assert "needs the gauge or its resolution" in clearance.outlook_text(0)
    assert clearance.rate_text(0) == "about 0.10 µm per hour"
    assert "one last digit" in clearance.working(clearance.intervals[0], 0)


def test_nothing_of_an_owner_is_in_the_history_or_the_index(tmp_path: Path) -> None:
    summaries = [_summary(tmp_path, "a-first", FIRST), _summary(tmp_path, "b-second", SECOND)]
    index = dump_index(summaries)
    assert b"CANARY" not in index
    assert b"overheated" in index
    read = {slug: summary for slug, (summary, _) in parse_lines(index).items()}
    assert {slug: summary.engine for slug, summary in read.items()} == {s.slug: s.engine for s in summaries}


def _engine(slug: str, started: str, previous: str | None = None) -> Summary:
    return Summary(slug, slug, engine=EngineBuild("E-1", previous=previous, started=started))


def test_a_build_named_as_the_one_before_counts_more_than_days() -> None:
    builds = [_engine("a", "2020-01-01"), _engine("b", "2021-01-01", "c"), _engine("c", "2022-01-01", "a")]
    assert [summary.slug for summary in in_order(builds)] == ["a", "c", "b"]


def test_in_a_circle_the_days_count() -> None:
    builds = [_engine("b", "2021-01-01", "a"), _engine("a", "2020-01-01", "b")]
    assert [summary.slug for summary in in_order(builds)] == ["a", "b"]


def test_an_engine_number_is_read_whatever_its_hyphens_and_capitals() -> None:
    first, second = _engine("a", "2020-01-01"), _engine("b", "2021-01-01")
    assert second.engine is not None
    other = replace(second, engine=msgspec.structs.replace(second.engine, number="e 1"))
    assert [summary.slug for summary in engine_histories([first, other])["e-1"].builds] == ["a", "b"]


def test_builds_without_a_number_have_no_history() -> None:
    assert engine_histories([Summary("a", "A")]) == {}


def test_readings_of_other_positions_are_not_compared() -> None:
    def build(slug: str, day: str, **values: tuple[float, ...]) -> Summary:
        reading = EngineReading("bottom_end.block.bores", "length", "mm", 1e-6, **values)
        return Summary(slug, slug, engine=EngineBuild("E-1", started=day, readings=(reading,)))

    builds = [build("a", "2020", built=(0.08, 0.08, 0.08)), build("b", "2021", returned=(0.08, 0.08))]
    (reading,) = engine_histories(builds)["e-1"].readings
    assert reading.intervals == ()


@pytest.mark.parametrize(
    ("path", "direction", "title"),
    [
        ("bottom_end.block.bores", 1, "Bores"),
        ("assembly.fits.top_ring_gap", 1, "Top ring gap"),
        ("bottom_end.crankshaft.rod_journals", -1, "Rod journals"),
        ("bottom_end.pistons.diameter", -1, "Pistons, diameter"),
        ("cam.card.intake.lobe_lift", -1, "Intake, lobe lift"),
        ("bottom_end.pistons.mass", 0, "Pistons, mass"),
        ("assembly.fits.other.oil pump gear end clearance.reading", 0, "oil pump gear end clearance"),
    ],
)
def test_which_way_a_reading_wears(path: str, direction: int, title: str) -> None:
    assert wear_direction(path) == direction
    assert reading_title(path) == title


def _result(slug: str, power: float, number: str | None = None) -> Summary:
    engine = EngineBuild(number) if number else None
    return Summary(slug, slug, displacement=1.6e-3, stroke=0.08, cylinders=4, cycle="four-stroke", fuel="gasoline",
                   ignition="spark", induction="naturally aspirated", peak_power=power, engine=engine)  # fmt: skip


def test_an_engines_own_builds_count_in_no_estimate_unless_asked() -> None:
    others = [_result(f"other-{index}", 80e3) for index in range(8)]
    own = [_result(f"own-{index}", 160e3, "E-1") for index in range(4)]
    plan = replace(_result("plan", 0.0, "e 1"), peak_power=None)
    weights = weights_from(None)[0]
    without, asked = (
        estimate([*others, *own], plan, weights, with_own_engine=with_own_engine).expected[0].value
        for with_own_engine in (False, True)
    )
    assert without == pytest.approx(80e3)
    assert asked > 90e3
    matches = similar([*others, *own], plan, weights, 20).matches
    assert {match.summary.slug for match in matches if match.is_same_engine} == {s.slug for s in own}


def test_an_interval_is_calibrated_without_other_builds_of_the_same_engine() -> None:
    """Twins of every engine would estimate each other without an error; left out together they cannot."""
    powers = [60e3, 75e3, 90e3, 70e3, 85e3, 95e3, 65e3, 80e3]
    twins = [_result(f"b-{index}-{twin}", power, f"E-{index}") for index, power in enumerate(powers) for twin in (1, 2)]
    plan = replace(_result("plan", 0.0), peak_power=None, family="Known")
    rows = [replace(summary, family="Known") for summary in twins]
    (expected,) = estimate(rows, plan, weights_from(None)[0]).expected
    assert expected.error > 0.05


def _leaks(tmp_path: Path, *returned: str) -> EngineHistory:
    """Return an engine with a leak-down of 5 % at each build, 100 hours between them, as it came back each time."""
    summaries = []
    for index, came_back in enumerate((None, *returned)):
        year = 2020 + index
        since = "since_last: {hours: 100}\n" if came_back else ""
        files = {
            "build": f"{HEAD}started: {year}-01-10\nfinished: {year}-03-01\n{since}",
            "assembly": "checks: {leak_down: {unit: '%', measured: [5, 5]}, cranking_compression: {unit: psi, "
            "measured: [180, 180]}}\n",
        }
        if came_back:
            files["returned"] = (
                f"leak_down: {{unit: '%', measured: [{came_back}]}}\noil_pressure: {60 - 4 * index} psi\n"
            )
        summaries.append(_summary(tmp_path, f"b-{index}", files))
    (history,) = engine_histories(summaries).values()
    return history


def test_a_leak_has_a_change_from_one_interval_and_a_rate_from_two_that_agree(tmp_path: Path) -> None:
    once = {item.title: item for item in _leaks(tmp_path / "once", "9, 9").readings}["Leak down"]
    assert once.intervals[0].worn == pytest.approx([0.04, 0.04])
    # Last digit of both readings, 1 %: 2 * sqrt(2) * 1 % / sqrt(12) = 0.82 %.
    assert 2 * once.intervals[0].uncertainty == pytest.approx(0.00816, rel=1e-2)
    assert (once.rate, once.rate_text(0)) == (None, "")
    twice = {item.title: item for item in _leaks(tmp_path / "twice", "9, 9", "11, 5").readings}["Leak down"]
    assert twice.rate is not None
    assert twice.rate.value[0] == pytest.approx(0.10 / 200)
    assert twice.rate_text(0) == "0.050 (0.032 to 0.068) % per hour"
    assert twice.rate_text(1) == ""  # the second interval shows no change
    assert twice.outlook == ()  # a leak need not go on evenly


def test_hot_oil_pressure_is_compared_from_one_return_to_the_next(tmp_path: Path) -> None:
    oil = {item.title: item for item in _leaks(tmp_path, "9, 9", "9, 9", "9, 9").readings}["Oil pressure"]
    assert [(item.previous, item.build, item.is_between_returns) for item in oil.intervals] == [
        ("b-1", "b-2", True),
        ("b-2", "b-3", True),
    ]
    assert oil.working(oil.intervals[0], 0).startswith("52 − 56 = −4")
    assert oil.rate is None  # the engine was rebuilt in between: hours do not count
