"""First start, running-in, cautions and warranty: chosen by what the engine is, and by whose text there is."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from builder.handover import procedures
from builder.record.models.shop import BreakIn, Shop
from tests.support.handover_samples import (
    FULL,
    archive_with,
    bare_archive,
    write_build,
)

TEXTS = procedures.read_texts(None)


@pytest.mark.parametrize(
    ("kind", "engine", "expected"),
    [
        ("flat solid", {}, "Do not let it idle"),
        ("flat hydraulic", {}, "Do not let it idle"),
        ("roller hydraulic", {}, "settle at a fast idle"),
        ("bucket", {}, "settle at a fast idle"),
        (None, {}, "does not state the lifter type"),
        (None, {"cycle": "two-stroke"}, "Nothing else lubricates this engine"),
    ],
)
def test_the_first_start_depends_on_the_cam(
    tmp_path: Path, kind: str | None, engine: dict[str, Any], expected: str
) -> None:
    archive = bare_archive(tmp_path, engine={"cylinders": 1, **engine})
    documents = {} if kind is None else {"cam": {"lifters": {"kind": kind}}}
    steps = procedures.first_start(write_build(archive, **documents), Shop(), TEXTS)
    assert any(expected in step for step in steps.steps)
    assert steps.source == "common practice"
    assert not any("{" in step for step in steps.steps)


def test_a_slow_engine_is_started_at_lower_speed(tmp_path: Path) -> None:
    archive = bare_archive(tmp_path, engine={"cylinders": 1, "red_line": "1800 rpm"})
    steps = procedures.first_start(write_build(archive, cam={"lifters": {"kind": "flat solid"}}), Shop(), TEXTS)
    (step,) = [step for step in steps.steps if "go straight to" in step]
    assert "900 to 1100 rpm" in step
    usual = procedures.first_start(write_build(archive_with(tmp_path / "full"), FULL), Shop(), TEXTS)
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
def test_whether_the_bores_were_machined(tmp_path: Path, documents: dict[str, Any], fresh: bool | None) -> None:
    assert procedures.bores_were_machined(write_build(bare_archive(tmp_path), **documents))[0] is fresh


def test_unknown_bores_are_run_in_as_fresh_ones(tmp_path: Path) -> None:
    steps = procedures.break_in(write_build(bare_archive(tmp_path)), Shop(), TEXTS)
    assert "not recorded" in steps.steps[0]
    assert any("vary speed and load" in step for step in steps.steps)


def test_texts_of_the_build_come_before_those_of_the_shop_and_the_usual_ones(tmp_path: Path) -> None:
    archive = bare_archive(tmp_path)
    shop = Shop(break_in=BreakIn(fresh_bores=("the shop's way",), flat_tappet=("the shop's start",)))
    build = write_build(archive, cam={"lifters": {"kind": "flat solid"}})
    assert procedures.break_in(build, shop, TEXTS).steps[-1] == "the shop's way"
    assert procedures.first_start(build, shop, TEXTS).steps[-1] == "the shop's start"
    build = write_build(archive, delivery={"first_start": ["as agreed"], "break_in": ["slowly"]})
    assert procedures.first_start(build, shop, TEXTS).steps == ("as agreed",)
    assert procedures.break_in(build, shop, TEXTS).steps == ("slowly",)


def test_the_usual_cautions_defer_to_manual_rules_and_qualified_people() -> None:
    text = " ".join(procedures.cautions(Shop(), TEXTS))
    for word in ("current manual", "local rules", "qualified person", "carbon monoxide", "oil pressure"):
        assert word in text


def test_the_shops_cautions_come_first() -> None:
    assert procedures.cautions(Shop(cautions=("Mind the step.",)), TEXTS)[0] == "Mind the step."
