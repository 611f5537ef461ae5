"""Fasteners from a complete record: torque in both systems, clamping force by torque and by stretch."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from tests.support.figure_records import V8, figure_of

INCH = 0.0254


JOINTS = """
    fasteners:
      - {joint: main caps, size: 1/2-13, torque: 100 lbf.ft, nut_factor: 0.20}
      - {joint: rod bolts, size: M9x1, torque: 20 N.m, angle: 90 deg, nut_factor: 0.15}
      - {joint: rocker cover, torque: 60 lbf.in}
      - {joint: main caps, size: 1/2-13, torque: 90 lbf.ft, nut_factor: 0.20}
"""


def test_torques_in_both_systems_and_preload_with_its_width(tmp_path: Path) -> None:
    torque = figure_of(tmp_path, "fastener_torque", {**V8, "assembly": JOINTS})
    assert [p.label for p in torque.positions] == ["main caps", "rod bolts", "rocker cover", "main caps (2)"]
    assert torque.positions[0].display == "100\N{NO-BREAK SPACE}lbf ft"
    assert torque.positions[0].alternate_text == "136\N{NO-BREAK SPACE}N m"
    preload = figure_of(tmp_path, "fastener_preload", {**V8, "assembly": JOINTS})
    # An angle after the torque leaves nothing to estimate from, and neither does a joint of unknown size.
    assert [p.label for p in preload.positions] == ["main caps", "main caps (2)"]
    force = 100 * 1.3558179483314004 / (0.20 * 0.5 * INCH)
    assert preload.value == pytest.approx(force)
    assert preload.uncertainty == pytest.approx(0.25 * force, rel=0.03)
    assert preload.note is not None
    assert "25%" in preload.note


def test_the_clamping_force_of_every_joint_is_written_as_the_first_is(tmp_path: Path) -> None:
    joints = "fasteners:\n  - {joint: caps, size: M11x1.5, torque: 85 N.m, nut_factor: 0.17}\n"
    figure = figure_of(tmp_path, "fastener_preload", {**V8, "assembly": joints})
    assert figure.value == pytest.approx(85 / (0.17 * 0.011))
    number = figure.display.partition(" ± ")[0]
    assert figure.working.replace("\N{NO-BREAK SPACE}", " ").endswith(f"= {number} lbf")


def test_a_nut_factor_follows_from_the_friction_where_none_is_written(tmp_path: Path) -> None:
    joints = """
    fasteners:
      - {joint: main caps, size: 3/4-16, torque: 3551 lbf.in, friction: 0.15}
      - {joint: rod bolts, torque: 60 N.m, friction: 0.15}
"""
    figure = figure_of(tmp_path, "fastener_preload", {**V8, "assembly": joints})
    # Shigley, example 8-3 (from memory): 3551 lbf in give 25,000 lbf on this thread; without a size there is nothing.
    assert figure.value / 4.4482216152605 == pytest.approx(25_000, rel=1e-3)
    assert figure.positions == () or [p.label for p in figure.positions] == ["main caps"]
    assert "(friction 0.15)" in figure.working


STRETCHED = """
    fasteners:
      - {joint: main caps, size: 1/2-13, torque: 100 lbf.ft, nut_factor: 0.20}
      - joint: rod bolts
        size: M9x1
        stretch: {unit: mm, measured: [0.15, 0.16, 0.15, 0.14]}
        shank_length: 36 mm
        shank_diameter: 8.2 mm
        thread_length: 6 mm
      - {joint: head studs, size: M11x1.25, stretch: 0.30 mm, thread_length: 105 mm}
      - {joint: flywheel, size: M10x1, stretch: 0.02 mm}
"""


def test_clamping_force_of_bolts_whose_stretch_was_measured(tmp_path: Path) -> None:
    figure = figure_of(tmp_path, "stretch_preload", {**V8, "assembly": STRETCHED})
    # A joint whose bolt nobody measured the length of is left out.
    assert [p.label for p in figure.positions] == ["rod bolts", "head studs"]
    area_m9, area_m11 = (math.pi / 4 * ((d - 0.9382 * p) * 1e-3) ** 2 for d, p in ((9, 1), (11, 1.25)))
    rods = 207e9 * 0.15e-3 / (0.036 / (math.pi / 4 * 0.0082**2) + 0.006 / area_m9)
    studs = 207e9 * 0.30e-3 / (0.105 / area_m11)
    assert [p.value for p in figure.positions] == pytest.approx([rods, studs])
    # A twentieth either way, and what the last digit of the stretch adds.
    assert figure.uncertainty is not None
    assert 0.05 < figure.uncertainty / figure.value < 0.09
    torqued = figure_of(tmp_path / "torque", "fastener_preload", {**V8, "assembly": STRETCHED})
    assert torqued.value == pytest.approx(100 * 1.3558179483314004 / (0.20 * 0.5 * INCH))
