"""Fasteners: torque in both systems, what friction and stretch give, and the stretch of every bolt."""

from __future__ import annotations

from pathlib import Path

import pytest

from builder.publish.pages.build.fasteners_section import fasteners_table, stretch_tables
from tests.support import view_samples as samples

BUILD = "title: T\nengine: {cylinders: 4}\n"


def test_a_torque_is_in_both_systems_and_as_written_in_its_own() -> None:
    """Checked against NIST SP 811: 1 lbf ft is 1.355 818 N m."""
    build, sheet = samples.build_and_sheet("pilot-launch-four")
    table = fasteners_table(build, sheet)
    assert table is not None
    metric, inch = table.head.index("N m"), table.head.index("lbf ft")
    for row, joint in zip(table.rows, build.assembly.fasteners, strict=True):  # type: ignore[union-attr]
        written = joint.torque.preferred[0]  # type: ignore[union-attr]
        assert row[metric].text == written.number
        assert float(row[inch].text) == pytest.approx(written.si / 1.355818, abs=0.06)


def test_joints_of_the_same_name_are_numbered_and_empty_columns_left_out(tmp_path: Path) -> None:
    build, sheet = samples.write_and_read(
        tmp_path,
        build=BUILD,
        assembly="fasteners:\n  - {joint: caps, torque: 90 lbf.ft}\n"
        "  - {joint: caps, torque: 40 lbf.ft, angle: 60 deg}\n",
    )
    table = fasteners_table(build, sheet)
    assert table is not None
    assert table.head == ("Joint", "N m", "lbf ft", "Angle / stretch")
    assert [[cell.text for cell in row] for row in table.rows] == [
        ["Caps", "122", "90", ""],
        ["Caps (2)", "54", "40", "60°"],
    ]


def test_a_joint_has_its_friction_and_the_clamping_force_by_its_stretch(tmp_path: Path) -> None:
    build, sheet = samples.write_and_read(
        tmp_path,
        build=BUILD,
        assembly="fasteners:\n  - {joint: caps, size: M11x1.5, torque: 85 N.m, friction: 0.12}\n"
        "  - {joint: rod bolts, size: M9x1, stretch: 0.15 mm, shank_length: 36 mm, shank_diameter: 8.2 mm}\n",
    )
    table = fasteners_table(build, sheet)
    assert table is not None
    caps, rods = (" ".join(f"{cell.text} {cell.alternate_unit or ''}" for cell in row) for row in table.rows)
    assert "friction 0.12" in caps
    assert "clamp load by stretch" not in caps
    # E A / l times the stretch: 207 GPa over 36 mm of 8.2 mm shank.
    assert "stretch 0.15\N{NO-BREAK SPACE}mm; clamp load by stretch 46" in rods


def test_the_stretch_of_every_bolt_is_in_the_table() -> None:
    build, _ = samples.build_and_sheet("breakdown-truck-v8")
    (table,) = stretch_tables(build)
    joint = next(joint for joint in build.assembly.fasteners if joint.stretch)  # type: ignore[union-attr]
    assert [cell.text.split("\N{NO-BREAK SPACE}")[0] for cell in table.rows[0][1:]] == [
        bolt.number
        for bolt in joint.stretch.measured  # type: ignore[union-attr]
    ]


def test_without_fasteners_there_is_no_table(tmp_path: Path) -> None:
    build, sheet = samples.write_and_read(tmp_path, build=BUILD)
    assert fasteners_table(build, sheet) is None
    assert stretch_tables(build) == ()
