"""A dyno session that several modules look at."""

from __future__ import annotations

import math

import pytest

from builder.figures.core.types import FigureSheet
from tests.support.dyno_figures import sheet_of
from tests.support.dyno_samples import RPM, log_of, one_pull, torque_curve

FLOWS = {
    "Fuel flow (kg/h)": 0.3 * torque_curve(RPM) * RPM * 2 * math.pi / 60e3,
    "Air flow (kg/h)": 0.055 * RPM,
}


@pytest.fixture(scope="session")
def sheet(tmp_path_factory: pytest.TempPathFactory) -> FigureSheet:
    record = "range: 2500..5500 rpm\n" + one_pull()
    return sheet_of(tmp_path_factory.mktemp("one"), record, {"a.csv": log_of(**FLOWS)})
