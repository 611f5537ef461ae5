"""Fasteners as they were tightened."""

from __future__ import annotations

from pathlib import Path

from builder.publish.sheets.joints import joints
from builder.record.load import read_build
from tests.support.handover_samples import (
    FULL,
    REPO,
)


def test_tightening_is_printed_step_by_step(tmp_path: Path) -> None:
    build, _ = read_build(REPO / "builds" / FULL, REPO)
    assert build is not None
    tightening = {joint.title: joint.tightening.replace("\N{NO-BREAK SPACE}", " ") for joint in joints(build)}
    assert tightening["Main caps"] == "40 → 85 N m"
    assert tightening["Rod bolts"] == "10 → 20 N m, then 60°"
    assert tightening["Flywheel"] == "75 N m"
