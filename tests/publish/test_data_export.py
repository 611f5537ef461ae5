"""The data of a dyno session: a valid package, reproducible, and safe in a spreadsheet."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from pathlib import Path

import frictionless
import numpy as np
import pytest

from builder.figures.core.types import FigureSheet
from builder.figures.evaluate import compute
from builder.publish.data_export import escape_formula, export_data
from builder.record.load import read_build, read_shop
from builder.record.models.build import Build
from builder.record.models.shop import Shop
from builder.record.redaction import without_private
from tests.support.demo_builds import folders
from tests.support.dyno_samples import CONDITIONS, RPM, log_of, torque_curve, write_build

REPO = Path(__file__).parents[2]
RECORD = f"""\
date: 2024-05-14
readings: observed
conditions: {CONDITIONS}
range: 2500..5500 rpm
pulls:
  - {{name: "=HYPERLINK(1)", file: dyno/a.csv}}
  - {{name: "+jets; 130, \\"richer\\"", file: dyno/b.csv, changed: "@main jets", since: "=HYPERLINK(1)"}}
  - {{name: again, file: dyno/b.csv, repeat_of: "+jets; 130, \\"richer\\"", left_out: "-10 on the brake"}}
"""
CHANNELS = {
    "Oil pressure (bar)": np.full(RPM.size, 4.0),
    "Oil temperature (°C)": np.where(RPM > 5000, np.nan, 90.0),
    "Fuel flow (kg/h)": np.full(RPM.size, 12.0),
    "Lambda": np.full(RPM.size, 0.88),
}


Export = tuple[Build, FigureSheet, dict[str, bytes]]


@pytest.fixture(scope="module")
def export(tmp_path_factory: pytest.TempPathFactory) -> Export:
    logs = {
        "a.csv": log_of(**CHANNELS).replace("nan", ""),
        "b.csv": log_of(torque_curve(RPM, 133), **CHANNELS).replace("nan", ""),
    }
    build, _ = write_build(tmp_path_factory.mktemp("data"), RECORD, logs)
    sheet = compute(build, Shop(units="metric"))
    return build, sheet, export_data(build, sheet)


def _write(files: dict[str, bytes], folder: Path) -> Path:
    for name, content in files.items():
        (folder / name).write_bytes(content)
    return folder / "datapackage.json"


def _valid(package: Path) -> None:
    report = frictionless.Package(str(package)).validate()
    assert report.valid, report.flatten(["name", "type", "note"])


def test_the_data_package_is_valid(export: Export, tmp_path: Path) -> None:
    _valid(_write(export[2], tmp_path))


def test_every_number_has_its_unit(export: Export) -> None:
    package = json.loads(export[2]["datapackage.json"])
    assert {resource["path"] for resource in package["resources"]} == set(export[2]) - {"datapackage.json"}
    curve = next(resource for resource in package["resources"] if resource["path"].startswith("pull-01"))
    units = {field["name"]: field.get("unit") for field in curve["schema"]["fields"]}
    assert units["engine_speed_rpm"] == "rpm"
    assert units["torque_n_m"] == "N m"
    assert units["oil_pressure_kpa"] == "kPa"
    assert units["oil_temperature_degc"] == "°C"
    assert units["lambda"] is None


def test_the_curve_in_the_file_is_that_of_the_pull(export: Export) -> None:
    _, sheet, files = export
    assert sheet.session is not None
    pull = sheet.session.pulls[1]
    name = next(name for name in files if name.startswith("pull-02"))
    rows = list(csv.DictReader(io.StringIO(files[name].decode())))
    assert [float(row["engine_speed_rpm"]) for row in rows] == pytest.approx(list(60 * pull.corrected.speed), rel=1e-5)
    assert [float(row["torque_n_m"]) for row in rows] == pytest.approx(list(pull.corrected.torque), rel=1e-5)
    assert [float(row["power_kw"]) for row in rows] == pytest.approx(list(pull.corrected.power / 1000), rel=1e-5)
    assert [float(row["oil_pressure_kpa"]) for row in rows] == pytest.approx([400.0] * len(rows), rel=1e-4)
    assert rows[-1]["oil_temperature_degc"] == ""
    assert float(rows[0]["oil_temperature_degc"]) == pytest.approx(90.0, abs=0.01)


def test_the_same_build_gives_the_same_bytes(export: Export) -> None:
    build, sheet, files = export
    assert export_data(build, compute(build, Shop(units="metric"))) == files
    assert list(export_data(build, sheet)) == list(files)


def test_json_holds_everything_and_no_nan(export: Export) -> None:
    _, sheet, files = export

    def refuse(word: str) -> None:
        raise AssertionError(f"{word} is not JSON")

    result = json.loads(files["result.json"], parse_constant=refuse)
    assert sheet.session is not None
    assert [pull["name"] for pull in result["pulls"]] == [pull.name for pull in sheet.session.pulls]
    assert {figure["slug"] for figure in result["figures"]} == {figure.slug for figure in sheet.figures}
    delivered = result["delivered"]
    assert (delivered["name"], delivered["pulls"]) == ('+jets; 130, "richer"', ['+jets; 130, "richer"'])
    assert delivered["assumed"]
    assert [pull["delivered"] for pull in result["pulls"]] == [
        sheet.session.is_delivered(pull) for pull in sheet.session.pulls
    ]
    assert delivered["peak_torque"]["value"] == pytest.approx(sheet["peak_torque"].value)
    assert delivered["peak_torque"]["half_width"] == pytest.approx(sheet["peak_torque"].uncertainty)
    change, gain = result["changes"][0], sheet.session.changes[0].gain
    assert gain is not None
    assert (change["value"], change["half_width"]) == (pytest.approx(gain.mean), pytest.approx(gain.half_width))
    assert (change["confidence"], change["scatter"], change["verdict"]) == (0.95, "assumed", gain.verdict)
    assert [pull["counted"] for pull in result["pulls"]] == [True, True, False]
    assert all((pull["curve"] in files) for pull in result["pulls"])


def test_no_cell_is_a_formula(export: Export) -> None:
    for name, content in export[2].items():
        if name.endswith(".csv"):
            for row in csv.reader(io.StringIO(content.decode())):
                assert not [cell for cell in row if cell[:1] in ("=", "@", "\t", "\r") or cell[:1] == "+"], name
    rows = list(csv.DictReader(io.StringIO(export[2]["pulls.csv"].decode())))
    assert rows[0]["pull"] == "'=HYPERLINK(1)"
    assert rows[1]["changed"] == "'@main jets"
    assert rows[2]["left_out"] == "'-10 on the brake"


@pytest.mark.parametrize(
    ("cell", "safe"),
    [
        ("130 jets", "130 jets"), ("-12.5", "-12.5"), ("+3e-05", "+3e-05"), ("=1+1", "'=1+1"), ("-1+1", "'-1+1"),
        ("+cmd", "'+cmd"), ("@sum", "'@sum"), ("  =1", "'  =1"), ("\t=1", "'\t=1"), ("＝1", "'＝1"), ("", ""),
        ("\N{NO-BREAK SPACE}=1", "'\N{NO-BREAK SPACE}=1"), ("a=1", "a=1"),
    ],
)  # fmt: skip
def test_formulas_are_escaped(cell: str, safe: str) -> None:
    assert escape_formula(cell) == safe


def test_file_names_are_plain_and_unique(export: Export) -> None:
    names = [name for name in export[2] if name.startswith("pull-")]
    assert names == ["pull-01-hyperlink-1.csv", "pull-02-jets-130-richer.csv", "pull-03-again.csv"]


def test_no_session_no_files(tmp_path: Path) -> None:
    build, _ = write_build(tmp_path, "pulls: []\n", {})
    assert export_data(build, compute(build, Shop())) == {}


def test_nothing_private_is_in_the_data(export: Export) -> None:
    build, _, _ = export
    secret = build.build.model_copy(update={"registration": "SECRET 1", "price": "SECRET 2"})
    public = without_private(replace(build, build=secret))
    files = export_data(public, compute(public, Shop()))
    assert files
    assert not [name for name, content in files.items() if b"SECRET" in content]


def test_the_data_of_every_demonstration_build_is_valid(tmp_path: Path) -> None:
    shop, _ = read_shop(REPO)
    checked = 0
    for folder in folders():
        build = read_build(folder, REPO)[0] if (folder / "dyno.yaml").exists() else None
        files = export_data(build, compute(build, shop)) if build is not None else {}
        if files:
            (tmp_path / folder.name).mkdir()
            _valid(_write(files, tmp_path / folder.name))
            checked += 1
    assert checked >= 10
