"""The scatter of a session's pulls: assumed, the shop's own, or with the session's repeats."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from builder.figures.dyno.pull_scatter import prior_scatter
from builder.record.load import read_shop
from builder.record.models.shop import Shop
from tests.support.dyno_samples import CONDITIONS, log_of, session_of, torque_curve

OWN = Shop.model_validate({"units": "metric", "repeatability": {"value": "0.3 %", "from": 9}})
PULLS = "  - {name: a, file: dyno/a.csv}\n  - {name: b, file: dyno/b.csv, %s}\n"


def _record(pulls: str) -> str:
    return f"readings: observed\nconditions: {CONDITIONS}\nrange: 2500..5500 rpm\npulls:\n{pulls}"


def _logs(*factors: float) -> dict[str, str]:
    return {
        f"{name}.csv": log_of(lambda rpm, f=f: f * torque_curve(rpm)) for name, f in zip("abc", factors, strict=False)
    }


def test_without_repeats_common_practice_is_assumed(tmp_path: Path) -> None:
    session = session_of(tmp_path, _record(PULLS % "changed: jets, since: a"), _logs(1.0, 1.01), Shop())
    assert session.scatter == prior_scatter(Shop())
    assert (session.scatter.relative, session.scatter.freedom, session.scatter.source) == (
        pytest.approx(0.005), 6, "assumed",
    )  # fmt: skip


def test_the_shops_own_takes_its_place(tmp_path: Path) -> None:
    session = session_of(tmp_path, _record(PULLS % "changed: jets, since: a"), _logs(1.0, 1.01), OWN)
    assert (session.scatter.relative, session.scatter.freedom) == (pytest.approx(0.003), 9)
    assert session.scatter.source == "shop"


def test_repeats_of_the_session_are_combined_with_it(tmp_path: Path) -> None:
    session = session_of(tmp_path, _record(PULLS % "repeat_of: a"), _logs(0.995, 1.005), OWN)
    squares = 2 * 0.005**2
    assert session.scatter.source == "session"
    assert (session.scatter.freedom, session.scatter.repeats) == (10, 1)
    assert session.scatter.relative == pytest.approx(np.sqrt((9 * 0.003**2 + squares) / 10), rel=1e-3)


def test_what_other_sessions_show_counts_as_twelve_at_most() -> None:
    many = Shop.model_validate({"repeatability": {"value": "0.3 %", "from": 400}})
    assert prior_scatter(many).freedom == 12


def test_the_line_of_the_shop_is_read_with_clear_messages(tmp_path: Path) -> None:
    def read(value: str) -> tuple[Shop, str]:
        (tmp_path / "builds").mkdir(exist_ok=True)
        (tmp_path / "builds" / "shop.yaml").write_text(f"name: Test shop\nrepeatability: {value}\n")
        shop, problems = read_shop(tmp_path)
        return shop, "; ".join(str(problem) for problem in problems)

    shop, problems = read("{value: 0.4 %, from: 12}")
    assert not problems
    assert shop.repeatability is not None
    assert (shop.repeatability.value.si, shop.repeatability.repeats) == (pytest.approx(0.004), 12)
    for value, message in (
        ("{value: 0.4, from: 12}", "shop.yaml:2: error: repeatability.value: 0.4 has no unit: write 0.4 %"),
        ("{value: 0.4 %}", "repeatability.from: is missing: write from: 12"),
        ("{value: 0.4 %, form: 12}", "unknown name: did you mean 'from'?"),
        ("{value: 0.4 %, from: 0}", "repeatability.from: 0 is too small"),
        ("{value: 0 %, from: 3}", "repeatability.value: 0 % cannot be"),
        ("{value: 40 %, from: 3}", "write a standard deviation of 0.02% to 5% of torque"),
    ):
        assert message in read(value)[1], value
