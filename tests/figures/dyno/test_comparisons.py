"""Changes, repeats, swept settings and the engine's health, from whole builds."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from builder.engine.correction import SAE_J1349
from builder.figures.dyno.guideline_traces import hottest_exhaust
from builder.figures.review.guideline_defaults import mixture_guideline
from builder.record.models.shop import Guidelines, Shop
from builder.record.quantities.units import parse_quantity
from tests.support.dyno_samples import CONDITIONS, RPM, log_of, one_pull, session_of, torque_curve

METRIC = Shop(units="metric")


def _noise(seed: int, size: float = 0.3) -> np.ndarray:
    return np.random.default_rng(seed).normal(0.0, size, RPM.size)


def _record(pulls: str, more: str = "range: 2500..5500 rpm\n") -> str:
    return f"readings: observed\nconditions: {CONDITIONS}\n{more}pulls:\n{pulls}"


PAIR = "  - {name: a, file: dyno/a.csv}\n  - {name: b, file: dyno/b.csv, changed: jets, since: a}\n"


def test_a_gain_is_told_from_the_speed_it_begins_at(tmp_path: Path) -> None:
    better = torque_curve(RPM) + np.where(RPM >= 4000, 8.0, 0.0)
    pulls = "".join(f"  - {{name: a{k}, file: dyno/a{k}.csv, repeat_of: a}}\n" for k in (2, 3, 4))
    logs = {f"a{k}.csv": log_of(torque_curve(RPM) + _noise(k)) for k in (2, 3, 4)}
    logs |= {"a.csv": log_of(torque_curve(RPM) + _noise(1)), "b.csv": log_of(better + _noise(9))}
    session = session_of(tmp_path, _record(PAIR.replace("  - {name: b", pulls + "  - {name: b")), logs, METRIC)
    (change,) = session.changes
    factor = session.pulls[0].applied.at(50.0).factor  # type: ignore[misc]
    assert change.gain is not None
    assert change.gain.mean == pytest.approx(8.0 * factor * 1550 / 3000, abs=0.4)
    assert change.verdict.startswith("worth ")
    assert change.verdict.endswith("rpm up; below that no more than the noise")
    begins = int(change.verdict.split("from ")[1].split(" rpm")[0].replace(",", ""))
    assert 3800 <= begins <= 4200
    assert change.power is not None
    assert change.power.mean > 0


def test_without_repeats_the_readings_give_the_noise_and_that_is_said(tmp_path: Path) -> None:
    logs = {"a.csv": log_of(torque_curve(RPM) + _noise(1)), "b.csv": log_of(torque_curve(RPM) + 5 + _noise(2))}
    (change,) = session_of(tmp_path, _record(PAIR), logs, METRIC).changes
    assert change.gain is not None
    assert change.gain.basis == "readings"
    assert "what a repeat would have shown is not known" in change.noise_text
    assert change.gain.beyond_noise


def test_a_loss_is_called_a_loss(tmp_path: Path) -> None:
    logs = {"a.csv": log_of(torque_curve(RPM) + _noise(1)), "b.csv": log_of(torque_curve(RPM) - 6 + _noise(2))}
    (change,) = session_of(tmp_path, _record(PAIR), logs, METRIC).changes
    assert change.verdict.startswith("costs 5.") or change.verdict.startswith("costs 6.")
    assert "over the whole range, 2,500 to 5,500 rpm" in change.verdict
    assert change.mean_text.startswith("−")


def test_nothing_gained_is_no_more_than_the_noise(tmp_path: Path) -> None:
    logs = {"a.csv": log_of(torque_curve(RPM) + _noise(1)), "b.csv": log_of(torque_curve(RPM) + _noise(2))}
    (change,) = session_of(tmp_path, _record(PAIR), logs, METRIC).changes
    assert change.verdict == "no more than the noise anywhere from 2,500 to 5,500 rpm"


def test_repeats_give_the_noise_and_both_sides_take_all_of_theirs(tmp_path: Path) -> None:
    pulls = (
        "  - {name: a, file: dyno/a.csv}\n  - {name: a2, file: dyno/a2.csv, repeat_of: a}\n"
        "  - {name: a3, file: dyno/a3.csv, repeat_of: a2}\n"
        "  - {name: b, file: dyno/b.csv, changed: jets, since: a2}\n  - {name: b2, file: dyno/b2.csv, repeat_of: b}\n"
    )
    logs = {
        f"{name}.csv": log_of(torque_curve(RPM) + offset + _noise(seed))
        for seed, (name, offset) in enumerate({"a": 0.0, "a2": 0.6, "a3": -0.5, "b": 5.0, "b2": 5.5}.items())
    }
    session = session_of(tmp_path, _record(pulls), logs, METRIC)
    assert [each.names for each in session.repeats] == [("a", "a2", "a3"), ("b", "b2")]
    means = np.array([pull.mean_torque for pull in session.pulls[:3]], dtype=np.float64)
    assert session.repeats[0].repeatability.of_means == pytest.approx(float(np.std(means, ddof=1)), rel=1e-9)
    (change,) = session.changes
    assert (change.before, change.after) == (("a", "a2", "a3"), ("b", "b2"))
    assert change.gain is not None
    assert change.gain.basis == "repeats"
    assert change.gain.freedom == 3
    assert "repeat pulls, 3 degrees of freedom" in change.noise_text
    assert change.gain.beyond_noise


def test_drift_between_repeats_is_pointed_out_with_what_moved_meanwhile(tmp_path: Path) -> None:
    pulls = (
        "  - {name: a, file: dyno/a.csv}\n"
        "  - {name: a2, file: dyno/b.csv, repeat_of: a, conditions: {temperature: 26 degC}}\n"
    )
    oil = {"Oil temperature (°C)": np.full(RPM.size, 80.0)}
    hot = {"Oil temperature (°C)": np.full(RPM.size, 105.0)}
    logs = {
        "a.csv": log_of(torque_curve(RPM) + _noise(1), **oil),
        "b.csv": log_of(torque_curve(RPM) - 4 + _noise(2), **hot),
    }
    (repeats,) = session_of(tmp_path, _record(pulls), logs, METRIC).repeats
    assert repeats.drift.beyond_noise
    assert "They drift" in repeats.text
    assert "the oil went from 80.0 °C to 105.0 °C" in repeats.text.replace("\N{NO-BREAK SPACE}", " ")
    assert "the air went from 20.0 °C to 26.0 °C" in repeats.text.replace("\N{NO-BREAK SPACE}", " ")


def test_a_pull_that_was_left_out_is_compared_with_nothing(tmp_path: Path) -> None:
    pulls = (
        "  - {name: a, file: dyno/a.csv, left_out: lead off}\n"
        "  - {name: b, file: dyno/b.csv, changed: jets, since: a}\n"
    )
    logs = {"a.csv": log_of(), "b.csv": log_of()}
    (change,) = session_of(tmp_path, _record(pulls), logs).changes
    assert change.gain is None
    assert change.verdict == "cannot be compared: a: lead off"


def test_pulls_that_share_no_speeds_are_not_compared(tmp_path: Path) -> None:
    logs = {"a.csv": log_of(rpm=np.arange(2000, 3001, 100)), "b.csv": log_of(rpm=np.arange(4000, 5001, 100))}
    (change,) = session_of(tmp_path, _record(PAIR, ""), logs).changes
    assert "no range of speeds in common" in change.verdict


def _swept(levels: dict[str, float], unit: str = "deg") -> str:
    return _record(
        "".join(
            f"  - {{name: p{level}, file: dyno/{level}.csv, setting: {{name: spark advance, level: {level} {unit}}}}}\n"
            for level in levels
        )
    )


def _tried(tmp_path: Path, levels: dict[str, float]) -> object:
    logs = {f"{level}.csv": log_of(torque_curve(RPM) + offset) for level, offset in levels.items()}
    (sweep,) = session_of(tmp_path, _swept(levels), logs, METRIC).settings
    return sweep


def test_the_best_level_is_named_where_the_curve_bends_down(tmp_path: Path) -> None:
    sweep = _tried(tmp_path, {"28": -4.0, "31": -0.25, "34": -1.0, "37": -6.25})
    mean = next(fit for fit in sweep.fits if fit.quantity == "mean torque")  # type: ignore[attr-defined]
    # Through these four points least squares puts the parabola's top at 32.1 deg (numpy.polyfit says the same).
    a, b, _ = np.polyfit([28, 31, 34, 37], [-4.0, -0.25, -1.0, -6.25], 2)
    assert mean.best.optimum == pytest.approx(-b / (2 * a), abs=0.02)
    assert "best at about 32" in mean.verdict
    assert sweep.caution == ""  # type: ignore[attr-defined]
    assert sweep.unit == "°"  # type: ignore[attr-defined]


def test_still_rising_is_said_with_the_caution_on_detonation(tmp_path: Path) -> None:
    sweep = _tried(tmp_path, {"24": 0.0, "28": 3.0, "32": 6.5})
    assert all(fit.best.optimum is None for fit in sweep.fits)  # type: ignore[attr-defined]
    assert any("still rising at the last level tried, 32°" in fit.verdict for fit in sweep.fits)  # type: ignore[attr-defined]
    assert "detonation" in sweep.caution  # type: ignore[attr-defined]
    assert "maker's limit" in sweep.caution  # type: ignore[attr-defined]


def test_an_optimum_beyond_the_last_level_carries_the_caution_too(tmp_path: Path) -> None:
    sweep = _tried(tmp_path, {"30": 0.0, "33": 3.0, "35": 3.6})
    assert any("beyond the last level tried" in fit.verdict for fit in sweep.fits)  # type: ignore[attr-defined]
    assert "detonation" in sweep.caution  # type: ignore[attr-defined]


def test_two_levels_make_no_curve(tmp_path: Path) -> None:
    sweep = _tried(tmp_path, {"30": 0.0, "33": 3.0})
    assert all(fit.best is None for fit in sweep.fits)  # type: ignore[attr-defined]
    assert "a curve needs three" in sweep.fits[0].verdict  # type: ignore[attr-defined]


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
    found = {(breach.channel, breach.side): breach for breach in session.violations}
    assert set(found) == {
        ("oil_pressure", "below"), ("oil_temperature", "above"), ("coolant_temperature", "above"), ("lambda", "above"),
        ("exhaust_spread", "above"), ("blow_by_share", "above"),
    }  # fmt: skip
    oil = found["oil_pressure", "below"]
    # 10 psi for every 1000 rpm is more than 50 psi from 5000 rpm up.
    assert oil.ranges[0][0] * 60 == pytest.approx(5000, abs=75)
    assert oil.speed * 60 == pytest.approx(6000, abs=1)
    assert oil.limit == pytest.approx(parse_quantity("60 psi", "pressure").si, rel=1e-6)
    assert found["exhaust_spread", "above"].value == pytest.approx(100, abs=1)
    assert "cylinder 2 hottest, 1 coldest" in found["exhaust_spread", "above"].text
    (pull,) = session.pulls
    hottest = hottest_exhaust(pull)
    assert hottest is not None
    assert (hottest[0] - 273.15, hottest[-1] - 273.15) == pytest.approx((700 + 2000 / 60, 800), abs=1)
    assert found["blow_by_share", "above"].value == pytest.approx(0.02, rel=1e-3)
    assert "psi at 6,000 rpm" in oil.text


def test_the_shops_own_guidelines_win(tmp_path: Path) -> None:
    hot = {"Water temp (°C)": np.full(RPM.size, 107.0)}
    usual = session_of(tmp_path / "a", one_pull(), {"a.csv": log_of(**hot)})
    own = Shop(guidelines=Guidelines(most_coolant_temperature=parse_quantity("110 degC", "temperature")))
    lenient = session_of(tmp_path / "b", one_pull(), {"a.csv": log_of(**hot)}, own)
    assert [breach.channel for breach in usual.violations] == ["coolant_temperature"]
    assert lenient.violations == ()


def test_the_mixture_is_judged_at_full_load_only(tmp_path: Path) -> None:
    channels = {"Lambda": np.full(RPM.size, 1.0), "Throttle (%)": np.full(RPM.size, 40.0)}
    assert session_of(tmp_path, one_pull(), {"a.csv": log_of(**channels)}).violations == ()


def test_what_acceleration_takes_is_added_back_to_a_sweep(tmp_path: Path) -> None:
    seconds = np.arange(0, 12, 0.05)
    rpm = 2000 + 4000 * seconds / 12
    spent = 0.4 * 2 * np.pi * (4000 / 60 / 12)
    log = "Time (s),rpm,Torque (N m)\n" + "".join(
        f"{t:.2f},{n:.2f},{q - spent:.3f}\n" for t, n, q in zip(seconds, rpm, torque_curve(rpm), strict=True)
    )
    session = session_of(tmp_path, "inertia: 0.4 kg.m2\n" + one_pull(), {"a.csv": log})
    pull = session.pulls[0]
    assert pull.kind == "sweep"
    assert pull.corrected.observed_torque.max() == pytest.approx(130.0, rel=1e-3)
    assert any("added back" in line for line in pull.notes)
    without = session_of(tmp_path / "x", one_pull(), {"a.csv": log}).pulls[0]
    assert without.corrected.observed_torque.max() == pytest.approx(130.0 - spent, rel=1e-3)


def test_what_is_added_back_is_put_in_the_logs_own_standard(tmp_path: Path) -> None:
    seconds = np.arange(0, 12, 0.05)
    rpm = 2000 + 4000 * seconds / 12
    log = "Time (s),rpm,Torque (N m)\n" + "".join(
        f"{t:.2f},{n:.2f},{100:.3f}\n" for t, n in zip(seconds, rpm, strict=True)
    )
    record = "inertia: 0.4 kg.m2\n" + one_pull(readings="sae-j1349")
    pull = session_of(tmp_path, record, {"a.csv": log}).pulls[0]
    assert pull.conditions.air is not None
    spent = 0.4 * 2 * np.pi * (4000 / 60 / 12)
    expected = 100 + spent * SAE_J1349.factor(pull.conditions.air)
    assert pull.corrected.torque == pytest.approx(np.full(pull.corrected.torque.shape, expected), rel=1e-4)
    nobody_knows = session_of(tmp_path / "x", "inertia: 0.4 kg.m2\n" + one_pull("", "sae-j1349"), {"a.csv": log}).pulls[
        0
    ]
    assert nobody_knows.corrected.torque == pytest.approx(np.full(nobody_knows.corrected.torque.shape, 100.0))
    assert any("not added back" in line for line in nobody_knows.notes)


def test_the_run_up_and_the_coast_down_are_left_out(tmp_path: Path) -> None:
    up, pull, down = np.linspace(1000, 2000, 40), np.linspace(2000, 6000, 200), np.linspace(6000, 1500, 60)
    rpm = np.concatenate([up, pull, down])
    torque = np.concatenate([np.full(40, 8.0), torque_curve(pull), np.full(60, -15.0)])
    log = "Time (s),rpm,Torque (N m)\n" + "".join(
        f"{k * 0.05:.2f},{n:.1f},{q:.2f}\n" for k, (n, q) in enumerate(zip(rpm, torque, strict=True))
    )
    found = session_of(tmp_path, one_pull(), {"a.csv": log}).pulls[0]
    assert found.corrected.speed.min() * 60 == pytest.approx(2000, abs=80)
    assert found.corrected.observed_torque.max() == pytest.approx(130, rel=5e-3)
    assert found.corrected.observed_torque.min() > 80
    assert any("left out: " in line and "coast-down" in line for line in found.notes)


def _mixture_breaches(tmp_path: Path, fuel: str, mixture: float, shop: Shop | None = None) -> list[tuple[str, str]]:
    log = {"a.csv": log_of(**{"Lambda": np.full(RPM.size, mixture)})}
    return [(b.side, b.guideline) for b in session_of(tmp_path, one_pull(), log, shop, fuel=fuel).violations]


def test_every_fuel_is_held_against_its_own_mixture(tmp_path: Path) -> None:
    """Common practice, no source: alcohols are run far richer than petrol, gas hardly on the rich side at all."""
    rule = "common practice: lambda 0.8 to 0.95 on petrol"
    assert _mixture_breaches(tmp_path / "a", "petrol", 0.72) == [("below", rule)]
    assert _mixture_breaches(tmp_path / "b", "methanol", 0.72) == []
    assert [side for side, _ in _mixture_breaches(tmp_path / "c", "methanol", 0.93)] == ["above"]
    assert _mixture_breaches(tmp_path / "d", "LPG", 0.98) == []
    assert [side for side, _ in _mixture_breaches(tmp_path / "e", "E10", 0.98)] == ["above"]


def test_a_fuel_without_a_window_is_not_judged_unless_the_shop_has_one(tmp_path: Path) -> None:
    assert _mixture_breaches(tmp_path / "a", "natural gas", 1.5) == []
    window = {"mixture": [{"fuel": "natural gas", "least_lambda": 0.95, "most_lambda": 1.1}], "most_lambda": 0.9}
    own = Shop.model_validate({"guidelines": window})
    assert _mixture_breaches(tmp_path / "b", "natural gas", 1.5, own) == [
        ("above", "the shop's habit: lambda 0.95 to 1.1 on natural gas")
    ]
    # The plain limits are for petrol, and leave other fuels' windows alone.
    assert _mixture_breaches(tmp_path / "c", "E85", 0.92, own) == []
    assert [side for side, _ in _mixture_breaches(tmp_path / "d", "petrol", 0.92, own)] == ["above"]


def test_where_nobody_wrote_down_the_fuel_no_mixture_is_judged() -> None:
    assert mixture_guideline(Shop(), None) is None
