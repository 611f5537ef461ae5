"""A build may be shown in other units, and its session in another standard, than the shop's."""

from __future__ import annotations

import pytest

from builder.archive.build_summary import summarize_build
from builder.figures.evaluate import compute
from builder.record.build_profile import profile_of
from builder.record.models.shop import Shop
from tests.support.record_samples import SHEET, ReadWith

BOTTOM_END = "block: {bores: 4.03 in}\ncrankshaft: {stroke: 3.48 in}\n"
DYNO = """\
readings: observed
conditions: {barometer: 990 hPa, barometer_is: station, temperature: 30 degC, relative_humidity: 40 %}
pulls: [{name: a, file: dyno/pull-1.csv}]
"""


@pytest.mark.parametrize(
    ("sheet", "session", "expected"),
    [
        ("", "", ("inch", "sae-j1349")),
        ("units: metric\n", "", ("metric", "sae-j1349")),
        ("correction: DIN 70020\n", "", ("inch", "din-70020")),
        ("correction: din-70020\n", "correction: iso-1585\n", ("inch", "iso-1585")),
    ],
)
def test_the_session_counts_before_the_build_and_the_build_before_the_shop(
    read: ReadWith, sheet: str, session: str, expected: tuple[str, str]
) -> None:
    build, problems = read(build=SHEET + sheet, dyno=session + DYNO)
    assert problems == []
    assert build is not None
    shop = Shop(units="inch")
    profile = profile_of(build, shop)
    assert (profile.units, profile.correction) == expected
    assert profile_of(build, profile) == profile
    assert profile.name == shop.name


def test_figures_follow(read: ReadWith) -> None:
    shop = Shop(units="inch")
    texts, factors = {}, {}
    for units, standard in (("inch", "sae-j1349"), ("metric", "din-70020")):
        build, _ = read(build=f"{SHEET}units: {units}\ncorrection: {standard}\n", bottom_end=BOTTOM_END, dyno=DYNO)
        assert build is not None
        sheet = compute(build, shop)
        assert sheet.system == units
        assert summarize_build(build, sheet, Shop()).system == units
        figure = sheet.get("displacement")
        assert figure is not None
        texts[units], factors[standard] = figure.display, sheet.value("correction_factor")
    assert "cu\N{NO-BREAK SPACE}in" in texts["inch"] or "cu in" in texts["inch"]
    assert texts["metric"].endswith("cc")
    assert factors["sae-j1349"] != factors["din-70020"]


def test_a_build_leads_with_what_it_was_measured_in_where_the_shop_shows_both(read: ReadWith) -> None:
    for bore, system in (("4.03 in", "inch"), ("102.4 mm", "metric")):
        build, _ = read(bottom_end=f"block: {{bores: {bore}}}\ncrankshaft: {{stroke: 3.48 in}}\n")
        assert build is not None
        assert summarize_build(build, compute(build, Shop(units="both")), Shop()).system == system
