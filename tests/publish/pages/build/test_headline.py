"""The top of a build's page: numbers, sentence and facts that a customer reads first."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from builder.publish.pages.build.headline import (
    assumption_sentence,
    best_sentence,
    engine_type_words,
    facts,
    headline,
    kind_of_engine,
    noted_sentence,
    performance_sentence,
    performance_sentences,
)
from tests.support import view_samples as samples


def test_the_headline_has_the_numbers_of_the_figures() -> None:
    _build, sheet = samples.build_and_sheet("pilot-launch-four")
    power, torque, size, ratio = headline(sheet)
    assert [item.slug for item in (power, torque, size, ratio)] == [
        "peak_power",
        "peak_torque",
        "displacement",
        "compression_ratio",
    ]
    peak = sheet["peak_power"]
    assert (power.number, power.unit) == (peak.number, peak.unit)
    assert power.notes[0] == f"± {peak.uncertainty_text}\N{NO-BREAK SPACE}kW"
    assert power.notes[1].startswith("at 4,8")
    assert ratio.unit == ": 1"
    assert ratio.notes == ("± 0.01", "8.94 to 9.03:1")
    assert "±" not in ratio.number


def test_the_sentence_gives_the_delivered_state_and_its_standard() -> None:
    _, sheet = samples.build_and_sheet("breakdown-truck-v8")
    text = _plain(performance_sentence(sheet))
    assert re.fullmatch(
        r"As delivered: 28[12] ± \d hp at \d,\d{3} rpm, \d{3} ± \d lbf ft at \d,\d{3} rpm \(SAE J1349\)\.", text
    )
    # It left the shop without the spacer, which made more.
    assert re.fullmatch(r"Best during testing: 299 hp at \d,\d{3} rpm \(spacer\)\.", _plain(best_sentence(sheet)))


def test_a_state_that_is_only_assumed_says_so(tmp_path: Path) -> None:
    record = "pulls:\n  - {name: a, file: a.csv}\n  - {name: b, file: b.csv, changed: jets, since: a}\n"
    sheets = {}
    for name, text in (("assumed", record), ("named", f"delivered: b\n{record}")):
        folder = tmp_path / name / "builds" / "one"
        folder.mkdir(parents=True)
        for file in ("a.csv", "b.csv"):
            (folder / file).write_text("rpm,Torque (N m)\n2000,100\n3000,110\n4000,105\n", encoding="utf-8")
        engine = "title: T\nengine: {cylinders: 4, layout: flat}\n"
        _, sheets[name] = samples.write_and_read(tmp_path / name, build=engine, dyno=text)
    sentence = "Assumed as delivered: the last pull, b. The record does not say which one it was."
    assert assumption_sentence(sheets["assumed"]) == sentence
    assert assumption_sentence(sheets["named"]) == ""


def _plain(text: str) -> str:
    return text.replace("\N{NO-BREAK SPACE}", " ")


def test_without_a_session_there_is_no_sentence(tmp_path: Path) -> None:
    build, sheet = samples.write_and_read(tmp_path, build="title: T\nengine: {cylinders: 4, layout: flat}\n")
    assert performance_sentence(sheet) == ""
    assert headline(sheet) == ()
    assert facts(build) == ("flat four",)


@pytest.mark.parametrize(
    ("engine", "kind"),
    [
        ("{cylinders: 8, layout: V}", "V8"),
        ("{cylinders: 2, layout: V}", "V twin"),
        ("{cylinders: 6, layout: inline}", "inline six"),
        ("{cylinders: 1, layout: single, cycle: two-stroke}", "single-cylinder two-stroke"),
        ("{cylinders: 7, layout: radial}", "7-cylinder radial"),
        ("{cylinders: 4, ignition: compression}", "4 cylinders diesel"),
        ("{cylinders: 4}", "4 cylinders"),
    ],
)
def test_kind_of_engine(engine: str, kind: str, tmp_path: Path) -> None:
    build, _ = samples.write_and_read(tmp_path, build=f"title: T\nengine: {engine}\n")
    assert kind_of_engine(build) == kind


def test_a_family_that_ends_with_the_kind_is_not_followed_by_it(tmp_path: Path) -> None:
    build, _ = samples.write_and_read(
        tmp_path, build="title: T\nfamily: Thornback 362 V8\nengine: {cylinders: 8, layout: V}\n"
    )
    assert engine_type_words(build) == ("Thornback 362 V8",)


def test_a_result_without_a_log_is_given_as_noted(tmp_path: Path) -> None:
    noted = "noted_result: {power: 342 hp, power_at: 5400 rpm, torque: 371 lb-ft, correction: SAE J607}\n"
    build, sheet = samples.write_and_read(tmp_path, build="title: T\nengine: {cylinders: 8}\n", dyno=noted)
    text = "Noted by the shop, no dyno log: 342 hp at 5,400 rpm, 371 lb-ft (SAE J607 (withdrawn))."
    assert performance_sentences(build, sheet) == (text,)
    assert headline(sheet) == ()


def test_a_noted_result_is_not_shown_where_a_pull_counts(tmp_path: Path) -> None:
    folder = tmp_path / "builds" / "one"
    folder.mkdir(parents=True)
    (folder / "a.csv").write_text("rpm,Torque (N m)\n2000,100\n3000,110\n4000,105\n", encoding="utf-8")
    record = "noted_result: {power: 342 hp}\npulls:\n  - {name: a, file: a.csv}\n"
    build, sheet = samples.write_and_read(tmp_path, build="title: T\nengine: {cylinders: 4}\n", dyno=record)
    assert noted_sentence(build, sheet) == ""
