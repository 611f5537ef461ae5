"""When services are due next and warranties end: by days worked out by hand."""

from __future__ import annotations

import datetime
import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from builder.archive.due_item import DueItem, due_text
from builder.archive.due_report import due_report
from builder.archive.service_due import due_items, schedule_problems
from builder.cli import main
from builder.publish.edition import Edition
from builder.publish.pipeline import publish
from builder.publish.record_check import check_records
from builder.record.load import read_build
from builder.record.models.build import Build
from builder.record.models.shop import Shop

SHEET = "title: T\nstatus: finished\nnumber: W-1\nengine: {cylinders: 4}\nengine_number: E-041\n"
DELIVERY = """\
delivered: 2024-05-01
services:
  - {at: after 10 h, do: first oil, name: first oil, after: {hours: 10}}
  - {at: every 50 h or yearly, do: oil and filter, name: oil, every: {hours: 50, months: 12}}
  - {at: every 3000 mi, do: plugs, name: plugs, every: {distance: 3000 mi}}
  - {at: when it smokes, do: look}
"""
SERVICE = "entries:\n  - {when: 2024-08-09, hours: 20, distance: 1000 mi, what: oil, done: [first oil, oil]}\n"
TODAY = datetime.date(2024, 9, 1)


def _write(archive: Path, slug: str = "one", **files: str) -> Path:
    folder = archive / "builds" / slug
    folder.mkdir(parents=True)
    for name, text in {"build": SHEET, "delivery": DELIVERY, **files}.items():
        (folder / f"{name}.yaml").write_text(text, encoding="utf-8")
    return folder


def _read(archive: Path, **files: str) -> Build:
    build, problems = read_build(_write(archive, **files), archive)
    assert [str(problem) for problem in problems] == []
    assert build is not None
    return build


def _by_name(items: tuple[DueItem, ...]) -> dict[str, DueItem]:
    return {item.name: item for item in items}


def test_before_any_service_intervals_count_from_delivery(tmp_path: Path) -> None:
    items = _by_name(due_items(_read(tmp_path), Shop()))
    assert list(items) == ["first oil", "oil", "plugs"]
    assert (items["first oil"].day, items["first oil"].hours) == (None, 10)
    assert (items["oil"].day, items["oil"].hours) == ("2025-05-01", 50)
    assert items["plugs"].distance == pytest.approx(3000 * 1609.344)
    assert items["oil"].known_hours is None
    assert items["first oil"].status(TODAY) == "not known"


def test_after_a_service_intervals_count_from_there(tmp_path: Path) -> None:
    """20 h in the 100 days to 9 August: 70 h are reached 350 days after 1 May 2024, on 16 April 2025."""
    items = _by_name(due_items(_read(tmp_path, service=SERVICE), Shop()))
    assert list(items) == ["oil", "plugs"]  # what is once was done
    assert (items["oil"].day, items["oil"].hours, items["oil"].expected) == ("2025-08-09", 70, "2025-04-16")
    assert items["oil"].last_done == "2024-08-09"
    assert due_text(items["oil"]) == (
        "by 2025-08-09 or at 70 h (about 2025-04-16, estimated); last done 2024-08-09; 20 h, 1,000 mi on 2024-08-09"
    )


def test_first_after_and_then_every(tmp_path: Path) -> None:
    delivery = "delivered: 2024-05-01\nservices:\n" \
        "  - {at: 10 h, do: oil, name: oil, after: {hours: 10}, every: {hours: 50, months: 6}}\n"  # fmt: skip
    (first,) = due_items(_read(tmp_path / "a", delivery=delivery), Shop())
    assert (first.hours, first.day) == (10, None)
    service = "entries: [{when: 2024-06-30, hours: 12, what: oil, done: oil}]\n"
    (second,) = due_items(_read(tmp_path / "b", delivery=delivery, service=service), Shop())
    assert (second.hours, second.day) == (62, "2024-12-30")


@pytest.mark.parametrize(
    ("today", "status"),
    [("2025-03-01", "later"), ("2025-03-20", "due"), ("2025-06-01", "due"), ("2025-08-10", "overdue")],
)
def test_status_by_day(tmp_path: Path, today: str, status: str) -> None:
    """An estimated day that has passed is due, a day of the calendar that has passed is overdue."""
    items = _by_name(due_items(_read(tmp_path, service=SERVICE), Shop()))
    assert items["oil"].status(datetime.date.fromisoformat(today)) == status


def test_hours_that_were_written_down_make_it_overdue(tmp_path: Path) -> None:
    service = f"{SERVICE}events: [{{when: 2024-08-20, hours: 71, kind: overheated}}]\n"
    assert _by_name(due_items(_read(tmp_path, service=service), Shop()))["oil"].status(TODAY) == "overdue"


