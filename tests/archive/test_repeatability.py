"""Repeat pulls of the whole archive, pooled by dyno."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from builder.archive.repeatability import UNNAMED_DYNO, archive_repeatability
from builder.record.load import read_shop
from tests.support.dyno_samples import BOTTOM_END, CONDITIONS, ENGINE, log_of, torque_curve

VALUES = {"cycle": "four-stroke", "ignition": "spark", "induction": "natural", "fuel": "petrol"}


def _write_session(archive: Path, slug: str, dyno: str, factors: list[float]) -> None:
    folder = archive / "builds" / slug
    (folder / "dyno").mkdir(parents=True)
    (folder / "build.yaml").write_text(ENGINE.format(**VALUES))
    (folder / "bottom_end.yaml").write_text(BOTTOM_END)
    pulls = ""
    for at, factor in enumerate(factors):
        (folder / "dyno" / f"{at}.csv").write_text(log_of(lambda rpm, f=factor: f * torque_curve(rpm)))  # type: ignore[misc]
        pulls += f"  - {{name: p{at}, file: dyno/{at}.csv{', repeat_of: p0' if at else ''}}}\n"
    (folder / "dyno.yaml").write_text(f"{dyno}readings: observed\nconditions: {CONDITIONS}\npulls:\n{pulls}")


def test_repeats_are_pooled_by_dyno(tmp_path: Path) -> None:
    _write_session(tmp_path, "first", "dyno: water brake\n", [1.0, 1.004])
    _write_session(tmp_path, "second", "dyno: water brake\n", [1.0, 0.997, 1.003])
    _write_session(tmp_path, "third", "", [1.0, 1.002])
    _write_session(tmp_path, "fourth", "dyno: water brake\n", [1.0])
    water, unnamed = archive_repeatability(tmp_path).dynos
    # Squares about each group's mean: 2 x 0.002^2 and 2 x 0.003^2, on three degrees of freedom.
    expected = np.sqrt((2 * 0.002**2 + 2 * 0.003**2) / 3)
    assert (water.dyno, water.repeats, water.builds) == ("water brake", 3, ("first", "second"))
    assert water.deviation == pytest.approx(expected, rel=0.01)
    assert (unnamed.dyno, unnamed.repeats) == (UNNAMED_DYNO, 1)


def test_the_line_it_prints_is_one_that_shop_yaml_takes(tmp_path: Path) -> None:
    _write_session(tmp_path, "first", "dyno: water brake\n", [1.0, 1.004, 0.999])
    found, line = archive_repeatability(tmp_path).lines
    assert found.startswith("water brake: 0.26 % of torque (1 SD), from 2 repeat pulls (first)")
    (tmp_path / "builds" / "shop.yaml").write_text(f"name: Test shop\n{line.strip()}\n")
    shop, problems = read_shop(tmp_path)
    assert not problems
    assert shop.repeatability is not None
    assert (shop.repeatability.value.si, shop.repeatability.repeats) == (pytest.approx(0.0026), 2)


def test_an_archive_without_repeats_says_what_to_do(tmp_path: Path) -> None:
    _write_session(tmp_path, "first", "", [1.0])
    assert archive_repeatability(tmp_path).lines[0].startswith("no repeat pulls in the archive: pull again")


def test_two_equal_logs_are_no_repeatability(tmp_path: Path) -> None:
    _write_session(tmp_path, "first", "", [1.0, 1.0])
    assert archive_repeatability(tmp_path).lines[1] == "  outside 0.02% to 5%: check these logs first"
