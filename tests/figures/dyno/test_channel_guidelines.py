"""Each logged channel that has a guideline is held against it: one pull within, one outside, and the shop's own."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from builder.figures.evaluate import compute
from builder.record.models.shop import Shop
from tests.support.dyno_samples import RPM, log_of, one_pull, write_build


def flat(value: float, fall: float = 0.0) -> np.ndarray:
    """Return a channel that falls by so much over the pull."""
    return np.linspace(value, value - fall, RPM.size)


CASES = [
    ("spark_advance", {"Spark advance (deg)": flat(34)}, {"Spark advance (deg)": flat(43)}, {"most_timing": "45 deg"}),
    ("charge_temperature", {"Charge temp (degC)": flat(50)}, {"Charge temp (degC)": flat(80)},
     {"most_charge_temperature": "90 degC"}),
    # The conditions of the pull are 20 degC.
    ("air_temperature", {"Air temp (degC)": flat(24, 4)}, {"Air temp (degC)": flat(27, 7)},
     {"most_inlet_air_difference": 8}),
    ("air_temperature", {"Air temp (degC)": flat(20, 5)}, {"Air temp (degC)": flat(20, 7)},
     {"most_inlet_air_difference": 8}),
    ("hottest_exhaust", {"EGT 1 (degC)": flat(820), "EGT 2 (degC)": flat(830)},
     {"EGT 1 (degC)": flat(930), "EGT 2 (degC)": flat(900)}, {"most_exhaust_temperature": "960 degC"}),
    ("exhaust_temperature", {"EGT (degC)": flat(820)}, {"EGT (degC)": flat(930)},
     {"most_exhaust_temperature": "960 degC"}),
    ("lambda_spread", {"Lambda 1": flat(0.88), "Lambda 2": flat(0.90)},
     {"Lambda 1": flat(0.84), "Lambda 2": flat(0.93)}, {"most_lambda_spread": 0.2}),
    ("fuel_pressure", {"Fuel pressure (kPa)": flat(300, 10)}, {"Fuel pressure (kPa)": flat(300, 60)},
     {"most_fuel_pressure_drop": 0.3}),
    ("battery_voltage", {"Battery (V)": flat(13.8, 0.5)}, {"Battery (V)": flat(13.8, 2.0)}, {"most_battery_drop": 0.2}),
    ("manifold_vacuum", {"Manifold vacuum (kPa)": flat(3)}, {"Manifold vacuum (kPa)": flat(9)},
     {"most_full_throttle_vacuum": "3 inHg"}),
    ("manifold_pressure", {"MAP (kPa)": flat(97)}, {"MAP (kPa)": flat(91)}, {"most_full_throttle_vacuum": "3 inHg"}),
]  # fmt: skip


@pytest.mark.parametrize(("name", "within", "outside", "guideline"), CASES, ids=[case[0] for case in CASES])
def test_a_channel_against_its_guideline(
    tmp_path: Path,
    name: str,
    within: dict[str, np.ndarray],
    outside: dict[str, np.ndarray],
    guideline: dict[str, object],
) -> None:
    def cautions(log: dict[str, np.ndarray], shop: Shop) -> set[str]:
        build, _ = write_build(tmp_path, one_pull(), {"a.csv": log_of(**log)})
        return {caution.name for caution in compute(build, shop).cautions}

    assert name not in cautions(within, Shop())
    assert name in cautions(outside, Shop())
    assert name not in cautions(outside, Shop.model_validate({"guidelines": guideline}))


def test_a_fuel_pressure_that_follows_the_boost_has_not_fallen(tmp_path: Path) -> None:
    boost = flat(90, 60)
    log = {"Boost (kPa)": boost, "Fuel pressure (kPa)": 300 + boost}
    build, _ = write_build(tmp_path, one_pull(), {"a.csv": log_of(**log)}, induction="turbo")
    assert "fuel_pressure" not in {caution.name for caution in compute(build, Shop()).cautions}


def test_a_turbocharger_faster_than_its_manufacturer_allows(tmp_path: Path) -> None:
    log = {"Turbo speed (rpm)": flat(171_000)}
    build, _ = write_build(tmp_path, one_pull(), {"a.csv": log_of(**log)}, induction="turbo")
    assert "turbo_speed" not in {caution.name for caution in compute(build, Shop()).cautions}
    (build.folder / "top_end.yaml").write_text("induction: {turbocharger: {speed_limit: 160000 rpm}}\n")
    build, _ = write_build(tmp_path, one_pull(), {"a.csv": log_of(**log)}, induction="turbo")
    (caution,) = (item for item in compute(build, Shop()).cautions if item.name == "turbo_speed")
    assert "manufacturer" in caution.guideline


def test_vacuum_is_judged_at_full_throttle_alone(tmp_path: Path) -> None:
    log = {"Manifold vacuum (kPa)": flat(9), "Throttle (%)": flat(40)}
    build, _ = write_build(tmp_path, one_pull(), {"a.csv": log_of(**log)})
    assert "manifold_vacuum" not in {caution.name for caution in compute(build, Shop()).cautions}


@pytest.mark.parametrize("log", [{"Boost (kPa)": flat(90)}, {"MAP (kPa)": flat(190)}], ids=["boost", "absolute"])
def test_boost_has_the_limit_that_the_shop_sets_and_no_other(tmp_path: Path, log: dict[str, np.ndarray]) -> None:
    build, _ = write_build(tmp_path, one_pull(), {"a.csv": log_of(**log)}, induction="turbo")  # 100 kPa outside
    names = {"boost_pressure", "manifold_pressure"}
    for limit, is_over in (("0 kPa", False), ("85 kPa", True), ("95 kPa", False)):
        shop = Shop.model_validate({"guidelines": {"most_boost": limit}})
        found = [caution for caution in compute(build, shop).cautions if caution.name in names]
        assert bool(found) is is_over, limit
    assert not names & {caution.name for caution in compute(build, Shop()).cautions}


def test_the_air_of_a_boosted_engine_may_be_read_behind_the_compressor(tmp_path: Path) -> None:
    build, _ = write_build(tmp_path, one_pull(), {"a.csv": log_of(**{"Air temp (degC)": flat(45)})}, induction="turbo")
    assert "air_temperature" not in {caution.name for caution in compute(build, Shop()).cautions}