def test_the_warranty_ends_so_many_months_after_delivery(tmp_path: Path) -> None:
    build = _read(tmp_path)
    assert _by_name(due_items(build, Shop(warranty_months=12)))["warranty"].day == "2025-05-01"


def test_the_shops_schedule_holds_where_the_build_has_none_with_names(tmp_path: Path) -> None:
    build = _read(tmp_path, delivery="delivered: 2024-05-01\nservices: [{at: yearly, do: look}]\n")
    services = [{"at": "yearly", "do": "oil", "name": "oil", "every": {"months": 12}}]
    assert _by_name(due_items(build, Shop.model_validate({"services": services})))["oil"].day == "2025-05-01"
    assert due_items(build, Shop()) == ()


def test_an_engine_that_was_not_delivered_has_nothing_due(tmp_path: Path) -> None:
    assert due_items(_read(tmp_path, delivery=DELIVERY.partition("\n")[2]), Shop(warranty_months=12)) == ()


def test_a_service_that_the_schedule_does_not_name_is_an_error(tmp_path: Path) -> None:
    build = _read(tmp_path, service=SERVICE.replace("[first oil, oil]", "[first oil, oill]"))
    (problem,) = schedule_problems(build, Shop())
    assert str(problem) == (
        "builds/one/service.yaml:2: error: done: the service schedule has no 'oill': did you mean 'oil'?"
    )
    assert problem in check_records(tmp_path).problems


@pytest.mark.parametrize(
    ("delivery", "message"),
    [
        ("services: [{at: yearly, do: oil, every: {months: 12}}]", "give it a short name"),
        ("services: [{at: yearly, do: oil, name: oil, every: {hours: 0}}]", "write a value above zero"),
        ("services: [{at: a, do: b, name: oil}, {at: c, do: d, name: oil}]", "two services are called 'oil'"),
    ],
)
def test_a_schedule_that_cannot_be_has_its_fix(tmp_path: Path, delivery: str, message: str) -> None:
    _, problems = read_build(_write(tmp_path, delivery=f"delivered: 2024-05-01\n{delivery}\n"), tmp_path)
    assert [message in problem.message and problem.line == 2 for problem in problems] == [True]


def test_the_last_build_of_an_engine_counts(tmp_path: Path) -> None:
    _write(tmp_path, "old", build=f"{SHEET}started: 2022-01-01\n")
    _write(tmp_path, "new", build=f"{SHEET}started: 2024-01-01\n")
    assert {line.split()[1] for line in due_report(tmp_path, datetime.date(2026, 1, 1)).lines} <= {"new", "known"}


def test_an_engine_that_is_in_the_shop_again_is_named(tmp_path: Path) -> None:
    _write(tmp_path, "old", build=f"{SHEET}started: 2022-01-01\n")
    _write(tmp_path, "new", build=f"{SHEET}started: 2024-01-01\n", delivery="note: not yet\n")
    lines = due_report(tmp_path, datetime.date(2026, 1, 1)).lines
    assert list(lines) == ["nothing due", "left out  old: the engine is in the shop again (new)"]


def test_the_command_prints_lines_and_json(tmp_path: Path) -> None:
    _write(tmp_path, service=SERVICE)
    arguments = ["due", "--archive", str(tmp_path), "--date", "2025-09-01"]
    result = CliRunner().invoke(main, arguments)
    assert result.exit_code == 0
    assert result.output.startswith("overdue   one (W-1, E-041): oil: oil and filter; by 2025-08-09 or at 70 h")
    items = json.loads(CliRunner().invoke(main, [*arguments, "--json"]).output)
    assert [(item["build"], item["name"], item["status"]) for item in items] == [
        ("one", "oil", "overdue"),
        ("one", "plugs", "not known"),
    ]
    empty = tmp_path / "empty"
    (empty / "builds").mkdir(parents=True)
    assert "nothing due" in CliRunner().invoke(main, ["due", "--archive", str(empty)]).output
    assert CliRunner().invoke(main, ["due", "--date", "tomorrow"]).exit_code == 2


def test_the_page_is_in_the_shops_edition_alone(tmp_path: Path) -> None:
    _write(tmp_path, service=SERVICE)
    publish(tmp_path, tmp_path / "site")
    publish(tmp_path, tmp_path / "shop", edition=Edition.SHOP)
    assert not (tmp_path / "site" / "due.html").exists()
    assert "by 2025-08-09 or at 70 h" in (tmp_path / "shop" / "due.html").read_text(encoding="utf-8")
    before = (tmp_path / "shop" / "due.html").read_bytes()
    publish(tmp_path, tmp_path / "shop", edition=Edition.SHOP, full=True)
    assert (tmp_path / "shop" / "due.html").read_bytes() == before
