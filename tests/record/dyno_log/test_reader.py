"""A pull reads equal in whatever dialect it is written, and what was read, skipped and assumed is told."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from builder.record.dyno_log.header import heading
from builder.record.dyno_log.reader import DynoLog, read_dyno_log, without_comments
from tests.support.dyno_dialects import (
    BEFORE,
    Dialect,
    dialect_name,
    dialects,
    first_data_line,
    in_si,
    pull,
    without_last_newline,
    write_log,
)

DATA = pull(40)


def read(tmp_path: Path, content: str | bytes, **kwargs: object) -> tuple[DynoLog | None, list[str]]:
    path = tmp_path / "pull.csv"
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    log, problems = read_dyno_log(path, shown_as=Path("dyno/pull.csv"), **kwargs)  # type: ignore[arg-type]
    return log, [str(problem) for problem in problems]


def good(tmp_path: Path, content: str | bytes, **kwargs: object) -> DynoLog:
    log, problems = read(tmp_path, content, **kwargs)
    assert problems == []
    assert log is not None
    return log


def assert_is_pull(log: DynoLog, data: np.ndarray, first_line: int) -> None:
    expected = in_si(data)
    assert set(log.channels) == set(expected)
    for slug, values in expected.items():
        np.testing.assert_allclose(log.channels[slug], values, rtol=1e-13, err_msg=slug)
        assert log.channels[slug].dtype == np.float64
        assert not log.channels[slug].flags.writeable
    assert log.rows.tolist() == list(range(first_line, first_line + len(data)))


@pytest.mark.parametrize("dialect", dialects(), ids=dialect_name)
def test_every_dialect_reads_the_same(tmp_path: Path, dialect: Dialect) -> None:
    for variant in (dialect, without_last_newline(dialect)):
        log = good(tmp_path, write_log(variant, DATA))
        assert_is_pull(log, DATA, first_data_line(variant))
        assert log.path == Path("dyno/pull.csv")
        assert log.units["torque"] == "lb-ft"


@pytest.mark.parametrize("dialect", dialects(), ids=dialect_name)
def test_a_log_without_comments_reads_the_same(tmp_path: Path, dialect: Dialect) -> None:
    log = good(tmp_path, write_log(dialect, DATA))
    content = without_comments(tmp_path / "pull.csv", log)
    assert content is not None
    again = good(tmp_path, content)
    assert again.units == log.units
    for slug, values in log.channels.items():
        np.testing.assert_array_equal(again.channels[slug], values)
    for line in BEFORE:
        assert not line or line.encode() not in content


def test_comments_summaries_and_footers_are_left_out_of_a_log(tmp_path: Path) -> None:
    text = (
        "sep=;\nCustomer: H. Fenwick\n\nRPM;Torque;Note\nrpm;N m;\n-;-;-\n3000;100;\n# owed from last time\n"
        "3100;101;x\nRPM;Torque;Note\n3200;102;\n;;he will not pay\nMax;102;\nPrinted for H. Fenwick\n"
    )
    log, _ = read(tmp_path, text)
    assert log is not None
    kept = without_comments(tmp_path / "pull.csv", log)
    assert kept == b"sep=;\nRPM;Torque;Note\nrpm;N m;\n-;-;-\n3000;100;\n3100;101;x\n3200;102;\n"
    again, problems = read(tmp_path, kept)
    assert problems == []
    assert again is not None
    assert again.channels["torque"].tolist() == log.channels["torque"].tolist()


def test_notes_list_what_was_read(tmp_path: Path) -> None:
    dialect = Dialect(";", ",", ".", "cp1252", "\r\n", "row", BEFORE)
    log = good(tmp_path, write_log(dialect, DATA))
    notes = "\n".join(log.notes)
    for text in ("Windows-1252", "semicolon", "decimal comma", "header on line 6", "units on line 7",
                 "data from line 8", "5 lines before the header", "Torque: 'Torque' (column 3), lb-ft",
                 "40 rows of numbers read"):  # fmt: skip
        assert text in notes


def test_lines_that_are_no_rows_are_skipped_with_a_note(tmp_path: Path) -> None:
    log = good(
        tmp_path,
        "rpm,lb-ft,Remark\n2000,300.0,\n\n2500,310.0,ok\nrpm,lb-ft,Remark\n# plugs pulled\n3000,320.0,\n,,\n"
        "3500,330.0,\n2750,315.0,Average\n3500,330.0,Max:\n",
    )
    assert log.rows.tolist() == [2, 4, 7, 9]
    notes = "\n".join(log.notes)
    for text in ("2 blank lines", "1 comment line skipped (line 6)", "2 summary lines skipped (lines 10, 11)",
                 "1 repeated header line skipped (line 5)", "columns not used: 'Remark'"):  # fmt: skip
        assert text in notes


def test_notes_after_the_data_are_a_footer(tmp_path: Path) -> None:
    text = "Time (s),RPM,Torque (Nm)\n0.1,2000,300.5\n0.2,2500,310.5\nPeak at,2500,310.5\nNotes: pulled the plugs\n"
    log, problems = read(tmp_path, text)
    assert log is not None
    assert log.rows.tolist() == [2, 3]
    assert problems == [
        "dyno/pull.csv:4: warning: a row that begins with words, after the data; it is skipped as a footer",
        "dyno/pull.csv:5: warning: this line after the data skipped as a footer: 'Notes: pulled the plugs'",
    ]


def test_the_units_may_repeat_with_the_header(tmp_path: Path) -> None:
    head = "Engine speed;Torque\nrpm;Nm\n"
    log = good(tmp_path, head + "2000;300,5\n" + head + "2500;310,5\n")
    assert log.rows.tolist() == [3, 6]


def test_duplicate_and_unordered_speeds_are_read_with_a_note(tmp_path: Path) -> None:
    log = good(tmp_path, "RPM,Torque (Nm)\n3000,300\n3000,302\n2500,290\n3500,310\n")
    assert (log.channels["engine_speed"] * 60).round(9).tolist() == [3000, 3000, 2500, 3500]
    assert any("falls at 1 row and repeats at 1 row" in note for note in log.notes)


def test_a_falling_step_test_is_read_with_a_note(tmp_path: Path) -> None:
    log = good(tmp_path, "RPM,Torque (Nm)\n4000,300\n3500,302\n3000,290\n")
    assert any("falls from row to row" in note for note in log.notes)


def test_an_empty_cell_is_no_number(tmp_path: Path) -> None:
    log = good(tmp_path, "RPM,Torque (Nm),Oil temp (C)\n3000,300,\n3500,,91\n4000,310,92\n")
    assert np.isnan(log.channels["oil_temperature"][0])
    assert np.isnan(log.channels["torque"][1])
    assert any("torque is empty in 1 row, first on line 3" in note for note in log.notes)


@pytest.mark.parametrize(
    ("header", "slug", "unit"),
    [
        ("EGT 3 (°C)", "exhaust_temperature_3", "°C"),
        ("Cyl 12 EGT °F", "exhaust_temperature_12", "°F"),
        ("Exhaust Temperature (Cyl 5) [K]", "exhaust_temperature_5", "K"),
        ("Exh Temp C", "exhaust_temperature", "C"),
        ("Fuel Flow (lb/hr)", "fuel_flow", "lb/hr"),
        ("Fuel Flow (L/h)", "fuel_flow_volume", "L/h"),
        ("Air flow kg/h", "air_flow", "kg/h"),
        ("Airflow [m³/h]", "air_flow_volume", "m³/h"),
        ("A/F ratio", "afr", "1"),
        ("Lambda 1", "lambda", "lambda"),
        ("Charge air temp (°C)", "charge_temperature", "°C"),
        ("Battery (V)", "battery_voltage", "V"),
        ("Manifold vacuum inHg", "manifold_vacuum", "inHg"),
        ("Turbo speed krpm", "turbo_speed", "krpm"),
        ("Ign. Timing (°BTDC)", "spark_advance", "°BTDC"),
        ("Oil Press psi", "oil_pressure", "psi"),
        ("FuelPressure_kPa", "fuel_pressure", "kPa"),
        ("Water Temp deg F", "coolant_temperature", "deg F"),
        ("MAP (kPa)", "manifold_pressure", "kPa"),
        ("Boost (psig)", "boost_pressure", "psig"),
        ("Blow-by (cfm)", "blow_by", "cfm"),
        ("Baro (inHg)", "barometer", "inHg"),
        ("Inlet air temp/°C", "air_temperature", "°C"),
        ("RH (%)", "relative_humidity", "%"),
        ("Throttle Position, %", "throttle", "%"),
        ("Elapsed time ms", "time", "ms"),
        ("EGT (cyl 3) [°C]", "exhaust_temperature_3", "°C"),
        ("EGT (7) (°C)", "exhaust_temperature_7", "°C"),
        ("Exhaust gas temp runner 16, °C", "exhaust_temperature_16", "°C"),
    ],
)
def test_common_header_words_are_known(tmp_path: Path, header: str, slug: str, unit: str) -> None:
    path = tmp_path / "pull.csv"
    path.write_text(f"RPM;Torque (Nm);{header}\n3000;300;1\n3500;302;2\n", encoding="utf-8")
    log, _ = read_dyno_log(path)
    assert log is not None
    assert log.headers[slug] == header
    assert log.units[slug] == unit


@pytest.mark.parametrize(
    "head",
    ["n [1/min];M [Nm];P [kW]", "EngineSpeedRPM;TorqueNm;Power_kW", "rpm;N·m;kW", "Speed, U/min;TQ/Nm;PWR (kW)",
     "Eng RPM;Observed Torque N.m;Brake power kW", '"Engine\nspeed (rpm)";"Torque\n[Nm]";"Power\n[kW]"'],
)  # fmt: skip
def test_speed_torque_and_power_in_many_words(tmp_path: Path, head: str) -> None:
    log = good(tmp_path, f"{head}\n3000;200;62.8\n3500;210;77.0\n")
    assert log.channels["engine_speed"] == pytest.approx([50.0, 3500 / 60])
    assert log.channels["torque"].tolist() == [200.0, 210.0]
    assert log.channels["power"].tolist() == [62800.0, 77000.0]
    assert log.rows[-1] == head.count("\n") + 3


def test_a_units_row_may_hold_a_one_and_the_first_row_is_no_units_row(tmp_path: Path) -> None:
    log = good(tmp_path, "Speed;Torque;Lambda\nrpm;Nm;1\n----;----;----\n3000;300;1\n3500;310;1\n")
    assert log.rows.tolist() == [4, 5]
    log = good(tmp_path, "Speed (rpm);Torque (Nm);Lambda\n1;1;1\n3500;310;1\n")
    assert log.rows.tolist() == [2, 3]


@pytest.mark.parametrize(
    ("header", "kind"),
    [("Torque (corrected) (Nm)", "corrected"), ("Torque (Nm) [SAE]", "corrected"), ("Torque (Nm) (obs)", "observed"),
     ("Uncorr. torque Nm", "observed"), ("STDTorque_Nm", "corrected"), ("Corrected Nm", "corrected"), ("TQ [N*m]", "")],
)  # fmt: skip
def test_a_header_may_mark_its_column_as_corrected(header: str, kind: str) -> None:
    read = heading(header)
    assert (read.slugs, read.kind) == (("torque",), kind)
    assert read.unit


@pytest.mark.parametrize(
    "header", ["Wheel torque (Nm)", "Max torque (Nm)", "Roller speed", "EGT 17", "Date", "3000", "x" * 90, "", "P"]
)
def test_a_header_that_names_no_channel(header: str) -> None:
    read = heading(header)
    assert not read.slugs or read.needs_unit


def test_the_record_gives_column_and_unit(tmp_path: Path) -> None:
    text = "Drehzahl;Drehmoment;Drehmoment red. (Nm);Torque\n3000;200;204;1\n3500;210;215;2\n"
    mapping = {"engine_speed": "Drehzahl", "torque": "Drehmoment red."}
    log = good(tmp_path, text, columns=mapping, units={"engine_speed": "1/min"})
    assert log.channels["torque"].tolist() == [204.0, 215.0]
    assert "Torque: 'Drehmoment red. (Nm)' (column 3), set in the record, Nm" in log.notes
    log = good(
        tmp_path, text, columns=mapping | {"torque": "column 4"}, units={"engine_speed": "rpm", "torque": "kN m"}
    )
    assert log.channels["torque"].tolist() == [1000.0, 2000.0]


def test_the_unit_in_the_record_wins_over_the_log(tmp_path: Path) -> None:
    log = good(tmp_path, "RPM,Torque (Nm)\n3000,300\n3500,302\n", units={"torque": "lb-ft"})
    assert log.channels["torque"][0] == pytest.approx(406.745, abs=1e-3)
    assert log.units["torque"] == "lb-ft"


def test_a_corrected_column_alone_is_taken_and_the_record_chooses_between_two(tmp_path: Path) -> None:
    assert (
        good(tmp_path, "RPM,Corrected Torque (Nm)\n3000,300\n3500,302\n").headers["torque"] == "Corrected Torque (Nm)"
    )
    both = "RPM,Torque (Nm),STD Torque (Nm)\n3000,300,310\n3500,302,312\n"
    log = good(tmp_path, both, columns={"torque": "STD Torque"})
    assert log.channels["torque"].tolist() == [310.0, 312.0]


def test_a_declared_delimiter_is_used(tmp_path: Path) -> None:
    log = good(tmp_path, 'sep=|\n"rpm, engine"|Torque (Nm)|Engine speed (rpm)\n1|300|3000\n2|310|3500\n')
    assert log.channels["torque"].tolist() == [300.0, 310.0]
    assert "as its first line says" in log.notes[0]


def test_an_ambiguous_mark_is_decided_by_what_an_engine_can_do(tmp_path: Path) -> None:
    log = good(tmp_path, "RPM;Torque (Nm)\n3,000;300\n3,500;310\n")
    assert log.channels["engine_speed"] == pytest.approx([50.0, 3500 / 60])
    assert any("no engine makes" in note for note in log.notes)
    log = good(tmp_path, "RPM;Torque (Nm)\n3000;300,125\n3500;310,250\n")
    assert log.channels["torque"].tolist() == [300.125, 310.250]


def test_the_record_may_give_the_decimal_mark(tmp_path: Path) -> None:
    text = "RPM;Torque (Nm);Fuel pressure (kPa)\n3000;300;3,125\n3500;310;3,250\n"
    log, problems = read(tmp_path, text)
    assert log is None
    assert problems == [
        "dyno/pull.csv:2: error: '3,125' can be read as 3125 or 3.125, and nothing in the file shows which; "
        'write in the record: decimal_mark: "." or ","'
    ]
    assert good(tmp_path, text, decimal=",").channels["fuel_pressure"].tolist() == [3125.0, 3250.0]
    assert good(tmp_path, text, decimal=".").channels["fuel_pressure"].tolist() == [3.125e6, 3.25e6]


def test_the_decimal_mark_may_show_only_far_down(tmp_path: Path) -> None:
    rows = [f"{2000 + i};{300 + i % 7}" for i in range(600)]
    log = good(tmp_path, "\n".join(["RPM;Torque (Nm)", *rows, "2700,5;301,25", "2701;302,125", ""]))
    assert log.channels["torque"][-1] == 302.125
    assert log.rows.size == 602


def test_a_minus_sign_is_a_minus(tmp_path: Path) -> None:
    log = good(tmp_path, "RPM,Torque (Nm)\n3000,\u2212300.5\n3500,-12\n")
    assert log.channels["torque"].tolist() == [-300.5, -12.0]


def test_a_complete_last_line_without_a_line_end_is_read(tmp_path: Path) -> None:
    assert good(tmp_path, "RPM,Torque (Nm)\n3000,300\n3500,310\n4000,320").rows.size == 3
    log, problems = read(tmp_path, "RPM,Torque (Nm)\n3000,300\n3500,310\n4000,32")
    assert log is not None
    assert log.rows.size == 2
    assert problems[0].startswith("dyno/pull.csv:4: warning: the file ends inside this line, and '32'")


def test_lambda_of_each_cylinder(tmp_path: Path) -> None:
    log = good(
        tmp_path,
        "RPM;Torque (Nm);Lambda 1;Cyl 2 lambda;Lambda (cyl 3)\n3000;300;0.86;0.88;0.90\n3500;302;0.86;0.88;0.91\n",
    )
    assert [log.channels[f"lambda_{number}"][0] for number in (1, 2, 3)] == [0.86, 0.88, 0.90]
    assert "lambda" not in log.channels
