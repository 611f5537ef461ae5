"""Measured values that a change leaves behind: carried along by arithmetic, or set aside."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from builder.engine import clearances, geometry
from builder.figures.planning.changed_engine import ChangedEngine, changed_engine, changed_figures
from builder.record.changes import measurements, read_assignment
from builder.record.load import read_build, read_shop
from builder.record.models.build import Build
from builder.record.models.shop import Shop
from tests.support.demo_builds import folder_of

ROOT = Path(__file__).resolve().parents[3]
SHOP, _ = read_shop(ROOT)


@pytest.fixture(scope="module")
def build() -> Build:
    build, _ = read_build(folder_of("pilot-launch-four"), ROOT)
    assert build is not None
    return build


def _with(build: Build, *texts: str) -> ChangedEngine:
    changes = [read_assignment(build, text) for text in texts]
    return changed_engine(build, {change.path: change.value for change in changes}, SHOP)


def _values(build: Build, path: str) -> list[float]:
    return [float(value) for value in build.get(path).values]


def test_the_dial_indicator_follows_the_piston(build: Build) -> None:
    """The gauge wins over the sum of the parts, so that it has to move with them."""
    changed = _with(build, "pistons.compression_height=37.60 mm")
    before, after = _values(build, "bottom_end.deck_clearance"), _values(changed.build, "bottom_end.deck_clearance")
    heights = _values(build, "bottom_end.pistons.compression_height")
    expected = [clearance + height - 0.0376 for clearance, height in zip(before, heights, strict=True)]
    assert after == pytest.approx(expected, abs=1e-12)


def test_coil_bind_follows_the_lift(build: Build) -> None:
    """6.40 mm at the lobe by 1.6 in place of 1.5 is 0.64 mm more at the valve."""
    changed = _with(build, "rockers.ratio=1.6")
    assert _values(changed.build, "assembly.checks.coil_bind") == pytest.approx([3.1e-3 - 0.64e-3], abs=1e-12)


def test_piston_to_valve_follows_gasket_and_timing(build: Build) -> None:
    thicker = _with(build, "gasket.thickness=1.65 mm")
    assert _values(thicker.build, "assembly.checks.intake_piston_to_valve") == pytest.approx([3.6e-3], abs=1e-9)
    advanced = _with(build, "cam.installed.intake_centerline=100 deg")
    assert _values(advanced.build, "assembly.checks.intake_piston_to_valve")[0] < 3.1e-3 - 1e-4
    assert _values(advanced.build, "assembly.checks.exhaust_piston_to_valve")[0] > 3.6e-3 + 1e-4


def test_a_turned_cam_moves_every_event(build: Build) -> None:
    changed = _with(build, "cam.installed.intake_centerline=102 deg")
    before, after = build.get("cam.degreeing.events")[0], changed.build.get("cam.degreeing.events")[0]
    earlier = 105.875 - 102  # by the degree wheel it was at 105.875 degrees
    assert after.intake_opens.si == pytest.approx(before.intake_opens.si + earlier)
    assert after.intake_closes.si == pytest.approx(before.intake_closes.si - earlier)
    assert after.exhaust_opens.si == pytest.approx(before.exhaust_opens.si + earlier)
    assert after.exhaust_closes.si == pytest.approx(before.exhaust_closes.si - earlier)


def test_another_cam_leaves_the_degree_wheel_behind(build: Build) -> None:
    changed = _with(build, "cam.card.intake.lobe_lift=7.0 mm")
    assert changed.build.get("cam.degreeing.events") == ()
    stale = {item.path: item for item in changed.stale}
    assert not stale["cam.degreeing.events"].is_carried
    assert stale["cam.degreeing.events"].changed == ("cam.card.intake.lobe_lift",)


def test_what_cannot_be_calculated_is_set_aside(build: Build) -> None:
    changed = _with(build, "heads.chambers=40 cc")
    stale = {item.path: item for item in changed.stale}
    assert not stale["assembly.checks.cranking_compression"].is_carried
    assert changed.build.get("assembly.checks.cranking_compression") is None
    assert not stale["dyno.pulls"].is_carried
    assert "assembly.checks.coil_bind" not in stale


def test_a_value_that_was_not_recorded_invalidates_nothing(build: Build) -> None:
    """The measurement was made with the part, whatever it is."""
    without = changed_engine(build, {"bottom_end.rods.length": None}, SHOP).build
    filled = _with(without, "rods.length=133 mm")
    assert filled.stale == ()


def test_what_was_set_by_hand_is_taken_as_it_is(build: Build) -> None:
    changed = _with(build, "pistons.compression_height=37.60 mm", "deck_clearance=0.3 mm")
    assert _values(changed.build, "bottom_end.deck_clearance") == [0.0003]
    assert "bottom_end.deck_clearance" not in {item.path for item in changed.stale}


def test_the_factors_are_those_of_the_formulas() -> None:
    """What a field declares is the slope of the engine's own function."""
    factors = dict(measurements())

    def slope(function: object, *arguments: float, at: int) -> float:
        assert callable(function)
        moved = list(arguments)
        moved[at] += 1e-3
        return float((function(*moved) - function(*arguments)) / 1e-3)

    parts = (0.2, 0.08, 0.12, 0.04)
    deck = factors["bottom_end.deck_clearance"]
    names = ("block.deck_height", "crankshaft.stroke", "rods.length", "pistons.compression_height")
    for index, name in enumerate(names):
        assert deck[f"bottom_end.{name}"] == pytest.approx(slope(geometry.deck_clearance, *parts, at=index))
    oil = factors["assembly.fits.main_oil_clearance"]
    names = ("block.main_bores", "bearings.main_shell", "crankshaft.main_journals")
    for index, name in enumerate(names):
        calculated = slope(clearances.oil_clearance, 0.06, 0.002, 0.0555, at=index)
        assert oil[f"bottom_end.{name}"] == pytest.approx(calculated)
    assert factors["assembly.fits.top_ring_gap"]["bottom_end.block.bores"] == pytest.approx(math.pi)


def test_figures_and_cautions_are_reported_with_what_they_were(build: Build) -> None:
    change = read_assignment(build, "gasket.thickness=0.5 mm")
    result = changed_figures(build, [change], SHOP)
    differing = {item.figure.slug: item for item in result.figures if item.differs}
    assert {"quench", "compression_ratio", "effective_compression_ratio", "piston_to_valve"} <= set(differing)
    assert "displacement" not in differing
    assert differing["piston_to_valve"].is_carried
    assert not differing["quench"].is_carried
    assert [caution.name for caution in result.new_cautions] == ["quench"]
    assert "peak_power" not in {item.figure.slug for item in result.figures}


def test_a_change_that_the_reader_would_refuse_is_reported(build: Build) -> None:
    change = read_assignment(build, "block.bores={unit: mm, measured: [81.5, 81.5]}")
    result = changed_figures(build, [change], Shop())
    assert any("2 readings for 4 cylinders" in problem.message for problem in result.problems)


def test_a_bore_in_inch_leaves_the_units_of_a_metric_engine(build: Build) -> None:
    result = changed_figures(build, [read_assignment(build, "block.bores=3.22 in")], SHOP)
    assert {figure.after.unit for figure in result.figures if figure.before and figure.after} == {
        figure.before.unit for figure in result.figures if figure.before and figure.after
    }
    assert result.after["displacement"].unit == "cc"
