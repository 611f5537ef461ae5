"""The dyno sheet: the delivered state, its table, its conditions and how well it is known."""

from __future__ import annotations

from pathlib import Path

import pytest

from builder.publish.sheets.dyno_sheet import dyno_sheet_of, step_for
from builder.record.load import read_build, read_shop
from builder.record.models.shop import Shop
from tests.support.dyno_samples import log_of
from tests.support.handover_samples import REPO, bare_archive, public_view, text_of, write_build

Files = dict[str, bytes]


@pytest.mark.parametrize("slug", ["pilot-launch-four", "breakdown-truck-v8"])
def test_the_table_is_the_curve_of_the_delivered_state(slug: str, demo_sheets: Files) -> None:
    build, sheet = public_view(REPO, slug)
    session = sheet.session
    assert session is not None
    assert session.delivered is not None
    lines = text_of(demo_sheets[f"{slug}-dyno-sheet.pdf"]).splitlines()
    for rpm in (2250, 3500, 4500):
        torque = session.delivered.corrected.at(session.delivered.corrected.torque, rpm / 60)
        row = next(line for line in lines if line.startswith(f"{rpm} "))
        # 1 lbf ft = 1.3558179 N m, 1 hp = 745.69987 W (NIST SP 811, appendix B)
        power = 2 * 3.141592653589793 * rpm / 60 * torque
        metric, inch = (torque, power / 1000), (torque / 1.3558179483, power / 745.69987158)
        pairs = (metric, inch) if sheet.system == "metric" else (inch, metric)
        expected = [rpm, pairs[0][0], pairs[1][0], pairs[0][1], pairs[1][1]]
        assert [float(cell) for cell in row.split()] == pytest.approx(expected, abs=0.051)
    assert build.slug == slug


def test_it_says_what_a_result_needs_to_be_compared() -> None:
    build, sheet = public_view(REPO, "breakdown-truck-v8")
    dyno = dyno_sheet_of(build, sheet, Shop())
    assert dyno is not None
    conditions = {row.title: row.text for row in dyno.conditions}
    assert conditions["Standard"] == "SAE J1349"
    assert sheet.session is not None
    assert sheet.session.delivered is not None
    correction = sheet.session.delivered.last.correction
    assert correction is not None
    assert float(conditions["Correction factor"].split()[0]) == pytest.approx(correction.factor, abs=5e-4)
    assert conditions["Fuel in the tank"] == "95 RON"
    assert conditions["Accessories driven"].startswith("water pump driven, no fan")
    assert dyno.pull == "as delivered"
    notes = " ".join(dyno.notes)
    assert "Best during testing: 299\N{NO-BREAK SPACE}hp" in notes
    assert "±" in notes
    assert "95 %" in notes
    assert "not comparable" in notes


def test_uncorrected_power_of_a_log_that_the_dyno_had_corrected() -> None:
    """By hand: the log is in DIN 70020, (101.3/P) sqrt(T/293), 1006 mbar and 14 °C. Source: DIN 70020 (withdrawn)."""
    build, sheet = public_view(REPO, "grasstrack-sidecar-twin")
    dyno = dyno_sheet_of(build, sheet, Shop())
    assert dyno is not None
    conditions = {row.title: row.text for row in dyno.conditions}
    session = sheet.session
    assert session is not None
    assert session.delivered is not None
    speed = session.delivered.peak_power.speed
    printed = 2 * 3.141592653589793 * speed * session.delivered.torque_before_factor(speed) / 1000
    observed = printed / (101.3 / 100.6 * (287.15 / 293) ** 0.5)
    assert float(conditions["Uncorrected power"].split("\N{NO-BREAK SPACE}")[0]) == pytest.approx(observed, abs=0.051)
    # SAE J1349: 1.18 (99/99.46) sqrt(287.15/298.15) - 0.18, with 71 % of 1.598 kPa of vapor (ASHRAE, table 3)
    assert conditions["Correction factor"].startswith("0.972")


def test_a_log_that_was_corrected_in_unknown_air_has_no_uncorrected_power(tmp_path: Path) -> None:
    archive = bare_archive(tmp_path)
    folder = archive / "builds" / "bare"
    (folder / "dyno").mkdir()
    (folder / "dyno" / "a.csv").write_text(log_of())
    (folder / "dyno.yaml").write_text("readings: sae-j1349\npulls: [{name: first, file: dyno/a.csv}]\n")
    build, sheet = public_view(archive, "bare")
    dyno = dyno_sheet_of(build, sheet, Shop())
    assert dyno is not None
    conditions = {row.title: row.text for row in dyno.conditions}
    assert conditions["Correction factor"] == "the dyno's own, not recorded"
    assert "Uncorrected power" not in conditions


def test_what_was_not_recorded_is_named(tmp_path: Path) -> None:
    archive = bare_archive(tmp_path)
    folder = archive / "builds" / "bare"
    (folder / "dyno").mkdir()
    rows = "\n".join(f"{rpm},{100 - abs(rpm - 3000) / 100}" for rpm in range(2000, 4001, 100))
    (folder / "dyno" / "1.csv").write_text(f"RPM,Torque (Nm)\n{rows}\n", encoding="utf-8")
    write_build(archive, dyno={"pulls": [{"name": "one", "file": "dyno/1.csv"}]})
    build, sheet = public_view(archive, "bare")
    dyno = dyno_sheet_of(build, sheet, read_shop(archive)[0])
    assert dyno is not None
    conditions = {row.title: row.text for row in dyno.conditions}
    assert conditions["Standard"] == "none: as logged"
    assert {conditions[title] for title in ("Air", "Fuel in the tank", "Accessories driven")} == {"not recorded"}
    assert dyno.basis == "As logged, not corrected"
    assert "Correction factor" not in conditions


def test_there_is_none_without_a_pull() -> None:
    build, _ = read_build(REPO / "builds" / "irrigation-single", REPO)
    assert build is not None
    _, sheet = public_view(REPO, "irrigation-single")
    assert dyno_sheet_of(build, sheet, Shop()) is None


@pytest.mark.parametrize(
    ("low", "high", "step"),
    [(1500, 5200, 250), (800, 2400, 100), (1500, 7500, 500), (2000, 14500, 1000)],
)
def test_the_step_of_the_table_depends_on_the_range(low: float, high: float, step: int) -> None:
    assert step_for(low, high) == step
