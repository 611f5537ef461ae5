"""Torques that do not suit their thread, and parts that would not go together: warnings with file and line."""

from __future__ import annotations

from pathlib import Path

import pytest

from builder.record.problem import Problem
from tests.support.figure_records import BOTTOM_END, V8, line_of, sheet_of


def warnings(archive: Path, joint: str) -> list[Problem]:
    assembly = f"fasteners:\n  - {joint}\n"
    found = sheet_of(archive, {**V8, "assembly": assembly}).problems
    assert all(problem.severity == "warning" for problem in found)
    return list(found)


@pytest.mark.parametrize(
    "joint",
    [
        "{joint: main caps, size: 1/2-13, torque: 100 lbf.ft}",
        "{joint: rod bolts, size: M8x1, torque: 20 N.m, angle: 60 deg}",
        "{joint: rocker covers, size: 1/4-20, torque: 90 lbf.in}",
        "{joint: sump, size: M6x1, torque: 8 N.m}",
        "{joint: spark plugs, size: M14x1.25, torque: 15 N.m}",
        "{joint: flywheel, torque: 900 N.m}",
        "{joint: drain plug, size: M14x1.5, torque: 2 N.m}",
    ],
)
def test_ordinary_joints_are_left_alone(tmp_path: Path, joint: str) -> None:
    assert warnings(tmp_path, joint) == []


@pytest.mark.parametrize(
    ("joint", "meant"),
    [
        ("{joint: main caps, size: 1/2-13, torque: 100 lbf.in}", "100 lbf.ft meant"),
        ("{joint: main caps, size: 1/2-13, torque: 95 in-lb}", "95 lbf.ft meant"),
        ("{joint: rocker covers, size: 1/4-20, torque: 90 lbf.ft}", "90 lbf.in meant"),
        ("{joint: head, size: M10x1.25, torque: 750 N.m}", "slipped decimal"),
    ],
)
def test_a_mix_up_of_units_is_named(tmp_path: Path, joint: str, meant: str) -> None:
    (problem,) = warnings(tmp_path, joint)
    assert meant in problem.message
    assert problem.path.name == "assembly.yaml"
    assert problem.line == line_of(tmp_path, "joint:", "assembly")


def test_a_step_above_the_final_torque(tmp_path: Path) -> None:
    joint = "{joint: head, size: 7/16-14, torque: 68 lbf.ft, steps: [25 lbf.ft, 86 lbf.ft, 68 lbf.ft]}"
    (problem,) = warnings(tmp_path, joint)
    assert "86 lbf.ft" in problem.message


def test_a_piston_above_the_heads_face(tmp_path: Path) -> None:
    proud = BOTTOM_END.replace("compression_height: 1.560", "compression_height: 1.650")
    (problem,) = sheet_of(tmp_path, {**V8, "bottom_end": proud}).problems
    assert problem.severity == "warning"
    assert "quench (squish) is −0.026 in" in problem.message


def test_a_journal_too_large_for_its_shells(tmp_path: Path) -> None:
    fat = BOTTOM_END.replace("2.4483, 2.4484, 2.4483, 2.4484, 2.4483", "2.4483, 2.4484, 2.4533, 2.4484, 2.4483")
    problem = next(item for item in sheet_of(tmp_path, {**V8, "bottom_end": fat}).problems if "main 3" in item.message)
    assert problem.line == line_of(tmp_path, "main_bores", "bottom_end")
