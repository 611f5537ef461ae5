"""Channels of a pull against the shop's guidelines, and which mixture each fuel is run at."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from builder.figures.dyno.guideline_traces import hottest_exhaust, lambda_spread
from builder.figures.review.guideline_defaults import mixture_guideline
from builder.record.models.shop import Guidelines, Shop
from builder.record.quantities.units import parse_quantity
from tests.support.dyno_samples import (
    RPM,
    log_of,
    one_pull,
    session_of,
)


def test_every_guideline_is_held_against_the_pull(tmp_path: Path) -> None:
    rpm = RPM.astype(float)
    channels = {
        "Oil pressure (psi)": np.minimum(20 + rpm / 100, 50.0),
        "Oil temperature (°F)": np.where(rpm > 5000, 280.0, 250.0),
        "Water temp (°F)": np.full(rpm.size, 225.0),
        "Lambda": np.where(rpm > 4500, 1.0, 0.88),
        "EGT 1 (°C)": np.full(rpm.size, 700.0),
        "EGT 2 (°C)": 700.0 + rpm / 60,
        "Air flow (cfm)": np.full(rpm.size, 150.0),
        "Blow-by (cfm)": np.full(rpm.size, 3.0),
    }
    session = session_of(tmp_path, one_pull(), {"a.csv": log_of(**channels)}, Shop(units="inch"))
    violations = {(item.channel, item.side): item for item in session.violations}
    assert set(violations) == {
        ("oil_pressure", "below"), ("oil_temperature", "above"), ("coolant_temperature", "above"), ("lambda", "above"),
        ("exhaust_spread", "above"), ("blow_by_share", "above"),
    }  # fmt: skip
    oil = violations["oil_pressure", "below"]
    # 10 psi for every 1000 rpm is more than 50 psi from 5000 rpm up.
    assert oil.ranges[0][0] * 60 == pytest.approx(5000, abs=75)
    assert oil.speed * 60 == pytest.approx(6000, abs=1)
    assert oil.limit == pytest.approx(parse_quantity("60 psi", "pressure").si, rel=1e-6)
    assert violations["exhaust_spread", "above"].value == pytest.approx(100, abs=1)
    assert "cylinder 2 hottest, 1 coldest" in violations["exhaust_spread", "above"].text
    (pull,) = session.pulls
    hottest = hottest_exhaust(pull)
    assert hottest is not None
    assert (hottest[0] - 273.15, hottest[-1] - 273.15) == pytest.approx((700 + 2000 / 60, 800), abs=1)
    assert violations["blow_by_share", "above"].value == pytest.approx(0.02, rel=1e-3)
    assert "psi at 6,000 rpm" in oil.text


def test_the_shops_own_guidelines_win(tmp_path: Path) -> None:
    hot = {"Water temp (°C)": np.full(RPM.size, 107.0)}
    usual = session_of(tmp_path / "a", one_pull(), {"a.csv": log_of(**hot)})
    own = Shop(guidelines=Guidelines(most_coolant_temperature=parse_quantity("110 degC", "temperature")))
    lenient = session_of(tmp_path / "b", one_pull(), {"a.csv": log_of(**hot)}, own)
    assert [violation.channel for violation in usual.violations] == ["coolant_temperature"]
    assert lenient.violations == ()


def test_the_mixture_is_checked_at_full_load_only(tmp_path: Path) -> None:
    channels = {"Lambda": np.full(RPM.size, 1.0), "Throttle (%)": np.full(RPM.size, 40.0)}
    assert session_of(tmp_path, one_pull(), {"a.csv": log_of(**channels)}).violations == ()


def test_lambda_of_the_cylinders(tmp_path: Path) -> None:
    """The mean is held against the window, the leanest less the richest against the spread that is allowed."""
    channels = {f"Lambda {number}": np.full(RPM.size, value) for number, value in ((1, 0.95), (2, 1.05), (3, 1.0))}
    session = session_of(tmp_path, one_pull(), {"a.csv": log_of(**channels)})
    violations = {item.channel: item.value for item in session.violations}
    assert violations == {"lambda": pytest.approx(1.0), "lambda_spread": pytest.approx(0.1)}
    spread = lambda_spread(session.pulls[0])
    assert spread is not None
    assert spread == pytest.approx(0.1)


def _mixture_violations(tmp_path: Path, fuel: str, mixture: float, shop: Shop | None = None) -> list[tuple[str, str]]:
    log = {"a.csv": log_of(**{"Lambda": np.full(RPM.size, mixture)})}
    return [(b.side, b.guideline) for b in session_of(tmp_path, one_pull(), log, shop, fuel=fuel).violations]


def test_every_fuel_is_held_against_its_own_mixture(tmp_path: Path) -> None:
    """Common practice, no source: alcohols are run far richer than petrol, gas hardly on the rich side at all."""
    rule = "common practice: lambda 0.8 to 0.95 on gasoline"
    assert _mixture_violations(tmp_path / "a", "gasoline", 0.72) == [("below", rule)]
    assert _mixture_violations(tmp_path / "b", "methanol", 0.72) == []
    assert [side for side, _ in _mixture_violations(tmp_path / "c", "methanol", 0.93)] == ["above"]
    assert _mixture_violations(tmp_path / "d", "LPG", 0.98) == []
    assert [side for side, _ in _mixture_violations(tmp_path / "e", "E10", 0.98)] == ["above"]


def test_a_fuel_without_a_window_is_not_checked_unless_the_shop_has_one(tmp_path: Path) -> None:
    assert _mixture_violations(tmp_path / "a", "natural gas", 1.5) == []
    window = {"mixture": [{"fuel": "natural gas", "least_lambda": 0.95, "most_lambda": 1.1}], "most_lambda": 0.9}
    own = Shop.model_validate({"guidelines": window})
    assert _mixture_violations(tmp_path / "b", "natural gas", 1.5, own) == [
        ("above", "shop guideline: lambda 0.95 to 1.1 on natural gas")
    ]
    # The plain limits are for petrol, and leave other fuels' windows alone.
    assert _mixture_violations(tmp_path / "c", "E85", 0.92, own) == []
    assert [side for side, _ in _mixture_violations(tmp_path / "d", "gasoline", 0.92, own)] == ["above"]


def test_without_a_fuel_no_mixture_is_checked() -> None:
    assert mixture_guideline(Shop(), None) is None
