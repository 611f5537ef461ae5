"""Instruments that readings cite: unknown ones are errors with the nearest, overdue ones are cautions."""

from __future__ import annotations

import datetime
from pathlib import Path

from builder.figures.evaluate import compute
from builder.figures.review.instruments import citations, unknown_instruments
from builder.record.load import read_shop
from builder.record.models.build import Build
from builder.record.models.shop import Instrument, Shop
from tests.support.dyno_samples import log_of, write_build

SESSION = """\
date: 2024-05-14
with: D1
conditions:
  barometer: 1000 hPa
  barometer_is: station
  temperature: 20 degC
  relative_humidity: 50 %
  with: {barometer: B1, temperature: T1}
pulls: [{name: first, file: dyno/a.csv, readings: observed}]
"""


def shop_with(**due: str) -> Shop:
    """Return a shop with a barometer, a thermometer and a torque reading, due on the days given."""
    kinds = {"B1": "barometer", "T1": "thermometer", "D1": "load cell"}
    days = {name: datetime.date.fromisoformat(day) for name, day in due.items()}
    return Shop(instruments=tuple(Instrument(id=name, kind=kind, due=days.get(name)) for name, kind in kinds.items()))


def build_with(tmp_path: Path, session: str = SESSION) -> Build:
    build, messages = write_build(tmp_path, session, {"a.csv": log_of()})
    assert messages == []
    return build


def test_an_unknown_instrument_is_an_error_with_the_nearest(tmp_path: Path) -> None:
    build = build_with(tmp_path, SESSION.replace("T1", "T12"))
    (problem,) = unknown_instruments(build, shop_with())
    assert problem.severity == "error"
    assert (problem.path.name, problem.line) == ("dyno.yaml", 8)
    assert "'T12'" in problem.message
    assert "T1" in problem.message.replace("T12", "")
    assert problem in compute(build, shop_with()).problems


def test_an_overdue_instrument_is_a_caution(tmp_path: Path) -> None:
    build = build_with(tmp_path)
    names = [caution.name for caution in compute(build, shop_with(B1="2024-05-13", T1="2024-05-14")).cautions]
    assert names.count("calibration_due") == 1
    assert "calibration_due" not in [c.name for c in compute(build, shop_with(B1="2024-06-01")).cautions]


def test_the_dyno_itself_is_read(tmp_path: Path) -> None:
    machine = "machine: {type: eddy-current, arm: 0.7162 m, drive_losses: 1 %, calibration: {error_found: 0.3 %}}\n"
    dyno = build_with(tmp_path, SESSION + machine + "sweep_rate: 200\nsettling_time: 5 s\n").dyno
    assert dyno is not None
    assert dyno.machine is not None
    assert (dyno.machine.type, dyno.sweep_rate, dyno.settling_time.si if dyno.settling_time else None) == (
        "eddy current", 200.0, 5.0,
    )  # fmt: skip


def test_ids_and_days_of_the_register(tmp_path: Path) -> None:
    (tmp_path / "builds").mkdir()
    (tmp_path / "builds" / "shop.yaml").write_text(
        "instruments:\n  - {id: B1, kind: barometer}\n"
        "  - {id: B1, kind: barometer, calibrated_on: 2024-05-01, due: 2024-04-01}\n"
    )
    shop, problems = read_shop(tmp_path)
    assert len(shop.instruments) == 2
    assert [problem.line for problem in problems] == [3, 3]
    assert "two instruments have the ID 'B1'" in problems[0].message or "two instruments" in problems[1].message


GAUGED = (
    "block: {{bores: {{unit: mm, measured: [81.50, 81.50, 81.50, 81.50]{bore}}}}}\n"
    "pistons: {{diameter: {{unit: mm, measured: [81.45, 81.45, 81.45, 81.45]{piston}}}}}\n"
    "crankshaft: {{stroke: 77.60 mm}}\n"
)
STROKE = "crankshaft: {stroke: 77.60 mm}\n"
GAUGES = Shop(
    units="metric",
    instruments=(
        Instrument.model_validate({"id": "G1", "kind": "bore gauge", "expanded_uncertainty": "0.006 mm"}),
        Instrument.model_validate({"id": "M1", "kind": "micrometer", "expanded_uncertainty": "0.004 mm"}),
    ),
)


def gauged(tmp_path: Path, bore: str, piston: str) -> Build:
    bottom_end = GAUGED.format(bore=bore, piston=piston)
    return write_build(tmp_path, SESSION.replace("with: D1\n", ""), {"a.csv": log_of()}, bottom_end=bottom_end)[0]


def test_a_clearance_from_parts_is_as_uncertain_as_the_instruments_they_were_read_with(tmp_path: Path) -> None:
    found = compute(gauged(tmp_path, ", with: G1", ", with: M1"), GAUGES)["piston_clearance"]
    last_digit = 2 * (0.01e-3 / 12**0.5) ** 2
    # JCGM 100, 5.1.2: the instruments' errors are the same at all four cylinders, the last digits are not.
    expected = 2 * ((0.003e-3) ** 2 + (0.002e-3) ** 2 + last_digit / 4) ** 0.5
    assert found.uncertainty is not None
    assert abs(found.uncertainty - expected) < 1e-9
    assert "±" in found.display


def test_without_a_certificate_the_last_digit_counts(tmp_path: Path) -> None:
    assert compute(gauged(tmp_path, "", ""), GAUGES)["piston_clearance"].uncertainty is None


def test_an_unknown_instrument_of_a_reading_is_an_error_where_it_stands(tmp_path: Path) -> None:
    (problem,) = (
        item
        for item in unknown_instruments(gauged(tmp_path, ", with: G9", ""), GAUGES)
        if item.path.name == "bottom_end.yaml"
    )
    assert "'G9'" in problem.message
    assert problem.line == 1


def test_bores_of_the_gauge_card_are_as_uncertain_as_its_gauge(tmp_path: Path) -> None:
    build, _ = write_build(tmp_path, SESSION.replace("with: D1\n", ""), {"a.csv": log_of()}, bottom_end="{}\n")
    rows = ", ".join(
        f"{{cylinder: {n}, depths: [{{across: 81.50, along: 81.50}}, {{across: 81.50, along: 81.50}}]}}"
        for n in range(1, 5)
    )
    card = f"bore_gauging:\n  unit: mm\n  resolution: 0.001 mm\n  with: G1\n  cylinders: [{rows}]\n"
    (build.folder / "work.yaml").write_text(card)
    build, _ = write_build(tmp_path, SESSION.replace("with: D1\n", ""), {"a.csv": log_of()}, bottom_end=STROKE)
    found = compute(build, GAUGES)["swept_volume"]
    assert found.uncertainty is not None
    # Twice the relative uncertainty of the gauge, 0.003 mm in 81.5 mm, with k = 2, and a little for the digits.
    assert 1.0 < found.uncertainty / found.value / (2 * 2 * 0.003 / 81.5) < 1.2
    assert {item.id for item in citations(build)} >= {"G1"}
