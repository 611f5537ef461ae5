"""The table of the engine as delivered."""

from __future__ import annotations

from pathlib import Path

import pytest

from builder.handover.pack import customer_view
from builder.handover.performance import step_for
from builder.record.load import read_build, read_shop
from tests.support.handover_samples import (
    FULL,
    archive_with,
    text_of,
)

Files = dict[str, bytes]


def test_the_table_is_the_curve_of_the_engine_as_delivered(full_files: Files, tmp_path: Path) -> None:
    archive = archive_with(tmp_path)
    shop, _ = read_shop(archive)
    build, _ = read_build(archive / "builds" / FULL, archive)
    assert build is not None
    session = customer_view(build, shop).sheet.session
    assert session is not None
    assert session.delivered is not None
    lines = text_of(full_files["binder.pdf"]).splitlines()
    for rpm in (2000, 3500, 5000):
        torque = float(session.delivered.corrected.torque_curve.at(rpm / 60))
        row = next(line for line in lines if line.startswith(f"{rpm} "))
        written = [float(each) for each in row.split()]
        # 1 lbf ft = 1.3558179 N m, 1 hp = 745.69987 W (NIST SP 811, appendix B)
        power = 2 * 3.141592653589793 * rpm / 60 * torque
        expected = [rpm, torque, torque / 1.3558179483, power / 1000, power / 745.69987158]
        assert written == pytest.approx(expected, abs=0.051)


@pytest.mark.parametrize(
    ("low", "high", "step"), [(1500, 5200, 250), (800, 2400, 250), (1500, 7500, 500), (2000, 14500, 1000)]
)
def test_the_step_of_the_table_depends_on_the_range(low: float, high: float, step: int) -> None:
    assert step_for(low, high) == step
