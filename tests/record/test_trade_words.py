"""Records in the words and units of the trade, US, UK and metric, pass the check as they are written."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from builder.record.load import read_build
from builder.record.models.build import Build
from builder.record.plausibility import us_measures
from builder.record.quantities.readings import as_written
from builder.record.quantities.unit_table import IMPERIAL_GALLON

RECORDS = Path(__file__).parent / "trade_words"
INCH, POUND = 0.0254, 0.45359237


def _read(tmp_path: Path, slug: str) -> Build:
    shutil.copytree(RECORDS / slug, tmp_path / "builds" / slug)
    build, problems = read_build(tmp_path / "builds" / slug, tmp_path)
    assert [str(problem) for problem in problems] == []
    assert build is not None
    return build


@pytest.mark.parametrize("slug", sorted(path.name for path in RECORDS.iterdir()))
def test_the_record_reads_without_a_problem(tmp_path: Path, slug: str) -> None:
    assert _read(tmp_path, slug).logs


def test_the_us_record_means_what_it_says(tmp_path: Path) -> None:
    build = _read(tmp_path, "pump-gas-v8")
    engine = build.build.engine
    assert (engine.layout, engine.induction, engine.fuel_system) == ("V", "naturally aspirated", "carburetor")
    assert engine.fuel is not None
    assert (engine.fuel.kind, as_written(engine.fuel.kind)) == ("gasoline", "pump gas")
    assert engine.fuel.stoichiometric == 14.7
    assert engine.fuel.density is not None
    assert engine.fuel.density.si == pytest.approx(6.2 * POUND / (231 * INCH**3))
    assert engine.compression_wanted == 9.6
    assert build.get("cam.lifters.kind") == "hydraulic roller"
    assert build.get("bottom_end.block.deck_height").values == pytest.approx([9.114 * INCH])
    assert build.get("top_end.gasket.thickness").values == pytest.approx([0.039 * INCH])
    assert build.get("top_end.rockers.ratio").listed.text == "1.5:1"
    assert build.get("dyno.conditions.barometer").si == pytest.approx(29.18 * 3386.389, rel=1e-5)
    assert build.get("dyno.conditions.altitude").si == pytest.approx(640 * 0.3048)
    assert build.get("assembly.fits.crank_end_play").values == pytest.approx([0.006 * INCH])
    assert [fluid.amount.listed.text for fluid in build.get("delivery.fluids")] == ["5 quarts", "3.5 gal"]


def test_the_uk_record_means_what_it_says(tmp_path: Path) -> None:
    build = _read(tmp_path, "imperial-four")
    oil, coolant, gearbox = (fluid.amount.values[0] for fluid in build.get("delivery.fluids"))
    assert oil == pytest.approx(IMPERIAL_GALLON) == pytest.approx(4.54609e-3)
    assert coolant == pytest.approx(12 * 4.54609e-3 / 8)
    assert gearbox == pytest.approx(1.5 * 4.54609e-3 / 8)
    assert build.build.engine.fuel.density.si == pytest.approx(7.45 * POUND / 4.54609e-3)  # type: ignore[union-attr]
    assert build.get("cam.lifters.kind") == "solid flat tappet"
    assert build.get("assembly.fits.cam_end_play").values == pytest.approx([0.004 * INCH])
    assert build.get("delivery.break_in")


def test_the_metric_record_means_what_it_says(tmp_path: Path) -> None:
    build = _read(tmp_path, "metric-turbo")
    assert build.get("top_end.springs.seat_load").values == pytest.approx([32 * 9.80665])
    assert build.get("bottom_end.block.deck_height").values == pytest.approx([0.2195])
    assert build.get("assembly.fasteners")[0].steps[0].si == pytest.approx(3 * 9.80665)
    assert build.build.engine.induction == "turbocharged"


def test_gallons_quarts_and_pints_without_a_side_are_told_to_a_uk_shop(tmp_path: Path) -> None:
    """A UK gallon is 1.2 US gallons: a shop in UK English is asked which it means."""
    told = us_measures(_read(tmp_path / "us", "pump-gas-v8"))
    assert [(problem.path.name, problem.message.partition(": ")[2]) for problem in told] == [
        ("build.yaml", "6.2 lb/gal is read as US measure: write 6.2 lb/imp gal if it is imperial"),
        ("delivery.yaml", "5 quarts is read as US measure: write 5 imp quarts if it is imperial"),
        ("delivery.yaml", "3.5 gal is read as US measure: write 3.5 imp gal if it is imperial"),
    ]
    assert us_measures(_read(tmp_path / "uk", "imperial-four")) == []
