"""Values that cannot be zero or below are errors with file, line and fix; those that may be stay free."""

from __future__ import annotations

import typing
from pathlib import Path

import pytest

from builder.record.load import read_shop
from builder.record.models.build import DOCUMENTS
from builder.record.models.fields import RecordModel, notes_of
from builder.record.traversal import models_in
from tests.support.record_samples import ReadWith


@pytest.mark.parametrize(
    ("name", "text", "line", "message"),
    [
        ("bottom_end", "crankshaft:\n  stroke: -4.000 in\n", 2, "crankshaft.stroke: -4.000 in cannot be"),
        ("bottom_end", "crankshaft:\n  stroke: {listed: 4.000 in, measured: -4.000 in}\n", 2, "was 4.000 in meant?"),
        (
            "bottom_end",
            "pistons:\n  compression_height:\n    listed: -1.560 in\n    measured: 1.558 in\n",
            3,
            "pistons.compression_height.listed: -1.560 in cannot be",
        ),
        ("bottom_end", "block:\n  deck_height: 0 in\n", 2, "or leave it out where it was not recorded"),
        (
            "bottom_end",
            "block:\n  bores:\n    unit: in\n    measured:\n      - 4.03\n      - 4.03\n      - -4.03\n      - 4.03\n",
            7,
            "block.bores.measured.3: -4.03 in cannot be: write a value above zero; was 4.03 in meant?",
        ),
        ("bottom_end", "rods:\n  length: [145 mm, 145 mm, 0 mm, 145 mm]\n", 2, "0 mm cannot be"),
        ("bottom_end", "block:\n  bores: {measured: [100 mm], resolution: 0 mm}\n", 2, "resolution: 0 mm cannot be"),
        ("bottom_end", "pistons:\n  dish: -6 cc\n", 2, "write a value that is zero or more; was 6 cc meant?"),
        ("top_end", "gasket:\n  thickness: -0.032 in\n", 2, "was 0.032 in meant?"),
        ("top_end", "heads:\n  chambers: −64 cc\n", 2, "was 64 cc meant?"),
        ("top_end", "springs:\n  tested:\n    - {height: 1.2 in, load: -3 lbf}\n", 3, "springs.tested.1.load"),
        ("cam", "card:\n  intake:\n    durations: [{at: 0.050 in, duration: -230 deg}]\n", 3, "was 230 deg meant?"),
        ("cam", "card:\n  intake:\n    durations: [{at: -0.050 in, duration: 230 deg}]\n", 3, "was 0.050 in meant?"),
        ("assembly", "fits:\n  crank_end_play: {measured: 0.1 mm, at_least: -0.1 mm}\n", 2, "at_least"),
        ("assembly", "fits:\n  crank_end_play: {measured: 0.1 mm, allowed: -0.1..0.2 mm}\n", 2, "allowed"),
        ("assembly", "fasteners:\n  - {joint: heads, steps: [30 N.m, -50 N.m]}\n", 2, "fasteners.1.steps.2"),
        ("assembly", "fasteners:\n  - {joint: heads, nut_factor: 0}\n", 2, "fasteners.1.nut_factor: 0 cannot be"),
        (
            "work",
            "bore_gauging:\n  unit: in\n  cylinders: [{cylinder: 1, depths: [{across: 0, along: 4}]}]\n",
            3,
            "0 cannot",
        ),
        ("dyno", "range: -100..6000 rpm\n", 1, "was 100 rpm meant?"),
        ("delivery", "fluids:\n  - {what: oil, amount: -4 L}\n", 2, "was 4 L meant?"),
    ],
)
def test_impossible_values_are_errors(read: ReadWith, name: str, text: str, line: int, message: str) -> None:
    build, problems = read(**{name: text})
    (problem,) = [problem for problem in problems if problem.severity == "error"]
    assert (problem.path.name, problem.line) == (f"{name}.yaml", line)
    assert message in problem.message
    assert build is None


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("bottom_end", "deck_clearance: -0.006 in\npistons: {dish: 0 cc, dome: 0 cc, pin_offset: -0.5 mm}\n"),
        ("cam", "installed: {intake_centerline: -104 deg}\ncard: {intake: {lash: 0 mm}}\n"),
        ("cam", "degreeing:\n  events: [{at: seat, intake_opens: -2 deg, intake_closes: 0 deg}]\n"),
        ("dyno", "conditions: {temperature: -10 degC, altitude: -100 m, relative_humidity: 0 %}\n"),
        ("dyno", "pulls:\n  - {name: first, setting: {name: advance, level: -2 deg}}\n"),
        ("assembly", "fits: {pin_clearance: -0.01 mm, crank_end_play: {allowed: 0..0.2 mm, measured: 0.1 mm}}\n"),
        ("assembly", "fasteners: [{joint: heads, sequence: [{x: -1, y: 0}, {x: 1, y: 0}]}]\n"),
        ("work", "operations: [{what: straightened, before: 0.05 mm, after: 0 mm}]\n"),
        ("delivery", "settings: {idle_timing: -5 deg}\n"),
    ],
)
def test_what_may_be_zero_or_below_is_read(read: ReadWith, name: str, text: str) -> None:
    build, problems = read(**{name: text})
    assert build is not None, problems


def test_a_guideline_below_zero_is_an_error_of_the_shop(tmp_path: Path) -> None:
    (tmp_path / "builds").mkdir()
    (tmp_path / "builds" / "shop.yaml").write_text("guidelines:\n  least_quench: -1 mm\n  ring_gap_per_bore: 0\n")
    _, (problem,) = read_shop(tmp_path)
    assert (problem.line, problem.severity) == (2, "error")
    assert "was 1 mm meant?" in problem.message


def test_a_field_with_a_plausible_range_below_zero_may_be_below_zero() -> None:
    models: list[type[RecordModel]] = list(DOCUMENTS.values())
    for model in models:
        for info in model.model_fields.values():
            models += [inner for inner in models_in(info.annotation) if inner not in models]
            notes = notes_of(info)
            if notes.plausible_range and notes.plausible_range[0].startswith("-"):
                dimensions = str(typing.get_args(info.annotation))
                assert notes.sign == "any" or "angle" in dimensions or "temperature" in dimensions, info
