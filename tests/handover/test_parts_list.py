"""The parts in the engine."""

from __future__ import annotations

from pathlib import Path

from builder.handover.parts_list import installed_parts
from builder.record.load import read_build
from tests.support.handover_samples import (
    FULL,
    REPO,
)


def test_rejected_parts_are_not_among_the_installed_ones(tmp_path: Path) -> None:
    build, _ = read_build(REPO / "builds" / FULL, REPO)
    assert build is not None
    groups = installed_parts(build)
    lines = {line.part: line for group in groups for line in group.parts}
    assert "Pistons, first set" not in lines
    assert lines["Pistons, second set"].number == "QF-L16-050/H"
    assert lines["Intake valves"].maker == "Saltwhin"
    numbers = [line.number for line in lines.values() if line.number]
    assert len(numbers) == len(set(numbers))
    assert [group.title for group in groups] == [
        "Supplied new or reconditioned",
        "Reused and customer's own",
        "Source not recorded",
    ]
    (reused,) = [group for group in groups if group.title.startswith("Reused")]
    assert "Connecting rods" in {line.part for line in reused.parts}
