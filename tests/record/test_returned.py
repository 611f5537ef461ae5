"""An engine that came back: readings as returned beside the new ones, its condition, and its services."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from builder.figures.evaluate import compute
from builder.record.load import read_build
from builder.record.models.build import Build
from builder.record.models.shop import Shop
from builder.record.problem import Problem
from builder.record.redaction import without_private
from builder.record.schema import schemas

SHEET = "title: T\nengine: {cylinders: 4}\nfinished: 2024-05-17\n"


def _read(tmp_path: Path, **files: str) -> tuple[Build | None, list[Problem]]:
    folder = tmp_path / "builds" / "launch"
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in {"build": SHEET, **files}.items():
        (folder / f"{name}.yaml").write_text(text, encoding="utf-8")
    return read_build(folder, tmp_path)


def _build(tmp_path: Path, **files: str) -> Build:
    build, problems = _read(tmp_path, **files)
    assert [str(problem) for problem in problems] == []
    assert build is not None
    return build


BORES = "block:\n  bores: {unit: mm, returned: [81.51, 81.52, 81.51, 81.53], measured: 81.75, with: B2}\n"


def test_a_reading_as_returned_is_of_no_figure(tmp_path: Path) -> None:
    build = _build(tmp_path, bottom_end=f"{BORES}crankshaft: {{stroke: 77.6 mm}}\n")
    reading = build.get("bottom_end.block.bores")
    assert [quantity.number for quantity in reading.returned] == ["81.51", "81.52", "81.51", "81.53"]
    assert reading.instrument == "B2"
    assert list(reading.values) == pytest.approx([0.08175])
    sheet = compute(without_private(build), Shop())
    assert sheet.value("displacement") == pytest.approx(math.pi / 4 * 0.08175**2 * 0.0776 * 4)


def test_the_readings_alone_as_returned_give_no_value(tmp_path: Path) -> None:
    bores = "block: {bores: {unit: mm, returned: [81.51, 81.52, 81.51, 81.53]}}\n"
    build = _build(tmp_path, bottom_end=f"{bores}crankshaft: {{stroke: 77.6 mm}}\n")
    assert build.get("bottom_end.block.bores").preferred == ()
    assert compute(without_private(build), Shop()).value("displacement") is None


def test_as_returned_keeps_the_limits(tmp_path: Path) -> None:
    text = "fits: {main_oil_clearance: {unit: mm, allowed: 0.04..0.07, returned: [0.08], measured: [0.05]}}\n"
    reading = _build(tmp_path, assembly=text).get("assembly.fits.main_oil_clearance")
    assert reading.as_returned.is_out_of_range(reading.as_returned.measured[0])
    assert reading.as_returned.returned == ()


@pytest.mark.parametrize(
    ("text", "line", "message"),
    [
        ("block:\n  bores: {unit: mm, returned: [81.5, 81.5]}\n", 2, "2 readings for 4 cylinders"),
        ("block:\n  bores: {returned: [81.5, 81.5]}\n", 2, "no unit"),
        ("block:\n  bores: {unit: mm, returned: [-81.5]}\n", 2, "was 81.5 mm meant?"),
        ("block:\n  bores: {returned: 81.5 mm, measured: 20 cc}\n", 2, "'cc' is a unit of volume"),
        ("block:\n  bores: {returnd: 81.5 mm}\n", 2, "did you mean 'returned'?"),
        ("block:\n  bores: {unit: mm, returned: [181.5], measured: [81.5]}\n", 2, "is far from 81.5 mm"),
    ],
)
def test_a_reading_as_returned_has_the_rules_of_any_other(tmp_path: Path, text: str, line: int, message: str) -> None:
    _, problems = _read(tmp_path, bottom_end=text)
    assert any(message in problem.message and problem.line == line for problem in problems), problems


def test_the_gauge_card_as_returned_gives_the_bores_as_returned(tmp_path: Path) -> None:
    depths = "[{across: 81.52, along: 81.50}, {across: 81.51, along: 81.51}]"
    cylinders = "".join(f"    - {{cylinder: {number}, depths: {depths}}}\n" for number in (1, 2, 3, 4))
    card = f"  unit: mm\n  cylinders:\n{cylinders}"
    build = _build(tmp_path, work=f"returned_bore_gauging:\n{card}", bottom_end="block: {bores: 81.75 mm}\n")
    reading = build.get("bottom_end.block.bores")
    assert [quantity.si for quantity in reading.returned] == pytest.approx([0.08151] * 4)
    assert list(reading.values) == pytest.approx([0.08175])


def test_leak_down_as_returned_goes_beside_the_new_one(tmp_path: Path) -> None:
    build = _build(
        tmp_path,
        returned="leak_down: {unit: '%', measured: [9, 11, 8, 14]}\n",
        assembly="checks: {leak_down: {unit: '%', measured: [4, 5, 4, 6]}}\n",
    )
    reading = build.get("assembly.checks.leak_down")
    assert [quantity.number for quantity in reading.returned] == ["9", "11", "8", "14"]
    assert [quantity.number for quantity in reading.measured] == ["4", "5", "4", "6"]


def test_why_it_came_back_is_a_word_or_a_word_with_a_text(tmp_path: Path) -> None:
    head = f"{SHEET}engine_number: E-041\n"
    short = _build(tmp_path, build=f"{head}returned_for: freshen-up\n").get("build.returned_for")
    assert (short.reason, short.text) == ("service", None)
    since = "since_last: {hours: 42, distance: 3100 mi, starts: 60}\n"
    long = _build(tmp_path, build=f"{head}returned_for: {{reason: seizure, text: lost its oil}}\n{since}")
    assert (long.get("build.returned_for.reason"), long.get("build.returned_for.text")) == ("damage", "lost its oil")
    assert long.build.since_last is not None
    assert long.build.since_last.distance is not None
    assert long.build.since_last.distance.si == pytest.approx(3100 * 1609.344)


SERVICE = "entries:\n  - {when: 2024-08-01, hours: 20, what: oil}\n"


@pytest.mark.parametrize(
    ("service", "line", "message"),
    [
        (f"{SERVICE}  - {{when: 2024-07-01, what: oil}}\n", 3, "2024-07-01 is before the entry above it"),
        (f"{SERVICE}  - {{when: 2024-09-01, hours: 12, what: oil}}\n", 3, "12 hours on 2024-09-01, after 20"),
        (f"{SERVICE}events:\n  - {{when: 2024-09-01, hours: 2, kind: seized}}\n", 4, "2 hours on 2024-09-01"),
        ("entries:\n  - {when: 2024-01-01, what: oil}\n", 2, "before the engine was delivered on 2024-05-17"),
        ("events:\n  - {when: 2024-09-01, kind: blew up}\n", 2, "write one of overheated"),
        ("entries:\n  - {when: 2024-09-01, hours: -3, what: oil}\n", 2, "was 3 meant?"),
        ("entries:\n  - {when: 2024-09-01, what: oil, plug_color: [tan, tan]}\n", 2, "2 readings for 4 cylinders"),
    ],
)
def test_what_cannot_be_after_delivery_has_line_and_fix(tmp_path: Path, service: str, line: int, message: str) -> None:
    _, problems = _read(tmp_path, service=service)
    assert any(message in problem.message and problem.line == line for problem in problems), problems
    assert all(problem.severity == "error" for problem in problems)


def test_the_public_number_of_an_engine_may_not_be_its_serial_number(tmp_path: Path) -> None:
    build, (problem,) = _read(tmp_path, build=f"{SHEET}engine_number: k16 04412\nengine_serial: K1604412\n")
    assert build is None
    assert "write a number of the shop's own here" in problem.message


def test_an_engine_that_came_back_needs_a_number_of_letters_or_digits(tmp_path: Path) -> None:
    _, (problem,) = _read(tmp_path, build=f"{SHEET}returned_for: wear\n")
    assert (problem.line, problem.severity) == (4, "warning")
    assert "write engine_number: E-041, the same in all of them" in problem.message
    _, (problem,) = _read(tmp_path, build=f"{SHEET}engine_number: '--'\n")
    assert (problem.line, problem.severity) == (4, "error")
    assert "write letters or digits" in problem.message


def test_a_picture_of_a_worn_part_needs_its_description(tmp_path: Path) -> None:
    _, problems = _read(tmp_path, returned="condition:\n  - {part: rings, grade: worn, photo: photos/ring.jpg}\n")
    assert ["list it there, with its description" in problem.message for problem in problems] == [True]


def test_claims_and_who_serviced_it_are_private(tmp_path: Path) -> None:
    service = (
        "entries:\n  - {when: 2024-08-01, what: oil, by: CANARY}\n"
        "claims:\n  - {when: 2024-09-01, what: CANARY, cost: CANARY}\n"
    )
    build = _build(tmp_path, service=service)
    assert "CANARY" not in repr(without_private(build).service)
    kept = without_private(build, ["service.claims", "service.entries.by"])
    assert kept.service is not None
    assert kept.service.claims is not None
    assert (kept.service.claims[0].what, kept.service.claims[0].cost) == ("CANARY", None)
    assert kept.service.entries[0].by == "CANARY"


def test_an_editor_knows_the_readings_as_returned() -> None:
    assert "'returned'" in repr(schemas())
