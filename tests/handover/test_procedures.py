"""Steps chosen by what the engine is, limits with where they come from, parts with their numbers."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from builder.handover import procedures as said
from builder.handover.binder_content import page_url
from builder.handover.joints import joints
from builder.handover.limits import limits_of
from builder.handover.parts_list import installed_parts
from builder.record.load import read_build, read_shop
from builder.record.models.build import Build
from builder.record.models.shop import RunningIn, Shop
from tests.support.handover_samples import FULL, REPO, archive_with, bare_archive, write_yaml

WORDS = said.read_texts(None)


def _build(folder: Path, slug: str = "bare", **documents: Any) -> Build:
    for name, value in documents.items():
        write_yaml(folder / "builds" / slug / f"{name}.yaml", value)
    build, problems = read_build(folder / "builds" / slug, folder)
    assert build is not None, problems
    return build


@pytest.mark.parametrize(
    ("kind", "engine", "expected"),
    [
        ("flat solid", {}, "Do not let it idle"),
        ("flat hydraulic", {}, "Do not let it idle"),
        ("roller hydraulic", {}, "settle at a fast idle"),
        ("bucket", {}, "settle at a fast idle"),
        (None, {}, "does not say how the followers run"),
        (None, {"cycle": "two-stroke"}, "Nothing else oils this engine"),
    ],
)
def test_the_first_start_goes_by_the_cam(
    tmp_path: Path, kind: str | None, engine: dict[str, Any], expected: str
) -> None:
    archive = bare_archive(tmp_path, engine={"cylinders": 1, **engine})
    documents = {} if kind is None else {"cam": {"lifters": {"kind": kind}}}
    steps = said.first_start(_build(archive, **documents), Shop(), WORDS)
    assert any(expected in step for step in steps.steps)
    assert steps.source == "common practice"
    assert not any("{" in step for step in steps.steps)


def test_a_slow_engine_is_not_told_to_run_fast(tmp_path: Path) -> None:
    archive = bare_archive(tmp_path, engine={"cylinders": 1, "red_line": "1800 rpm"})
    steps = said.first_start(_build(archive, cam={"lifters": {"kind": "flat solid"}}), Shop(), WORDS)
    (step,) = [step for step in steps.steps if "go straight to" in step]
    assert "900 to 1100 rpm" in step
    usual = said.first_start(_build(archive_with(tmp_path / "full"), FULL), Shop(), WORDS)
    assert any("2000 to 2500 rpm" in step for step in usual.steps)


@pytest.mark.parametrize(
    ("documents", "fresh"),
    [
        ({"work": {"operations": [{"what": "bored and honed with a torque plate", "on": "block"}]}}, True),
        ({"work": {"operations": [{"what": "new liners pressed in", "on": "block"}]}}, True),
        ({"work": {"operations": [{"what": "line honed", "on": "block"}]}}, False),
        ({"work": {"operations": [{"what": "big ends honed", "on": "rods"}]}}, False),
        ({"work": {"operations": [{"what": "main tunnel bored", "on": "block"}]}}, False),
        ({"bottom_end": {"block": {"standard_bore": "81 mm", "bores": {"unit": "mm", "measured": ["81.50"]}}}}, True),
        ({}, None),
    ],
)
def test_whether_the_bores_are_fresh(tmp_path: Path, documents: dict[str, Any], fresh: bool | None) -> None:
    assert said.bores_were_machined(_build(bare_archive(tmp_path), **documents))[0] is fresh


def test_bores_of_which_nothing_is_known_are_run_in_as_fresh_ones(tmp_path: Path) -> None:
    steps = said.running_in(_build(bare_archive(tmp_path)), Shop(), WORDS)
    assert "does not say" in steps.steps[0]
    assert any("vary speed and load" in step for step in steps.steps)


def test_the_shops_words_come_before_the_usual_and_the_builds_before_the_shops(tmp_path: Path) -> None:
    archive = bare_archive(tmp_path)
    shop = Shop(running_in=RunningIn(fresh_bores=("the shop's way",), flat_tappet=("the shop's start",)))
    build = _build(archive, cam={"lifters": {"kind": "flat solid"}})
    assert said.running_in(build, shop, WORDS).steps[-1] == "the shop's way"
    assert said.first_start(build, shop, WORDS).steps[-1] == "the shop's start"
    build = _build(archive, delivery={"first_start": ["as I told you"], "running_in": ["slowly"], "warranty": "mine"})
    assert said.first_start(build, shop, WORDS).steps == ("as I told you",)
    assert said.running_in(build, shop, WORDS).steps == ("slowly",)
    assert said.warranty(build, Shop(warranty="the shop's")) == "mine"


def test_the_usual_cautions_defer_to_manual_rules_and_qualified_people() -> None:
    text = " ".join(said.cautions(Shop(), WORDS))
    for word in ("current manual", "rules where you are", "qualified person", "carbon monoxide", "oil pressure"):
        assert word in text


def test_the_shops_cautions_come_first() -> None:
    assert said.cautions(Shop(cautions=("Mind the step.",)), WORDS)[0] == "Mind the step."


def _limits(archive: Path, slug: str) -> dict[str, tuple[str, str]]:
    shop, _ = read_shop(archive)
    build, _ = read_build(archive / "builds" / slug, archive)
    assert build is not None
    found = limits_of(build, shop)
    assert len({each.subject for each in found}) == len(found)
    return {each.subject: (each.limit, each.source) for each in found}


def test_limits_say_where_they_come_from_and_none_stands_twice(tmp_path: Path) -> None:
    found = _limits(archive_with(tmp_path), FULL)
    assert found["Engine speed"] == ("not over 5400 rpm, 3600 all day", "mean piston speed and the propeller")
    assert found["Oil pressure at idle"][1] == "maker's book"
    assert not [what for what in found if what == "Oil pressure, hot"]  # the sheet's own goes before the habit


def test_what_the_sheet_leaves_open_comes_from_the_red_line_and_the_shops_habits(tmp_path: Path) -> None:
    archive = bare_archive(tmp_path, engine={"cylinders": 4, "red_line": "6500 rpm", "fuel": "petrol"})
    write_yaml(archive / "builds" / "shop.yaml", {"name": "S", "guidelines": {
        "least_oil_pressure_per_1000_rpm": "10 psi", "most_coolant_temperature": "95 degC", "least_lambda": 0.8,
        "most_lambda": 0.95,
    }})  # fmt: skip
    found = _limits(archive, "bare")
    assert found["Engine speed"] == ("not over 6500\N{NO-BREAK SPACE}rpm", "red line of this build")
    assert found["Oil pressure, hot"][1] == "the shop's habit"
    assert "10" in found["Oil pressure, hot"][0]
    assert found["Coolant"][0].startswith("not over 95")
    assert found["Lambda at full load"][0] == "0.8 to 0.95"


def test_an_air_cooled_diesel_has_no_coolant_and_no_lambda(tmp_path: Path) -> None:
    archive = bare_archive(tmp_path, engine={"cylinders": 1, "cooling": "air", "ignition": "compression"})
    write_yaml(archive / "builds" / "shop.yaml", {"name": "S", "guidelines": {
        "most_coolant_temperature": "95 degC", "least_lambda": 0.8, "most_lambda": 0.95}})  # fmt: skip
    assert _limits(archive, "bare") == {}


def test_parts_that_went_back_are_not_among_the_parts_in_the_engine(tmp_path: Path) -> None:
    build, _ = read_build(REPO / "builds" / FULL, REPO)
    assert build is not None
    lines = {line.part: line for line in installed_parts(build)}
    assert "Pistons, first set" not in lines
    assert lines["Pistons, second set"].number == "QF-L16-050/H"
    assert lines["Intake valves"].maker == "Saltwhin"
    numbers = [line.number for line in installed_parts(build) if line.number]
    assert len(numbers) == len(set(numbers))


def test_fasteners_read_as_they_were_tightened(tmp_path: Path) -> None:
    build, _ = read_build(REPO / "builds" / FULL, REPO)
    assert build is not None
    told = {joint.title: joint.tightening.replace("\N{NO-BREAK SPACE}", " ") for joint in joints(build)}
    assert told["Main caps"] == "40 → 85 N m"
    assert told["Rod bolts"] == "10 → 20 N m, then 60°"
    assert told["Flywheel"] == "75 N m"


@pytest.mark.parametrize(
    ("address", "status", "expected"),
    [
        ("https://a.example/", "finished", "https://a.example/builds/bare/index.html"),
        ("https://a.example", "in progress", ""),
        ("javascript:alert(1)", "finished", ""),
        (None, "finished", ""),
    ],
)
def test_the_code_leads_to_a_page_that_is_there(
    tmp_path: Path, address: str | None, status: str, expected: str
) -> None:
    build = _build(bare_archive(tmp_path, status=status))
    assert page_url(build, Shop(site_address=address)) == expected
