"""The top of a build's page: numbers, sentence and facts that a customer reads first."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from builder.publish.pages.build.headline import (
    engine_type_words,
    facts,
    headline,
    kind_of_engine,
    performance_sentence,
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
    assert f"{power.number}\N{NO-BREAK SPACE}{power.unit}" == sheet.get("peak_power").display  # type: ignore[union-attr]
    assert power.notes[0].startswith("at 4,9")
    assert ratio.unit == ": 1"
    assert ratio.notes == ("± 0.01",)
    assert "±" not in ratio.number


def test_the_sentence_names_speed_standard_and_the_pull_it_comes_from() -> None:
    _, sheet = samples.build_and_sheet("breakdown-truck-v8")
    text = performance_sentence(sheet).replace("\N{NO-BREAK SPACE}", " ")
    assert re.match(r"It made [\d.]+ hp \([\d.]+ kW\) at \d,\d{3} rpm and [\d.]+ lbf ft \([\d.]+ N m\) at", text)
    assert "corrected to SAE J1349: the best of 7 pulls, spacer." in text
    # It left the shop as the last pull had it, which made less.
    assert "The last pull, as delivered, made" in text


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
